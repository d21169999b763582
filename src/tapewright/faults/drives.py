"""What can drive what in a mode: the couplings that are in, followed outward from a shaft."""

from collections.abc import Iterator

from tapewright.machine.couplings import active, steps
from tapewright.machine.parts import Coupling, Machine, Mode, nips_at_work, shaft


def engaged(machine: Machine, mode: Mode) -> tuple[Coupling, ...]:
    """Give the couplings that can drive a shaft in a mode, in the order of the description; a nip drives the tape."""
    return tuple(coupling for coupling in active(machine, mode) if coupling.kind != "nip")


def reached_from(machine: Machine, mode: Mode, rotor: str) -> tuple[str, ...]:
    """Name the shafts that a rotor's shaft turns in a mode, itself first, outward."""
    found = [shaft(machine, rotor)]
    for name in found:
        found += [driven for _, driven in driven_by(machine, mode, name) if driven not in found]
    return tuple(found)


def driven_by(machine: Machine, mode: Mode, owner: str) -> Iterator[tuple[Coupling, str]]:
    """Give what a shaft drives directly: each coupling, and the shaft at its other end."""
    for coupling in engaged(machine, mode):
        shafts = [shaft(machine, rotor) for rotor in coupling.path]
        if shafts[0] == owner:
            yield from ((coupling, driven) for driven in shafts[1:])


def capstan_shafts(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts of the capstans that tape is pressed to in a mode."""
    nips = nips_at_work(machine, mode) if mode.at_capstan else ()
    return frozenset(shaft(machine, e) for nip in nips for e in nip.path if machine.rotors[e].kind == "capstan")


def worked_by_tape(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts that the tape loads in a mode: only these squeal in a way that tells."""
    reels = {shaft(machine, reel) for reel in (mode.takes_up, mode.gives) if reel}
    return frozenset(reels | capstan_shafts(machine, mode))


def turned_through(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts that go on turning through a mode by the description: by its motors, or by the tape on the reels.

    A cam is not among them: it makes its part turn on the way into the mode and stands.

    >>> from tapewright.machine.library import shipped
    >>> deck = shipped("tray_deck")
    >>> [name in turned_through(deck, deck.modes["play"]) for name in ("flywheel", "tray_gear", "cam")]
    [True, False, False]
    """
    starts = {shaft(machine, name) for name in (*mode.motors, mode.takes_up, mode.gives) if name}
    passed = {shaft(machine, end) for step in steps(machine, mode.name) for end in (step.driver, step.driven)}
    cams = {shaft(machine, name) for name, rotor in machine.rotors.items() if rotor.kind == "cam"}
    return frozenset((starts | passed) - cams)


def passes_through(machine: Machine, mode: Mode, coupling: Coupling) -> bool:
    """Tell whether a coupling goes on passing motion through a mode: it is in, and all that it joins turns."""
    return {shaft(machine, end) for end in coupling.path} <= turned_through(machine, mode)
