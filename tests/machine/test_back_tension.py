"""Back-tension belts, rim drives and trays as descriptions: what a reel feels, who turns whom, what is missed."""

from dataclasses import replace

import numpy as np
import pytest

from tapewright.machine.asked import hold_back
from tapewright.machine.back_tension import drags_on, holding_belts
from tapewright.machine.couplings import links
from tapewright.machine.force_sizes import force_table
from tapewright.machine.forces import margin
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.machine.reel_drive import reel_losses
from tapewright.words.problem import Problem
from tests.described import Table, as_toml, described, table_of
from tests.machine.altered import worn
from tests.machine.spoilt import problems_in

TRAY = "tray_deck"
GCM_NM = 0.0980665e-3


def held_nm(machine: Machine, mode: str = "play") -> float:
    return float(np.ravel(hold_back(machine, machine.modes[mode], force_table(machine, exact=True)))[0])


def test_a_back_tension_belt_brings_the_felts_torque_to_the_reel() -> None:
    """Closed form: 3 g·cm at a 22 mm pulley, a belt 0.8 mm thick, a reel of 27 mm: 3 x 27.8 / 22.8."""
    machine = shipped(TRAY)
    assert [[step.coupling for step in one.way] for one in drags_on(machine, "supply_reel")] == [["back_tension_belt"]]
    assert holding_belts(machine) == {"back_tension_belt"}
    assert held_nm(machine) == pytest.approx(3.0 * 27.8 / 22.8 * GCM_NM, rel=1e-9)


def test_what_the_belt_cannot_pass_does_not_hold_the_reel() -> None:
    """Conservation: what is felt at the reel is the lesser of what the felt takes and what the belt passes."""
    machine = shipped(TRAY)
    whole = held_nm(machine)
    assert held_nm(worn(machine, "back_tension_belt", present=False)) == 0.0
    assert 0.0 < held_nm(worn(machine, "back_tension_belt", tension=0.1)) < whole
    assert held_nm(worn(machine, "back_tension_belt", tension=0.5)) == pytest.approx(whole)
    assert held_nm(worn(machine, "supply_drag", passes=0.05)) == pytest.approx(0.05 * whole)
    assert margin(machine, "back_tension_belt", "play").ratio.value > 2


def test_a_felt_on_the_reel_itself_is_felt_as_before() -> None:
    for machine_id in ("four_track", "one_motor_portable", "auto_reverse_deck"):
        machine = shipped(machine_id)
        for one in drags_on(machine, machine.modes["play"].gives):
            assert one.way == ()
        assert holding_belts(machine) == frozenset()


def test_the_hold_back_of_a_belt_is_counted_once() -> None:
    """Two roads: what the giving reel loses besides its hold-back is the same with the belt and with a bare reel."""

    def bare(table: Table) -> None:
        del table["couplings"]["back_tension_belt"], table["rotors"]["felt_pulley"]
        table["couplings"]["supply_drag"]["path"] = ["supply_reel"]

    for machine in (shipped(TRAY), described(TRAY, bare)):
        table = force_table(machine, exact=True)
        lost = float(np.ravel(reel_losses(machine, "fast_forward", "supply_reel", table))[0])
        expected = table["shell_hub_friction_usual"] + table["reel_friction"]
        assert lost == pytest.approx(float(expected[0]), rel=1e-12)


def test_a_reel_that_a_motor_turns_as_well_is_not_held_by_that_motors_felt() -> None:
    def with_a_motor(table: Table) -> None:
        table["rotors"]["felt_motor"] = {"kind": "motor"}
        table["rotors"]["felt_pulley"]["on"] = "felt_motor"
        del table["rotors"]["felt_pulley"]["position_mm"]

    assert drags_on(described(TRAY, with_a_motor), "supply_reel") == ()


# --- a wheel on the inside of a rim -----------------------------------------------------------------------------------


def test_on_the_inside_of_a_rim_both_turn_the_same_way_at_one_surface_speed() -> None:
    """Closed form: rims that roll on each other have one surface speed; inside they turn the same way round."""
    machine = shipped("rim_drive_recorder")
    ratio = {link.coupling: link.ratio.value for link in links(machine, "play")}
    assert ratio["motor_to_wheel"] == pytest.approx(-6.45 / 14.0)
    assert ratio["wheel_to_rim"] == pytest.approx(14.0 / 40.0)
    turns = {name: found.turns_per_s.value for name, found in rates(machine, "play").items()}
    assert abs(turns["flywheel"] / turns["capstan_motor"]) == pytest.approx(6.45 / 40.0)
    outside = replace(machine.couplings["wheel_to_rim"], inside=False)
    turned = replace(machine, couplings={**machine.couplings, "wheel_to_rim": outside})
    other = {link.coupling: link.ratio.value for link in links(turned, "play")}
    assert other["wheel_to_rim"] == pytest.approx(-ratio["wheel_to_rim"])


@pytest.mark.parametrize(
    ("at_mm", "fits"), [((18.5, -2.74), True), ((12.0, -3.0), True), ((30.0, -2.74), False), ((12.0, -6.0), False)]
)
def test_a_wheel_that_does_not_reach_the_inside_of_its_rim_is_told(at_mm: tuple[float, float], fits: bool) -> None:
    """Axes 13.0, 11.0, 21.2 and 8.0 mm apart, where radii of 20 and 7 mm want 13."""
    table = table_of("rim_drive_recorder")
    table["rotors"]["drive_wheel"]["position_mm"] = list(at_mm)
    told = [problem.where for problem in problems_in_table(table)]
    assert ("mine.toml, couplings.wheel_to_rim.path" not in told) == fits


def problems_in_table(table: Table) -> tuple[Problem, ...]:
    return problems_in(as_toml(table))


# --- trays ------------------------------------------------------------------------------------------------------------


def spoilt(change: str) -> Table:
    table = table_of(TRAY)
    if change == "no mode":
        del table["modes"]["open_tray"]
    elif change == "no mover":
        del table["lid"]["moved_by"]
    elif change == "unknown mover":
        table["lid"]["moved_by"] = "tray_gaer"
    elif change == "no motor":
        table["modes"]["close_tray"]["motors"] = {"capstan_motor": 1.0}
    elif change == "waits for itself":
        table["sensors"]["tray_switch"]["allows"] = ["close_tray"]
    else:
        table["sensors"]["second_switch"] = {"kind": "tray_switch"}
    return table


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        ("no mode", "modes.open_tray", "missing"),
        ("no mover", "modes.close_tray", "Nothing says what moves the tray"),
        ("unknown mover", "lid.moved_by", 'no rotor named "tray_gaer"'),
        ("no motor", "modes.close_tray.motors", 'No motor turns "tray_gear"'),
        ("waits for itself", "sensors.tray_switch.allows", "cannot wait for its own switch"),
        ("two switches", "sensors.second_switch.kind", "There is a tray switch already"),
    ],
)
def test_a_half_described_tray_is_told(change: str, where: str, said: str) -> None:
    told = problems_in_table(spoilt(change))
    assert [problem for problem in told if problem.where == f"mine.toml, {where}" and said in problem.found]


def test_the_tray_asks_less_of_its_belt_on_the_way_out() -> None:
    machine = shipped(TRAY)
    going_in, coming_out = (margin(machine, "tray_belt", mode).ratio.value for mode in ("close_tray", "open_tray"))
    assert coming_out > 2 * going_in > 2
