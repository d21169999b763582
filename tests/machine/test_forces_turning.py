"""Wind times, run-down, creep, residue, the filter of flywheel and belt, one belt's forces."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tapewright.machine.all_forces import all_forces
from tapewright.machine.belt_forces import belt_forces, from_shore
from tapewright.machine.doubt import columns, interval, leading
from tapewright.machine.flywheel_filter import flywheel_filter
from tapewright.machine.forces import margin
from tapewright.machine.formulas import belt_resonance, transmissibility
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.rates import speed_factor
from tapewright.machine.speed_changes import creep, residue, tape_thickness
from tapewright.machine.winding import CASSETTES, friction_from_spin_down, spin_down, wind, winds
from tapewright.words.estimate import Estimate
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError
from tests.machine.altered import renamed, worn

# --- winding ----------------------------------------------------------------------------------------------------------


def test_a_governed_wind_by_hand() -> None:
    """2410 rpm over 7.6 / 40.6 and the flywheel's 40 mm on a 32 mm reel: 564 turns a minute, C60 788.3 turns."""
    found = wind(shipped("one_motor_portable"), "rewind")
    reel = 2410 * 7.6 / 40.6 * 40 / 32 / 60
    assert found.time is not None
    assert found.time.value == pytest.approx(788.339 / reel, rel=1e-4)
    longer = wind(shipped("one_motor_portable"), "rewind", "C90")
    assert longer.time is not None
    assert longer.time.value / found.time.value == pytest.approx(1145.17 / 788.339, rel=1e-4)


def test_a_reel_motors_wind_by_a_slow_sum_of_turns() -> None:
    """Oracle: every single turn added up, with the motor's line and the loads written out anew."""
    found = wind(shipped("four_track"), "rewind")
    gcm = 0.0980665e-3
    free, hub, full = 5000 / 6 / 60, 11.0, math.sqrt(121 + 85725 * 0.016 / math.pi)
    seconds = 0.0
    turns = (full - hub) / 0.016
    # The take-up reel gives tape and turns the counter; the drag felt is on the reel that now takes up.
    giving = 0.2e-3 + 6 * gcm + 0.1e-3 * 30.8 / 10.8
    for turn in range(int(turns)):
        r = hub + (turn + 0.5) * 0.016
        load = 0.2e-3 + 6 * gcm + giving * r / math.sqrt(hub**2 + full**2 - r**2)
        at_motor = (load * 16 / 30 + 0.05e-3) * 5 / 16 + 0.05e-3
        seconds += 1 / (free * (1 - at_motor / (50 * gcm)))
    assert found.time is not None
    assert found.time.value == pytest.approx(seconds * turns / int(turns), rel=2e-3)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_wind_times_are_of_the_usual_size(machine_id: str) -> None:
    """60 to 150 s for a C60 and 90 to 220 s for a C90, from memory; no tape is stretched when it stops."""
    for one in winds(shipped(machine_id)):
        assert one.works != "does not wind"
        assert one.time is not None
        low, high = (60, 150) if one.cassette == "C60" else (90, 220)
        assert one.time.high > low
        assert one.time.low < high
        assert one.stall_share.value < 1
        assert set(CASSETTES) == {"C60", "C90"}


def test_a_dead_motor_or_a_glazed_idler_does_not_wind() -> None:
    machine = shipped("four_track")
    assert wind(worn(machine, "idler_tyre", grip=0.35), "rewind").works == "does not wind"
    slow, sound = wind(worn(machine, "supply_reel", drag=9.0), "rewind"), wind(machine, "rewind")
    assert slow.time is None or (sound.time is not None and slow.time.value > sound.time.value)
    assert wind(worn(machine, "reel_drive", present=False), "rewind").time is None
    for mode, cassette in (("play", "C60"), ("pause", "C60"), ("rewind", "C46")):
        with pytest.raises(KeyError):
            wind(machine, mode, cassette)


def test_the_run_down_and_its_inverse_meet() -> None:
    machine = shipped("one_motor_portable")
    took = spin_down(machine, "flywheel")
    turns = 0.047625 / (math.pi * 2.016e-3)
    assert took.value == pytest.approx(20e-6 * 2 * math.pi * turns / 0.5e-3, rel=1e-9)
    assert friction_from_spin_down(machine, "flywheel", took.value).value == pytest.approx(0.5e-3, rel=1e-9)
    assert friction_from_spin_down(machine, "flywheel", 1.5).hangs_on == "stopwatch"
    assert spin_down(worn(machine, "flywheel", drag=2.0), "flywheel").value == pytest.approx(took.value / 2)
    with pytest.raises(KeyError):
        spin_down(machine, "clutch_pulley")


# --- speed ------------------------------------------------------------------------------------------------------------


def test_creep_by_hand() -> None:
    machine = shipped("four_track")
    found = creep(machine)
    assert found is not None
    asked = margin(machine, "capstan_belt", "play").demand_nm
    assert found.total.value == pytest.approx(100 * asked / 5.25e-3 / (4.5e6 * 2e-6), rel=1e-9)
    stiff = creep(worn(machine, "flywheel", drag=3.0))
    assert stiff is not None
    assert stiff.total.value > 1.5 * found.total.value


@pytest.mark.parametrize("rotor", ["motor_pulley", "capstan", "flywheel", "idler_tyre"])
def test_residue_by_the_road_of_worn_machines(rotor: str) -> None:
    """A layer is a larger running diameter: the other road is the imperfection of the part."""
    machine = shipped("four_track")
    size = machine.rotors[rotor].diameter
    assert size is not None
    coated = worn(machine, rotor, rate=1 + 2e-5 / size.value)
    assert residue(machine, rotor, 1e-5).value == pytest.approx(100 * (speed_factor(coated) - 1), abs=1e-9)


