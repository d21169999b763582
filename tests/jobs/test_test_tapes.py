"""The register of test tapes: read, its mistakes said together, passes counted once, clock and tape in the readings."""

import json
import math
from pathlib import Path

import pytest

from tapewright.jobs.examine import examine, hear_all
from tapewright.jobs.tape_register import STARTER, parse_measuring
from tapewright.jobs.test_tapes import (
    begin_register,
    count_pass,
    looked_at,
    measured_with,
    measuring,
    passes_place,
)
from tapewright.jobs.verdicts import OWN_SHEET, verdicts
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tests.measure import made

RATE_HZ = 8000
REGISTER = """\
# a comment that must stay
schema = 1
[sound_card]
clock_error_ppm = 500.0
clock_doubt_ppm = 100.0
[[tape]]
name = "speed 1"
known = "certificate"
said_by = "an invented certificate"
tone_hz = 3150.0
speed_error_pct = 0.30
speed_doubt_pct = 0.04
passes = 40
[tape.flutter]
weighted_rms_pct = {value = 0.03, doubt = 0.002}
[[tape]]
name = "own"
kind = "this machine"
"""


@pytest.fixture
def register(tmp_path: Path) -> Path:
    path = tmp_path / "measuring.toml"
    path.write_text(REGISTER, "utf-8")
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Recorded 0.30 % high, played 0.50 % fast, and sampled by a clock that is 500 ppm fast."""
    error = 100.0 * (1.003 * 1.005 / (1.0 + 500e-6) - 1.0)
    samples, _ = made.tone(12.0, made.rotors_curve((made.Rotor(4.0, 0.1),)), error_pct=error, rate_hz=RATE_HZ)
    return made.saved(tmp_path / "t.wav", samples, RATE_HZ)


def test_tape_and_clock_are_in_the_reading(register: Path, recording: Path) -> None:
    """Oracle: closed form, the product of three ratios; doubts of clock (0.01 %) and tape (0.04 %) add in power."""
    (heard,) = hear_all(None, [recording], made_with=measured_with("speed 1", register))
    speed = heard.readings["speed_error_pct"]
    assert speed.value == pytest.approx(0.5, abs=1e-4)
    assert speed.doubt == pytest.approx(math.hypot(0.04, 0.01), rel=0.01)
    assert "+500 ± 100 ppm" in speed.conditions
    assert "own speed error, +0.3" in speed.conditions
    rms = heard.readings["weighted_rms_pct"]
    assert rms.value == pytest.approx(math.sqrt(0.0707**2 - 0.03**2), rel=0.005)
    assert heard.test_tape == "speed 1"
    assert any("played 41 times" in note for note in heard.notes)


def test_what_is_told_goes_before_the_register(register: Path) -> None:
    given = measured_with(None, register, 12.0)
    assert (given.clock_error_ppm, given.clock_doubt_ppm, given.tape) == (12.0, 0.0, None)
    assert measured_with(None, register).clock_doubt_ppm == 100.0
    assert measured_with(None, register, None, 5.0).clock_doubt_ppm == 5.0
    with pytest.raises(InputAtFaultError, match="--clock-ppm"):
        measured_with(None, register, 2e4)


def test_a_pass_is_counted_once_for_each_recording(register: Path, recording: Path, tmp_path: Path) -> None:
    before = register.read_bytes()
    for _ in range(3):
        hear_all(None, [recording], made_with=measured_with("speed 1", register))
    copied = tmp_path / "elsewhere.wav"
    copied.write_bytes(recording.read_bytes())
    hear_all(None, [copied], made_with=measured_with("speed 1", register))
    count_pass(measured_with("speed 1", register))
    count_pass(measured_with("own", register), recording)
    assert {one.name: one.passes for one in measuring(register).tapes} == {"speed 1": 42, "own": 1}
    assert {one.name: one.passes for one in looked_at(register, ["own", "own"]).tapes} == {"speed 1": 42, "own": 3}
    assert register.read_bytes() == before, "the register is the user's"
    assert len(json.loads(passes_place(register).read_text("utf-8"))["passes"]) == 5
    assert not list(tmp_path.glob(".*.part"))


def test_a_refused_recording_is_no_pass(register: Path, tmp_path: Path) -> None:
    (tmp_path / "no.wav").write_bytes(b"no sound")
    with pytest.raises(InputAtFaultError):
        hear_all(None, [tmp_path / "no.wav"], made_with=measured_with("speed 1", register))
    assert not passes_place(register).exists()


def test_a_broken_count_is_said(register: Path) -> None:
    passes_place(register).write_text('{"passes": [3]}', "utf-8")
    with pytest.raises(InputAtFaultError, match="no count of passes"):
        measuring(register)


def test_the_register_and_the_tone_must_not_contradict_each_other(register: Path, recording: Path) -> None:
    with pytest.raises(InputAtFaultError, match="registered with 3150 Hz"):
        hear_all(None, [recording], 3000.0, made_with=measured_with("speed 1", register))
    assert hear_all(None, [recording], 3150.0, made_with=measured_with("speed 1", register))


def test_a_tape_made_here_says_nothing_of_speed(register: Path, recording: Path) -> None:
    record = examine(shipped("four_track"), Evidence(), [recording], made_with=measured_with("own", register))
    assert "speed_error_pct" not in record.evidence.readings
    assert record.heard[0].readings["speed_error_pct"].value is None
    assert "speed_error_pct" not in record.heard[0].verdicts


def test_shares_of_a_line_are_of_what_was_read(register: Path, recording: Path) -> None:
    """The one line of this recording is all of its flutter, whatever of it is the machine's."""
    for name in ("speed 1", "own", None):
        (heard,) = hear_all(shipped("four_track"), [recording], made_with=measured_with(name, register))
        (share,) = [item.share for item in heard.budget]
        assert share == pytest.approx(1.0, abs=0.02)


