"""From sound to rotor: a badly described random machine plays a tone with one bad part, and the bad part is named.

The tone comes from `tests/measure/made.py`, which shares nothing with the measuring; the rates from closed forms.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.diagnose.budget import budget
from tapewright.jobs.examine import hear_all
from tapewright.measure.recording import measure_recording
from tests.diagnose.random_machines import SEGMENTS, Bench, bench
from tests.measure.made import Rotor, broadband, rotors_curve, saved, tone, with_noise

SECONDS = 45.0
SIZES_PCT = (0.3, 0.1, 0.04)
DIP_PCT = 1.0
"""First, second and third order of the bad part; the others have a third of its first order or less."""


def played(one: Bench, folder: Path, seed: int, dips_s: Sequence[float] = ()) -> tuple[Path, str]:
    """Write what the machine plays: one bad part with harmonics, others with one line, noise below, dips if wanted."""
    draw = np.random.default_rng([31, seed])
    rates = {part: hertz for part, hertz in one.truth.rate_hz.items() if 3.0 / SECONDS < hertz < 60.0}
    steady = [part for part in rates if not one.truth.follows.get(part) and apart(part, one)]
    bad, *others = draw.permutation(steady)[:4].tolist()
    shown = [Rotor(order * rates[bad], size, 6.0 * draw.random()) for order, size in enumerate(SIZES_PCT, start=1)]
    shown += [Rotor(rates[part], float(draw.uniform(0.02, 0.1)), 6.0 * draw.random()) for part in others]
    lines, noise = rotors_curve(shown), broadband(SECONDS, 0.02, draw)

    def curve(times: NDArray[np.float64]) -> NDArray[np.float64]:
        dips = sum((np.exp(-(((times - at) / 0.1) ** 2)) for at in dips_s), np.zeros(len(times)))
        return lines(times) + noise(times) - DIP_PCT / 100.0 * dips

    samples, _ = tone(SECONDS, curve, error_pct=one.speed_error_pct)
    return saved(folder / f"{seed}.wav", with_noise(samples, 45.0, draw)), bad


def apart(part: str, one: Bench) -> bool:
    """Tell whether no other part's low order stands within 3 % of a part's first."""
    others = [
        order * hertz
        for other, hertz in one.truth.rate_hz.items()
        for order in (1, 2, 3, SEGMENTS.get(other, 1))
        if other != part
    ]
    return min(abs(one.truth.rate_hz[part] / hertz - 1.0) for hertz in others) > 0.03


@pytest.mark.parametrize("seed", [3, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(100, 110))])
def test_the_bad_part_is_named_from_its_sound(seed: int, tmp_path: Path) -> None:
    one = bench(seed)
    path, bad = played(one, tmp_path, seed)
    (channel,) = measure_recording(path).channels
    items = budget(
        one.described,
        channel.lines,
        channel.speed_error_pct.value,
        weighted_rms_pct=channel.weighted_rms_pct,
    )
    largest = sorted(items, key=lambda item: -item.peak_pct)[:2]
    assert [(item.part, item.order) for item in largest] == [(bad, 1), (bad, 2)]
    assert largest[0].probability > 0.8
    assert largest[0].peak_pct == pytest.approx(SIZES_PCT[0], abs=2 * largest[0].doubt_pct + 0.002)
    shares = [item.share for item in items]
    assert None not in shares
    assert sum(share or 0.0 for share in shares) == pytest.approx(1.0, abs=0.15)


def test_examining_hands_all_of_it_on(tmp_path: Path) -> None:
    """The one pipeline: lines with shares, the picture over the bad part's turns, an event where one was put in."""
    one = bench(5)
    path, bad = played(one, tmp_path, 5, dips_s=(14.0, 31.0))
    (heard,) = hear_all(one.described, [path])
    assert heard.in_angle is not None
    assert heard.in_angle.part == bad
    sizes = np.sqrt(np.nanmean(heard.in_angle.peak_pct**2, axis=0))
    assert float(heard.in_angle.orders[int(np.argmax(sizes))]) == 1.0
    assert heard.in_no_line is not None
    assert [event.kind for event in heard.events] == ["dip", "dip"]
    assert [event.time_s for event in heard.events] == pytest.approx([14.0, 31.0], abs=0.1)  # the start cuts 0.1 s off
    for event in heard.events:
        assert event.depth_pct == pytest.approx(-DIP_PCT, rel=0.2)
