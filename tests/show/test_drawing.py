"""The picture of a mechanism holds every part once, to scale, marked and named; read back from its SVG."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from typing import Literal
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.machine.belt_path import belt_path, centres_of, sides_of
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Coupling, Lever, Machine, Solenoid, part_names, shaft
from tapewright.machine.typical import diameter
from tapewright.show.drawing import drawing
from tapewright.show.routes import length as route_length
from tapewright.show.routes import path_of, route
from tapewright.show.scene import scene
from tapewright.show.svg import inlined
from tapewright.words.problem import InputAtFaultError
from tests.show.pictures import SVG, belt_line, group, length, names, overlap, parsed, parts

MACHINES = shipped_ids()
MEASURED = [name for name in MACHINES if all(r.position_m or r.on for r in shipped(name).rotors.values())]
RELATIVE = 1e-6


def suspects_of(machine: Machine) -> dict[str, float]:
    """One of each sort: a rotor, a belt where there is one, another coupling, a sensor, the supply, the head base."""
    couplings = [*belts_of(machine)[:1], next(c.name for c in machine.couplings.values() if c.kind != "belt")]
    named = ("pinch_roller", *couplings, next(iter(machine.sensors)), machine.supply.name, machine.head_base.name)
    return {name: 0.6 / (k + 1) for k, name in enumerate(named)}


def belts_of(machine: Machine) -> list[str]:
    return [c.name for c in machine.couplings.values() if c.kind == "belt"]


def explained(root: Element) -> list[str]:
    """Give the words of the legend."""
    (legend,) = [node for node in root.iter(f"{SVG}g") if node.get("class") == "legend"]
    return [words.text or "" for words in legend.iter(f"{SVG}text")]


def test_one_of_the_machines_has_no_belt() -> None:
    """Else what is said below of a machine without belts is said of none."""
    assert [name for name in MACHINES if not belts_of(shipped(name))]


def shown_always(machine: Machine) -> list[str]:
    """Boards and lid stand beside the mechanism and are drawn when they are suspected."""
    beside = {machine.electronics.name, machine.control_board.name, machine.lid.name}
    return sorted(set(part_names(machine)) - beside)


@pytest.mark.parametrize("name", MACHINES)
def test_every_part_is_there_once(name: str) -> None:
    machine = shipped(name)
    assert sorted(parts(parsed(drawing(machine)))) == shown_always(machine)


@pytest.mark.parametrize("name", MACHINES)
def test_it_says_what_it_is_and_scales(name: str) -> None:
    root = parsed(drawing(shipped(name)))
    assert root.get("role") == "img"
    assert root.get("viewBox")
    assert root.get("width") is None
    by_id = {node.get("id"): node for node in root.iter()}
    title, desc = (by_id[key] for key in (root.get("aria-labelledby") or "").split())
    assert title.tag == f"{SVG}title"
    assert shipped(name).title in (title.text or "")
    assert desc.tag == f"{SVG}desc"
    assert "No part is suspected" in (desc.text or "")


@pytest.mark.slow
@pytest.mark.parametrize("name", MACHINES)
def test_every_mode_can_be_drawn(name: str) -> None:
    machine = shipped(name)
    for mode in machine.modes:
        root = parsed(drawing(machine, mode, with_rates=mode == "play"))
        assert set(machine.rotors) <= set(parts(root))


@pytest.mark.parametrize("name", MACHINES)
def test_names_do_not_overlap(name: str) -> None:
    machine = shipped(name)
    for suspects in ({}, suspects_of(machine)):
        placed = list(names(parsed(drawing(machine, suspects=suspects))))
        clashing = [(a.says, b.says) for a, b in combinations(placed, 2) if a.key != b.key and overlap(a, b)]
        assert clashing == []
        assert len(placed) >= len(machine.rotors)


@pytest.mark.parametrize("name", MACHINES)
def test_names_stay_inside_the_picture(name: str) -> None:
    root = parsed(drawing(shipped(name)))
    left, top, wide, tall = map(float, (root.get("viewBox") or "").split())
    for one in names(root):
        assert left <= one.box[0]
        assert one.box[2] <= left + wide
        assert top <= one.box[1]
        assert one.box[3] <= top + tall


@pytest.mark.parametrize("name", MACHINES)
def test_names_can_be_read_on_a_narrow_screen(name: str) -> None:
    """On 330 pixels of width, what is left of a telephone's 360, letters come to 7.4 pixels or more."""
    root = parsed(drawing(shipped(name)))
    wide = float((root.get("viewBox") or "").split()[2])
    sizes_px = [330 * float(words.get("font-size", "nan")) / wide for words in root.iter(f"{SVG}text")]
    assert min(sizes_px) >= 7.4


