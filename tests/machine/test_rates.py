"""How fast things turn: against printed rates, by surface speeds, by the road from the motor."""

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest

from tapewright.machine.couplings import drive_order, links
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine, shaft
from tapewright.machine.rates import rates, speed_factor, tape_speed
from tapewright.machine.typical import diameter
from tests.machine.altered import renamed, resized, scaled, worn

DESCRIBED = ("four_track", "one_motor_portable")


def turns(machine: Machine, mode: str, name: str) -> float:
    return rates(machine, mode)[name].turns_per_s.value


def printed() -> list[dict[str, str]]:
    with (Path(__file__).parent / "rotation_rates.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.parametrize(
    "row", printed(), ids=lambda row: f"{row['part']}-{row['diameter_mm']}-{row['speed_mm_per_s']}"
)
def test_rates_follow_the_printed_table(row: dict[str, str]) -> None:
    """The table's rates are v / (pi d), without the tape's thickness; printed to four places."""
    machine = shipped("four_track")
    across, speed = float(row["diameter_mm"]) / 1e3, float(row["speed_mm_per_s"]) / 1e3
    tape = replace(machine.tape, speed_m_per_s=speed, thickness_m=0.0)
    if row["part"] == "reel":
        tape = replace(tape, hub_radius_m=across / 2, full_radius_m=across / 2)
        rate = turns(replace(machine, tape=tape), "play", "takeup_reel")
    else:
        rate = turns(resized(replace(machine, tape=tape), row["part"], across), "play", row["part"])
    assert rate == pytest.approx(float(row["rate_hz"]), abs=0.00006)


@pytest.mark.parametrize("machine_id", DESCRIBED)
@pytest.mark.parametrize("mode", ["play", "fast_forward", "rewind"])
def test_surfaces_that_touch_run_at_one_speed(machine_id: str, mode: str) -> None:
    """Walk the couplings: what runs on a belt or a tyre has its surface speed, the belt's at its middle."""
    machine = shipped(machine_id)
    found = rates(machine, mode)
    walked = 0
    for link in links(machine, mode):
        coupling = machine.couplings[link.coupling]
        if coupling.kind not in ("belt", "tyre") or not {link.driver, link.driven} <= set(found):
            continue
        thick = coupling.section_m[1] if coupling.section_m else 0.0
        driver, driven = (
            math.pi * (diameter(machine, name).value + thick) * found[name].turns_per_s.value
            for name in (link.driver, link.driven)
        )
        assert driver == pytest.approx(driven, rel=1e-9)
        walked += 1
    assert walked >= 3


@pytest.mark.parametrize("machine_id", DESCRIBED)
def test_the_road_from_the_motor_and_the_road_from_the_tape_meet(machine_id: str) -> None:
    machine = shipped(machine_id)
    speed = tape_speed(machine)
    assert speed is not None
    # 0.1 %: what the maker of an invented machine may miss by; the diameters' doubt alone is 0.8 %.
    assert speed.value == pytest.approx(machine.tape.speed_m_per_s, rel=1e-3)
    described = machine.rotors["capstan_motor"].turns_per_s
    assert described is not None
    assert turns(machine, "play", "capstan_motor") == pytest.approx(described.value, rel=1e-3)


def test_play_by_hand() -> None:
    """On paper: 95.25 mm/s, capstan 2.5 mm, flywheel 49.7 mm, motor pulley 10 mm, belt 0.5 mm."""
    capstan = 95.25 / (math.pi * 2.516)
    machine = shipped("four_track")
    assert turns(machine, "play", "capstan") == pytest.approx(capstan, rel=1e-9)
    assert turns(machine, "play", "motor_pulley") == pytest.approx(capstan * 50.2 / 10.5, rel=1e-9)
    assert turns(machine, "play", "capstan_motor.commutator") == pytest.approx(3 * capstan * 50.2 / 10.5, rel=1e-9)
    assert turns(machine, "play", "pinch_roller") == pytest.approx(95.25 / (math.pi * 13.0), rel=1e-9)
    assert turns(machine, "play", "cam") == pytest.approx(40 * 7.2 / 25.2 * 0.025, rel=1e-9)


def test_reels_have_both_ends_of_a_side() -> None:
    reel = rates(shipped("four_track"), "play")["takeup_reel"]
    low, high = 95.25 / (2 * math.pi * 23.6), 95.25 / (2 * math.pi * 11.0)
    assert reel.range_per_s == pytest.approx((low, high))
    # In the middle of a side both packs are equal: half of the area each.
    assert reel.turns_per_s.value == pytest.approx(95.25 / (2 * math.pi * math.sqrt((11.0**2 + 23.6**2) / 2)))
    assert rates(shipped("four_track"), "play")["capstan"].range_per_s is None


