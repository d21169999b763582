"""Which lines stand on the speed of the tape: what each rotor, belt and gear of a machine puts on it.

Nothing here knows a fault by name: only the imperfections of parts and the physics.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from tapewright.faults.behaviours import HOLDS_FROM
from tapewright.faults.conditions import sound_margins
from tapewright.faults.consequences import outcome
from tapewright.faults.tape_speed import driven_by, racing_turns
from tapewright.machine.couplings import Step, running_diameter, steps
from tapewright.machine.doubt import columns
from tapewright.machine.formulas import belt_resonance, run_out_flutter, transmissibility
from tapewright.machine.parts import Coupling, Machine, Rotor, part, shaft
from tapewright.machine.rates import Rate, rates
from tapewright.machine.running_belt import running_length, way
from tapewright.machine.typical import all_sizes, typical

BELT_DAMPING: Final = 0.15
"""Damping ratio of a flywheel on its belt: half of a loss factor of rubber of 0.3, from memory."""
CLUTCH_PASSES: Final = 0.25
"""A slipping clutch passes torque and not speed; what of an unsteadiness gets through is from memory."""
REEL_TO_TAPE: Final = 0.02
"""What of a reel's unsteadiness reaches tape that a capstan holds, by way of its tension; from memory."""
ROLLER_RUN_OUT: Final = 0.2
"""What of a pinch roller's run-out reaches the tape, by way of the force it presses with; from memory. Its `lump` is
stated on the tape itself and passes whole."""
LUMP_HARMONICS: Final = (1.0, 0.35, 0.15)
"""A lump is shorter than a turn, so that the second and third order stand beside the first; from memory."""
USUAL_RUN_OUT_M: Final = {
    "capstan": 0.5e-6,  # 1 um on a dial gauge is a good shaft; closed form of our own from 0.1 % peak
    "pinch_roller": 8e-6,
    "flywheel": 4e-6,
    "pulley": 5e-6,
    "idler_tyre": 40e-6,
    "reel_table": 30e-6,
    "gear": 15e-6,
}
"""Distance of a sound part's surface from its axis, by kind; all but the capstan from memory."""
USUAL_LUMP: Final = {"motor": 0.0003, "belt": 0.0004, "gear": 0.001}
"""Unsteadiness of sound parts; from memory."""
COMMUTATOR_RIPPLE: Final = 0.0005
"""Relative speed ripple of a motor at its segments' rate; from memory."""
SMALLEST_LINE: Final = 2e-6
"""A line of less than 0.0002 % is left out: nothing that is measured comes near it."""


@dataclass(frozen=True, slots=True)
class FaultLine:
    """A periodic unsteadiness that one part puts on the tape's speed.

    Arguments:
        part: the rotor's or coupling's name.
        order: which harmonic of its rate.
        turns_per_s: the part's rate; in the middle of a side where it depends on the pack.
        peak_ratio: relative peak of the speed.
        doubt_ratio: half-width of its 95 % interval, from the doubt of the flywheel's resonance on its belt; how the
            part itself is off is taken as it stands.
        pack: the reel table whose pack of tape the rate follows; "" for one that does not.
    """

    part: str
    order: int
    turns_per_s: float
    peak_ratio: float
    doubt_ratio: float = 0.0
    pack: str = ""

    @property
    def frequency_hz(self) -> float:
        """Give where the line stands."""
        return self.order * self.turns_per_s


@dataclass(frozen=True, slots=True)
class _Drive:
    """The ways from every shaft to the tape in one mode.

    Arguments:
        machine: as described.
        at_work: the steps of its drive in that mode.
        ends: share of its unsteadiness that a shaft which touches the tape puts on it.
        resonance_hz: of the flywheel on its belt, by the belt.
        doubt: relative doubt of the same.
        holds: share of unsteadiness that a coupling keeps hold of: what slips passes that much less.
    """

    machine: Machine
    at_work: tuple[Step, ...]
    ends: Mapping[str, float]
    holds: Mapping[str, float]
    resonance_hz: Mapping[str, float]
    doubt: Mapping[str, float]

    def passes(self, coupling: str, frequency_hz: float, moved: float, most: float = math.inf) -> float:
        """Give what of an unsteadiness gets through a coupling, with its resonance moved by a share of its doubt.

        `most` is how much a resonance may make of it.
        """
        thing = self.machine.couplings[coupling]
        if not all(part(self.machine, name).imperfections.present for name in (coupling, *thing.path)):
            return 0.0
        if thing.kind == "clutch":
            return CLUTCH_PASSES
        held, resonance = self.holds.get(coupling, 1.0), self.resonance_hz.get(coupling)
        if resonance is None:
            return held
        at = frequency_hz / (resonance * (1.0 + moved * self.doubt[coupling]))
        return held * min(most, float(transmissibility(at, BELT_DAMPING)))

    def from_shaft(self, name: str, frequency_hz: float, moved: float, seen: frozenset[str] = frozenset()) -> float:
        """Give what of a shaft's unsteadiness reaches the tape, by the way that passes most."""
        best = self.ends.get(name, 0.0)
        for step in self.at_work:
            driven = shaft(self.machine, step.driven)
            if shaft(self.machine, step.driver) == name and driven not in seen | {name}:
                beyond = self.from_shaft(driven, frequency_hz, moved, seen | {name})
                best = max(best, beyond * self.passes(step.coupling, frequency_hz, moved))
        return best

    def from_rotor(self, name: str, frequency_hz: float, moved: float) -> float:
        """The same for one rotor's surface: what touches the tape, what drives through it, what it is driven by."""
        owner, kind = shaft(self.machine, name), self.machine.rotors[name].kind
        if kind in ("capstan", "pinch_roller"):
            return self.ends.get(owner, 0.0)
        if kind == "motor":
            return self.from_shaft(owner, frequency_hz, moved)
        best = 0.0
        for step in self.at_work:
            if name in (step.driver, step.driven):
                behind = shaft(self.machine, step.driven)
                got = self.from_shaft(behind, frequency_hz, moved, frozenset({shaft(self.machine, step.driver)}))
                best = max(best, got * self.passes(step.coupling, frequency_hz, moved))
        return best

    def from_coupling(self, name: str, frequency_hz: float, moved: float) -> float:
        """The same for what a coupling does by itself: that is stated on what it drives, and resonance adds nothing."""
        ways = [step for step in self.at_work if step.coupling == name]
        through = self.passes(name, frequency_hz, moved, most=1.0)
        return max(
            (through * self.from_shaft(shaft(self.machine, s.driven), frequency_hz, moved) for s in ways), default=0.0
        )


