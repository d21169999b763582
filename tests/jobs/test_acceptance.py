"""The acceptance against closed forms: made-up readings whose verdict is plain; what holds whatever they are."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.acceptance import acceptance, less, spread_of
from tapewright.machine.library import shipped_ids
from tapewright.machine.load import read_machine
from tapewright.machine.parts import Machine
from tapewright.measure.test_tape import THIS_MACHINE, KnownTape
from tapewright.show.acceptance_rows import acceptance_text, judged_rows, not_read, owners_rows
from tapewright.words import one_pass as names
from tapewright.words.one_pass import Judgement, PassReading, PassSaid, summed_up
from tapewright.words.reading import Reading
from tapewright.words.verdict import FAIL, PASS, WITHIN_DOUBT, Verdict

TONES_HZ = (40.0, 250.0, 315.0, 1000.0, 6300.0, 12500.0, 18000.0)


def db(value: float, doubt: float = 0.1) -> Reading:
    return Reading(value, "dB", doubt)


def said(
    angle: float = 1.0,
    response: tuple[float, ...] = (0.0,) * len(TONES_HZ),
    levels: tuple[float, ...] = (-18.0, -18.5),
    crossed: float = -40.0,
    noise: float = -50.0,
    full: Reading | None = None,
    erased: float = -65.0,
    tracks: int = 2,
) -> PassSaid:
    """Give what a pass says, in numbers that the caller knows."""
    listed = [
        PassReading(names.AZIMUTH, Reading(angle, "arcmin", 0.02)),
        PassReading(names.WANDER, Reading(0.5, "arcmin", 0.1)),
    ]
    for track in range(1, tracks + 1):
        listed += [
            PassReading(names.LEVEL, db(levels[track - 1]), track),
            PassReading(names.SCATTER, Reading(0.1, "µm", 0.01), track),
            *(
                PassReading(names.RESPONSE, db(value), track, at_hz=hz)
                for hz, value in zip(TONES_HZ, response, strict=True)
            ),
            PassReading(names.NOISE_A, db(noise), track),
            PassReading(names.NOISE_468, db(noise + 13.0), track),
            PassReading(names.THREE_PERCENT, full or db(4.0), track),
            PassReading(names.THIRD, Reading(1.2, "%", 0.05), track, at_db=0.0),
            PassReading(names.ERASURE, db(erased), track),
            PassReading(names.HUM, db(-55.0), track),
            PassReading(names.DROPOUTS, Reading(4.0, "1/min", 4.0, interval=(1.0, 9.0)), track),
        ]
        listed += [
            PassReading(names.CROSSTALK, db(crossed), track, other, hz)
            for hz in (1000.0, 8000.0) for other in range(1, tracks + 1) if other != track
        ]  # fmt: skip
    return PassSaid("cassette", 0.047625, 1.0, tuple(range(1, tracks + 1)), tuple(listed))


def with_limits(**limits: float) -> Machine:
    return replace(read_machine("four_track"), limits=limits)


def of(judged: tuple[Judgement, ...], name: str) -> list[str | None]:
    return [None if one.verdict is None else one.verdict.verdict for one in judged if one.name == name]


@pytest.mark.parametrize(
    ("pass_said", "name", "verdict"),
    [
        (said(angle=1.0), names.AZIMUTH, PASS),  # 3.6' is 45 degrees at 6.3 kHz; 1' is counted for the tape
        (said(angle=3.0), names.AZIMUTH, WITHIN_DOUBT),
        (said(angle=-5.0), names.AZIMUTH, FAIL),
        (said(levels=(-18.0, -19.5)), names.BALANCE, PASS),
        (said(levels=(-18.0, -20.0)), names.BALANCE, WITHIN_DOUBT),
        (said(levels=(-18.0, -20.5)), names.BALANCE, FAIL),
        (said(response=(0.0, 0.0, 0.0, 0.0, -4.5, -6.5, -20.0)), "response_spread_middle_db", PASS),
        (said(response=(0.0, 0.0, 0.0, 0.0, -4.5, -6.5, -20.0)), "response_spread_db", PASS),
        (said(response=(0.0, 0.0, 0.0, 1.0, -4.5, -6.5, -20.0)), "response_spread_middle_db", FAIL),
        (said(response=(0.0, 0.0, 0.0, 1.0, -4.5, -6.5, -20.0)), "response_spread_db", FAIL),
        (said(crossed=-15.0), names.CROSSTALK, FAIL),
        (said(noise=-52.5), "signal_to_noise_a_db", PASS),
        (said(noise=-51.5), "signal_to_noise_a_db", FAIL),
        (said(erased=-59.95), names.ERASURE, WITHIN_DOUBT),
        (said(erased=-50.0), names.ERASURE, FAIL),
    ],
)
def test_the_document_s_limits(pass_said: PassSaid, name: str, verdict: str) -> None:
    """Limits: DIN 45500 part 4 as quoted (2 dB, 5 dB, 7 dB, 20 dB, 56 dB, 60 dB); azimuth by service practice."""
    found = of(acceptance(pass_said), name)
    assert found[0] == verdict


def test_the_document_says_nothing_of_8_khz() -> None:
    judged = [one for one in acceptance(said()) if one.name == names.CROSSTALK]
    assert {one.at_hz: one.verdict is None for one in judged} == {1000.0: False, 8000.0: True}


@pytest.mark.parametrize(
    ("name", "limit", "verdict"),
    [
        ("azimuth_arcmin", 2.5, PASS), ("azimuth_arcmin", 1.5, WITHIN_DOUBT), ("azimuth_wander_arcmin", 0.3, FAIL),
        ("gap_scatter_um", 0.05, FAIL), ("crosstalk_db", -45.0, FAIL), ("noise_a_db", -45.0, PASS),
        ("noise_468_db", -38.0, FAIL), ("third_harmonic_pct", 1.0, FAIL), ("level_at_three_percent_db", 3.0, PASS),
        ("level_at_three_percent_db", 5.0, FAIL), ("hum_db", -60.0, FAIL), ("dropouts_per_minute", 5.0, WITHIN_DOUBT),
        ("balance_db", 0.2, FAIL), ("erasure_db", -70.0, FAIL),
    ],
)  # fmt: skip
def test_the_machine_s_own_sheet_goes_first(name: str, limit: float, verdict: str) -> None:
    judged = acceptance(said(), with_limits(**{name: limit}))
    found = [one for one in judged if one.name == name]
    assert found[0].verdict is not None
    assert (found[0].verdict.verdict, found[0].verdict.source) == (verdict, "the machine's own sheet")


def test_a_band_of_the_machine_s_own_takes_the_worst_tone() -> None:
    band = {"response_low_hz": 63.0, "response_high_hz": 12500.0, "response_db": 3.0}
    judged = acceptance(said(response=(-9.0, 0.0, 0.0, 1.0, -2.0, -4.0, -20.0)), with_limits(**band))
    (first, _) = [one for one in judged if one.name == names.RESPONSE]
    assert (first.at_hz, of(judged, names.RESPONSE)) == (12500.0, [FAIL, FAIL])
    assert "5 tones from 250 to 12500 Hz stand for 63 to 12500 Hz." in first.notes


def test_a_tone_that_was_not_read_leaves_no_pass() -> None:
    whole = said()
    holed = tuple(
        replace(one, reading=Reading(None, "dB", why_not="The tone is not there."))
        if one.name == names.RESPONSE and one.at_hz == 6300.0
        else one
        for one in whole.readings
    )
    for machine in (None, with_limits(response_low_hz=40.0, response_high_hz=12500.0, response_db=3.0)):
        judged = acceptance(replace(whole, readings=holed), machine)
        assert PASS not in [v for name in (names.RESPONSE, "response_spread_middle_db") for v in of(judged, name)]
        assert any("The tone is not there." in line for line in not_read(judged))


def test_two_sides_of_a_tape_are_two_programmes() -> None:
    """DIN 45500 part 4 as quoted: 60 dB at 1 kHz between programmes, 20 dB within a stereo pair."""
    levels = (-18.0, -18.5, -12.0, -12.5)
    judged = acceptance(said(levels=levels, tracks=4), replace(read_machine("two_motor_deck"), limits={}))
    limits = {one.name: one.verdict.limit for one in judged if one.verdict is not None and one.at_hz == 1000.0}
    assert limits == {names.CROSSTALK: -20.0, "crosstalk_sides_db": -60.0}
    assert of(judged, names.BALANCE) == [PASS, PASS]
    assert of(acceptance(said(levels=levels, tracks=4)), names.BALANCE) == [FAIL]


def test_a_tape_made_on_this_machine_says_nothing_of_its_azimuth() -> None:
    judged = acceptance(said(angle=9.0), None, KnownTape("own", THIS_MACHINE))
    assert of(judged, names.AZIMUTH) == [None]
    assert any("made on this machine itself" in line for line in not_read(judged))


def test_full_level_beyond_what_was_recorded_still_passes() -> None:
    """The level at 3 % lies above 10 dB: 10 and 50 are more than 56, whatever it is."""
    beyond = Reading(None, "dB", why_not="It lies higher.", interval=(10.0, math.inf))
    assert of(acceptance(said(full=beyond, noise=-50.0)), "signal_to_noise_a_db")[0] == PASS
    assert of(acceptance(said(full=beyond, noise=-40.0)), "signal_to_noise_a_db")[0] == WITHIN_DOUBT


@given(st.lists(st.tuples(st.floats(-30, 30), st.floats(0, 3)), min_size=2, max_size=9), st.data())
def test_a_spread_s_interval_holds_every_spread_that_may_be(
    pairs: list[tuple[float, float]], data: st.DataObject
) -> None:
    found = spread_of([db(*pair) for pair in pairs], "spread")
    true = [value + data.draw(st.floats(-1, 1)) * doubt for value, doubt in pairs]
    assert found.interval is not None
    assert found.interval[0] - 1e-9 <= max(true) - min(true) <= found.interval[1] + 1e-9


@given(st.floats(-60, 10), st.floats(0, 3), st.floats(-60, 10), st.floats(0, 3))
def test_a_difference_turns_its_sign_with_the_order(a: float, da: float, b: float, doubt: float) -> None:
    one, other = less(db(a, da), db(b, doubt), ""), less(db(b, doubt), db(a, da), "")
    assert one.value is not None
    assert other.value is not None
    assert (one.value, one.doubt) == (-other.value, other.doubt)


def test_nothing_read_nothing_judged() -> None:
    nothing = PassSaid("cassette", 0.047625, 1.0, (), ())
    assert acceptance(nothing) == ()
    assert summed_up(()) == "No reading could be held against a limit."
    assert acceptance_text(()) == ""


@pytest.mark.parametrize("machine", shipped_ids())
def test_every_shipped_machine_can_be_judged_and_said(machine: str) -> None:
    judged = acceptance(said(), read_machine(machine))
    rows, sources = judged_rows(judged)
    assert {row[-1] for row in rows} == {f"[{number}]" for number in range(1, len(sources) + 1)}
    assert len(rows) == sum(one.verdict is not None for one in judged)
    assert {row[2].split()[0] for row in rows} <= {"✓", "✗", "≈"}
    assert 0 < len(owners_rows(judged)) < len(rows)
    assert all(row[0] in acceptance_text(judged).replace("\n", " ") or len(row[0]) > 28 for row in rows)


def test_what_was_never_recorded_over_is_not_judged() -> None:
    """The sheet of the sequence leaves it open to skip erasing; a machine must not fail for that."""
    found = [one for one in acceptance(said(erased=-0.02)) if one.name == names.ERASURE]
    assert found
    assert all(one.verdict is None and "recorded over" in (one.reading.why_not or "") for one in found)


def test_what_was_not_read_is_counted_beside_what_passes() -> None:
    """By hand: two pass; hum was read as nothing on two tracks; what is only an upper limit was read."""
    kept = Judgement(names.BALANCE, db(0.1, 0.1), Verdict(PASS, 2.0, "dB", "its sheet"), 1)
    none = Reading(None, "dB", why_not="No silent section was found.")
    below = Reading(None, "dB", why_not="Noise.", interval=(-200.0, -70.0))
    judged = [kept, kept, *(Judgement(names.HUM, none, None, track) for track in (1, 2))]
    judged += [Judgement("speed_error_pct", none, None), Judgement(names.ERASURE, below, None, 1)]
    assert summed_up(judged) == (
        "2 of 2 readings that could be read and have a limit pass. 3 were not read: hum, all harmonics; speed error."
    )
    assert summed_up(judged[2:4]) == "No reading could be held against a limit. 2 were not read: hum, all harmonics."
    assert len(not_read(judged)) == 2, "tracks with the same reason together"
