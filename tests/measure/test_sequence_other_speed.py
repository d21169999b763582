"""A sequence at twice or half its speed.

Oracle: a tape that plays twice as fast is the same samples at twice the rate, and so the file's header says.
"""

from pathlib import Path

import numpy as np
import pytest

from tapewright.measure.sequence_finding import find_sequence
from tapewright.measure.sequence_other_speed import at_other_speed
from tapewright.measure.sequence_plan import planned_sequence
from tests.measure.played import RATE_HZ, Deck, noisy, played, saved


@pytest.mark.parametrize("times", [2.0, 0.5])
def test_told_with_its_ratio(tmp_path: Path, times: float) -> None:
    sequence = planned_sequence(tracks=2)
    sound = noisy(played(sequence, Deck(1.03)), 20.0, np.random.default_rng(1))
    path = saved(tmp_path / "fast.wav", sound, round(times * RATE_HZ))
    assert find_sequence(path) is None
    found = at_other_speed(path)
    assert found is not None
    assert found.name == sequence.name
    assert found.ratio == pytest.approx(1.03 * times, rel=1e-4)
    assert found.marks == 8
    assert {2.0: " at twice its speed", 0.5: " at half its speed"}[times] in found.says()


def test_noise_is_none(tmp_path: Path) -> None:
    sound = 0.1 * np.random.default_rng(2).standard_normal((60 * RATE_HZ, 2))
    assert at_other_speed(saved(tmp_path / "noise.wav", sound)) is None
