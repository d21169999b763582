"""The command that listens to a mechanism."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapewright.cli.given import Shown
from tapewright.cli.options import Option

if TYPE_CHECKING:
    from tapewright.machine.parts import Machine
    from tapewright.words.mechanism_heard import MechanismHeard

LISTEN: tuple[Option, ...] = (
    (("file",), {"metavar": "FILE", "type": Path, "help": "the recording; it is never changed"}),
    (("--machine",), {"metavar": "M", "help": "whose mechanism it is"}),
    (("--marks",), {"metavar": "FILE", "type": Path, "help": "what was done when: CSV with mode and at_s, or JSON"}),
    (("--out",), {"metavar": "DIR", "type": Path, "help": "write the picture and an evidence file into this folder"}),
)


def run_listen(options: argparse.Namespace) -> Shown:
    """Say which motors ran, what squealed and knocked, and what that means for a machine."""
    from tapewright.diagnose.from_sound import evidence_of_sound
    from tapewright.jobs.evidence_file import evidence_json
    from tapewright.jobs.mechanism_heard import listen, read_marks
    from tapewright.machine.load import read_machine
    from tapewright.show.mechanism_text import mechanism_text
    from tapewright.words.plain import plain

    machine = None if options.machine is None else read_machine(options.machine)
    marks = None if options.marks is None else read_marks(options.marks)
    heard = listen(options.file, machine, marks)
    told = None if machine is None else evidence_of_sound(machine, heard)
    data = plain(heard)
    data["evidence"] = None if told is None else evidence_json(told.evidence)
    data["reasons"] = [] if told is None else [{"id": name, "says": why} for name, why in told.reasons]
    text = mechanism_text(heard, machine, told)
    if options.out is not None:
        data["written"] = _write(options, machine, heard, data["evidence"])
        text += f"\n\nWritten: {', '.join(data['written'])}"
    return data, text


def _write(options: argparse.Namespace, machine: "Machine | None", heard: "MechanismHeard", evidence: Any) -> list[str]:
    import json

    from tapewright.jobs.mechanism_heard import mechanism_picture
    from tapewright.show.mechanism_chart import mechanism_chart
    from tapewright.words.whole_file import write_whole

    options.out.mkdir(parents=True, exist_ok=True)
    picture = options.out / "mechanism.svg"
    write_whole(picture, mechanism_chart(heard, mechanism_picture(options.file), machine))
    written = [str(picture)]
    if evidence is not None:
        path = options.out / "evidence.json"
        write_whole(path, json.dumps(evidence, ensure_ascii=False, indent=1) + "\n")
        written.append(str(path))
    return written