def fault_lines(machine: Machine, mode: str = "play") -> tuple[FaultLine, ...]:
    """List the periodic unsteadiness that a machine's parts put on the tape's speed, the largest first.

    Arguments:
        machine: with its imperfections; sound parts have the run-out that sound parts usually have.
        mode: one in which tape moves; where it does not, there are no lines.

    Run-out is worth e / r; a lump stands at once per turn or per pass with its harmonics. What lies on the motor's side
    of a flywheel passes the belt as a second-order low-pass; reels act on tape that a capstan holds through its tension
    only. Where nothing holds the tape back the take-up reel's way passes whole.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> worst = fault_lines(applied(shipped("four_track"), [Fault("pinch_roller", "eccentric")]))[0]
    >>> worst.part, worst.order, round(worst.turns_per_s, 1)
    ('pinch_roller', 1, 2.3)
    """
    driven = driven_by(machine, mode, outcome(machine).values)
    if not driven:
        return ()
    drive = _drive(machine, mode, driven)
    turning = rates(machine, mode, exact=True)
    quicker = _racing_factor(machine, mode, turning) if driven == "take_up" else 1.0
    found = [line for name in machine.rotors for line in _rotor_lines(drive, mode, name, turning)]
    found += [line for name in machine.couplings for line in _coupling_lines(drive, mode, name, turning)]
    kept = (line for line in found if line.peak_ratio >= SMALLEST_LINE)
    sped = (_sped_up(line, quicker) for line in kept)
    return tuple(sorted(sped, key=lambda line: -line.peak_ratio))


def _racing_factor(machine: Machine, mode: str, turning: Mapping[str, Rate]) -> float:
    entered = machine.modes[mode]
    if not entered.at_capstan:
        return 1.0
    return racing_turns(machine, mode) / turning[entered.takes_up].turns_per_s.value


def _sped_up(line: FaultLine, factor: float) -> FaultLine:
    # What the reels lead turns faster when they race; what a motor leads through a clutch keeps its rate.
    turns = line.turns_per_s * (factor if line.pack else 1.0)
    return FaultLine(line.part, line.order, turns, line.peak_ratio, line.doubt_ratio, line.pack)


def _drive(machine: Machine, mode: str, driven: str) -> _Drive:
    entered, at_work = machine.modes[mode], steps(machine, mode)
    reels = [shaft(machine, reel) for reel in (entered.takes_up, entered.gives) if reel]
    ends = dict.fromkeys(reels, REEL_TO_TAPE)
    if driven == "take_up":
        ends = {shaft(machine, entered.takes_up): 1.0}
    else:
        nips = [
            c for c in machine.couplings.values() if c.kind == "nip" and (not c.switched or c.name in entered.engaged)
        ]
        ends |= {shaft(machine, rotor): 1.0 for nip in nips for rotor in nip.path}
    resonances = {c.name: found for c in machine.couplings.values() if (found := _resonance(machine, c)) is not None}
    return _Drive(
        machine,
        at_work,
        ends,
        {name: min(1.0, one.ratio.value / HOLDS_FROM) for name, one in sound_margins(machine, mode).items()},
        {name: hertz for name, (hertz, _) in resonances.items()},
        {name: doubt for name, (_, doubt) in resonances.items()},
    )


