"""A technician's file, right and wrong: what comes back, and what is said about it."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine, read_machine_text
from tapewright.words.problem import InputAtFaultError
from tapewright.words.units import GCM_NM, GF_N
from tests.machine.spoilt import changed, machine_with, problems_in, problems_with, text_of

SMALL = """
schema = 1
[machine]
id = "mine"
[head_base]
lifted_by = "keys"
[rotors.motor]
kind = "motor"
speed_rpm = 2400
[rotors.pulley]
kind = "pulley"
on = "motor"
diameter_mm = 9.5
[rotors.flywheel]
kind = "flywheel"
diameter_mm = 50.0
diameter_mm_doubt = 0.1
[rotors.capstan]
kind = "capstan"
on = "flywheel"
[rotors.roller]
kind = "pinch_roller"
[rotors.left]
kind = "reel_table"
[rotors.right]
kind = "reel_table"
[couplings.belt]
kind = "belt"
path = ["pulley", "flywheel"]
[couplings.nip]
kind = "nip"
path = ["capstan", "roller"]
force_n = 3.4
[couplings.clutch]
kind = "clutch"
path = ["flywheel", "right"]
torque_mnm = 4.9
[couplings.drag]
kind = "drag"
path = ["left"]
torque_gcm = 3
[modes.play]
motors = { motor = 1 }
takes_up = "right"
gives = "left"
at_capstan = true
"""


def said(text: str) -> tuple[str, str, str]:
    (problem,) = problems_in(text)
    return problem.where, problem.found, problem.do


def test_the_smallest_useful_description_is_read_in_si_units() -> None:
    machine = read_machine_text(SMALL, "mine.toml")
    flywheel, pulley = machine.rotors["flywheel"].diameter, machine.rotors["pulley"].diameter
    assert flywheel is not None
    assert pulley is not None
    assert (flywheel.value, flywheel.doubt) == pytest.approx((0.050, 0.0001))
    # Said nowhere, a diameter is as good as a hand-held caliper: 0.02 mm.
    assert (pulley.value, pulley.doubt, pulley.basis) == pytest.approx((0.0095, 0.00002, "described"))
    motor, drag, clutch = machine.rotors["motor"], machine.couplings["drag"], machine.couplings["clutch"]
    assert motor.turns_per_s is not None
    assert motor.turns_per_s.value == pytest.approx(40.0)
    assert drag.torque is not None
    assert clutch.torque is not None
    assert (drag.torque.value, clutch.torque.value) == pytest.approx((3 * GCM_NM, 4.9e-3))


def test_without_a_tape_the_ordinary_one_is_taken() -> None:
    tape = read_machine_text(SMALL, "mine.toml").tape
    assert (tape.speed_m_per_s, tape.tracks) == pytest.approx((0.047625, 2))
    assert (tape.thickness_m, tape.hub_radius_m, tape.full_radius_m) == pytest.approx((16e-6, 11e-3, 23.6e-3))


def test_a_word_that_is_nearly_right_is_recognised() -> None:
    where, found, do = said(SMALL.replace('kind = "flywheel"', 'kind = "fly_wheel"'))
    assert (where, do) == ("mine.toml, rotors.flywheel.kind", 'Did you mean "flywheel"?')
    assert '"fly_wheel"' in found


def test_three_mistakes_are_answered_together() -> None:
    problems = problems_with(
        "four_track",
        ("diameter_mm = 49.7", "diameter_mm = -49.7"),
        ('path = ["cam_pulley", "cam_wheel"]', 'path = ["cam_pully", "cam_wheel"]'),
        ("inertia_kg_mm2", "inertia_kgmm2"),
    )
    assert {problem.where for problem in problems} == {
        "mine.toml, rotors.flywheel.diameter_mm",
        "mine.toml, couplings.cam_belt.path",
        "mine.toml, rotors.flywheel.inertia_kgmm2",
    }
    told = {problem.where.rpartition(".")[2]: problem for problem in problems}
    assert "-49.7" in told["diameter_mm"].found
    assert told["path"].do == 'Did you mean "cam_pulley"?'
    assert 'Did you mean "inertia_kg_mm2"' in told["inertia_kgmm2"].do


def test_a_size_without_its_unit_is_told_which() -> None:
    where, _, do = said(SMALL.replace("diameter_mm = 9.5", "diameter = 9.5"))
    assert where == "mine.toml, rotors.pulley.diameter"
    assert 'Did you mean "diameter_mm"? Every size has its unit in its key.' in do


@pytest.mark.parametrize(
    "value", ["0", "-3.0", "5000.0", "nan", "inf", "-inf", "true", '"9.5"', "[9.5]", "1e999", "{}"]
)
def test_a_size_that_cannot_be_meant_is_a_problem(value: str) -> None:
    where, _, do = said(SMALL.replace("diameter_mm = 9.5", f"diameter_mm = {value}"))
    assert where == "mine.toml, rotors.pulley.diameter_mm"
    assert do


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("schema = 1", "", "schema"),
        ("schema = 1", "schema = 2", "schema"),
        ('id = "mine"', "", "machine.id"),
        ('id = "mine"', 'id = ""', "machine.id"),
        ('kind = "flywheel"', "", "rotors.flywheel.kind"),
        ('kind = "flywheel"', 'kind = "fly_wheel"', "rotors.flywheel.kind"),
        ("schema = 1", "schema = 1\n[tape]\ntracks = 17", "tape.tracks"),
        ('lifted_by = "keys"', "", "head_base.lifted_by"),
        ('path = ["pulley", "flywheel"]', "", "couplings.belt.path"),
        ('path = ["pulley", "flywheel"]', 'path = "flywheel"', "couplings.belt.path"),
        ("speed_rpm = 2400", "speed_rpm = 2400\ncommutator_segments = 2.5", "rotors.motor.commutator_segments"),
        ("diameter_mm = 9.5", "diameter_mm_doubt = 9.5", "rotors.pulley.diameter_mm_doubt"),
        ("force_n = 3.4", "force_n = 3.4\nforce_gf = 350", "couplings.nip.force_n"),
        ("force_n = 3.4", "force_n = 3.4\nwidth_mm = 1.2", "couplings.nip.thickness_mm"),
        ("force_n = 3.4", "force_n = 3.4\nthickness_mm = 1.2", "couplings.nip.width_mm"),
        ("force_n = 3.4", "force_n = 3.4\nswitched = 1", "couplings.nip.switched"),
        ("takes_up", "take_up", "modes.play.take_up"),
        ("motor = 1 ", "motor = 0 ", "modes.play.motors.motor"),
        ("schema = 1", "schema = 1\n[limits]\nweighted_pk_pct = 0.1", "limits.weighted_pk_pct"),
        ("schema = 1", "schema = 1\n[limits]\nazimut_arcmin = 3", "limits.azimut_arcmin"),
        ("schema = 1", "schema = 1\n[limits]\nnoise_a_db = 50", "limits.noise_a_db"),
        ("schema = 1", "schema = 1\n[limits]\nresponse_db = 3", "limits.response_low_hz"),
        ("schema = 1", "schema = 1\n[limits]\nresponse_low_hz = 40\nresponse_db = 3", "limits.response_high_hz"),
        ("schema = 1", "schema = 1\n[rotor]", "rotor"),
        ("schema = 1", "schema = 1\n[tape]\nspeed_cm_per_s = 4.76", "tape.speed_cm_per_s"),
    ],
)
def test_each_mistake_is_told_at_its_key(old: str, new: str, where: str) -> None:
    problems = problems_in(changed(SMALL, (old, new)))
    assert f"mine.toml, {where}" in {problem.where for problem in problems}
    assert all(problem.found and problem.do for problem in problems)


def test_a_syntax_error_is_told_by_line_and_column() -> None:
    where, found, do = said("schema = 1\n[machine]\nid = mine\n")
    assert where == "mine.toml, line 3, column 6"
    assert "id = mine" in found
    assert do


def test_a_decimal_comma_is_recognised() -> None:
    where, _, do = said(SMALL.replace("diameter_mm = 9.5", "diameter_mm = 9,5"))
    assert where.startswith("mine.toml, line ")
    assert do == "Write numbers with a decimal point, not a comma."


@pytest.mark.parametrize("text", ["", "[", "=" * 10, "a = [" * 5000, "x = " + "9" * 5000, "\0", '"' * 7, "[a]\n[a]"])
def test_no_text_brings_it_down(text: str) -> None:
    assert problems_in(text)


JUNK = ["-1", "0", "nan", "true", '"x"', "[]", "{}", "[1, 2]", '["flywheel"]', '"capstan"', "1e999", "1979-05-27"]


@given(st.data())
def test_any_line_may_be_spoilt(data: st.DataObject) -> None:
    """Either a machine or problems, each with a place, a finding and something to do; never anything else."""
    lines = text_of(data.draw(st.sampled_from(shipped_ids()))).splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        key, equals, _ = lines[at].partition(" = ")
        lines[at] = f"{key} = {data.draw(st.sampled_from(JUNK))}" if equals else ""
    for problem in problems_in("\n".join(lines)):
        assert problem.where.startswith("mine.toml")
        assert problem.found
        assert problem.do


def test_order_does_not_matter() -> None:
    head, *tables = SMALL.split("\n[")
    backwards = "\n[".join([head, *tables[::-1]])
    one, other = read_machine_text(SMALL, "mine.toml"), read_machine_text(backwards, "mine.toml")
    assert one.rotors == other.rotors
    assert one.couplings == other.couplings
    assert one.modes == other.modes


# --- from disk --------------------------------------------------------------------------------------------------------


def test_a_path_and_an_id_give_the_same_machine(tmp_path: Path) -> None:
    copy = tmp_path / "four_track.toml"
    copy.write_text(text_of("four_track"), encoding="utf-8")
    assert read_machine(str(copy)) == read_machine("four_track") == shipped("four_track")


def test_windows_line_ends_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    copy = tmp_path / "copy.toml"
    copy.write_bytes(b"\xef\xbb\xbf" + text_of("four_track").replace("\n", "\r\n").encode())
    assert replace(read_machine(str(copy)), source="four_track.toml") == shipped("four_track")


def test_an_unknown_id_is_told_the_shipped_ones() -> None:
    with pytest.raises(InputAtFaultError) as caught:
        read_machine("four_trak")
    (problem,) = caught.value.problems
    assert problem.where == "four_trak"
    assert problem.do.startswith('Did you mean "four_track"?')
    assert all(machine_id in problem.do for machine_id in shipped_ids())


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        ("é".encode("latin-1"), "UTF-8"),
        ("schema = 1".encode("utf-16"), "UTF-16"),
        (b"RIFF\x00\x01", "not a text file"),
        (b"#" * 1_000_001, "1 MB"),
        (b"", "schema"),
    ],
)
def test_a_file_that_is_no_description_is_told_so(tmp_path: Path, raw: bytes, says: str) -> None:
    file = tmp_path / "mine.toml"
    file.write_bytes(raw)
    with pytest.raises(InputAtFaultError) as caught:
        read_machine(str(file))
    assert says in str(caught.value)


@pytest.mark.parametrize("path", ["", ".", "a\0b", "x" * 5000])
def test_a_path_that_is_no_file_is_told_so(path: str) -> None:
    with pytest.raises(InputAtFaultError):
        read_machine(path)


def test_a_number_and_its_doubt_go_together() -> None:
    machine = machine_with("four_track", ("force_gf = 350.0", "force_gf = 350.0\nforce_gf_doubt = 20.0"))
    force = machine.couplings["nip"].force
    assert force is not None
    assert force.doubt == pytest.approx(20.0 * GF_N)
