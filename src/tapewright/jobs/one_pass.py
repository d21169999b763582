"""A test sequence in a recording that was measured: looked for where one can be, read, and given as data."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tapewright.measure.audio import open_recording
from tapewright.measure.one_pass import OnePass, read_one_pass
from tapewright.measure.sequence_finding import FoundSection, FoundSequence, find_sequence
from tapewright.words.plain import plain
from tapewright.words.record import Heard

BESIDE_S: Final = 30.0
"""Where every channel has less than this beside its steady tone, there is no sequence worth reading."""


@dataclass(frozen=True, slots=True, eq=False)
class PassHeard:
    """A test sequence that was found, and what it says.

    Arguments:
        found: where it stands.
        readings: everything that its sections tell; None where no channel holds a track of its own.
    """

    found: FoundSequence
    readings: OnePass | None


def one_pass_in(
    path: Path,
    heard: Sequence[Heard],
    progress: Callable[[float], None] | None = None,
    *,
    accept_truncated: bool = False,
) -> PassHeard | None:
    """Look for a test sequence in a recording, and read it.

    Arguments:
        path: the recording.
        heard: what its channels said already: a tone that fills them all leaves no room for a sequence.
        progress: called with the share done.
        accept_truncated: take what is there of a file that is cut short.

    Raises:
        InputAtFaultError: the file cannot be read.
    """
    if heard and not has_room(open_recording(path, accept_truncated).duration_s, heard):
        return None
    found = find_sequence(path, progress, accept_truncated)
    if found is None:
        return None
    some = any(channel is not None for channel in found.channel_of_track)
    return PassHeard(found, read_one_pass(path, found) if some else None)


def has_room(duration_s: float, heard: Sequence[Heard]) -> bool:
    """Say whether any channel has more than a steady tone in it.

    Arguments:
        duration_s: of the recording.
        heard: its channels.
    """
    for one in heard:
        start_s, end_s = one.tone.get("start_s"), one.tone.get("end_s")
        tone_s = end_s - start_s if isinstance(start_s, float) and isinstance(end_s, float) else 0.0
        if duration_s - tone_s > BESIDE_S or duration_s < BESIDE_S:
            return True
    return False


def one_pass_json(heard: PassHeard | None) -> dict[str, Any] | None:
    """Give what was found and read as plain data; None where there is no sequence."""
    if heard is None:
        return None
    found = heard.found
    return {
        "sequence": found.sequence.name,
        "tape_speed_m_s": found.sequence.tape_speed_m_s,
        "speed_ratio": found.speed_ratio,
        "channel_of_track": [None if channel is None else channel + 1 for channel in found.channel_of_track],
        "polarity": list(found.polarity),
        "sections": [_section(one) for one in found.sections],
        "missing": [plain(one) for one in found.missing],
        "notes": list(found.notes),
        "readings": plain(heard.readings),
    }


def _section(one: FoundSection) -> dict[str, Any]:
    where = {"start_s": one.start_s, "end_s": one.end_s, "speed_ratio": one.speed_ratio}
    return where | {"planned": plain(one.section)}