def _resonance(machine: Machine, belt: Coupling) -> tuple[float, float] | None:
    """Give the resonance of the flywheel that a belt drives, hertz, and its relative doubt; None without one."""
    wheels = [rotor for name in belt.path[1:] if (rotor := _flywheel_on(machine, name)) is not None]
    if belt.kind != "belt" or not wheels:
        return None
    table = columns(all_sizes(machine), exact=True)
    radius = running_diameter(machine, next(n for n in belt.path[1:] if _flywheel_on(machine, n)), table)[0] / 2
    stretched_n = (table[f"{belt.name}.modulus"] * table[f"{belt.name}.width"] * table[f"{belt.name}.thickness"])[0]
    inertia = wheels[0].inertia or typical("flywheel_inertia")
    found = belt_resonance(radius, stretched_n, _span_m(machine, belt), inertia.value)
    doubts = (typical("rubber_modulus").relative_doubt, min(inertia.relative_doubt, 1.0))
    return float(found), min(0.5, math.hypot(*doubts) / 2)


def _flywheel_on(machine: Machine, name: str) -> Rotor | None:
    owner = shaft(machine, name)
    on_shaft = (rotor for rotor in machine.rotors.values() if shaft(machine, rotor.name) == owner)
    return next((rotor for rotor in on_shaft if rotor.kind == "flywheel"), None)


def _span_m(machine: Machine, belt: Coupling) -> float:
    """Give a belt's free span, metres: from the positions, else what its length leaves beside two half turns."""
    table = columns(all_sizes(machine), exact=True)
    path = way(machine, belt, table)
    if path is not None:
        return float(2.0 / (1.0 / path.spans_m[0][0] + 1.0 / path.spans_m[-1][0]))
    round_pulleys = sum(running_diameter(machine, name, table)[0] for name in belt.path) * np.pi / 2
    return max(0.01, float(running_length(machine, belt, table)[0] - round_pulleys) / 2)


def _rotor_lines(drive: _Drive, mode: str, name: str, turning: Mapping[str, Rate]) -> Iterator[FaultLine]:
    machine, rotor = drive.machine, drive.machine.rotors[name]
    if name not in turning or not rotor.imperfections.present:
        return
    run_out = 0.0
    usual_m = USUAL_RUN_OUT_M.get(rotor.kind, 0.0)
    if rotor.kind != "motor":
        radius = running_diameter(machine, name, columns(all_sizes(machine), exact=True))[0] / 2
        share = ROLLER_RUN_OUT if rotor.kind == "pinch_roller" else 1.0
        run_out = share * float(run_out_flutter(rotor.imperfections.eccentricity_m, radius))
        usual = share * float(run_out_flutter(usual_m, radius))
    else:
        usual = USUAL_LUMP["motor"]
    for order, share in enumerate(LUMP_HARMONICS, start=1):
        # A part that runs out is stated twice, by its shape and by what it does; the larger counts.
        own = share * rotor.imperfections.lump
        size = math.hypot(usual, max(own, run_out)) if order == 1 else own
        yield _line(drive, mode, name, order, turning[name], size)
    if rotor.segments and f"{name}.commutator" in turning:
        yield _line(drive, mode, name, rotor.segments, turning[name], COMMUTATOR_RIPPLE)


def _coupling_lines(drive: _Drive, mode: str, name: str, turning: Mapping[str, Rate]) -> Iterator[FaultLine]:
    coupling = drive.machine.couplings[name]
    usual = USUAL_LUMP.get("gear" if coupling.kind == "worm" else coupling.kind, 0.0)
    # A belt has a rate of its own; what is wrong with teeth comes round with the wheel they sit on.
    rate = turning.get(name) or turning.get(coupling.path[-1])
    if rate is None or not coupling.imperfections.present:
        return
    for order, share in enumerate(LUMP_HARMONICS, start=1):
        own = share * coupling.imperfections.lump
        yield _line(drive, mode, name, order, rate, math.hypot(usual, own) if order == 1 else own)


def _line(drive: _Drive, mode: str, name: str, order: int, rate: Rate, size: float) -> FaultLine:
    hertz = order * rate.turns_per_s.value
    way_of = drive.from_rotor if name in drive.machine.rotors else drive.from_coupling
    here, low, high = (size * way_of(name, hertz, moved) if size else 0.0 for moved in (0.0, -1.0, 1.0))
    doubt = max(abs(low - here), abs(high - here))
    pack = _pack_of(drive, mode, name) if rate.range_per_s is not None else ""
    return FaultLine(name, order, rate.turns_per_s.value, here, doubt, pack)


def _pack_of(drive: _Drive, mode: str, name: str) -> str:
    """Name the reel table that a part turns with."""
    machine, entered = drive.machine, drive.machine.modes[mode]
    anchor = name if name in machine.rotors else machine.couplings[name].path[0]
    joined = {shaft(machine, anchor)}
    for _ in machine.couplings:
        for step in drive.at_work:
            ends = {shaft(machine, step.driver), shaft(machine, step.driven)}
            if not step.slips and ends & joined:
                joined |= ends
    return entered.gives if shaft(machine, entered.gives) in joined else entered.takes_up