def test_tape_thickness_by_hand() -> None:
    """A 2.0 mm shaft, 16 to 12 µm: -0.198 % (worked example, closed form)."""
    assert tape_thickness(shipped("one_motor_portable"), 12e-6).value == pytest.approx(-0.198413, abs=1e-6)
    assert tape_thickness(shipped("one_motor_portable"), 16e-6).value == pytest.approx(0, abs=1e-12)


# --- flywheel and belt ------------------------------------------------------------------------------------------------


def test_the_filter_by_hand() -> None:
    """Two spans of equal length: the closed form with R + t/2, and its transmissibility at the motor's rate."""
    machine = shipped("four_track")
    found = flywheel_filter(machine)
    assert found is not None
    span = math.sqrt(58.0**2 + 8.0**2 - 19.85**2) * 1e-3
    expected = float(belt_resonance(25.1e-3, 4.5e6 * 2e-6, span, 45e-6))
    assert found.resonance.value == pytest.approx(expected, rel=1e-9)
    motor = found.lines[0]
    assert motor.line == "capstan_motor"
    assert motor.passed.value == pytest.approx(float(transmissibility(motor.rate_hz.value / expected, 0.1)), rel=1e-9)
    assert [one.line for one in found.lines] == ["capstan_motor", "capstan_motor.commutator", "capstan_belt"]
    assert found.lines[2].passed.value > 1  # the belt's own pass lies below the resonance


def test_a_stiffer_belt_raises_the_resonance() -> None:
    machine = shipped("four_track")
    belt = replace(machine.couplings["capstan_belt"], section_m=(0.004, 0.001))
    stiff = flywheel_filter(replace(machine, couplings={**machine.couplings, "capstan_belt": belt}))
    plain_one = flywheel_filter(machine)
    assert stiff is not None
    assert plain_one is not None
    assert stiff.resonance.value / plain_one.resonance.value == pytest.approx(math.sqrt(2), rel=0.02)
    assert stiff.lines[0].passed.value > plain_one.lines[0].passed.value


# --- one belt ---------------------------------------------------------------------------------------------------------


def test_a_belts_tensions_add_up() -> None:
    found = belt_forces(shipped("four_track"), "capstan_belt")
    assert found.at_rest.value == pytest.approx(4.5e6 * 2e-6 * 0.04)
    assert found.tight.value + found.slack.value == pytest.approx(2 * found.at_rest.value)
    assert found.lets_go_at == "motor_pulley"
    wrap = math.radians(found.wrap_deg["motor_pulley"].value)
    assert found.grip.value == pytest.approx(math.exp(0.5 * wrap), rel=1e-9)
    assert found.shaft_load.value == pytest.approx(2 * found.at_rest.value * math.sin(wrap / 2), rel=1e-9)
    assert sum(one.value for one in found.wrap_deg.values()) == pytest.approx(360)


def test_rubbers_stiffness_lies_between_the_two_relations() -> None:
    found = from_shore(60)
    assert found.value - found.doubt < 3.60507e6 * 1.05  # Gent, a worked example
    assert found.value + found.doubt == pytest.approx(5.88437e6, rel=1e-5)  # log10 relation, a worked example
    harder = belt_forces(shipped("four_track"), "capstan_belt", given={"capstan_belt.modulus": from_shore(70)})
    assert harder.at_rest.value > belt_forces(shipped("four_track"), "capstan_belt").at_rest.value
    for shore in (20.0, 95.0, float("nan")):
        with pytest.raises(InputAtFaultError):
            from_shore(shore)


# --- intervals and everything together --------------------------------------------------------------------------------


def test_intervals_by_random_draws() -> None:
    """Oracle: 200 000 draws of a b / c with log-normal sizes; the quantiles at 2.5 and 97.5 %."""
    sizes = {"a": Estimate(3.0, 1.5), "b": Estimate(0.5, 0.25), "c": Estimate(1.0, 0.9)}
    table = columns(sizes)
    low, high = interval(table["a"] * table["b"] / table["c"], table)
    draw = np.random.default_rng(5)
    logs = {k: math.log(s.value) + math.asinh(s.doubt / s.value) / 1.96 * draw.standard_normal(200_000) for k, s in
            sizes.items()}  # fmt: skip
    seen = np.quantile(np.exp(logs["a"] + logs["b"] - logs["c"]), [0.025, 0.975])
    assert (low, high) == pytest.approx(tuple(seen), rel=0.03)
    assert leading(table["a"] * table["b"] / table["c"], table)[0] == "c"
    assert leading(table.constant(1.0), table) == ("", 0.0)
    assert interval(table.constant(0.0), table) == (0.0, 0.0)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_all_forces_of_every_machine_can_be_written_down(machine_id: str) -> None:
    found = all_forces(shipped(machine_id))
    assert found.margins
    assert found.motors
    assert {one.belt for one in found.belts} <= set(shipped(machine_id).couplings)
    assert found.pull is not None
    assert plain(found)["take_up"][0]["verdict"] == "takes up"


def test_names_and_order_change_nothing() -> None:
    machine = shipped("four_track")
    other, names = renamed(machine)
    one, same = all_forces(machine), all_forces(other)
    places = zip(one.take_up[0].places, same.take_up[0].places, strict=True)
    assert all(a.spare.value == pytest.approx(b.spare.value, rel=1e-12) for a, b in places)
    times = {(w.mode, w.cassette): w.time.value for w in one.winds if w.time}
    assert {(w.mode, w.cassette): w.time.value for w in same.winds if w.time} == pytest.approx(times)
    assert one.filter is not None
    assert same.filter is not None
    assert same.filter.resonance.value == pytest.approx(one.filter.resonance.value)
    assert same.filter.belt == names[one.filter.belt]