def test_a_wrong_name_is_answered_with_the_right_one(register: Path) -> None:
    with pytest.raises(InputAtFaultError, match="Did you mean speed 1"):
        measured_with("sped 1", register)


def test_no_register_is_no_mistake_until_a_tape_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAPEWRIGHT_DATA", str(tmp_path))
    assert measured_with().tape is None
    with pytest.raises(InputAtFaultError, match="--begin"):
        measured_with("any")
    assert looked_at().tapes == ()
    with pytest.raises(InputAtFaultError, match="--begin"):
        looked_at(None, ["any"])
    place = looked_at(begin=True).place
    assert place is not None
    assert place.parent == tmp_path
    assert measuring().tapes == ()
    with pytest.raises(InputAtFaultError, match="there already"):
        begin_register()
    with pytest.raises(InputAtFaultError, match="is not there"):
        measuring(tmp_path / "other.toml")


def test_the_starter_can_be_filled_in() -> None:
    """The commented example is a register when its marks are taken away."""
    text = "\n".join(
        line.removeprefix("# ") if line.startswith(("# [", "# c", "# n", "# k", "# s", "# t", "# p", "# w")) else line
        for line in STARTER.splitlines()
    )
    (tape,) = parse_measuring(text, "the starter").tapes
    assert (tape.name, tape.kind, tape.known, tape.passes) == ("speed tape 1", "certified", "certificate", 40)
    assert set(tape.flutter) == {"weighted_peak_pct", "weighted_rms_pct"}


MISTAKES = """\
schema = 1
sound = 3
[sound_card]
clock_error_ppm = "much"
[[tape]]
kind = "certifed"
known = "unknown"
speed_error_pct = 0.1
tone_hz = 5
passes = -1
[tape.flutter]
weighted_peek_pct = {value = 0.1, doubt = 0.01}
weighted_rms_pct = {value = -0.1, doubt = 0.01}
[[tape]]
name = "A"
[[tape]]
name = "A"
speed_doubt_pct = 0.1
"""


def test_all_mistakes_are_said_together() -> None:
    with pytest.raises(InputAtFaultError) as caught:
        parse_measuring(MISTAKES, "m.toml")
    said = [str(problem) for problem in caught.value.problems]
    for words in (
        "m.toml, sound:", "sound_card.clock_error_ppm", "tape[0].kind: is 'certifed'. Did you mean certified?",
        "tape[0].name: is missing", "tape[0].speed_doubt_pct: is missing", "tape[0].known: says unknown",
        "tape[0].tone_hz: is 5", "tape[0].passes: is -1", "tape[0].flutter.weighted_peek_pct", "weighted_rms_pct.value",
        'holds "A" twice', "tape[2].speed_error_pct: is missing",
    ):  # fmt: skip
        assert any(words in one for one in said), words


@pytest.mark.parametrize(
    "text", ["", "schema = 2", "schema = 1\ntape = 3", "schema = 1\n[tape", "schema = 1\nsound_card = 1"]
)
def test_what_is_no_register_is_refused(text: str) -> None:
    with pytest.raises(InputAtFaultError):
        parse_measuring(text, "m.toml")


# --- limits -----------------------------------------------------------------------------------------------------------


def test_the_machine_s_own_limits_go_before_the_document() -> None:
    machine = shipped("four_track")
    own = machine.limits["weighted_peak_pct"]
    readings = {"weighted_peak_pct": Reading(own, "%", 0.001), "speed_error_pct": Reading(0.1, "%", 0.01)}
    found = verdicts(machine, readings)
    assert found["weighted_peak_pct"].source == OWN_SHEET
    assert found["weighted_peak_pct"].verdict == "within doubt of the limit"


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        (Reading(0.19, "%", 0.005), "pass"),
        (Reading(0.21, "%", 0.005), "fail"),
        (Reading(0.19, "%", 0.02), "within doubt of the limit"),
        (Reading(0.25, "%", 0.005, interval=(0.0, 0.255)), "within doubt of the limit"),
        (Reading(None, "%", why_not="An upper limit.", interval=(0.0, 0.15)), "pass"),
        (Reading(0.3, "%", 1.0, interval=(0.22, 3.0)), "fail"),
    ],
)
def test_without_a_sheet_the_document_holds(reading: Reading, verdict: str) -> None:
    """DIN 45500 part 4 as quoted: 0.2 % weighted peak."""
    found = verdicts(None, {"weighted_peak_pct": reading, "weighted_rms_pct": reading})
    assert set(found) == {"weighted_peak_pct"}
    assert found["weighted_peak_pct"].verdict == verdict
    assert "DIN 45500 part 4" in found["weighted_peak_pct"].source


def test_what_was_not_read_has_no_verdict() -> None:
    assert verdicts(None, {"speed_error_pct": Reading(None, "%", why_not="No tone.")}) == {}