# --- suspects ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MACHINES)
def test_suspects_are_marked_by_pattern_number_and_words(name: str) -> None:
    machine = shipped(name)
    suspects = suspects_of(machine)
    svg = drawing(machine, suspects=suspects)
    root = parsed(svg)
    said = [one.says for one in names(root)]
    desc = next(node.text or "" for node in root.iter(f"{SVG}desc"))
    for rank, (part, share) in enumerate(suspects.items(), 1):
        marked = group(root, part)
        assert "suspect" in (marked.get("class") or "").split()
        drawn = [node.attrib for node in marked.iter()]
        hatched = any("url(#" in str(value) for one in drawn for value in one.values())
        barred = any(one.get("stroke-dasharray") == "0.9 1.2" for one in drawn)
        assert hatched or barred, "marked by colour alone"
        assert f"suspect {rank}, {share * 100:.0f} %" in said
        assert f"suspect {rank}, " in desc
    unsuspected = [node for node in root.iter() if node.get("data-part") == "flywheel"]
    assert all("suspect" not in (node.get("class") or "").split() for node in unsuspected)


def test_the_likeliest_is_number_one_in_whatever_order_they_come() -> None:
    machine = shipped("four_track")
    one = drawing(machine, suspects={"cam_belt": 0.2, "capstan_belt": 0.7})
    assert one == drawing(machine, suspects={"capstan_belt": 0.7, "cam_belt": 0.2})
    assert "suspect 1, the capstan belt, 70 %" in one


def test_unknown_suspects_and_modes_are_the_users_mistake() -> None:
    with pytest.raises(InputAtFaultError, match="no part of this machine"):
        drawing(shipped("four_track"), suspects={"warp_core": 0.5})
    with pytest.raises(InputAtFaultError, match="no mode of this machine"):
        drawing(shipped("four_track"), "hover")


# --- text -------------------------------------------------------------------------------------------------------------


def renamed(says: str) -> Machine:
    machine = shipped("four_track")
    wheel = replace(machine.rotors["flywheel"], says=says)
    return replace(machine, title=says, rotors={**machine.rotors, "flywheel": wheel})


@pytest.mark.parametrize("says", ["a<b>&\"'", "</text><script>alert(1)</script>", "two\nlines\x00", "]]>"])
def test_what_people_wrote_stays_text(says: str) -> None:
    svg = drawing(renamed(says), link=lambda part: f'?part={part}&"<')
    root = parsed(svg)
    assert "script" not in {node.tag.rpartition("}")[2] for node in root.iter()}
    written = "".join(one.says for one in names(root) if one.key == "flywheel")
    assert "".join(says.replace("\x00", "").split()) in written.replace(" ", "")


def test_parts_lead_to_where_the_page_wants() -> None:
    root = parsed(drawing(shipped("four_track"), link=lambda part: f"#{part}"))
    inside = {
        found
        for link in root.iter(f"{SVG}a")
        for node in link.iter()
        if (found := node.get("data-part")) and link.get("href") == f"#{found}"
    }
    assert inside == set(shown_always(shipped("four_track")))


def test_nothing_is_fetched_and_nothing_styled() -> None:
    svg = drawing(shipped("four_track"), suspects={"capstan_belt": 0.5})
    assert "http" not in inlined(svg)
    for forbidden in ("<style", " style=", "<script", "<image"):
        assert forbidden not in svg


def test_rates_are_written_when_wanted() -> None:
    machine = shipped("four_track")
    assert "12.05 /s" in [one.says for one in names(parsed(drawing(machine)))]
    assert not [one.says for one in names(parsed(drawing(machine, with_rates=False))) if "/s" in one.says]


