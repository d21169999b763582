"""Evidence read and written whole; the pipeline; repairs between rounds."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from tapewright.faults.applied import Fault
from tapewright.jobs.evidence_file import evidence_json, parse_evidence, read_evidence, write_evidence
from tapewright.jobs.examine import examination_json, examine, findings_json
from tapewright.machine.library import shipped
from tapewright.simulate.recording import simulate
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.whole_file import write_whole

MACHINE = shipped("four_track")

texts = st.text(max_size=12)
observations = st.builds(
    Observation, texts, st.sampled_from([True, False, None]), st.floats(0, 1), texts, texts, st.tuples(texts)
)
numbers = st.floats(-100, 100)
names = st.sampled_from(["speed_error_pct", "drift_pct"])
readings = st.dictionaries(names, st.builds(Reading, numbers, st.just("%"), st.none() | st.floats(0, 10)), max_size=3)


@given(st.builds(Evidence, st.lists(observations, max_size=5).map(tuple), readings, st.none() | st.floats(0, 200)))
def test_evidence_comes_back_as_it_went(evidence: Evidence) -> None:
    assert parse_evidence(json.dumps(evidence_json(evidence)), "there and back") == evidence


def test_all_mistakes_come_back_at_once() -> None:
    text = """{"signs": [{"id": "play_loop", "present": "yes"}, {"present": true, "shure": 1},
               {"id": "x", "present": true, "sure": 2}], "age_years": -4, "sings": []}"""
    with pytest.raises(InputAtFaultError) as caught:
        parse_evidence(text, "e.json")
    where = {problem.where for problem in caught.value.problems}
    assert where == {
        "e.json, signs[0].present", "e.json, signs[1].id", "e.json, signs[1].shure", "e.json, signs[2].sure",
        "e.json, age_years", "e.json, sings",
    }  # fmt: skip
    assert any("Did you mean signs?" in problem.do for problem in caught.value.problems)


def test_readings_come_in_the_units_of_the_bench() -> None:
    """10 mN·m is 102 g·cm and 30 g·cm is 0.42 oz·in, as service papers print them."""
    text = """{"readings": {"take_up_torque_gf_cm@play": {"value": 0.4166, "unit": "oz·in", "doubt": 0.02},
               "hold_back_torque_gf_cm@play": {"value": 10, "unit": "mN m"},
               "pinch_force_gf": {"value": 3.4, "unit": "N"},
               "rate_hz:takeup_reel@play": {"value": 49.4, "unit": "rpm"},
               "wind_time_s@rewind": {"value": null, "why_not": "not tried"}}}"""
    found = parse_evidence(text, "e.json").readings
    assert found["take_up_torque_gf_cm@play"].value == pytest.approx(30.0, rel=1e-3)
    assert found["take_up_torque_gf_cm@play"].doubt == pytest.approx(1.44, rel=1e-2)
    assert found["hold_back_torque_gf_cm@play"].value == pytest.approx(102.0, rel=1e-3)
    assert found["pinch_force_gf"].value == pytest.approx(346.7, rel=1e-3)
    assert found["rate_hz:takeup_reel@play"].value == pytest.approx(0.8233, rel=1e-3)
    assert found["wind_time_s@rewind"].why_not == "not tried"


def test_the_sense_that_took_a_reading_comes_back() -> None:
    row = {"value": 40.1, "unit": "Hz", "doubt": 0.1}

    def by(**more: str) -> str:
        text = json.dumps({"readings": {"rate_hz:capstan_motor@play": row | more}})
        return parse_evidence(text, "here").readings["rate_hz:capstan_motor@play"].by

    assert by() == ""
    assert by(by="film of a wind") == "film of a wind"
    with pytest.raises(InputAtFaultError, match="no sense"):
        by(by="nose")
    kept = Evidence((), {"rate_hz:capstan_motor@play": Reading(40.1, "Hz", 0.1, by="film")})
    assert parse_evidence(json.dumps(evidence_json(kept)), "here") == kept


def test_mistakes_in_readings_come_back_at_once() -> None:
    text = """{"readings": {"speed_eror_pct": {"value": 1, "unit": "%"}, "pinch_force_gf": {"value": 300},
               "drift_pct": {"value": 1, "unit": "Hz"}, "wind_time_s": {"value": 90, "unit": "s"},
               "supply_voltage_v": {"value": 12, "unit": "V", "why_not": "no meter"},
               "pull_at_capstan_gf": {"value": -3, "unit": "gf"}, "line_pct:capstan": {"value": NaN, "unit": "%"},
               "run_on_s:cam_motor": {"value": 1, "unit": "s", "doubt": -1, "dout": 2},
               "weighted_peak_pct": {"value": 0.1, "unit": "%"}, "weighted_peak_pct": {"value": 0.2, "unit": "%"}}}"""
    with pytest.raises(InputAtFaultError) as caught:
        parse_evidence(text, "e.json")
    where = {problem.where.removeprefix("e.json, readings.") for problem in caught.value.problems}
    assert where == {
        "speed_eror_pct", "pinch_force_gf", "drift_pct.unit", "wind_time_s", "supply_voltage_v",
        "pull_at_capstan_gf.value", "line_pct:capstan.value", "run_on_s:cam_motor.doubt", "run_on_s:cam_motor, dout",
        "weighted_peak_pct",
    }  # fmt: skip
    assert any("Did you mean speed_error_pct?" in problem.do for problem in caught.value.problems)


def test_the_example_of_the_manual_can_be_examined() -> None:
    text = (Path(__file__).resolve().parents[2] / "docs" / "evidence.md").read_text(encoding="utf-8")
    example = parse_evidence(text.split("```json\n")[1].split("```")[0], "docs/evidence.md")
    assert len(example.readings) == 5
    assert examine(MACHINE, example).beliefs


def test_a_reading_of_a_part_the_machine_lacks_is_a_problem() -> None:
    readings = {"motor_current_ma:rewind_motor@play": Reading(80.0, "mA")}
    with pytest.raises(InputAtFaultError, match="rewind_motor"):
        examine(MACHINE, Evidence(readings=readings))


def test_what_nothing_explains_stands_in_the_findings() -> None:
    record = examine(MACHINE, Evidence(readings={"take_up_torque_gf_cm@play": Reading(400.0, "g·cm", 5.0)}))
    assert "Nothing that this description holds" in record.notes[0]


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b"\xff\xfe\x00", b"nonsense", b"[" * 100_000, b'{"signs": 3}'])
def test_what_is_no_evidence_file_gets_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "evidence.json"
    path.write_bytes(content)
    with pytest.raises(InputAtFaultError) as caught:
        read_evidence(path)
    assert all(problem.do for problem in caught.value.problems)
    with pytest.raises(InputAtFaultError):
        read_evidence(tmp_path / "absent.json")
    with pytest.raises(InputAtFaultError):
        read_evidence(tmp_path)


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "evidence.json"
    write_evidence(path, Evidence((Observation("play_loop", True),)))
    before = path.read_bytes()
    script = (
        "import os, pathlib, sys; from tapewright.words import whole_file; "
        "whole_file.os.fsync = lambda handle: os._exit(9); "
        "whole_file.write_whole(pathlib.Path(sys.argv[1]), 'x' * 100000)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(path)], check=False)
    assert done.returncode == 9
    assert path.read_bytes() == before


@pytest.mark.skipif(os.name == "nt", reason="a folder is no file on any system, but this one says so in other words")
def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputAtFaultError, match="cannot be written"):
        write_whole(tmp_path / "file" / "evidence.json", "x")


def test_findings_hold_what_scripts_rely_on() -> None:
    record = examine(MACHINE, Evidence((Observation("play_tape_races", True),)))
    shown = json.loads(json.dumps(findings_json(record), allow_nan=False))
    assert {"part", "kind", "out_of_order", "explains_complaint"} <= set(shown["beliefs"][0])
    assert {
        "id", "says", "how", "opens_case", "minutes", "cautions", "why", "expected_saving", "if_yes", "if_no",
    } <= set(shown["next_check"])  # fmt: skip
    assert {
        "action", "part", "size", "minutes", "cost_low", "cost_high", "probability_it_cures", "remeasure",
    } <= set(shown["plan"][0])  # fmt: skip
    total = sum(b["explains_complaint"] for b in shown["beliefs"]) + shown["none_of_these"]
    assert total == pytest.approx(1.0, abs=1e-6)


def tone(path: Path, line_hz: float, peak: float, seconds: float = 12.0) -> Path:
    """Build a test tone from its speed curve: one line, a little hiss."""
    rate = 44100
    t = np.arange(int(rate * seconds)) / rate
    phase = 2 * np.pi * 3150 * (t - peak * np.cos(2 * np.pi * line_hz * t) / (2 * np.pi * line_hz))
    hiss = 0.002 * np.random.default_rng(7).standard_normal(len(t))
    soundfile.write(path, 0.4 * np.sin(phase) + hiss, rate, subtype="PCM_24")
    return path


def test_a_recording_sharpens_what_is_believed(tmp_path: Path) -> None:
    """A wavering pitch alone may be many things; a large line at the pinch roller's rate names it."""
    wavers = Evidence((Observation("play_tape_uneven", True),))
    recording = tone(tmp_path / "wow.wav", line_hz=95.25 / (np.pi * 13.0), peak=0.006)
    before, after = examine(MACHINE, wavers), examine(MACHINE, wavers, [recording])
    share = [next(b.explains_complaint for b in r.beliefs if b.part == "pinch_roller") for r in (before, after)]
    assert share[1] > share[0] + 0.2
    assert after.beliefs[0].part == "pinch_roller"
    shown = examination_json(after)
    assert after.heard[0].budget[0].part == "pinch_roller"
    assert json.dumps(shown, allow_nan=False)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "kind"), [("pinch_roller", "eccentric"), ("capstan", "bent"), ("capstan_belt", "dented")]
)
def test_a_simulated_recording_names_what_was_made_uneven(tmp_path: Path, part: str, kind: str) -> None:
    """From the fault to the sound, to the lines, to the rotor: the other way round than it was made."""
    out = tmp_path / "tone.wav"
    simulate(MACHINE, [Fault(part, kind)], out, duration_s=40.0, seed=3)
    found = examine(MACHINE, Evidence((Observation("play_tape_uneven", True),)), [out])
    assert found.beliefs[0].part == part
    assert found.beliefs[0].out_of_order > 0.8


