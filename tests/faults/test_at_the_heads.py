"""What imperfections leave of the contact between tape and heads: printed figures, closed forms, other descriptions.

Published figures: spacing 54.6 d/λ (R. L. Wallace, Bell Syst. Tech. J. 30, 1951); gap by Eargle's 1.11; azimuth losses
of a 0.6 mm track at 4.76 cm/s, closed form; where the first null of a gap lies, λ = 1.12 g (as quoted of J. Mallinson).
"""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.faults.applied import Fault, applied
from tapewright.faults.at_the_heads import edge_drops_per_min, lean_rad, spacing_m, swing_rad, treble_db, wander_rad
from tapewright.faults.consequences import signs_shown
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.faults.tracks_heard import outer_tracks
from tapewright.machine.head_contact import (
    gap_db,
    lean_db,
    spacing_db,
    summed_db,
    tracks_of,
    wavelength_m,
)
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.measure.askew import summed_db as measured_sum_db
from tapewright.measure.losses import azimuth_loss_db, gap_loss_db, spacing_loss_db
from tests.described import Table, described

MINUTE = math.radians(1.0 / 60.0)
SPEED = 0.047625


@pytest.mark.parametrize(
    ("minutes", "frequency_hz", "printed_db"),
    [(1, 1e4, -0.02), (3, 1e4, -0.17), (6, 1e4, -0.70), (10, 1e4, -2.01), (20, 1e4, -9.81), (1, 1.5e4, -0.04),
     (3, 1.5e4, -0.39), (6, 1.5e4, -1.61), (10, 1.5e4, -4.85), (20, 1.5e4, -21.01)],
)  # fmt: skip
def test_azimuth_losses_are_the_tabulated_ones(minutes: float, frequency_hz: float, printed_db: float) -> None:
    """The table for a 0.6 mm track at 4.76 cm/s, computed apart from this program."""
    assert lean_db(minutes * MINUTE, 0.6e-3, SPEED / frequency_hz) == pytest.approx(printed_db, abs=0.006)


def test_a_spacing_of_one_wavelength_costs_what_wallace_gives() -> None:
    assert spacing_db(1e-5, 1e-5) == pytest.approx(-54.6, abs=0.05)


def test_the_first_null_of_a_gap_lies_where_it_is_published() -> None:
    """λ = 1.12 g, as quoted of Mallinson."""
    assert gap_db(1.0e-6, 1.12e-6) < -38.0
    assert gap_db(1.0e-6, 1.5e-6) > -15.0


@given(st.floats(0.0, 2e-6), st.floats(500.0, 12000.0))
def test_the_laws_are_those_that_a_response_is_fitted_with(size_m: float, frequency_hz: float) -> None:
    """A second implementation: the measuring has its own."""
    wave, at = SPEED / frequency_hz, np.array([frequency_hz])
    assert spacing_db(size_m, wave) == pytest.approx(float(spacing_loss_db(at, size_m, SPEED)[0]), abs=1e-9)
    assert gap_db(size_m, wave) == pytest.approx(float(gap_loss_db(at, size_m, SPEED)[0]), abs=1e-6)
    angle = 1000.0 * size_m
    assert lean_db(angle, 0.6e-3, wave) == pytest.approx(float(azimuth_loss_db(at, angle, 0.6e-3, SPEED)[0]), abs=1e-6)
    measured = float(measured_sum_db(at, angle / 4.0, 0.9e-3, SPEED)[0])
    assert summed_db(angle / 4.0, 0.9e-3, wave) == pytest.approx(max(measured, -40.0), abs=1e-6)


def test_one_minute_between_outer_tracks_is_a_seventh_of_a_turn_at_ten_kilohertz() -> None:
    """70.6 degrees, computed apart: the sum of the outer two then loses 20 lg cos(35.3°)."""
    four = tracks_of(replace(shipped("four_track").tape, speed_m_per_s=SPEED))
    assert summed_db(MINUTE, four.apart_m, SPEED / 1e4) == pytest.approx(
        20 * math.log10(math.cos(math.radians(35.3))), abs=0.02
    )