# --- belts run as they do ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MEASURED)
def test_a_drawn_belt_is_as_long_as_its_way(name: str) -> None:
    """Oracle: machine.belt_path, another piece of code that never makes points."""
    machine = shipped(name)
    root = parsed(drawing(machine))
    drawn = [node for node in root.iter() if node.get("class") == "belt-line"]
    assert len(drawn) == len(belts_of(machine))
    assert ("belt" in explained(root)) == bool(drawn)
    for belt in (machine.couplings[one] for one in belts_of(machine)):
        centres = centres_of(machine, belt)
        assert centres is not None
        radii = [diameter(machine, rotor).value / 2 for rotor in belt.path]
        wanted_mm = 1e3 * float(belt_path(centres, radii, sides_of(belt)).length_m)
        assert length(belt_line(root, belt.name)) == pytest.approx(wanted_mm, rel=RELATIVE)


@pytest.mark.parametrize("name", MACHINES)
def test_no_belt_crosses_itself_and_each_lies_on_its_pulleys(name: str) -> None:
    """A closed line that does not cross itself turns by one full turn; every shipped belt is an open one."""
    for arcs in scene(shipped(name), "play", {}, False, None).belts.values():
        assert abs(sum(arc.sweep for arc in arcs)) == pytest.approx(2 * np.pi)
        assert min(abs(arc.sweep) for arc in arcs) > np.radians(30)


@pytest.mark.parametrize("name", ["direct_reels_deck", "direct_reels_deck_starter"])
def test_a_reel_table_is_drawn_over_the_motor_it_sits_on(name: str) -> None:
    order = parts(parsed(drawing(shipped(name))))
    for side in ("takeup", "supply"):
        assert order.index(f"{side}_motor") < order.index(f"{side}_reel")


sizes = st.floats(2.0, 25.0)


@given(st.lists(sizes, min_size=2, max_size=5), st.floats(0.0, 6.28), st.floats(55.0, 90.0), st.booleans())
def test_open_belts_over_any_pulleys_keep_their_length(radii: list[float], turn: float, far: float, back: bool) -> None:
    """Pulleys on a circle, wide apart; listed either way round. Oracle: machine.belt_path."""
    count = len(radii)
    angles = [turn + 2 * np.pi * k / count for k in range(count)]
    centres = [(far * float(np.cos(a)), far * float(np.sin(a))) for a in angles]
    if back:
        centres, radii = centres[::-1], radii[::-1]
    sides = (1,) * count
    arcs = route(centres, radii, sides)
    wanted = float(belt_path(centres, radii, sides).length_m)
    assert route_length(arcs) == pytest.approx(wanted, rel=1e-9)
    assert length(path_of(arcs)) == pytest.approx(wanted, rel=RELATIVE)


@given(sizes, sizes, st.floats(0.0, 6.28), st.booleans())
def test_a_crossed_belt_keeps_its_length(first: float, second: float, turn: float, swapped: bool) -> None:
    """Closed form: 2 sqrt(C² - (r1 + r2)²) + (r1 + r2) (pi + 2 asin((r1 + r2) / C))."""
    far = 80.0
    centres = [(0.0, 0.0), (far * float(np.cos(turn)), far * float(np.sin(turn)))]
    sides = (-1, 1) if swapped else (1, -1)
    both = first + second
    wanted = 2 * np.sqrt(far**2 - both**2) + both * (np.pi + 2 * np.arcsin(both / far))
    assert length(path_of(route(centres, [first, second], sides))) == pytest.approx(float(wanted), rel=RELATIVE)


@pytest.mark.parametrize("name", MEASURED)
def test_twice_the_machine_is_twice_the_picture(name: str) -> None:
    machine = shipped(name)

    def twice(of: Machine) -> Machine:
        rotors = {
            key: replace(
                rotor,
                position_m=rotor.position_m and (2 * rotor.position_m[0], 2 * rotor.position_m[1]),
                diameter=rotor.diameter and replace(rotor.diameter, value=2 * rotor.diameter.value),
            )
            for key, rotor in of.rotors.items()
        }
        return replace(of, rotors=rotors)

    small, large = parsed(drawing(machine)), parsed(drawing(twice(machine)))
    for belt in belts_of(machine):
        assert length(belt_line(large, belt)) == pytest.approx(2 * length(belt_line(small, belt)), rel=RELATIVE)
    for key, rotor in machine.rotors.items():
        if rotor.diameter is not None and rotor.kind not in ("motor", "cam"):
            radii = [float(next(group(root, key).iter(f"{SVG}circle")).get("r", "nan")) for root in (small, large)]
            assert radii[1] == pytest.approx(2 * radii[0], rel=RELATIVE)