def test_what_is_renewed_starts_sound_and_the_rest_is_remembered() -> None:
    races, still = Observation("play_tape_races", True), Observation("cassette_in_capstan_still", True)
    oxide = Observation("play_oxide", True)
    first = examine(MACHINE, Evidence((races, still, oxide)))
    renewed = Observation("play_tape_uneven", True, after=("capstan_belt",))
    second = examine(MACHINE, Evidence((races, still, oxide, renewed)))
    bad = [{b.part: b.out_of_order for b in record.beliefs} for record in (first, second)]
    assert bad[0]["capstan_belt"] > 0.95
    assert bad[1]["capstan_belt"] < 0.1
    assert bad[1]["pinch_roller"] > 0.9


def test_a_renewed_part_the_machine_lacks_is_a_problem() -> None:
    with pytest.raises(InputAtFaultError, match="rewind_belt"):
        examine(MACHINE, Evidence((Observation("play_loop", True, after=("rewind_belt",)),)))


def test_an_interval_is_read_and_written_back(tmp_path: Path) -> None:
    """Round trip; an interval with its ends the wrong way round, or one end, is a mistake that is said."""
    uneven = Reading(0.1, "%", 0.3, interval=(0.05, 0.4))
    path = tmp_path / "evidence.json"
    write_evidence(path, Evidence(readings={"weighted_peak_pct": uneven}))
    assert read_evidence(path).readings["weighted_peak_pct"] == uneven
    for wrong in ("[1]", "[2, 1]", '"a"', "[0, null]"):
        path.write_text(
            f'{{"readings": {{"weighted_peak_pct": {{"value": 0.1, "unit": "%", "interval": {wrong}}}}}}}', "utf-8"
        )
        with pytest.raises(InputAtFaultError, match="interval"):
            read_evidence(path)
