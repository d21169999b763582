"""A sound machine whose capture is out of the ordinary: channels swapped, two tracks of four, a tape that runs fast.

Each capture is exact: what the sheet puts on the tape is a closed form of time, and is asked at the time which the tape
has reached, so that nothing is interpolated. Between samples joined by straight lines a tone of 14 kHz at 48 kHz is
weaker by up to 4.3 dB (closed form, the mean of two neighbours: cos(pi f / rate)), and that is a worn head to anybody.
"""

import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tapewright.jobs.examine import examine
from tapewright.machine.parts import Machine
from tapewright.measure.sequence_plan import planned_sequence
from tapewright.measure.sequence_writing import section_sound
from tapewright.words.evidence import Evidence
from tests.described import Table, described

Values = NDArray[np.float64]
RATE_HZ = 48000
CENTRES_M = (0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3)
SPEED_M_PER_S = 0.047625
LEAN_RAD = 0.5 * math.pi / 10800.0
GAIN = 0.7
NOISE = 3e-4
WOW = ((0.55, 4e-4, 0.3), (1.3, 3e-4, 1.1), (7.0, 4e-4, 2.0), (41.0, 2e-4, 0.7))
"""Rate, peak and phase of what any sound transport does; common practice: some 0.1 % weighted."""
HEADS = ("gap_um", "spacing_um", "least_spacing_um", "edge_spacing_um", "response_treble_db", "azimuth_error_arcmin")


@cache
def four_tracks() -> Machine:
    def altered(table: Table) -> None:
        table["tape"]["tracks"] = 4

    return described("two_motor_deck", altered)


def played(speed_ratio: float) -> Values:
    """Give what a sound machine plays of the sequence, shape (n, 4), full scale 1; half a minute of arc askew."""
    sequence = planned_sequence()
    times = np.arange(int((sequence.duration_s + 1.0) / speed_ratio * RATE_HZ)) / RATE_HZ
    reached = speed_ratio * times
    for rate, peak, phase in WOW:
        reached = reached - peak / (2.0 * np.pi * rate) * np.cos(2.0 * np.pi * rate * times + phase)
    out = NOISE * np.random.default_rng(3).standard_normal((len(times), 4))
    for track, centre_m in enumerate(CENTRES_M):
        at = reached - centre_m * math.tan(LEAN_RAD) / SPEED_M_PER_S
        for section in sequence.sections:
            inside = slice(*np.searchsorted(at, [section.start_s, section.end_s]))
            if track + 1 in section.tracks and inside.stop > inside.start:
                out[inside, track] += GAIN * section_sound(sequence, section, track + 1, at[inside])
    return out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("speed_ratio", "channels"),
    [(1.0, (1, 0, 3, 2)), (1.0, (0, 1)), (1.05, (0, 1, 2, 3))],
    ids=["channels swapped", "two tracks of four", "5 % fast"],
)
def test_no_head_is_accused(tmp_path: Path, speed_ratio: float, channels: Sequence[int]) -> None:
    """Oracle: nothing is wrong with the heads, whatever leads and speed; readings are those of the sheet."""
    path = tmp_path / "capture.wav"
    soundfile.write(str(path), played(speed_ratio)[:, list(channels)], RATE_HZ, subtype="PCM_24")
    record = examine(four_tracks(), Evidence(), [path])
    accused = {one.part: one.explains_complaint for one in record.beliefs}
    assert accused.get("heads", 0.0) < 0.05
    assert accused.get("guides", 0.0) < 0.05
    if speed_ratio == 1.0:
        assert max(accused.values()) < 0.05, "nobody at all"
    else:
        assert record.beliefs[0].explains_complaint > 0.3, "a motor or a belt, for it does run fast"
    read = {name: record.evidence.readings[name] for name in HEADS if name in record.evidence.readings}
    assert read["gap_um"].value == pytest.approx(1.0, abs=max(0.03, read["gap_um"].doubt or 0.0))
    assert read["spacing_um"].value == pytest.approx(0.0, abs=0.05)
    assert read["azimuth_error_arcmin"].value == pytest.approx(0.5, abs=0.05)
