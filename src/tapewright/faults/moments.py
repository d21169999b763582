"""The same mode at another moment: after ten minutes of running, and at the start of a side.

A mode is drawn as from cold and at the end of a side, where most is asked. Drawn once more with what warmth changes, or
with what the start of a side asks, most of it comes out the same and is kept once; the rest stands beside it, and what
tells the two apart hangs on both.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache, partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, two_moments
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.conditions import Condition
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.forces import Margin, mode_margins
from tapewright.machine.parts import Machine, Mode, nips_at_work, shaft
from tapewright.machine.typical import typical
from tapewright.words.estimate import Estimate

WARM, START, STIFF = "warm", "start", "stiff"
"""Moments that are told from a cold start and the end of a side with a usual cassette: after ten minutes of running;
the start of a side; the end of a side of a cassette that is hard to turn."""

Draw = Callable[[Sheet, Mode], None]


def at_moment(node: str, moment: str) -> str:
    """Name a node as it is at another moment."""
    return f"{node}~{moment}"


def draw_moments(sheet: Sheet, mode: Mode, draw_mode: Draw) -> None:
    """Draw a mode at its other moments, and what tells them apart.

    Arguments:
        sheet: with the mode drawn already.
        mode: a mode in which tape moves.
        draw_mode: draws a mode on an empty sheet.
    """
    if not mode.takes_up:
        return
    tape, reel = f"tape@{mode.name}", f"turns:{shaft(sheet.machine, mode.takes_up)}@{mode.name}"
    start = Sheet(sheet.machine, margins_at_start)
    draw_mode(start, mode)
    at_start = _graft(sheet, start, START, frozenset())
    late = [_compare(sheet, f"late:{node}", (at_start[node], node), two_moments.only_late) for node in (tape, reel)]
    sheet.node(Node(f"late@{mode.name}", tuple(late), does.any_yes, "tape"))
    if mode.at_capstan:
        loaded = Sheet(sheet.machine, margins_when_stiff)
        draw_mode(loaded, mode)
        when_stiff = _graft(sheet, loaded, STIFF, frozenset())
        each = [_compare(sheet, f"stiff:{one}", (one, when_stiff[one]), two_moments.only_stiff) for one in (tape, reel)]
        sheet.node(Node(f"stiff@{mode.name}", tuple(each), does.any_yes, "tape"))
        warm = Sheet(sheet.machine)
        draw_mode(warm, mode)
        when_warm = _graft(sheet, warm, WARM, _changing(sheet.machine))
        driven = [reel, *(f"turns:{name}@{mode.name}" for name in _capstans(sheet.machine, mode))]
        each = [
            _compare(sheet, f"warming:{one}", (one, when_warm[one]), two_moments.changes_with_warmth) for one in driven
        ]
        sheet.node(Node(f"warming@{mode.name}", tuple(each), two_moments.either_change, "tape"))
        for stem in (stem for stem in ("tape", "stops") if sheet.has(f"{stem}@{mode.name}")):
            found = f"{stem}@{mode.name}"
            _compare(sheet, f"later_{found}", (found, when_warm[found]), two_moments.only_when_warm)
        base = f"head_base@{mode.name}"
        if sheet.has(base):
            _compare(sheet, f"warming_base@{mode.name}", (base, when_warm[base]), two_moments.changes_with_warmth)


def _capstans(machine: Machine, mode: Mode) -> list[str]:
    """Name the shaft of the capstan that sets the tape's speed."""
    leading = nips_at_work(machine, mode)[:1]
    return [shaft(machine, end) for nip in leading for end in nip.path if machine.rotors[end].kind == "capstan"]


def _compare(sheet: Sheet, name: str, parents: tuple[str, str], function: Callable[[str, str], str]) -> str:
    return sheet.node(Node(name, parents, function, "tape"))


@lru_cache(maxsize=32)
def _changing(machine: Machine) -> frozenset[str]:
    """Name the parts that have a fault which warmth changes."""
    return frozenset(one.part for one in possible_faults(machine) if one.fault.changes_warm)


def _graft(sheet: Sheet, other: Sheet, moment: str, changing: frozenset[str]) -> dict[str, str]:
    """Take over what is otherwise at another moment; give each node's name there."""
    names = {name: _condition_at(sheet, condition, changing) for name, condition in other.conditions.items()}
    for node in other.nodes.values():
        parents = tuple(names[parent] for parent in node.parents)
        same = sheet.nodes.get(node.name)
        if same is not None and parents == node.parents and _works_alike(same, node):
            names[node.name] = node.name
        else:
            names[node.name] = sheet.node(Node(at_moment(node.name, moment), parents, node.function, node.topic))
    return names


def _condition_at(sheet: Sheet, condition: Condition, changing: frozenset[str]) -> str:
    return sheet.condition(conditions.warm(condition) if condition.part in changing else condition)


def _works_alike(one: Node, other: Node) -> bool:
    """Tell whether two nodes with the same parents always say the same."""
    if not one.parents:
        return one.function() == other.function()
    if not (isinstance(one.function, partial) and isinstance(other.function, partial)):
        return one.function is other.function
    return one.function.func is other.function.func and _settings(one.function) == _settings(other.function)


def _settings(function: partial[str]) -> Mapping[str, object]:
    """Give what a function was set to; margins count by what `behaviours.pass_on` makes of them."""
    given = function.keywords
    return {key: does.margin_class(value) if key == "sound_margin" else value for key, value in given.items()}


@lru_cache(maxsize=64)
def margins_at_start(machine: Machine, mode: str) -> Mapping[str, Margin]:
    """Give the margins of all couplings at the start of a side: a full supply pack, an empty take-up hub.

    The tension wanted in the tape is the same all through a side, so the torque wanted at a reel goes with its pack:
    torque is tension times radius. The pull through the heads is least where the hold-back works on the largest pack.
    """
    tape = machine.tape
    share = tape.hub_radius_m / tape.full_radius_m
    given = {name: _scaled(typical(name), share) for name in ("takeup_needed", "wind_needed")}
    turned = replace(machine, tape=replace(tape, hub_radius_m=tape.full_radius_m * _NEARLY_FULL))
    return {found.coupling: found for found in mode_margins(turned, mode, exact=True, given=given)}


@lru_cache(maxsize=64)
def margins_when_stiff(machine: Machine, mode: str) -> Mapping[str, Margin]:
    """Give the margins of all couplings with a cassette that is hard to turn, yet no harder than a sound drive turns.

    What a coupling holds with a usual cassette it holds with this one too, as long as nothing is wrong with it: a
    cassette that no machine turns is the cassette's fault, and told by comparing two machines.
    """
    given = {name: _scaled(typical(name), HARDER) for name in ("takeup_needed", "wind_needed", "shell_hub_friction")}
    usual = {found.coupling: found for found in mode_margins(machine, mode, exact=True)}
    loaded = mode_margins(machine, mode, exact=True, given=given)
    return {found.coupling: _coping(found, usual[found.coupling]) for found in loaded}


def _coping(loaded: Margin, usual: Margin) -> Margin:
    least = min(usual.ratio.value, does.HOLDS_FROM)
    return replace(loaded, ratio=replace(loaded.ratio, value=max(loaded.ratio.value, least)))


HARDER: Final = 2.0
"""What a cassette that is hard to turn asks of the reels, against a usual one; from memory."""
_NEARLY_FULL: Final = 0.999
"""A pack and a hub of one size would leave no tape between them."""


def _scaled(estimate: Estimate, share: float) -> Estimate:
    return replace(estimate, value=estimate.value * share, doubt=estimate.doubt * share)
