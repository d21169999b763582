"""What the desk of guided minutes listens and looks with: functions of `jobs`, their answers in one shape."""

from collections.abc import Callable, Sequence
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from tapewright.machine.parts import Machine
from tapewright.web.minute_desk import Sensed
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem

EAR: Final = ("tapewright.jobs.mechanism_heard", "listen_for_evidence")
EYE: Final = ("tapewright.jobs.reels_seen", "watch_for_evidence")


def _sense(place: tuple[str, str]) -> Callable[..., Any]:
    module, name = place
    if find_spec(module) is None:
        do = "The file is kept: this can be done once a version that can is installed."
        raise InputAtFaultError(Problem("guided minute", "cannot be listened to by this version.", do))
    found: Callable[..., Any] = getattr(import_module(module), name)
    return found


def listen(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Listen to the sound of a guided minute."""
    heard, evidence, picture = _sense(EAR)(path, machine, marks)
    return Sensed(evidence, picture, (*(one.says for one in heard.disturbances), *heard.cannot_say))


def watch(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Look at the film of a guided minute."""
    seen, evidence, picture = _sense(EYE)(path, machine, marks)
    return Sensed(evidence, picture, tuple(seen.cannot_say))
