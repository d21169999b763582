"""Take-up over the pack, the loop at both speeds, over-drive, the capstan's pull: by hand, and as seen on the bench."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.forces import margin, mode_margins, verdict
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine
from tapewright.machine.tension import TakeUp, capstan_pull, take_up
from tapewright.machine.winding import wind, wind_modes
from tapewright.words.estimate import Estimate
from tapewright.words.units import GCM_NM, GF_N
from tests.machine.altered import resized, worn


def spare_gcm(found: TakeUp) -> list[float]:
    return [one.spare.value / GCM_NM for one in found.places]


def test_the_clutch_by_hand() -> None:
    """50 g·cm is 45 gf on a bare hub and 21 gf at a full pack (worked examples, closed form)."""
    found = take_up(shipped("one_motor_portable"))
    assert [one.tension.value / GF_N for one in found.places] == pytest.approx([45.4545, 27.157, 21.186], abs=0.01)
    counter = 0.1e-3 * 32.8 / 10.8 / GCM_NM
    start = 50 - 6 - 0.2e-3 / GCM_NM - counter - 5 * 1.1
    assert spare_gcm(found)[0] == pytest.approx(start, abs=1e-6)
    assert found.limited_by == "takeup_clutch"
    assert found.places[0].hold is not None
    assert found.places[0].hold.value == pytest.approx(0.25 * 300 / 45.4545, rel=1e-4)


def test_the_drive_of_a_reel_motor_by_hand() -> None:
    """50 g·cm at full voltage, a fifth of it in play, 30 / 5 geared down, on the line to 1000 rpm unloaded."""
    found = take_up(shipped("four_track"))
    reel = 60 * 0.09525 / (2 * math.pi * 0.011)
    line = 50 / 5 * (1 - reel * 6 / 1000)
    friction = 0.05e-3 / GCM_NM
    expected = ((line - friction) * 3.2 - friction) * 30 / 16
    assert found.places[0].torque.value / GCM_NM == pytest.approx(expected, rel=1e-9)
    assert found.input_turns_per_s is not None
    assert found.input_turns_per_s.value * 60 == pytest.approx(1000 / 6)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_sound_machines_take_up(machine_id: str) -> None:
    found = take_up(shipped(machine_id))
    assert found.verdict == "takes up"
    assert all(one.spare.value > 0 for one in found.places)
    assert all(one.spare.assumption for one in found.places)
    assert found.loop is not None
    # Of a starter's gears only the kind is known, so that the doubt may reach a little across.
    assert (found.loop.value if machine_id.endswith("_starter") else found.loop.high) < 0


# --- signatures -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("left", [0.4, 0.36])
def test_weak_take_up_shows_at_the_end_of_a_side(left: float) -> None:
    found = take_up(worn(shipped("one_motor_portable"), "takeup_clutch", passes=left))
    spare = spare_gcm(found)
    assert spare[0] > 0 > spare[2]
    assert found.weakest == "end"
    assert found.verdict in ("may spill", "spills")
    assert "the end of a side" in " ".join(found.says)


def test_a_glazed_idler_in_a_motor_drive_is_weakest_at_the_end_too() -> None:
    found = take_up(worn(shipped("four_track"), "idler_tyre", grip=0.12))
    assert found.weakest == "end"
    assert spare_gcm(found)[2] < 0 or found.verdict != "takes up"


def test_excess_shows_at_the_start_of_a_side() -> None:
    found = take_up(worn(shipped("one_motor_portable"), "takeup_clutch", passes=2.6))
    hold = [one.hold.value for one in found.places if one.hold]
    assert hold[0] < 1 < hold[2]
    assert found.verdict == "may drag the tape"
    assert found.says == (
        "The reel pulls harder than capstan and roller hold at the start of a side: fast and uneven there.",
    )
    seized_and_smooth = worn(worn(shipped("one_motor_portable"), "takeup_clutch", passes=3.0), "nip", grip=0.3)
    assert take_up(seized_and_smooth).verdict == "drags the tape"


def geared_for_4_76() -> Machine:
    """A groove of 4.5 mm: the clutch is turned some 65 times a minute."""
    return resized(shipped("one_motor_portable"), "flywheel_groove", 0.0045)


def test_a_clutch_geared_for_4_76_spills_at_9_5() -> None:
    slow, fast = take_up(geared_for_4_76()), take_up(geared_for_4_76(), speed_m_per_s=0.09525)
    assert slow.input_turns_per_s is not None
    assert fast.input_turns_per_s is not None
    assert 41.3 < slow.input_turns_per_s.value * 60 < 82.7
    assert slow.needed_turns_per_s * 60 == pytest.approx(41.3441, abs=1e-3)  # worked example
    assert fast.needed_turns_per_s * 60 == pytest.approx(82.6882, abs=1e-3)  # worked example
    assert slow.verdict == "takes up"
    assert fast.verdict == "spills"
    assert fast.loop is not None
    assert fast.loop.value == pytest.approx(0.09525 - 2 * math.pi * 0.011 * fast.input_turns_per_s.value, rel=1e-9)
    assert "slower than the tape comes" in fast.says[0]


def test_wind_works_where_play_never_latches() -> None:
    """A cam belt that slips: nothing lifts in play, and both winds, which do not lift anything, go on working."""
    tired = worn(shipped("four_track"), "cam_belt", tension=0.15, grip=0.6)
    assert verdict(margin(tired, "cam_belt", "play")) == "slips"
    for mode in wind_modes(tired):
        assert all(verdict(one) != "slips" for one in mode_margins(tired, mode))
        assert wind(tired, mode).works == "winds"


def test_without_its_clutch_or_motor_nothing_is_taken_up() -> None:
    machine = shipped("one_motor_portable")
    assert take_up(worn(machine, "takeup_clutch", present=False)).verdict == "spills"
    assert take_up(worn(machine, "capstan_motor", works=False)).verdict == "spills"
    undriven = replace(machine.modes["play"], engaged=("nip",))
    found = take_up(replace(machine, modes={**machine.modes, "play": undriven}))
    assert (found.driven_by, found.input_turns_per_s, found.verdict) == ("", None, "spills")


@given(st.floats(0.05, 1.0), st.floats(0.05, 1.0))
def test_a_stronger_clutch_never_leaves_less_to_spare(one: float, other: float) -> None:
    less, more = sorted((one, other))
    machine = shipped("one_motor_portable")
    weak, strong = (take_up(worn(machine, "takeup_clutch", passes=share)) for share in (less, more))
    assert all(a <= b + 1e-12 for a, b in zip(spare_gcm(weak), spare_gcm(strong), strict=True))


@pytest.mark.parametrize("mode", ["fast_forward", "pause"])
def test_take_up_is_asked_of_a_mode_at_the_capstan(mode: str) -> None:
    with pytest.raises(KeyError):
        take_up(shipped("four_track"), mode)


def test_the_capstans_pull_by_hand() -> None:
    found = capstan_pull(shipped("four_track"))
    assert found is not None
    tape_n = (18 * GCM_NM / 11e-3) * math.exp(0.25 * math.radians(10)) + 25 * GF_N * 0.45
    assert found.limit.value == pytest.approx(0.25 * 350 * GF_N)
    assert found.asked.value == pytest.approx(tape_n)
    assert found.margin.value == pytest.approx(0.25 * 350 * GF_N / tape_n)
    assert found.margin.hangs_on == "nip.friction"
    assert capstan_pull(shipped("four_track"), "rewind") is None


# --- verdicts and assumptions -----------------------------------------------------------------------------------------


def test_a_wide_doubt_about_a_large_margin_is_not_a_warning() -> None:
    """The counter belt holds ten times over, doubt about as large: value - doubt lies below nothing."""
    found = margin(shipped("four_track"), "counter_belt", "play")
    assert found.ratio.value - found.ratio.doubt < 0
    assert found.low > 2
    assert verdict(found) == "holds"


def test_verdicts_over_the_interval() -> None:
    found = margin(shipped("four_track"), "idler_to_takeup", "fast_forward")
    assert found.low < found.ratio.value < found.high
    assert found.low * found.high == pytest.approx(found.ratio.value**2)
    assert verdict(replace(found, low=0.9, high=2.0)) == "may slip"
    assert verdict(replace(found, low=0.1, high=0.9)) == "slips"
    assert verdict(replace(found, low=1.0, high=3.0)) == "holds"


def test_the_assumption_is_found_not_written() -> None:
    """A tyre's friction is the largest doubt; once it is measured, the contact force takes its place."""
    machine = shipped("four_track")
    found = margin(machine, "idler_to_takeup", "fast_forward")
    assert found.hangs_on == "idler_to_takeup.friction"
    assert found.assumption.startswith("friction of the idler tyre on the take-up reel, 0.50 ± 0.25, a usual range:")
    measured = {"idler_to_takeup.friction": Estimate(0.5, 0.001), "idler_to_takeup.force": Estimate(1.4, 0.3)}
    after = {m.coupling: m for m in mode_margins(machine, "fast_forward", given=measured)}["idler_to_takeup"]
    assert after.hangs_on == "idler_to_takeup.force"
    assert after.ratio.doubt < found.ratio.doubt