def test_in_a_wind_the_motor_leads_and_the_other_reel_follows_the_tape() -> None:
    machine = shipped("four_track")
    found = rates(machine, "rewind")
    assert found["reel_motor"].turns_per_s.value == pytest.approx(5 * 800 / 60)
    assert found["supply_reel"].turns_per_s.value == pytest.approx(5 * 800 / 60 * 5 / 30)
    assert found["supply_reel"].range_per_s is None
    driven = found["supply_reel"].turns_per_s.value
    assert found["takeup_reel"].range_per_s == pytest.approx((driven * 11.0 / 23.6, driven * 23.6 / 11.0))


def test_belt_passes_are_surface_speed_over_loop() -> None:
    """Capstan belt of the four-track machine: pulleys 10 and 49.7 mm, axes 58.55 mm apart, belt 0.5 mm thick."""
    machine = shipped("four_track")
    large, small, apart = 25.1, 5.25, math.hypot(58.0, 8.0)
    tilt = math.asin((large - small) / apart)
    loop = 2 * apart * math.cos(tilt) + large * (math.pi + 2 * tilt) + small * (math.pi - 2 * tilt)
    motor = turns(machine, "play", "capstan_motor")
    assert turns(machine, "play", "capstan_belt") == pytest.approx(math.pi * 10.5 * motor / loop, rel=1e-9)


def test_a_belt_of_known_length_and_unknown_places_comes_round_by_its_stretched_loop() -> None:
    """171 mm inside, stretched by the usual 4 %, and pi times 0.6 mm more along its middle."""
    machine = shipped("one_motor_portable")
    rotors = {name: replace(rotor, position_m=None) for name, rotor in machine.rotors.items()}
    found = rates(replace(machine, rotors=rotors), "play")
    loop = 171.0 * 1.04 + math.pi * 0.6
    expected = math.pi * 7.6 * found["motor_pulley"].turns_per_s.value / loop
    assert found["capstan_belt"].turns_per_s.value == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("machine_id", ["four_track_starter", "one_motor_portable_starter"])
def test_a_motor_nobody_measured_winds_at_the_rate_it_plays_at(machine_id: str) -> None:
    machine = shipped(machine_id)
    play, wind = rates(machine, "play"), rates(machine, "fast_forward")
    assert wind["capstan_motor"].turns_per_s == play["capstan_motor"].turns_per_s


def test_a_reel_motor_nobody_measured_winds_in_the_usual_time() -> None:
    machine = shipped("four_track_starter")
    turns_of_tape = (23.6 - 11.0) / 0.016
    assert turns(machine, "rewind", "supply_reel") == pytest.approx(turns_of_tape / 90.0)


def test_nothing_turns_in_idle() -> None:
    assert rates(shipped("four_track"), "idle") == {}
    assert rates(shipped("one_motor_portable"), "stop") == {}
    assert set(rates(shipped("four_track"), "cassette_in")) == {
        "capstan_motor", "capstan_motor.commutator", "motor_pulley", "flywheel", "capstan", "capstan_belt",
    }  # fmt: skip


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_machine_has_rates_and_a_starter_has_more_doubt(machine_id: str) -> None:
    machine = shipped(machine_id)
    play = rates(machine, "play")
    assert {"capstan", "capstan_motor", "takeup_reel", "supply_reel", "pinch_roller"} <= set(play)
    assert {name for name, one in machine.couplings.items() if one.kind == "belt"} & set(play) == {
        name for name in play if play[name].what == "belt"
    }
    doubts = [play[name].turns_per_s.relative_doubt for name in ("capstan", "capstan_motor", "pinch_roller")]
    if machine_id.endswith("_starter"):
        assert min(doubts) > 0.2
        assert play["capstan"].turns_per_s.basis == "typical"
    else:
        assert max(doubts) < 0.02
        assert play["capstan"].turns_per_s.basis == "derived"


def test_doubt_of_the_capstan_is_that_of_its_diameter() -> None:
    # v / (pi (d + t)): 0.02 mm of 2.516 mm, 0.795 %.
    assert rates(shipped("four_track"), "play")["capstan"].turns_per_s.relative_doubt == pytest.approx(
        0.00795, rel=1e-3
    )


# --- worn machines by the same code -----------------------------------------------------------------------------------


def test_residue_on_the_motor_pulley_runs_fast() -> None:
    """0.10 mm all round on the motor pulley of 10 mm under a 0.5 mm belt: 0.2 / 10.5."""
    sound = shipped("four_track")
    machine = worn(sound, "motor_pulley", rate=10.2 / 10.0)
    assert speed_factor(machine) - 1 == pytest.approx(0.2 / 10.5, rel=1e-9)
    assert turns(machine, "play", "capstan") == pytest.approx(12.0505 * (1 + 0.2 / 10.5), rel=1e-4)
    assert turns(machine, "play", "capstan_motor") == pytest.approx(
        turns(shipped("four_track"), "play", "capstan_motor")
    )