# --- places and ways --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in MACHINES if name not in MEASURED])
def test_places_that_were_found_keep_things_apart(name: str) -> None:
    """Motors are never drawn on top of each other or of a reel that is not on their shaft; roller and capstan touch."""
    machine = shipped(name)
    seen = scene(machine, "play", {}, False, None)
    assert not seen.where.measured
    apart = [key for key, rotor in machine.rotors.items() if rotor.kind in ("motor", "reel_table", "counter")]
    for a, b in combinations(apart, 2):
        if shaft(machine, a) == shaft(machine, b):
            assert seen.axis(a) == seen.axis(b)
            continue
        assert np.hypot(*np.subtract(seen.axis(a), seen.axis(b))) > 0.9 * (seen.body(a) + seen.body(b)), (a, b)
    for coupling in machine.couplings.values():
        if coupling.kind == "nip":
            gap = np.hypot(*np.subtract(seen.axis(coupling.path[0]), seen.axis(coupling.path[1])))
            assert gap == pytest.approx(seen.body(coupling.path[0]) + seen.body(coupling.path[1]), abs=1.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", MEASURED)
def test_whatever_is_not_measured_yet_the_picture_is_whole(name: str) -> None:
    """Positions and diameters are filled in one by one while the case is open."""
    machine = shipped(name)
    for unknown in [key for key, rotor in machine.rotors.items() if rotor.position_m]:
        bare = replace(machine.rotors[unknown], position_m=None, diameter=None)
        root = parsed(drawing(replace(machine, rotors={**machine.rotors, unknown: bare})))
        assert sorted(parts(root)) == shown_always(machine)
        assert "nan" not in " ".join(node.get("d", "") for node in root.iter())


def test_long_names_find_room() -> None:
    machine = shipped("four_track_starter")
    rotors = {
        key: replace(rotor, says=f"{key} with a name as long as a line" * 2) for key, rotor in machine.rotors.items()
    }
    placed = list(names(parsed(drawing(replace(machine, rotors=rotors)))))
    assert [(a.says, b.says) for a, b in combinations(placed, 2) if a.key != b.key and overlap(a, b)] == []


def with_brakes() -> Machine:
    """A solenoid lifts the head base through a lever and lets two brakes go, one of them on the supply reel's drag."""
    machine = shipped("four_track_starter")
    couplings = {
        name: Coupling(name, "brake", (reel,), switched=True, by="brake_coil", through=("brake_arm",))
        for name, reel in (("supply_brake", "supply_reel"), ("takeup_brake", "takeup_reel"))
    }
    modes = {name: replace(mode, solenoids=("brake_coil", "base_coil")) for name, mode in machine.modes.items()}
    modes["stop"] = replace(modes["stop"], engaged=("supply_brake", "takeup_brake"), solenoids=(), head_base="half")
    return replace(
        machine,
        couplings={**machine.couplings, **couplings},
        solenoids={name: Solenoid(name) for name in ("base_coil", "brake_coil")},
        levers={name: Lever(name) for name in ("brake_arm", "base_link")},
        head_base=replace(machine.head_base, lifted_by="base_coil", through=("base_link",)),
        modes=modes,
    )


def test_brakes_solenoids_and_levers_are_drawn() -> None:
    machine = with_brakes()
    suspects = {"supply_brake": 0.5, "brake_coil": 0.3, "brake_arm": 0.1}
    play, stop = (parsed(drawing(machine, mode, suspects)) for mode in ("play", "stop"))
    for root in (play, stop):
        assert sorted(parts(root)) == shown_always(machine)
        placed = list(names(root))
        assert [(a.says, b.says) for a, b in combinations(placed, 2) if a.key != b.key and overlap(a, b)] == []
    dashes = [group(root, "takeup_brake").find(f"{SVG}rect") for root in (play, stop)]
    assert [one is not None and bool(one.get("stroke-dasharray")) for one in dashes] == [True, False], "on only in stop"
    assert "brake coil, on" in [one.says for one in names(play)]
    assert "brake coil" in [one.says for one in names(stop)]
    places = {group(play, name).find(f"{SVG}rect").get("transform") for name in ("supply_drag", "supply_brake")}  # type: ignore[union-attr]
    assert len(places) == 2, "one pad covers the other"


def test_the_head_base_stands_where_the_mode_has_it() -> None:
    machine = with_brakes()

    def low(position: Literal["down", "half", "up"]) -> float:
        play = replace(machine.modes["play"], head_base=position)
        root = parsed(drawing(replace(machine, modes={**machine.modes, "play": play}), with_rates=False))
        plate = group(root, "head_base").find(f"{SVG}rect")
        return float(plate.get("y", "nan")) if plate is not None else float("nan")

    assert low("up") < low("half") < low("down")


def ways(machine: Machine, mode: str) -> dict[str, int]:
    """Give the way of every rotor whose shaft has one."""
    found = scene(machine, mode, {}, False, None).ways
    return {name: found[owner] for name in machine.rotors if (owner := shaft(machine, name)) in found}


def arrows_at(root: Element, at: tuple[float, float], reach: float) -> list[str]:
    """Say what the arrows drawn around a point tell: which way that turns."""
    told = []
    for node in root.iter(f"{SVG}g"):
        bent = node.find(f"{SVG}path")
        if node.get("class") == "way" and bent is not None:
            x, y, radius, _, _, _, sweep, _, _ = (float(n) for n in re.findall(r"-?[\d.]+", bent.get("d", "")))
            if np.hypot(x - at[0], -y - at[1]) == pytest.approx(radius, abs=1e-3) and radius <= reach:
                told.append(f"{node.findtext(f'{SVG}title')}, swept {sweep:.0f}")
    return told


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("mode", ["play", "fast_forward"])
def test_both_hubs_turn_anticlockwise_when_the_tape_goes_to_the_right(name: str, mode: str) -> None:
    machine = shipped(name)
    found = ways(machine, mode)
    assert found["takeup_reel"] == found["supply_reel"] == 1
    seen, root = scene(machine, mode, {}, False, None), parsed(drawing(machine, mode))
    for reel in ("takeup_reel", "supply_reel"):
        told = arrows_at(root, seen.axis(reel), max(seen.body(reel), seen.body(shaft(machine, reel))))
        assert "turns anticlockwise, swept 0" in told


@pytest.mark.parametrize("name", MACHINES)
def test_rewind_turns_them_the_other_way(name: str) -> None:
    found = ways(shipped(name), "rewind")
    assert found["takeup_reel"] == found["supply_reel"] == -1


def test_what_touches_turns_against_and_what_is_belted_turns_with() -> None:
    found = ways(shipped("four_track"), "play")
    assert found["idler_tyre"] == -found["takeup_reel"]
    assert found["reel_motor"] == -found["idler_tyre"]
    assert found["counter"] == found["takeup_reel"]
    assert found["capstan_motor"] == found["flywheel"] == -found["pinch_roller"]


def test_a_motor_keeps_its_way_when_no_tape_moves() -> None:
    machine = shipped("four_track")
    assert ways(machine, "cassette_in")["capstan_motor"] == ways(machine, "play")["capstan_motor"]


def test_a_motor_that_would_have_to_turn_two_ways_gets_no_arrow() -> None:
    """One wheel between the flywheel and either reel: it cannot wind both ways with a motor that turns one way."""
    machine = shipped("four_track")
    winding = replace(machine.modes["rewind"], motors={"capstan_motor": 1.0, "reel_motor": 5.0})
    found = ways(replace(machine, modes={**machine.modes, "rewind": winding}), "rewind")
    assert "reel_motor" not in found
    assert found["supply_reel"] == -1
    assert ways(machine, "rewind")["reel_motor"] == -ways(machine, "play")["reel_motor"]


def test_two_roads_that_disagree_say_nothing() -> None:
    """A take-up driven from the flywheel by a crossed belt would pull the tape out: no arrow claims to know."""
    machine = shipped("one_motor_portable_starter")
    seen = ways(machine, "play")
    assert seen[shaft(machine, "flywheel")] == seen["takeup_reel"]
    belt = machine.couplings["clutch_belt"]
    crossed = replace(machine, couplings={**machine.couplings, "clutch_belt": replace(belt, sides=(1, -1))})
    assert shaft(machine, "flywheel") not in ways(crossed, "play")


def test_the_picture_does_not_depend_on_anything_but_the_machine() -> None:
    machine = shipped("one_motor_portable_starter")
    draw: Callable[[], str] = lambda: drawing(machine, suspects={"capstan_belt": 0.4})  # noqa: E731
    assert draw() == draw()