@given(st.integers(1, 16))
def test_tracks_lie_on_the_tape_and_apart(count: int) -> None:
    found = tracks_of(replace(shipped("four_track").tape, tracks=count))
    sides = [(centre - found.width_m / 2, centre + found.width_m / 2) for centre in found.centres_m]
    assert sides[0][0] >= -1e-9
    assert sides[-1][1] <= 3.81e-3 + 1e-9
    assert all(one[1] < other[0] for one, other in pairwise(sides))
    assert set(found.edge) | set(found.inner) == set(range(1, count + 1))
    assert 1 in found.edge


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_the_more_of_a_fault_the_less_treble(one: float, other: float) -> None:
    machine = shipped("two_motor_deck")
    less, more = sorted((one, other))
    for fault in ("dirty", "clogged", "worn", "azimuth"):
        low, high = (treble_db(applied(machine, [Fault("heads", fault, s)])) for s in (less, more))
        assert high <= low + 1e-9


def test_each_part_does_to_the_tape_what_the_trade_says() -> None:
    """Common practice: a screw turned leans; guides lean and lift an edge; dirt stands off; a pack swings its reels."""
    machine = shipped("two_motor_deck")
    bent, turned = (applied(machine, [Fault("heads", kind)]) for kind in ("guides_bent", "azimuth"))
    assert lean_rad(turned) > lean_rad(bent) > 2 * lean_rad(machine)
    assert edge_drops_per_min(bent) > 10 * edge_drops_per_min(turned)
    assert spacing_m(applied(machine, [Fault("heads", "dirty")])) > 1e-6
    pack = applied(machine, [Fault("cassette", "tight_pack")])
    assert swing_rad(pack, "supply_reel") > 10 * swing_rad(pack, "pinch_roller")
    assert swing_rad(pack, "takeup_reel") == swing_rad(machine, "takeup_reel")  # wound by the machine itself
    crooked = applied(machine, [Fault("pinch_roller", "skewed")])
    assert swing_rad(crooked, "pinch_roller") > 10 * swing_rad(crooked, "supply_reel")
    loose = applied(machine, [Fault("supply_drag", "too_low")])
    assert wander_rad(loose) > 2 * wander_rad(machine)


# --- machines that differ by their description alone ------------------------------------------------------------------


def ids(machine: Machine) -> set[str]:
    return {sign.id for sign in signs(mechanism(machine))}


def shown(machine: Machine, part: str, kind: str) -> set[str]:
    usual = {sign.id for sign in signs_shown(machine)}
    return {sign.id for sign in signs_shown(applied(machine, [Fault(part, kind)]))} - usual


def tracks(count: int, mm_per_s: float = 47.625) -> Machine:
    def altered(table: Table) -> None:
        table["tape"]["tracks"] = count
        table["tape"]["speed_mm_per_s"] = mm_per_s
        table["rotors"]["capstan_motor"]["speed_rpm"] *= mm_per_s / 47.625

    return described("two_motor_deck", altered)


def test_a_machine_with_one_track_has_no_outer_one_to_compare() -> None:
    assert "play_outer_dull" not in ids(tracks(1))
    assert "play_outer_dull" in ids(tracks(2)) & ids(tracks(4))


def test_the_further_the_outer_tracks_are_apart_the_sooner_a_swing_is_heard() -> None:
    """Common practice: azimuth is set by the sum of the outermost tracks, since it is so sharp."""
    swings = "play_pinch_roller_treble_swings"
    assert swings in shown(tracks(4), "pinch_roller", "skewed")
    assert swings not in shown(tracks(2), "pinch_roller", "skewed")


def test_at_twice_the_speed_the_same_dirt_is_worth_half() -> None:
    slow, fast = (applied(tracks(2, speed), [Fault("heads", "dirty", 0.5)]) for speed in (47.625, 95.25))
    assert treble_db(slow) == pytest.approx(2 * treble_db(fast), rel=0.05)
    assert {"heads_dull"} <= {sign.id for sign in signs_shown(slow)}
    assert "heads_dull" not in {sign.id for sign in signs_shown(fast)}
    assert wavelength_m(fast.tape) == pytest.approx(2 * wavelength_m(slow.tape))


def test_only_what_touches_the_tape_swings_it() -> None:
    """The reel that stands in the middle of nothing, and the motor, have no such sign; rollers and reels have."""
    named = {one.split("_treble_swings")[0].removeprefix("play_") for one in ids(tracks(4)) if "treble_swings" in one}
    assert named == {"pinch_roller", "capstan", "supply_reel", "takeup_reel"}


def test_where_nothing_lifts_no_outer_track_is_dull() -> None:
    assert outer_tracks("no", "flat", "clear") == "clear"
    assert outer_tracks("at_times", "lifts", "one") == "dull"