def test_residue_on_the_capstan_speeds_the_tape_and_not_the_shaft() -> None:
    machine, sound = worn(shipped("four_track"), "capstan", rate=2.52 / 2.5), shipped("four_track")
    assert speed_factor(machine) - 1 == pytest.approx(0.02 / 2.516, rel=1e-9)
    assert turns(machine, "play", "capstan") == pytest.approx(turns(sound, "play", "capstan"))
    assert turns(machine, "play", "takeup_reel") > turns(sound, "play", "takeup_reel")


def test_a_slow_motor_slows_what_it_drives_and_nothing_else() -> None:
    machine, sound = worn(shipped("four_track"), "capstan_motor", rate=0.97), shipped("four_track")
    for name in ("capstan_motor", "flywheel", "capstan", "pinch_roller", "takeup_reel", "capstan_belt"):
        assert turns(machine, "play", name) == pytest.approx(0.97 * turns(sound, "play", name))
    assert turns(machine, "play", "cam_motor") == turns(sound, "play", "cam_motor")
    assert turns(sound, "play", "capstan") == pytest.approx(12.0505, rel=1e-4)  # the old machine is as it was


def test_a_weak_supply_slows_every_motor() -> None:
    machine, sound = worn(shipped("four_track"), "power_supply", rate=0.9), shipped("four_track")
    for name in ("capstan", "cam_motor"):
        assert turns(machine, "play", name) == pytest.approx(0.9 * turns(sound, "play", name))


# --- symmetries -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", shipped_ids())
@pytest.mark.parametrize("mode", ["play", "rewind"])
def test_names_and_order_change_nothing(machine_id: str, mode: str) -> None:
    machine = shipped(machine_id)
    other, names = renamed(machine)
    before, after = rates(machine, mode), rates(other, mode)
    for key, rate in before.items():
        name, dot, what = key.partition(".")
        same = after[f"{names[name]}{dot}{what}"]
        assert same.turns_per_s.value == pytest.approx(rate.turns_per_s.value, rel=1e-12)
        assert same.turns_per_s.doubt == pytest.approx(rate.turns_per_s.doubt, rel=1e-9)
    assert len(after) == len(before)


@pytest.mark.parametrize("scale", [0.5, 3.0])
def test_scaling_all_lengths_leaves_the_ratios(scale: float) -> None:
    machine = shipped("one_motor_portable")
    large = scaled(machine, scale)
    for one, other in zip(links(machine, "play"), links(large, "play"), strict=True):
        assert other.ratio.value == pytest.approx(one.ratio.value, rel=1e-12)
    for name, rate in rates(machine, "play").items():
        # A position's doubt of half a millimetre does not scale, so only the values are compared.
        assert turns(large, "play", name) == pytest.approx(rate.turns_per_s.value, rel=1e-9)


# --- who turns whom ---------------------------------------------------------------------------------------------------


def test_links_run_outward_from_the_motors() -> None:
    machine = shipped("one_motor_portable")
    assert [(link.driver, link.driven) for link in links(machine, "play")] == [
        ("motor_pulley", "flywheel"),
        ("capstan", "pinch_roller"),
        ("flywheel_groove", "clutch_pulley"),
        ("clutch_pulley", "takeup_reel"),
        ("takeup_reel", "counter"),
    ]
    assert drive_order(machine, "rewind")[:4] == ("capstan_motor", "flywheel", "clutch_pulley", "idler_tyre")


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_driver_turns_before_what_it_drives(machine_id: str) -> None:
    machine = shipped(machine_id)
    for name, mode in machine.modes.items():
        turning = {shaft(machine, motor) for motor in mode.motors} | {
            shaft(machine, reel) for reel in (mode.takes_up, mode.gives) if reel
        }
        for link in links(machine, name):
            assert link.driver_shaft in turning
            turning.add(link.driven_shaft)


def test_signs_tell_the_direction() -> None:
    found = {link.coupling: link.ratio.value for link in links(shipped("four_track"), "play")}
    assert found["capstan_belt"] > 0 > found["nip"]
    # Pulley to tyre to reel table: two turns about make the reel turn as its motor does.
    assert found["reel_drive"] < 0 > found["idler_to_takeup"]


def test_a_nip_may_be_listed_either_way() -> None:
    machine = shipped("four_track")
    nip = replace(machine.couplings["nip"], path=("pinch_roller", "capstan"))
    other = replace(machine, couplings={**machine.couplings, "nip": nip})
    assert turns(other, "play", "pinch_roller") == pytest.approx(turns(machine, "play", "pinch_roller"), rel=1e-12)


def test_a_belt_on_the_back_of_a_pulley_turns_it_the_other_way() -> None:
    machine = shipped("four_track")
    belt = replace(machine.couplings["cam_belt"], sides=(1, -1))
    crossed = replace(machine, couplings={**machine.couplings, "cam_belt": belt})
    ratio = {link.coupling: link.ratio.value for link in links(crossed, "play")}["cam_belt"]
    straight = {link.coupling: link.ratio.value for link in links(machine, "play")}["cam_belt"]
    assert ratio == pytest.approx(-straight)
