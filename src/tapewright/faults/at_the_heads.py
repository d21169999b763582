"""What a machine's imperfections leave of the contact between tape and heads, track by track; no fault has a name here.

The laws of spacing, gap and lean are those of `machine.head_contact`. How much a tilted roller steers the tape, how far
an edge lifts and what a sound machine has of all this is from memory where nothing else is said.
"""

import math
from collections.abc import Iterator
from typing import Final

from tapewright.faults.consequences import mode_asked, outcome
from tapewright.machine.head_contact import TREBLE_HZ, gap_db, lean_db, spacing_db, tracks_of, wavelength_m
from tapewright.machine.parts import Imperfections, Machine, nips_at_work, shaft

SOUND_GAP_M: Final = 1.0e-6
"""A replay head's gap where the machine's sheet does not say; common practice for cassette, 0.8 to 1.5 µm."""
SOUND_LEAN_RAD: Final = 4.4e-4
"""1.5 minutes of arc: the test tape's own 1' (IEC 60094-2 as quoted) and as much again of setting; from memory."""
SOUND_WANDER_RAD: Final = 2.0e-4
"""0.7': the wander of tape of good slitting, 600 µrad from peak to peak as quoted (AES preprint), two thirds of it."""
SOUND_WEAVE_RAD: Final = 4.4e-5
"""0.15' at any one part's rate; from memory."""
SOUND_SPACING_M: Final = 0.08e-6
"""What a clean head and a good tape keep between them beyond the response of a good machine; from memory."""
SOUND_LEAST_M: Final = 0.04e-6
"""The same of the track that has least."""
STEERS: Final = 0.04
"""Share of a roller's tilt by which the tape leans at the head: the guides hold the rest; from memory."""
LOOSE_WEAVE_RAD: Final = 6.0e-4
"""2': how far a tape weaves that nothing holds back, half of its play in the guides over the length between them."""
SOUND_DROPS_PER_MIN: Final = 0.5
DROPS_PER_LIFT: Final = 20e6
"""Dropouts a minute for each metre that an edge lifts: an edge that curls a micrometre off drops out each three
seconds; from memory."""
BESIDE_TURN: Final = 30.0
"""Dropouts a minute that a reel makes that nicks the tape at every turn: half a turn a second; from memory."""


def mode_of(machine: Machine) -> str:
    """Name the mode in which a side is played."""
    return mode_asked(machine, "play") if "play" in machine.modes else ""


def _rollers(machine: Machine) -> Iterator[Imperfections]:
    """Give what is wrong with the rollers that press the tape in play."""
    nips = nips_at_work(machine, machine.modes["play"]) if "play" in machine.modes else ()
    for nip in nips:
        for end in nip.path:
            if machine.rotors[end].kind == "pinch_roller":
                yield machine.rotors[end].imperfections


def lean_rad(machine: Machine) -> float:
    """Give how far the gaps stand off square to the tape, either way: head, guides and rollers, by their squares."""
    steered = [STEERS * one.tilt_rad for one in _rollers(machine)]
    return math.hypot(SOUND_LEAN_RAD, machine.heads.imperfections.tilt_rad, *steered)


def turning_with(machine: Machine, part: str) -> tuple[str, ...]:
    """Name what comes round with a rotor: all on its shaft, and with the reel that gives the pack as it was wound.

    What comes to lie on the other reel is wound by the machine, not by whoever wound the cassette.
    """
    owner = shaft(machine, part)
    found = [name for name in machine.rotors if shaft(machine, name) == owner]
    play = machine.modes.get("play")
    gives = shaft(machine, play.gives) if play is not None and play.gives else ""
    return (*found, machine.cassette.name) if owner == gives else tuple(found)


def _wrong_with(machine: Machine, name: str) -> Imperfections:
    return machine.rotors[name].imperfections if name in machine.rotors else machine.cassette.imperfections


def swing_rad(machine: Machine, part: str) -> float:
    """Give how far the azimuth swings at the rate of a rotor, peak."""
    return math.hypot(SOUND_WEAVE_RAD, *(_wrong_with(machine, name).weave_rad for name in turning_with(machine, part)))


def wander_rad(machine: Machine) -> float:
    """Give how far the azimuth wanders in all, either way: what turns, and a tape that nothing holds back."""
    turning = [rotor.imperfections.weave_rad for rotor in machine.rotors.values()]
    loose = outcome(machine).values.get(f"pack@{mode_of(machine)}", "no") == "yes"
    weave = LOOSE_WEAVE_RAD if loose else 0.0
    return math.hypot(SOUND_WANDER_RAD, *turning, machine.cassette.imperfections.weave_rad, weave)


