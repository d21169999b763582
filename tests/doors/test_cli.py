"""The command line, as a script meets it: one JSON document, exit codes, sentences instead of tracebacks."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.described import as_toml, table_of

COMMANDS = {
    "rates": ["rates", "four_track"],
    "forces": ["forces", "four_track"],
    "sizes": ["sizes", "four_track_starter"],
    "signs": ["signs", "one_motor_portable"],
    "faults": ["faults", "one_motor_portable_starter"],
}


def run(*arguments: str | Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tapewright", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, input=typed, encoding="utf-8")


def run_json(*arguments: str | Path, typed: str = "") -> Any:
    done = run(*arguments, "--json", typed=typed)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def refused(*arguments: str | Path) -> str:
    done = run(*arguments)
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    as_json = run(*arguments, "--json")
    assert as_json.returncode == 2
    problems = json.loads(as_json.stdout)["problems"]
    assert all(problem["where"] and problem["found"] and problem["do"] for problem in problems)
    return done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_what_is_printed_for_people_and_for_scripts(name: str) -> None:
    done = run(*COMMANDS[name])
    assert done.returncode == 0, done.stderr
    assert len(done.stdout) > 200
    shown = run_json(*COMMANDS[name])
    assert shown["machine"] == COMMANDS[name][1]


def test_rates_give_name_turns_and_doubt_in_every_mode() -> None:
    """Closed form of our own: a 2.5 mm capstan at 95.25 mm/s under 16 µm tape turns v / (pi (d + t)) = 12.0505 /s."""
    shown = run_json("rates", "four_track")
    assert set(shown["modes"]) == set(table_of("four_track")["modes"])
    capstan = next(row for row in shown["modes"]["play"] if row["name"] == "capstan")
    assert capstan["turns_per_s"] == pytest.approx(12.0505, abs=5e-4)
    assert capstan["doubt"] > 0


def test_rates_name_what_cannot_be_told_apart_and_know_both_speeds() -> None:
    twins = run_json("rates", "four_track")["twins"]["play"]
    assert {("capstan", "flywheel", "shaft")} <= {(t["first"], t["second"], t["why"]) for t in twins}
    slow, fast = run_json("rates", "direct_drive_deck"), run_json("rates", "direct_drive_deck", "--speed", "95.25")
    turns = [next(r["turns_per_s"] for r in s["modes"]["play"] if r["name"] == "capstan") for s in (slow, fast)]
    assert turns[1] == pytest.approx(2 * turns[0])
    assert "47.625" in refused("rates", "direct_drive_deck", "--speed", "19")


def test_signs_and_faults_agree_about_what_there_is() -> None:
    signs, faults = run_json("signs", "four_track"), run_json("faults", "four_track")
    ids = {row["id"] for row in signs["signs"]}
    for row in signs["signs"]:
        assert {"id", "says", "mode", "how", "opens_case", "minutes"} <= set(row)
    for row in faults["faults"]:
        assert 0 < row["base_rate"] < 1
        assert set(row["signs"]) <= ids
    assert len({(row["part"], row["kind"]) for row in faults["faults"]}) == len(faults["faults"])


def test_signs_are_found_by_the_trades_other_words() -> None:
    assert "rewind_weak" in {row["id"] for row in run_json("signs", "four_track", "--find", "slow rew")["signs"]}
    found = {row["id"] for row in run_json("signs", "four_track", "--find", "tire shiny")["signs"]}
    assert "idler_tyre_shiny" in found


def test_diagnose_from_a_file(tmp_path: Path) -> None:
    evidence = tmp_path / "evidence.json"
    evidence.write_text('{"signs": [{"id": "play_tape_races", "present": true}], "age_years": 35}', encoding="utf-8")
    shown = run_json("diagnose", "four_track", "--evidence", evidence)
    assert shown["beliefs"][0]["part"] == "capstan_belt"
    assert shown["next_check"]["opens_case"] is False
    equal = run_json("diagnose", "four_track", "--evidence", evidence, "--equal-base-rates", "0.2")
    assert equal["beliefs"][0]["before"] == pytest.approx(0.2)


def test_a_closed_pipe_is_no_mistake() -> None:
    script = f"{sys.executable} -m tapewright signs four_track | head -1"
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr


def test_ask_listens_and_keeps(tmp_path: Path) -> None:
    evidence = tmp_path / "kept.json"
    done = run("ask", "one_motor_portable", "--evidence", evidence, typed="yes\nno\nwhy\ncan't tell\nundo\nstop\n")
    assert done.returncode == 0, done.stderr
    kept = json.loads(evidence.read_text(encoding="utf-8"))
    assert [row["present"] for row in kept["signs"]] == [True, False]
    shown = run_json("ask", "one_motor_portable", "--evidence", evidence, typed="")
    assert len(shown["evidence"]["signs"]) == 2


# --- what cannot be used ----------------------------------------------------------------------------------------------


def test_three_mistakes_in_a_description_are_three_problems(tmp_path: Path) -> None:
    table = table_of("four_track")
    table["rotors"]["flywheel"]["diameter"] = table["rotors"]["flywheel"].pop("diameter_mm")
    table["couplings"]["cam_belt"]["path"] = ["cam_pully", "cam_wheel"]
    table["modes"]["play"]["hed_base"] = table["modes"]["play"].pop("head_base")
    path = tmp_path / "mine.toml"
    path.write_text(as_toml(table), encoding="utf-8")
    said = refused("rates", path)
    lines = [line for line in said.splitlines() if line]
    for key, do in [
        ("rotors.flywheel.diameter", "diameter_mm"),
        ("couplings.cam_belt.path", "cam_pulley"),
        ("modes.play.hed_base", "head_base"),
    ]:
        (line,) = [line for line in lines if f"{key}:" in line or f"{key}[" in line or f"{key} " in line]
        assert do in line
        assert "mine.toml" in line


def test_a_machine_that_is_not_there() -> None:
    assert "four_track" in refused("rates", "four_trak")
    assert refused("rates", "nowhere/at_all.toml")


@pytest.fixture
def broken(tmp_path: Path) -> dict[str, Path]:
    """Recordings that hold nothing to measure."""
    rate = 44100
    t = np.arange(rate) / rate
    made = {
        name: tmp_path / f"{name}.wav" for name in ("empty", "header", "cut", "zero", "flat", "text", "half", "short")
    }
    made["empty"].write_bytes(b"")
    soundfile.write(made["zero"], np.zeros(rate), rate)
    soundfile.write(made["flat"], np.ones(rate), rate)
    soundfile.write(made["header"], np.zeros(0), rate)
    soundfile.write(made["short"], np.sin(2 * np.pi * 3150 * t), rate)
    made["cut"].write_bytes(made["short"].read_bytes()[:30])
    made["half"].write_bytes(made["short"].read_bytes()[:rate])
    made["text"].write_text("this is no recording\n" * 50, encoding="utf-8")
    return made


@pytest.mark.parametrize("name", ["empty", "header", "cut", "half", "zero", "flat", "text"])
def test_a_recording_that_cannot_be_used_gets_a_sentence(broken: dict[str, Path], name: str) -> None:
    said = refused("measure", broken[name])
    assert broken[name].name in said
    assert said.strip().endswith(".")


def test_no_tone_is_an_answer_and_a_wrong_name_is_not(broken: dict[str, Path], tmp_path: Path) -> None:
    assert run_json("measure", broken["short"])["channels"][0]["tone"]["found"] is False
    refused("measure", tmp_path / "absent.wav")
    refused("measure", tmp_path)
    refused("measure", broken["short"], "--tone", "-5")
    assert run_json("measure", broken["half"], "--accept-truncated")["channels"][0]["notes"]


@pytest.mark.parametrize(
    "arguments",
    [
        ["diagnose", "four_track"],
        ["diagnose", "four_track", "--evidence", "absent.json"],
        ["simulate", "four_track", "--fault", "capstan_belt=melted", "--out", "x.wav"],
        ["simulate", "four_track", "--fault", "belt=slack", "--out", "x.wav"],
        ["bench", "--port", "0"],
        ["examine", "four_track", "--equal-base-rates", "3"],
        ["reates", "four_track"],
        [],
    ],
    ids=lambda arguments: " ".join(arguments[:3]) or "nothing",
)
def test_words_that_make_no_sense_get_a_sentence(arguments: list[str]) -> None:
    assert refused(*arguments)


def test_simulate_writes_the_recording_and_the_truth_and_measure_reads_it(tmp_path: Path) -> None:
    out = tmp_path / "played.wav"
    fault = ["--fault", "pinch_roller=eccentric", "--seconds", "12", "--seed", "4"]
    truth = run_json("simulate", "four_track", *fault, "--out", out)
    assert (
        json.loads(out.with_suffix(".json").read_text(encoding="utf-8"))["speed_error_pct"] == truth["speed_error_pct"]
    )
    channel = run_json("measure", out, "--machine", "four_track")["channels"][0]
    assert channel["speed_error_pct"]["value"] == pytest.approx(truth["speed_error_pct"], abs=0.02)
    assert max(channel["budget"], key=lambda item: item["peak_pct"])["part"] == "pinch_roller"
    assert channel["unexplained_pct"] >= 0


@pytest.mark.slow
def test_the_demonstration_names_both_parts(tmp_path: Path) -> None:
    shown = run_json("demo", "--out", tmp_path / "demo")
    faults = {fault["part"] for fault in shown["truth"]}
    assert len(faults) == 2
    assert {belief["part"] for belief in shown["beliefs"][:2]} == faults
    for path in shown["report"]:
        assert Path(path).stat().st_size > 0
    page = (tmp_path / "demo" / "report.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "http://" not in page.replace("http://www.w3.org", "")


# --- forces and sizes -------------------------------------------------------------------------------------------------


def test_forces_say_what_they_hang_on() -> None:
    shown = run_json("forces", "four_track")
    assert {"margins", "take_up", "pull", "winds", "creep", "filter"} <= set(shown)
    belt = next(m for m in shown["margins"] if m["coupling"] == "capstan_belt" and m["mode"] == "play")
    assert belt["low"] < belt["ratio"]["value"] < belt["high"]
    assert belt["assumption"]
    text = run("forces", "four_track_starter").stdout
    assert "Take-up in play" in text


def test_a_belt_is_sized_from_string_and_old_belt_and_found_in_stock(tmp_path: Path) -> None:
    """Trade pages: a square belt's length is the string's over 1.06; a flat one's over 1.04 (from memory)."""
    stock = tmp_path / "stock.csv"
    stock.write_text(
        "item,kind,inside_length_mm,width_mm,thickness_mm,count,price\n"
        "flat 208,flat belt,208,4,0.5,2,4.5\nflat 240,flat belt,240,4,0.5,2,4.5\n",
        encoding="utf-8",
    )
    shown = run_json("sizes", "four_track", "--string", "capstan_belt=217", "--near", "capstan_belt=200,4x0.6",
                     "--stock", stock)  # fmt: skip
    string = next(road for road in shown["belts"][0]["roads"] if road["road"] == "string")
    assert string["length"]["value"] * 1e3 == pytest.approx(217 / 1.04, abs=0.1)
    best = shown["stock"]["capstan_belt"]
    assert [match["fits"] for match in best] == ["fits", "does not fit"]
    assert shown["near"][0]["tape_speed"]["value"] > 0.5  # a thicker belt runs fast
    starter = run_json("sizes", "four_track_starter", "--string", "cam_belt=4.5 in")
    assert starter["belts"][0]["length"]["value"] * 1e3 == pytest.approx(4.5 * 25.4 / 1.06, abs=0.1)


