"""What a test tape of its own adds to a reading, and what can be taken out again: closed forms and simulation."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.measure.flutter import Flutter
from tapewright.measure.recording import measure_recording
from tapewright.measure.test_tape import (
    CERTIFIED,
    OTHER_MACHINE,
    THIS_MACHINE,
    KnownTape,
    in_power,
    one_pass_factor,
    through_tape,
)
from tapewright.standards.iec_60386 import two_sigma, weighting_response
from tapewright.words.reading import Reading
from tapewright.words.signal import Line
from tests.measure import made

RATE_HZ = 8000


def pct(value: float, doubt: float = 0.0) -> Reading:
    return Reading(value, "%", doubt)


def value(reading: Reading) -> float:
    assert reading.value is not None, reading.why_not
    return reading.value


# --- speed ------------------------------------------------------------------------------------------------------------


def test_speed_of_a_tape_that_is_off(tmp_path: Path) -> None:
    """Oracle: a tone recorded 0.30 % high and played 0.50 % fast stands at 1.0030 * 1.0050 of nominal."""
    samples, _ = made.tone(12.0, error_pct=100.0 * (1.003 * 1.005 - 1.0), rate_hz=RATE_HZ)
    read = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ)).channels[0].speed_error_pct
    found = through_tape({"speed_error_pct": read}, (), KnownTape("A", speed_error_pct=pct(0.3, 0.04)))
    assert value(found["speed_error_pct"]) == pytest.approx(0.5, abs=1e-4)
    assert found["speed_error_pct"].doubt == pytest.approx(math.hypot(read.doubt or 0.0, 0.04) / 1.003, rel=1e-6)
    assert "not taken out" in read.conditions
    assert "not taken out" not in found["speed_error_pct"].conditions


@given(st.floats(-5.0, 5.0), st.floats(-3.0, 3.0), st.floats(0.0, 0.5), st.floats(0.0, 0.5))
def test_speed_comes_back(machine: float, tape: float, doubt: float, own: float) -> None:
    """Round trip: play a tape that is off, take the tape out; the doubt never shrinks below either's own."""
    both = 100.0 * ((1.0 + machine / 100.0) * (1.0 + tape / 100.0) - 1.0)
    read = {"speed_error_pct": pct(both, doubt)}
    found = through_tape(read, (), KnownTape("A", speed_error_pct=pct(tape, own)))["speed_error_pct"]
    assert value(found) == pytest.approx(machine, abs=1e-9)
    assert (found.doubt or 0.0) >= 0.97 * max(doubt, own)


def test_speed_of_a_tape_nobody_knows_is_doubted_by_what_a_recorder_may_be_off() -> None:
    found = through_tape({"speed_error_pct": pct(0.4, 0.03)}, (), KnownTape("A"))["speed_error_pct"]
    assert value(found) == 0.4
    assert found.doubt == pytest.approx(math.hypot(0.03, 2.0))
    assert "from memory" in found.conditions


def test_passes_count_for_speed_only_where_their_effect_is_known() -> None:
    """Oracle: 30 passes since the certificate, 0.002 ± 0.001 % each, are 0.06 ± 0.03 %."""
    tape = KnownTape("A", speed_error_pct=pct(0.1, 0.04), passes=50, passes_then=20)
    assert tape.speed_now_pct == (0.1, 0.04)
    assert "nothing is counted for it" in tape.says()
    worn = replace(tape, speed_per_pass_pct=pct(0.002, 0.001))
    assert worn.speed_now_pct == pytest.approx((0.16, math.hypot(0.04, 0.03)))
    assert "nothing is counted" not in worn.says()


def test_speed_and_drift_of_a_tape_made_here_cannot_be_seen() -> None:
    read = {"speed_error_pct": pct(0.01, 0.01), "drift_pct": pct(0.02, 0.01)}
    found = through_tape(read, (), KnownTape("A", THIS_MACHINE, speed_error_pct=pct(0.0, 0.1)))
    assert found["speed_error_pct"].value is None
    assert "cancels" in (found["speed_error_pct"].why_not or "")
    assert found["drift_pct"].value is None
    assert "+0.02 %" in (found["drift_pct"].why_not or "")


