"""What can go wrong: as data about parts, never about signs."""

import tomllib
from dataclasses import fields
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.faults.applied import Fault, applied, imperfections_of, parse_fault
from tapewright.faults.catalogue import FaultKind, catalogue, possible_faults
from tapewright.faults.cautions import CAUTIONS, cautions
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import SOUND, Imperfections, part
from tapewright.words.problem import InputAtFaultError

IMPERFECTIONS = {field.name for field in fields(Imperfections)}
NEEDS = {"opening": "Unplug", "solvent": "Alcohol", "nip": "nip", "oil": "drop", "tar": "gloves", "mains": "licensed"}


@pytest.mark.parametrize("fault", catalogue(), ids=lambda fault: f"{fault.lives_in[0]}-{fault.kind}")
def test_a_fault_changes_imperfections_and_nothing_else(fault: FaultKind) -> None:
    assert set(fault.changes) <= IMPERFECTIONS
    assert imperfections_of(fault, max(fault.severities)) != SOUND
    assert 0 < fault.base_rate < 1
    assert "{part}" in fault.mend
    assert set(fault.hazards) <= set(CAUTIONS)


def test_no_file_of_the_catalogue_names_a_sign() -> None:
    ids = {sign.id for name in shipped_ids() for sign in signs(mechanism(shipped(name)))}
    for entry in files("tapewright.faults.catalogue").iterdir():
        if entry.name.endswith(".toml"):
            rows = tomllib.loads(entry.read_text(encoding="utf-8"))["fault"]
            words = {str(value) for row in rows for value in row.values()} | {key for row in rows for key in row}
            assert not words & ids
            assert not {"sign", "signs", "symptom", "observation"} & words


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_look_and_every_repair_says_its_cautions(machine_id: str) -> None:
    """Common practice: opening wants the plug out, solvents air, the nip no fingers, tar gloves."""
    machine = shipped(machine_id)
    for sign in signs(mechanism(machine)):
        said = " ".join(cautions(sign.hazards))
        assert said
        if sign.opens_case:
            assert NEEDS["opening"] in said
        if "torch into the well" in sign.how.lower() or "swab" in sign.how:
            assert "plug" in said
            assert NEEDS["nip"] in said
        if "sacrificial" in sign.how:
            assert "owner's tape" in said
    for possible in possible_faults(machine):
        mend, said = possible.fault.mend.lower(), " ".join(cautions(possible.fault.hazards))
        if "damp swab" in mend or "degrease" in mend or "clean " in mend:
            assert {"solvent", "oil", "opening"} & set(possible.fault.hazards)
        if "drop of oil" in mend:
            assert NEEDS["oil"] in said
        if "tar " in mend:
            assert NEEDS["tar"] in said
        if "fuse" in mend or "capacitors" in mend:
            assert NEEDS["mains"] in said


def test_a_hazard_without_a_caution_is_an_error() -> None:
    with pytest.raises(KeyError):
        cautions(("thin ice",))


@given(st.floats(0.0, 1.0))
def test_severity_grows_a_fault_from_nothing(severity: float) -> None:
    for fault in catalogue():
        small, large = imperfections_of(fault, severity / 2), imperfections_of(fault, severity)
        for name, at_full in fault.changes.items():
            if not isinstance(at_full, bool):
                none = getattr(SOUND, name)
                assert abs(getattr(small, name) - none) <= abs(getattr(large, name) - none) + 1e-12
    assert imperfections_of(catalogue()[1], 0.0) == SOUND


def test_a_fault_makes_a_new_machine_and_leaves_the_old_one() -> None:
    machine = shipped("four_track")
    worn = applied(machine, [Fault("idler_tyre", "glazed", 1.0)])
    assert part(worn, "idler_tyre").imperfections.grip == pytest.approx(0.13)
    assert part(machine, "idler_tyre").imperfections == SOUND
    assert applied(machine, [Fault("idler_tyre", "glazed", 1.0)]) == worn


def test_old_rubber_is_worse_and_new_rubber_better() -> None:
    machine = shipped("four_track")
    new, usual, old = (possible_faults(machine, age) for age in (5.0, None, 60.0))
    for young, middle, aged in zip(new, usual, old, strict=True):
        assert young.base_rate < middle.base_rate < aged.base_rate < 1.0


@pytest.mark.parametrize(
    ("text", "found", "do"),
    [
        ("capstan_belt", "PART=KIND", "capstan_belt=slack"),
        ("capstan_belt=slck", "'slck'", "missing, slack"),
        ("capstn_belt=slack", "'capstn_belt'", "Did you mean capstan_belt?"),
        ("capstan_belt=slack:much", "'much'", "from 0 to 1"),
        ("capstan_belt=slack:7", "'7'", "from 0 to 1"),
        ("=", "PART=KIND", "for instance"),
    ],
)
def test_a_fault_that_cannot_be_read_is_said_so(text: str, found: str, do: str) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        parse_fault(shipped("four_track"), text)
    (problem,) = caught.value.problems
    assert found in problem.found
    assert do in problem.do


def test_a_fault_with_its_degree_is_read() -> None:
    assert parse_fault(shipped("four_track"), "cam_belt=slack:0.8") == Fault("cam_belt", "slack", 0.8)
