"""Closed loop: a capture with a known defect -> one pass -> readings by name -> beliefs that put the right part first.

Oracle: the generator of `tests/measure/capture.py`, which shares no code with the measuring and knows no part of any
machine. Which part ought to lead is common practice, said beside each case.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import functions_of, of_readings
from tapewright.diagnose.network import network, with_functions
from tapewright.jobs.acceptance import SAME_TAPE
from tapewright.jobs.examine import examine
from tapewright.jobs.pass_rates import rates_to_ask
from tapewright.jobs.pass_readings import pass_notes, readings_of
from tapewright.jobs.pass_said import pass_said
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.measure.one_pass import read_sections
from tapewright.measure.one_pass_parts import SectionSound
from tapewright.measure.sequence_finding import FoundSequence
from tapewright.measure.sequence_plan import planned_sequence
from tapewright.words import one_pass as names
from tapewright.words.evidence import Evidence
from tapewright.words.one_pass import Judgement, PassReading, PassSaid
from tapewright.words.reading import Reading
from tapewright.words.record import Heard
from tapewright.words.sequence import AZIMUTH, LEVEL, RESPONSE, SPEED, Section
from tests.described import Table, described
from tests.measure import capture
from tests.measure.capture import MINUTE_RAD, NOMINAL_M_PER_S, Truth, drawn

Dips = tuple[tuple[int, float, float, float], ...]
SPEED_S = 15.0


@cache
def four_tracks() -> Machine:
    """A shipped deck of ordinary speed whose description has four tracks."""

    def altered(table: Table) -> None:
        table["tape"]["tracks"] = 4

    return described("two_motor_deck", altered)


def clean() -> Truth:
    """Nothing wrong: azimuth half a minute off, heads clean, gap as by its sheet."""
    truth = replace(
        drawn(7, 32000.0),
        speed_ratio=1.0,
        angle_rad=0.5 * MINUTE_RAD,
        wander_rad=0.02 * MINUTE_RAD,
        wander_hz=1.9,
        gap_off_m=np.zeros(4),
        spacing_m=np.full(4, 0.03e-6),
        gap_m=1.0e-6,
        gain_db=np.full(4, -12.0),
        inverted=np.zeros(4, dtype=np.bool_),
    )
    np.fill_diagonal(truth.cross, 1.0)
    return truth


def planned() -> list[Section]:
    rows = [(SPEED, SPEED_S, 3150.0, -10.0), (LEVEL, 1.0, 315.0, 0.0)]
    rows += [(AZIMUTH, 1.5, hz, -10.0) for hz in (315.0, 1000.0, 3150.0, 10000.0)]
    rows += [(RESPONSE, 0.6, hz, -20.0) for hz in (315.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10000.0, 12500.0)]
    starts = np.cumsum([0.0, *(row[1] for row in rows)])
    return [Section(kind, float(start), length, (1, 2, 3, 4), hz, (), db)
            for start, (kind, length, hz, db) in zip(starts, rows, strict=False)]  # fmt: skip


def sounds(truth: Truth, dips: Dips) -> Iterator[SectionSound]:
    for section in planned():
        own = dips if section.kind == SPEED else ()
        yield SectionSound(
            section,
            capture.played(
                truth, 7, section.start_s, section.length_s, section.frequency_hz, section.level_db, dips=own
            ),
            truth.speed_ratio,
        )


def heard(truth: Truth, dips: Dips = ()) -> PassSaid:
    found = FoundSequence(planned_sequence(), truth.speed_ratio, (0, 1, 2, 3), (1, 1, 1, 1), (), ())
    return pass_said(found, read_sections(sounds(truth, dips), truth.rate_hz, NOMINAL_M_PER_S))


def leading(said: PassSaid, known: dict[str, Reading] | None = None) -> tuple[str, str, float]:
    """Give the part that explains the pass best, how, and its share."""
    readings = readings_of(four_tracks(), said, known or {})
    net = with_functions(network(four_tracks()), functions_of(four_tracks(), readings))
    beliefs, _ = ranked(net, posterior(net, of_readings(net, readings)))
    return beliefs[0].part, beliefs[0].kind, beliefs[0].explains_complaint


def test_a_clean_pass_accuses_nobody() -> None:
    said = heard(clean())
    readings = readings_of(four_tracks(), said, {})
    part, _, share = leading(said)
    assert share < 0.05, part
    assert readings["azimuth_error_arcmin"].value == pytest.approx(0.5, abs=0.1)
    assert readings["spacing_um"].value == pytest.approx(0.03, abs=0.05)


def spaced(*um: float) -> Truth:
    return replace(clean(), spacing_m=1e-6 * np.array(um))


def swung(hertz: float, minutes: float = 4.0) -> Truth:
    return replace(clean(), wander_rad=minutes * MINUTE_RAD, wander_hz=hertz)


def at_start(reel: str) -> float:
    """The rate of a reel at the start of a side, by hand: speed over the girth of a full or an empty pack."""
    tape = four_tracks().tape
    radius = tape.full_radius_m if reel == "supply_reel" else tape.hub_radius_m
    return tape.speed_m_per_s / (2.0 * math.pi * radius)


def edge_dips(times: list[float], tracks: tuple[int, ...] = (0, 3)) -> Dips:
    return tuple((track, at, 0.05, 14.0) for at in times for track in tracks)


def test_dirt_on_one_inner_track_is_laid_to_the_heads() -> None:
    """Common practice: one track dull, the others clear: a speck on that track's gap."""
    assert leading(heard(spaced(0.03, 1.5, 0.03, 0.03)))[:2] == ("heads", "clogged")


