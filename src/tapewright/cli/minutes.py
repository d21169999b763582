"""Commands about guided minutes: to play one that nobody recorded, and to practise on them."""

import argparse
from pathlib import Path

from tapewright.cli.given import Progress, Shown
from tapewright.cli.options import Option

MINUTE: tuple[Option, ...] = (
    (("--minute",), {"action": "store_true", "help": "the sounds of a guided minute instead of a test tone"}),
    (("--room",), {"metavar": "ROOM", "default": "bench",
                   "help": "with --minute: case, bench, living_room, workshop, tiled_room (default: bench)"}),
    (("--phone",), {"metavar": "PHONE", "default": "recorder",
                    "help": "with --minute: recorder, phone, phone_gain, voice_message, phone_call (default: "
                            "recorder)"}),
    (("--snr",), {"metavar": "DB", "type": float, "default": 30.0,
                  "help": "with --minute: mechanism against background (default: 30)"}),
    (("--beside",), {"metavar": "KIND", "action": "append", "default": [],
                     "help": "with --minute: also heard: noise, hum, speech; may be repeated (default: noise)"}),
)  # fmt: skip
PRACTISE: tuple[Option, ...] = (
    (("--out",), {"metavar": "DIR", "type": Path, "required": True, "help": "folder for the page and its sounds"}),
    (("--minutes",), {"metavar": "N", "type": int, "default": 4, "help": "how many minutes (default: 4)"}),
    (("--seed",), {"metavar": "N", "type": int, "default": 1, "help": "the same seed gives the same minutes"}),
)


def simulate_minute(options: argparse.Namespace) -> Shown:
    """Play a machine with faults through a guided minute into a sound file."""
    from tapewright.faults.applied import applied, parse_fault
    from tapewright.machine.load import read_machine
    from tapewright.machine.minute import minute_steps
    from tapewright.simulate.minute import play_minute, write_minute
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    faults = [parse_fault(machine, text) for text in options.fault]
    worn = applied(machine, faults)
    minute = play_minute(
        worn, minute_steps(worn), options.seed, room=options.room, phone=options.phone, snr_db=options.snr,
        background=options.beside or ("noise",), faults=faults,
    )  # fmt: skip
    truth = write_minute(minute, options.out)
    written = f"Written: {options.out} and {options.out.with_suffix('.json')}"
    return plain(truth), f"{truth.says}\n\n{written}"


def run_practise(options: argparse.Namespace) -> Shown:
    """Write pairs of invented minutes and the page to practise on them."""
    from tapewright.jobs.practise import practise
    from tapewright.machine.load import read_machine
    from tapewright.show.practise_page import practise_page
    from tapewright.words.plain import plain
    from tapewright.words.whole_file import write_whole

    practice = practise(read_machine(options.machine), options.out, options.minutes, options.seed, Progress("playing"))
    page = options.out / "practise.html"
    write_whole(page, practise_page(practice))
    return plain(practice) | {"written": str(page)}, f"{practice.says}\n\nWritten: {page}; open it in a browser."