def test_a_reading_that_was_refused_stays_refused() -> None:
    none = Reading(None, "%", why_not="Too short.")
    for kind in (CERTIFIED, OTHER_MACHINE, THIS_MACHINE):
        found = through_tape({"weighted_peak_pct": none, "speed_error_pct": none}, (), KnownTape("A", kind))
        assert set(found.values()) == {none}


# --- in power ---------------------------------------------------------------------------------------------------------


@given(st.floats(0.01, 1.0), st.floats(0.0, 1.0))
def test_rms_adds_in_power(machine: float, tape: float) -> None:
    """Round trip, closed form: hypot(a, b) less b in power is a."""
    found = in_power(pct(math.hypot(machine, tape)), pct(tape), exact=True)
    assert found is not None
    assert found[0] == pytest.approx(machine, rel=1e-6)


def test_doubt_of_what_is_left() -> None:
    """Oracle: first order, (c dc, b db)/a = hypot(0.05*0.001, 0.03*0.002)/0.04, and the larger half of the interval."""
    found = through_tape(
        {"weighted_rms_pct": pct(0.05, 0.001)}, (), KnownTape("A", flutter={"weighted_rms_pct": pct(0.03, 0.002)})
    )["weighted_rms_pct"]
    assert value(found) == pytest.approx(0.04)
    assert found.doubt == pytest.approx(math.hypot(0.05 * 0.001, 0.03 * 0.002) / 0.04, rel=0.05)
    assert "taken out in power" in found.conditions


def test_a_tape_as_bad_as_what_was_read_leaves_an_upper_limit() -> None:
    """Oracle: 0.050 ± 0.004 less 0.049 ± 0.004: the power left is 0.0000990 ± 0.00056, so at most 0.0257 %."""
    own = {"weighted_rms_pct": pct(0.049, 0.004)}
    found = through_tape({"weighted_rms_pct": pct(0.05, 0.004)}, (), KnownTape("A", flutter=own))["weighted_rms_pct"]
    assert found.value is None
    assert found.interval == pytest.approx((0.0, math.sqrt(0.000099 + 2.0 * math.hypot(0.05, 0.049) * 0.004)))
    assert "upper limit" in (found.why_not or "")
    wrong = {"weighted_rms_pct": pct(0.2, 0.004)}
    found = through_tape({"weighted_rms_pct": pct(0.05, 0.004)}, (), KnownTape("A", flutter=wrong))["weighted_rms_pct"]
    assert found.value is None
    assert found.interval is None
    assert "Less was read" in (found.why_not or "")


def test_flutter_of_a_tape_nobody_knows_is_an_upper_limit() -> None:
    found = through_tape({"weighted_peak_pct": pct(0.12, 0.01)}, (), KnownTape("A"))["weighted_peak_pct"]
    assert (found.value, found.doubt) == (0.12, 0.01)
    assert found.interval == pytest.approx((0.0, 0.13))
    assert "upper limit" in found.conditions


def test_two_machines_at_one_rate_are_spoken_of() -> None:
    tape = KnownTape("A", OTHER_MACHINE, "measured", flutter={"weighted_rms_pct": pct(0.03, 0.001)})
    found = through_tape({"weighted_rms_pct": pct(0.05, 0.001)}, (), tape)["weighted_rms_pct"]
    assert "from 0.02 to 0.08 %" in found.conditions


TIMES = np.arange(400 * 600) / 600.0
SHAPES = {
    "sine": math.sqrt(2.0) * np.sin(2.0 * np.pi * 6.31 * TIMES),
    "other sine": math.sqrt(2.0) * np.sin(2.0 * np.pi * 9.77 * TIMES),
    "noise": np.random.default_rng(1).standard_normal(len(TIMES)),
    "other noise": np.random.default_rng(2).standard_normal(len(TIMES)),
}


@pytest.mark.parametrize("machine", ["sine", "noise"])
@pytest.mark.parametrize("tape", ["other sine", "other noise"])
@pytest.mark.parametrize("size", [0.1, 0.3, 0.6, 1.0])
def test_the_interval_of_a_peak_holds_the_machine_alone(machine: str, tape: str, size: float) -> None:
    """Oracle: simulation of two that turn without relation; peaks of two do not add in power, nor plainly."""
    own = size * SHAPES[tape]
    both, alone, true = (100.0 * two_sigma(one) for one in (SHAPES[machine] + own, own, SHAPES[machine]))
    found = in_power(pct(both), pct(alone), exact=False)
    assert found is not None
    assert found[1] <= true * 1.003
    assert true <= found[2] * 1.003