@pytest.mark.slow
def test_dirt_all_over_is_laid_to_the_heads() -> None:
    """Common practice: treble lost on all tracks alike: clean first."""
    assert leading(heard(spaced(0.9, 0.7, 0.8, 1.0)))[:2] == ("heads", "dirty")


@pytest.mark.slow
def test_a_screw_that_was_turned_is_laid_to_the_heads() -> None:
    assert leading(heard(replace(clean(), angle_rad=9.0 * MINUTE_RAD)))[:2] == ("heads", "azimuth")


@pytest.mark.slow
def test_a_long_gap_is_a_worn_head() -> None:
    assert leading(heard(replace(clean(), gap_m=2.1e-6)))[:2] == ("heads", "worn")


def test_what_swings_with_the_pinch_roller_is_laid_to_it() -> None:
    hertz = rates(four_tracks(), "play")["pinch_roller"].turns_per_s.value
    part, kind, share = leading(heard(swung(hertz)))
    assert (part, kind) == ("pinch_roller", "skewed")
    assert share > 0.5


def test_what_swings_with_the_giving_reel_is_laid_to_the_pack_or_its_table() -> None:
    """Common practice: an uneven pack weaves as it comes off; the machine winds the other one."""
    said = heard(swung(at_start("supply_reel")))
    readings = readings_of(four_tracks(), said, {})
    assert readings["azimuth_swing_arcmin:supply_reel"].value == pytest.approx(4.0, rel=0.1)
    assert leading(said)[0] in ("cassette", "supply_reel")
    notes = pass_notes(four_tracks(), channels_of(said, 4), readings)
    assert any("step with take-up reel" in note and "not known" in note for note in notes)
    assert not any("supply reel" in note for note in notes)


def channels_of(said: PassSaid, count: int) -> list[Heard]:
    silent = [Heard("pass.wav", at, {}, {}) for at in range(2, count + 1)]
    return [Heard("pass.wav", 1, {}, {}, one_pass=said), *silent]


def quiet(tracks: tuple[int, ...], speed_m_per_s: float = NOMINAL_M_PER_S) -> PassSaid:
    return PassSaid("sequence", speed_m_per_s, 1.0, tracks, (PassReading(names.AZIMUTH, Reading(0.1, "arcmin", 0.01)),))


def test_a_track_that_is_not_there_is_said_with_what_to_do_next() -> None:
    """Common practice: leads are swapped to tell a dead track from a dead lead."""
    (told,) = [one for one in pass_notes(four_tracks(), channels_of(quiet((1, 2, 4)), 4), {}) if "not found" in one]
    assert told.startswith("Track 3 was not found")
    assert "Swap the lead with that of track 1" in told


def test_two_channels_of_a_four_track_machine_miss_nothing() -> None:
    assert not [one for one in pass_notes(four_tracks(), channels_of(quiet((1, 2)), 2), {}) if "not found" in one]


def test_tracks_that_the_machine_is_not_described_with_move_no_belief_and_are_said() -> None:
    """Four tracks captured for a machine of two: examined all the same, by its own two (by hand)."""
    spaced = tuple(PassReading(names.SPACING, Reading(0.1 * track, "µm", 0.02), track) for track in (1, 2, 3, 4))
    said = PassSaid("sequence", NOMINAL_M_PER_S, 1.0, (1, 2, 3, 4), spaced)
    two = shipped("two_motor_deck")
    found = readings_of(two, said, {})
    assert {name for name in found if name.startswith("track_spacing_um")} == {
        "track_spacing_um:1",
        "track_spacing_um:2",
    }
    assert found["spacing_um"].value == pytest.approx(0.2)
    assert of_readings(network(two), {name: one for name, one in found.items() if one.value is not None})
    (told,) = [one for one in pass_notes(two, channels_of(said, 4), {}) if "moves no belief" in one]
    assert "tracks 3 and 4" in told
    assert not [one for one in pass_notes(four_tracks(), channels_of(said, 4), {}) if "moves no belief" in one]


def test_a_tape_for_another_speed_than_the_description_is_said() -> None:
    notes = pass_notes(four_tracks(), channels_of(quiet((1, 2, 3, 4), 2 * NOMINAL_M_PER_S), 4), {})
    assert any("9.53 cm/s" in one and "4.76 cm/s" in one for one in notes)
    assert not any("cm/s" in one for one in pass_notes(four_tracks(), channels_of(quiet((1, 2, 3, 4)), 4), {}))


