"""Starters: the structure of the complete machines, not a single size, and ready to be filled in."""

from dataclasses import replace
from importlib.resources import files

import pytest

from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.machine.starter import complete_text, layouts, starter_text
from tapewright.words.problem import InputAtFaultError

KNOWN = {
    "one_motor_keys", "one_motor_flywheel_cam", "two_motor_idler_solenoid", "two_motor_plus_cam_motor",
    "three_motor_direct_reels", "direct_drive_capstan", "dual_capstan_closed_loop", "auto_reverse_twin",
}  # fmt: skip
"""The eight layouts of the reference notes."""
FROM_STORIES = {"one_motor_reel_belts", "one_motor_rim_drive", "motorised_tray"}
"""Layouts that repair stories tell of and the notes do not have."""


def stripped(machine: Machine) -> Machine:
    """The machine with every size taken out, and with the things that a starter says otherwise."""
    rotors = {
        name: replace(r, diameter=None, turns_per_s=None, segments=0, teeth=0, inertia=None, position_m=None)
        for name, r in machine.rotors.items()
    }
    couplings = {
        name: replace(c, section_m=None, length=None, force=None, torque=None, ratio=None)
        for name, c in machine.couplings.items()
    }
    return replace(machine, id="", title="", source="", limits={}, rotors=rotors, couplings=couplings)


def test_every_known_layout_ships_complete_and_as_a_starter() -> None:
    assert {layout.id for layout in layouts()} == KNOWN | FROM_STORIES
    for layout in layouts():
        assert {layout.machine, f"{layout.machine}_starter"} <= set(shipped_ids())
        assert shipped(layout.machine).layout == shipped(f"{layout.machine}_starter").layout == layout.id
        assert shipped(layout.machine).invented
        assert "nvented" in complete_text(layout.id).splitlines()[0]


@pytest.mark.parametrize("layout", layouts(), ids=lambda layout: layout.machine)
def test_a_starter_is_the_complete_machine_without_sizes(layout: object) -> None:
    machine = layout.machine  # type: ignore[attr-defined]
    starter = shipped(f"{machine}_starter")
    assert starter == replace(stripped(starter), id=starter.id, title=starter.title, source=starter.source)
    assert stripped(starter) == stripped(shipped(machine))
    assert {s.id for s in signs(mechanism(starter))} == {s.id for s in signs(mechanism(shipped(machine)))}


@pytest.mark.parametrize("layout", layouts(), ids=lambda layout: layout.machine)
def test_the_shipped_starters_are_made_from_the_complete_machines(layout: object) -> None:
    machine = layout.machine  # type: ignore[attr-defined]
    file = files("tapewright.machine") / "library" / f"{machine}_starter.toml"
    assert file.read_text(encoding="utf-8") == starter_text(machine)


@pytest.mark.parametrize("layout", layouts(), ids=lambda layout: layout.machine)
def test_with_its_hints_taken_at_their_word_a_starter_is_the_complete_machine(layout: object) -> None:
    """Take every "#" away from in front of a size: what is left must read, and be the invented machine."""
    machine = layout.machine  # type: ignore[attr-defined]
    filled = [
        line.removeprefix("# ") if line.startswith("# ") and " = " in line.partition("  #")[0] else line
        for line in starter_text(machine).splitlines()
        if not line.startswith("#  ")
    ]
    text = "\n".join(filled).replace("# [limits]", "[limits]")
    read, whole = read_machine_text(text, "mine.toml"), shipped(machine)
    assert replace(read, id="", title="", source="") == replace(whole, id="", title="", source="")


def test_a_starter_takes_a_new_id_and_says_what_is_wrong_with_one() -> None:
    assert read_machine_text(starter_text("auto_reverse_twin", "my_deck"), "mine.toml").id == "my_deck"
    with pytest.raises(InputAtFaultError) as caught:
        starter_text("auto_reverse_twin", "my deck")
    assert "my_recorder" in caught.value.problems[0].do


@pytest.mark.parametrize(("asked", "told"), [("auto_revers_twin", '"auto_reverse_twin"?'), ("xyz", "one_motor_keys")])
def test_an_unknown_layout_is_told_with_those_there_are(asked: str, told: str) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        complete_text(asked)
    assert told in caught.value.problems[0].do