# --- both passes on one machine ---------------------------------------------------------------------------------------


def test_one_line_twice() -> None:
    """Oracle: |1 + exp(i phi)| = 2 |cos(phi/2)|, any phase alike: closed form of the two ends."""
    low, high = one_pass_factor(np.ones(1))
    assert low == pytest.approx(1.0 / (2.0 * math.sin(math.pi / 2.0 * 0.975)), rel=1e-3)
    assert high == pytest.approx(1.0 / (2.0 * math.sin(math.pi / 2.0 * 0.025)), rel=3e-3)


def test_what_is_no_line_adds_in_power() -> None:
    assert one_pass_factor(np.zeros(0)) == pytest.approx((math.sqrt(0.5), math.sqrt(0.5)))


def test_many_lines_are_known_better_than_one() -> None:
    one, half, ten = (one_pass_factor(shares) for shares in (np.ones(1), np.full(1, 0.3), np.full(10, 0.03)))
    assert one[1] - one[0] > half[1] - half[0] > ten[1] - ten[0]


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8, 15, 25])
def test_the_interval_of_one_pass_holds_in_nineteen_of_twenty(count: int) -> None:
    """Oracle: 200 machines of so many lines over a decade and noise, recorded and played in phases drawn at random.

    190 are expected inside; 178 or fewer are seen once in a thousand such trials.
    """
    draw = np.random.default_rng(7)
    inside = 0
    for _ in range(200):
        lines, rest = 10.0 ** draw.uniform(-1.0, 0.0, count), draw.uniform(0.0, 0.3)
        twice = 2.0 * lines * np.abs(np.cos(draw.uniform(0.0, math.pi, count)))
        power = float(np.sum(twice**2)) / 2.0 + 2.0 * rest**2
        low, high = one_pass_factor(twice**2 / 2.0 / power, 4000)
        inside += low <= math.sqrt((float(np.sum(lines**2)) / 2.0 + rest**2) / power) <= high
    assert inside > 178


def test_shares_of_lines_are_those_behind_the_filter() -> None:
    """Oracle: a line of 0.1 % at 20 Hz weighs 0.0507: of a weighted rms of just that, it is all."""
    weight = float(abs(weighting_response(np.array(20.0))))
    lines = (Line(20.0, 0.1, 0.0, 0.0, 0.0),)
    rms = pct(0.1 * weight / math.sqrt(2.0))
    read = {"weighted_rms_pct": rms, "weighted_peak_pct": pct(0.05)}
    found = through_tape(read, lines, KnownTape("A", THIS_MACHINE))
    low, high = one_pass_factor(np.ones(1))
    assert found["weighted_rms_pct"].interval == pytest.approx((low * (rms.value or 0.0), high * (rms.value or 0.0)))
    assert found["weighted_peak_pct"].interval == pytest.approx((low * 0.05, high * 0.05))


def test_recorded_and_played_by_one_machine(tmp_path: Path) -> None:
    """Oracle: a rotor of 0.10 % recorded and played a quarter turn apart stands in the tape with 0.1414 %."""
    passes = (made.Rotor(6.1, 0.1, 0.0), made.Rotor(6.1, 0.1, math.pi / 2.0))
    samples, _ = made.tone(35.0, made.rotors_curve(passes), rate_hz=RATE_HZ)
    channel = measure_recording(made.saved(tmp_path / "t.wav", samples, RATE_HZ)).channels[0]
    names = [name for name in Flutter.__dataclass_fields__ if not name.startswith("flutter_band")]
    read = {name: getattr(channel, name) for name in names}
    found = through_tape(read, channel.lines, KnownTape("A", THIS_MACHINE))
    assert value(read["unweighted_rms_pct"]) == pytest.approx(0.1, rel=0.01)
    assert value(found["unweighted_rms_pct"]) == pytest.approx(0.0707, rel=0.01)
    for name in names:
        interval = found[name].interval
        assert interval is not None
        assert interval[0] == pytest.approx(value(read[name]) / 2.0, rel=0.1), name
        assert interval[1] > 5.0 * value(read[name]), name
        assert "|a - b| to a + b" in found[name].conditions
        assert (found[name].doubt or 0.0) >= interval[1] - value(found[name]) - 1e-9