def edge_lift_m(machine: Machine) -> float:
    """Give how far the tape's edges lift off the heads: what guides, rollers and the tape itself do to them."""
    driven = sum(one.edge_lift_m for one in _rollers(machine))
    return driven + machine.heads.imperfections.edge_lift_m + machine.cassette.imperfections.edge_lift_m


def spacing_m(machine: Machine) -> float:
    """Give the spacing of the track that has most of it: what lies on the heads, on one gap, what lifts the tape."""
    heads, tape = machine.heads.imperfections, machine.cassette.imperfections
    lifted = edge_lift_m(machine) if tracks_of(machine.tape).edge else 0.0
    return SOUND_SPACING_M + heads.spacing_m + heads.spot_m + tape.spacing_m + tape.deposit_m / 2.0 + lifted


def least_spacing_m(machine: Machine) -> float:
    """Give the spacing of the track that has least: what lies on all of them, unevenly; from memory: half of it."""
    heads, tape = machine.heads.imperfections, machine.cassette.imperfections
    return SOUND_LEAST_M + 0.5 * heads.spacing_m + 0.7 * tape.spacing_m + 0.3 * tape.deposit_m


def edge_spacing_m(machine: Machine) -> float:
    """Give how much more spacing edge tracks have than inner ones."""
    return edge_lift_m(machine)


def patchy_m(machine: Machine) -> float:
    """Give by how much edge and inner tracks may differ either way, since dirt lies where it will, one sigma.

    A spot on one of four tracks moves the mean of its pair by half of its size.
    """
    heads, tape = machine.heads.imperfections, machine.cassette.imperfections
    return math.hypot(0.3 * heads.spacing_m, 0.6 * heads.spot_m, 0.3 * tape.spacing_m, 0.2 * tape.deposit_m)


def gap_m(machine: Machine) -> float:
    """Give the length of the head's gap."""
    return SOUND_GAP_M + machine.heads.imperfections.gap_wider_m


def treble_db(machine: Machine) -> float:
    """Give what the worst track loses at 10 kHz against a good machine: spacing, gap beyond the sheet's, lean."""
    wave = wavelength_m(machine.tape, TREBLE_HZ)
    gap = gap_db(gap_m(machine), wave) - gap_db(SOUND_GAP_M, wave)
    lean = lean_db(lean_rad(machine), tracks_of(machine.tape).width_m, wave)
    return spacing_db(spacing_m(machine) - SOUND_SPACING_M, wave) + gap + lean


def fade_db(machine: Machine) -> float:
    """Give what 10 kHz loses from the start of a side to its end: what the tape leaves on the heads meanwhile."""
    return spacing_db(machine.cassette.imperfections.deposit_m, wavelength_m(machine.tape, TREBLE_HZ))


def inner_drops_per_min(machine: Machine) -> float:
    """Give the dropouts a minute of a track that does not lie along an edge."""
    return (
        SOUND_DROPS_PER_MIN + machine.heads.imperfections.drops_per_min + machine.cassette.imperfections.drops_per_min
    )


def edge_drops_per_min(machine: Machine) -> float:
    """Give the same of a track along an edge: an edge that lifts drops out beside."""
    nicked = BESIDE_TURN * machine.cassette.imperfections.nicks_per_turn
    return inner_drops_per_min(machine) + DROPS_PER_LIFT * edge_lift_m(machine) + nicked


def drops_in_step_per_min(machine: Machine, part: str) -> float:
    """Give the dropouts a minute that keep step with a rotor: where the pack that turns with it is damaged."""
    nicks = (_wrong_with(machine, name).nicks_per_turn for name in turning_with(machine, part))
    return 0.05 + BESIDE_TURN * sum(nicks)


def level_db(machine: Machine) -> float:
    """Give by how much the weakest channel lies below the mean of all."""
    weak = machine.electronics.imperfections.signal
    return 20.0 * math.log10(max(weak, 1e-3)) * (1.0 - 1.0 / max(machine.tape.tracks, 2))


def noise_db(machine: Machine) -> float:
    """Give the A-weighted noise against that of a sound machine: a magnetised head adds some 6 dB; from memory."""
    return 6.0 * machine.heads.imperfections.noise


def erasure_db(machine: Machine) -> float:
    """Give what erasing leaves, below what was there; DIN 45500 part 4 asks for 60 dB."""
    return -SOUND_ERASURE_DB * machine.electronics.imperfections.erases


SOUND_ERASURE_DB: Final = 66.0
"""What a sound machine reaches; from memory."""
