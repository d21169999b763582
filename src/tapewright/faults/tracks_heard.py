"""What an ear that compares the tracks makes of them: outer tracks that fail, treble that swings with something.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign. Which tracks lie along an edge, and how
far the outermost are apart, follows from the description's tape.
"""

from functools import lru_cache
from typing import Final

from tapewright.faults import head_conditions
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.head_contact import tracks_of
from tapewright.machine.parts import Machine, Mode, nips_at_work, shaft


def most_of(*words: str) -> str:
    """Give the strongest of several words: what lifts or sways much, then what does a little.

    >>> most_of("no", "little"), most_of("flat", "lifts", "little")
    ('little', 'lifts')
    """
    return max(words, key=_STRONG.index)


_STRONG: Final = ("no", "flat", "little", "yes", "lifts")


def outer_tracks(creased: str, lifted: str, spot: str) -> str:
    """Say how outer tracks stand against inner ones: clear, dull, at_times, perhaps (one track is, whichever).

    Arguments:
        creased: whether the transport creases or drives an edge: no, at_times, yes.
        lifted: whether anything lifts an edge off the heads: flat, little, lifts.
        spot: whether one track is dull for itself: clear, one.
    """
    if creased == "yes" or lifted == "lifts":
        return "dull"
    if creased == "at_times":
        return "at_times"
    return "perhaps" if spot == "one" else "clear"


def draw_tracks(sheet: Sheet, mode: Mode) -> None:
    """How the tracks sound against each other in play."""
    if mode.name != "play" or not mode.at_capstan:
        return
    machine = sheet.machine
    tracks = tracks_of(machine.tape)
    if tracks.edge and tracks.inner and sheet.has(f"edge@{mode.name}"):
        rollers = [end for nip in nips_at_work(machine, mode) for end in nip.path
                   if machine.rotors[end].kind == "pinch_roller"]  # fmt: skip
        past = (*rollers, machine.heads.name, machine.cassette.name)
        lifting = tuple(sheet.condition(head_conditions.edge(name)) for name in past)
        lifts = sheet.node(Node(f"lifts@{mode.name}", lifting, most_of, "tape"))
        parents = (f"edge@{mode.name}", lifts, sheet.condition(head_conditions.spot(machine.heads.name)))
        sheet.node(Node(f"outer@{mode.name}", parents, outer_tracks, "tape"))
    can = _can_sway(machine)
    for owner, riders in _turning_before_the_heads(machine, mode).items():
        asked = [name for name in riders if name in can]
        if asked:
            swaying = tuple(sheet.condition(head_conditions.sways(name)) for name in asked)
            sheet.node(Node(f"sways_with:{owner}@{mode.name}", swaying, most_of, owner))


def _turning_before_the_heads(machine: Machine, mode: Mode) -> dict[str, list[str]]:
    """List, by shaft, what touches the tape in a mode, and on the reel that gives the pack as it was wound."""
    ends = [end for nip in nips_at_work(machine, mode) for end in nip.path]
    reels = [reel for reel in (mode.gives, mode.takes_up) if reel]
    found: dict[str, list[str]] = {}
    for name in dict.fromkeys((*ends, *reels)):
        owner = shaft(machine, name)
        found.setdefault(owner, []).append(name)
    if mode.gives:
        found[shaft(machine, mode.gives)].append(machine.cassette.name)
    return found


@lru_cache(maxsize=128)
def _can_sway(machine: Machine) -> frozenset[str]:
    return frozenset(one.part for one in possible_faults(machine) if one.fault.changes.get("weave_rad"))