@pytest.mark.parametrize(
    ("option", "value"),
    [("--string", "capstan_belt"), ("--string", "no_belt=200"), ("--string", "capstan_belt=-3"),
     ("--string", "cam_belt=30 m"),
     ("--old", "cam_belt=100:width"), ("--near", "capstan_belt=200,x"), ("--stock", "absent.csv")],
)  # fmt: skip
def test_sizes_that_cannot_be_meant(option: str, value: str) -> None:
    assert refused("sizes", "four_track", option, value)


# --- describing a machine ---------------------------------------------------------------------------------------------


def test_a_machine_is_started_checked_and_drawn(tmp_path: Path) -> None:
    mine = tmp_path / "attic_find.toml"
    layouts = run_json("machine", "layouts")["layouts"]
    assert len(layouts) == 11
    for layout in layouts:
        assert layout["says"]
    run_json("machine", "new", "two_motor_plus_cam_motor", "--out", mine)
    assert "already" in refused("machine", "new", "two_motor_plus_cam_motor", "--out", mine)
    assert run_json("machine", "check", mine) == {"machine": "attic_find", "problems": [], "remarks": []}
    text = mine.read_text(encoding="utf-8")
    mine.write_text(text.replace('kind = "flywheel"', 'kind = "flywheeel"', 1), encoding="utf-8")
    assert "Did you mean" in refused("machine", "check", mine)
    mine.write_text(text, encoding="utf-8")
    picture = tmp_path / "attic_find.svg"
    run_json("machine", "draw", mine, "--out", picture)
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    assert run_json("diagnose", mine, "--evidence", _empty(tmp_path))["next_check"]["id"]


def _empty(folder: Path) -> Path:
    path = folder / "nothing_yet.json"
    path.write_text("{}", encoding="utf-8")
    return path


def test_a_machine_command_without_its_object_says_so() -> None:
    assert "needs FILE" in refused("machine", "check")
    assert "no such layout" in refused("machine", "new", "three_motors").lower()
    assert refused("machine", "draw", "four_track", "--mode", "dance")


def test_the_schema_is_one_for_editors() -> None:
    assert run_json("machine", "schema")["$schema"].startswith("https://json-schema.org/draft/2020-12")
