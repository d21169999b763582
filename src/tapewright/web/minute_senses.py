"""What the desk of guided minutes listens and looks with: functions of `jobs`, their answers in one shape."""

from collections.abc import Sequence
from pathlib import Path

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.jobs.mechanism_heard import listen as jobs_listen
from tapewright.machine.parts import Machine
from tapewright.web.minute_desk import Sensed
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem


def listen(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Listen to the sound of a guided minute."""
    heard = jobs_listen(path, machine, marks)
    notes = (*(one.says for one in heard.disturbances), *heard.cannot_say)
    return Sensed(evidence_of_sound(machine, heard), "", notes)


def watch(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Look at the film of a guided minute."""
    raise _not_yet(path)


def _not_yet(path: Path) -> InputAtFaultError:
    do = "The file is kept with its marks: a later version reads it."
    return InputAtFaultError(Problem(path.name, "cannot be read by this version.", do))
