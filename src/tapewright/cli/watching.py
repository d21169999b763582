"""The command that watches a film of the hubs."""

import argparse
from pathlib import Path

from tapewright.cli.given import Progress, Shown
from tapewright.cli.options import OUT_FOLDER, Option

WATCH: tuple[Option, ...] = (
    (("file",), {"metavar": "FILE", "type": Path, "help": "the film (mp4, mov); it is never changed"}),
    (("--machine",), {"metavar": "M", "help": "say what the film tells of this machine, too"}),
    (("--mode",), {"metavar": "MODE", "default": "play", "help": "with --machine: the mode that was filmed "
                   "(default: play)"}),
    (("--hub",), {"metavar": "X,Y,R", "action": "append", "default": [],
                  "help": "where a hub is, in pixels: for hubs that stand, or are not found; twice for both"}),
    OUT_FOLDER,
)  # fmt: skip


def run_watch(options: argparse.Namespace) -> Shown:
    """Watch a film of the hubs, and say what it tells."""
    from tapewright.jobs.evidence_file import write_evidence
    from tapewright.jobs.reels_seen import pointed_at, watch_film, watched_json
    from tapewright.machine.load import read_machine
    from tapewright.show.reels_picture import marked_frame, reels_chart
    from tapewright.show.reels_text import reels_text
    from tapewright.words.problem import InputAtFaultError, Problem
    from tapewright.words.whole_file import write_whole

    hubs = pointed_at(options.hub)
    if options.out is not None and options.out.exists() and not options.out.is_dir():
        raise InputAtFaultError(Problem(str(options.out), "is a file, and a folder is wanted.", "Give another name."))
    machine = None if options.machine is None else read_machine(options.machine)
    watched = watch_film(options.file, machine, options.mode, hubs, Progress("watching"))
    data, text = watched_json(watched), reels_text(watched.seen, watched.heard)
    if options.out is not None:
        write_whole(options.out / "reels.svg", reels_chart(watched.seen))
        write_whole(options.out / "hubs.png", marked_frame(watched.still, watched.seen.hubs))
        names = ["reels.svg", "hubs.png"]
        if watched.heard is not None:
            write_evidence(options.out / "evidence.json", watched.heard.evidence)
            names.append("evidence.json")
        written = [str(options.out / name) for name in names]
        data, text = data | {"written": written}, f"{text}\n\nWritten: {', '.join(written)}"
    return data, text
