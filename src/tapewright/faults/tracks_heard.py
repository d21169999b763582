"""What an ear that compares the tracks makes of them: outer tracks that fail, treble that swings with something.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign. Which tracks lie along an edge, and how
far the outermost are apart, follows from the description's tape.
"""

from functools import lru_cache

from tapewright.faults import behaviours as does
from tapewright.faults import conditions
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.machine.head_contact import tracks_of
from tapewright.machine.parts import Machine, Mode, nips_at_work, shaft


def outer_tracks(creased: str, tape: str, spot: str) -> str:
    """Say how outer tracks stand against inner ones: clear, dull, at_times, perhaps (one track is, whichever).

    Arguments:
        creased: whether the transport creases or drives an edge: no, at_times, yes.
        tape: whether the tape's own edge lies flat: flat, lifts.
        spot: whether one track is dull for itself: clear, one.
    """
    if creased == "yes" or tape == "lifts":
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
        parents = (
            f"edge@{mode.name}",
            sheet.condition(conditions.edge(machine.cassette.name)),
            sheet.condition(conditions.spot(machine.heads.name)),
        )
        sheet.node(Node(f"outer@{mode.name}", parents, outer_tracks, "tape"))
    can = _can_sway(machine)
    for owner, riders in _turning_before_the_heads(machine, mode).items():
        asked = [name for name in riders if name in can]
        if asked:
            swaying = tuple(sheet.condition(conditions.sways(name)) for name in asked)
            sheet.node(Node(f"sways_with:{owner}@{mode.name}", swaying, does.either, owner))


def _turning_before_the_heads(machine: Machine, mode: Mode) -> dict[str, list[str]]:
    """List, by shaft, what touches the tape in a mode, and on a reel the tape's own pack."""
    ends = [end for nip in nips_at_work(machine, mode) for end in nip.path]
    reels = [reel for reel in (mode.gives, mode.takes_up) if reel]
    found: dict[str, list[str]] = {}
    for name in dict.fromkeys((*ends, *reels)):
        owner = shaft(machine, name)
        found.setdefault(owner, []).append(name)
    for reel in reels:
        found[shaft(machine, reel)].append(machine.cassette.name)
    return found


@lru_cache(maxsize=128)
def _can_sway(machine: Machine) -> frozenset[str]:
    return frozenset(one.part for one in possible_faults(machine) if one.fault.changes.get("weave_rad"))
