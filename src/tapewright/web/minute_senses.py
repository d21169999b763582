"""What the desk of guided minutes listens and looks with: functions of `jobs`, their answers in one shape."""

from collections.abc import Sequence
from pathlib import Path

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.jobs.guided_minute_film import evidence_of_minute, notes_of_minute, watch_minute
from tapewright.jobs.mechanism_heard import listen as jobs_listen
from tapewright.jobs.mechanism_heard import mechanism_picture
from tapewright.machine.parts import Machine
from tapewright.show.mechanism_chart import mechanism_chart
from tapewright.show.reels_picture import reels_chart
from tapewright.web.minute_desk import Sensed
from tapewright.words.mechanism_heard import Mark


def listen(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Listen to the sound of a guided minute."""
    heard = jobs_listen(path, machine, marks)
    chart = mechanism_chart(heard, mechanism_picture(path), machine)
    notes = (*(one.says for one in heard.disturbances), *heard.cannot_say)
    return Sensed(evidence_of_sound(machine, heard), (chart,), notes)


def watch(path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
    """Look at the film of a guided minute."""
    pieces = watch_minute(path, machine, marks)
    charts = [reels_chart(one.watched.seen) for one in pieces if one.watched is not None]
    return Sensed(evidence_of_minute(pieces), tuple(charts), notes_of_minute(pieces))