def test_a_tape_of_the_machine_itself_says_nothing_of_its_azimuth() -> None:
    """A head is always square to what it recorded: neither nought nor a turned screw may follow from it."""
    said = quiet((1, 2, 3, 4))
    assert readings_of(four_tracks(), said, {})["azimuth_error_arcmin"].value == pytest.approx(0.1)
    none = Judgement(names.AZIMUTH, Reading(None, "arcmin", why_not=SAME_TAPE), None)
    own_tape = readings_of(four_tracks(), replace(said, acceptance=(none,)), {})["azimuth_error_arcmin"]
    assert own_tape.why_not == SAME_TAPE


@pytest.mark.slow
def test_where_in_the_side_is_not_known_the_reels_are_not_cleared_and_a_known_rate_names_one() -> None:
    """In the middle of a side both reels turn at one rate and a supposed start would clear them wrongly."""
    hertz = 1.4 * at_start("supply_reel")
    said = heard(swung(hertz))
    readings = readings_of(four_tracks(), said, {})
    assert readings["azimuth_swing_arcmin:supply_reel"].why_not
    assert readings["azimuth_wander_arcmin"].value == pytest.approx(4.0, rel=0.1)
    known = {"rate_hz:supply_reel@play": Reading(hertz, "Hz", 0.005)}
    with_rate = readings_of(four_tracks(), said, known)
    assert with_rate["azimuth_swing_arcmin:supply_reel"].value == pytest.approx(4.0, rel=0.1)
    assert leading(said, known)[0] in ("cassette", "supply_reel")


def test_edges_that_lift_and_drop_out_are_laid_to_what_drives_the_tape_aside() -> None:
    """Common practice: edge tracks fail where a guide or the roller drives the tape aside, or its edge is hurt."""
    at = [0.9, 1.7, 3.1, 3.6, 5.0, 6.7, 7.3, 9.2, 10.9, 12.1]
    truth = replace(spaced(0.8, 0.03, 0.03, 0.8), angle_rad=4.0 * MINUTE_RAD)
    said = heard(truth, edge_dips(at))
    readings = readings_of(four_tracks(), said, {})
    assert readings["edge_dropouts_per_min"].value == pytest.approx(len(at) * 4.0, rel=0.15)
    assert readings["inner_dropouts_per_min"].value == 0.0
    assert readings["edge_spacing_um"].value == pytest.approx(0.77, abs=0.08)
    part, kind, _ = leading(said)
    assert (part, kind) in (("heads", "guides_bent"), ("pinch_roller", "tilted"))


@pytest.mark.slow
def test_dropouts_of_the_edge_in_step_with_the_giving_reel_are_a_hurt_edge() -> None:
    turn = 1.0 / at_start("supply_reel")
    at = list(np.arange(0.6, SPEED_S - 0.6, turn))
    part, kind, _ = leading(heard(spaced(0.4, 0.03, 0.03, 0.4), edge_dips(at, (0, 3))))
    assert (part, kind) == ("cassette", "edge_damaged")


def test_what_was_never_recorded_over_accuses_no_erase_head() -> None:
    """Whoever only plays the sequence leaves the tone where it was: nothing is said of erasing."""
    about = ("invented", NOMINAL_M_PER_S, 1.0, (1, 2, 3, 4))
    left = {db: PassSaid(*about, (PassReading(names.ERASURE, Reading(db, "dB", 0.5), 1),)) for db in (-0.1, -21.0)}
    reading = {db: readings_of(four_tracks(), said, {})["erasure_db"] for db, said in left.items()}
    assert "recorded over" in str(reading[-0.1].why_not)
    assert reading[-21.0].value == -21.0


def test_a_rate_that_is_hardly_known_is_not_looked_for() -> None:
    known = {"rate_hz:pinch_roller@play": Reading(2.0, "Hz", 1.5)}
    asked = {one.part: one for one in rates_to_ask(four_tracks(), known, NOMINAL_M_PER_S, 15.0)}
    assert asked["pinch_roller"].at_hz == ()
    assert "too little" in asked["pinch_roller"].says
    assert asked["supply_reel"].supposed


@pytest.mark.slow
def test_examining_takes_what_a_pass_said_and_says_of_whom_it_speaks() -> None:
    """The whole job: readings by name in the record, beliefs that follow, a note on the cassette."""
    about = ("invented", NOMINAL_M_PER_S, 1.0, (1, 2, 3, 4))
    said = PassSaid(*about, (PassReading(names.ERASURE, Reading(-21.0, "dB", 0.5), 1),))
    one = Heard("pass.wav", 1, {}, {}, (), (), None, None, (), (), (), one_pass=said)
    record = examine(four_tracks(), Evidence(), heard=[one])
    assert record.evidence.readings["erasure_db"].value == -21.0
    assert record.beliefs[0].part == "electronics"
    assert dict(record.beliefs[0].kinds)["not_erasing"] > 0.5
    assert any("played from" in note for note in record.notes)
