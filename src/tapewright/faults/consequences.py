"""Run a machine's description with what is wrong with it: what each thing does, what is noticed, which lines grow.

Nothing here knows a fault by name: only the imperfections of parts, the graph of functions and the physics.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np

from tapewright.faults.graph import evaluate
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.machine.couplings import Step, running_diameter, steps
from tapewright.machine.doubt import columns
from tapewright.machine.forces import mode_margins
from tapewright.machine.formulas import belt_resonance, half_side_radius, run_out_flutter, transmissibility
from tapewright.machine.parts import TURNING_SENSORS, Coupling, Machine, Mode, Rotor, nips_at_work, part, shaft
from tapewright.machine.rates import Rate, rates, speed_factor
from tapewright.machine.running_belt import running_length, way
from tapewright.machine.typical import all_sizes, typical

NOTICED_FROM: Final = 0.5
"""A sign is shown when a person who looks reports it more often than not."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What everything does on one machine.

    Arguments:
        values: the word of every condition and every function of the mechanism, by its name in the graph.
    """

    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that ends a mode by itself.

    Arguments:
        sensor: what the logic goes by.
        how: "yes", or "at_times".
        after_s: how long it waits; None when the description does not say.
    """

    sensor: str
    how: str
    after_s: float | None


@dataclass(frozen=True, slots=True)
class ModeOutcome:
    """What a machine does in one mode; the words are those of `faults.behaviours`.

    Arguments:
        mode: its name.
        motors: how each motor of the machine turns.
        capstans: how each capstan turns; empty where nothing in this mode tells.
        reels: how each reel table turns; the same.
        head_base: arrives, late, part, stays, at_times; "" where it is not sent anywhere.
        tape: still, at_times, weak, slow, uneven, right, fast, races; "" where no tape moves.
        stopped_by: what ends the mode by itself.
        heard: how each motor sounds that starts in this mode: silent, normal, races, labours, at_times.
        squeals: shafts that squeal: "yes" or "at_times".
        runs_on: motors that go on after they should have stopped: the same.
        harm: what happens to the tape: "loop", "pack" (loose), "oxide", "wrap": the same.
    """

    mode: str
    motors: Mapping[str, str]
    capstans: Mapping[str, str]
    reels: Mapping[str, str]
    head_base: str
    tape: str
    stopped_by: tuple[Stop, ...] = ()
    heard: Mapping[str, str] = field(default_factory=dict)
    squeals: Mapping[str, str] = field(default_factory=dict)
    runs_on: Mapping[str, str] = field(default_factory=dict)
    harm: Mapping[str, str] = field(default_factory=dict)


@lru_cache(maxsize=16)  # one machine is asked many things in a row; nothing of it or of the answer ever changes
def outcome(machine: Machine) -> Outcome:
    """Work out what everything does on a machine as it is, imperfections included.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> outcome(applied(shipped("four_track"), [Fault("capstan_belt", "missing")])).values["tape@play"]
    'races'
    """
    graph = mechanism(machine)
    return Outcome(evaluate(graph.nodes, {condition.name: condition.read(machine) for condition in graph.conditions}))


def signs_shown(machine: Machine) -> tuple[Sign, ...]:
    """List the signs that a person who looks would report more often than not, in the order of the modes.

    >>> from tapewright.machine.library import shipped
    >>> "play_tape_right" in {sign.id for sign in signs_shown(shipped("four_track"))}
    True
    """
    values = outcome(machine).values
    return tuple(sign for sign in signs(mechanism(machine)) if sign.chance(values[sign.node]) >= NOTICED_FROM)


# --- mode by mode -----------------------------------------------------------------------------------------------------


def modes_told(machine: Machine) -> Mapping[str, ModeOutcome]:
    """Tell what a machine does in every mode of its description; record does what play does.

    >>> from tapewright.machine.library import shipped
    >>> modes_told(shipped("four_track"))["play"].tape
    'right'
    """
    values = outcome(machine).values
    return {mode.name: _mode_told(machine, mode, values) for mode in machine.modes.values()}


def _mode_told(machine: Machine, mode: Mode, values: Mapping[str, str]) -> ModeOutcome:
    told = _told(machine, mode.name)
    turning = {name: values.get(f"turns:{shaft(machine, name)}@{told}", "") for name in machine.rotors}
    of_kind = {
        kind: {name: turning[name] for name, rotor in machine.rotors.items() if rotor.kind == kind and turning[name]}
        for kind in ("motor", "capstan", "reel_table")
    }
    harm = {what: values.get(f"{what}@{told}", "no") for what in ("loop", "pack", "oxide", "wrap")}
    return ModeOutcome(
        mode=mode.name,
        motors=of_kind["motor"],
        capstans=of_kind["capstan"],
        reels=of_kind["reel_table"],
        head_base=values.get(f"head_base@{told}", ""),
        tape=values.get(f"tape@{told}", ""),
        stopped_by=tuple(_stops(machine, told, values)),
        heard=_about("sounds", told, values),
        squeals=_not_no(_about("rubs", told, values)),
        runs_on=_not_no(_about("runs_on", told, values)),
        harm=_not_no(harm),
    )


def _told(machine: Machine, mode: str) -> str:
    """Name the mode whose functions tell of a mode: record differs from play in its electronics only."""
    return "play" if mode == "record" and "play" in machine.modes else mode


def _about(stem: str, mode: str, values: Mapping[str, str]) -> dict[str, str]:
    head, tail = f"{stem}:", f"@{mode}"
    return {
        name.removeprefix(head).removesuffix(tail): word
        for name, word in values.items()
        if name.startswith(head) and name.endswith(tail)
    }


def _not_no(words: Mapping[str, str]) -> dict[str, str]:
    return {name: word for name, word in words.items() if word != "no"}


def _stops(machine: Machine, mode: str, values: Mapping[str, str]) -> Iterator[Stop]:
    """Name the sensors whose word, or silence, makes the logic give up."""
    reported = {"no": "yes", "at_times": "at_times"}.get(values.get(f"reported@{mode}", "yes"), "no")
    for sensor in machine.sensors.values():
        answer = "no"
        if sensor.kind in TURNING_SENSORS:
            answer = values.get(f"stops:{sensor.name}@{mode}", values.get(f"stops@{mode}", "no"))
        elif sensor.kind == "position_switch":
            answer = reported
        if answer != "no":
            yield Stop(sensor.name, answer, sensor.timeout_s)


# --- how fast the tape runs -------------------------------------------------------------------------------------------

DRAGGED_SHARE: Final = 0.03
"""Speed a motor loses that is underfed or has to turn something stiff; from memory, with 5 to 7 rpm for each g·cm of
load printed for one regulated motor as its scale."""
SLIP_SHARE: Final = 0.04
"""Speed that is lost on average where a coupling passes next to nothing of what is asked; from memory."""
LEAST_SHORTFALL: Final = 0.1
RUNS_AWAY_RATIO: Final = 2.0
"""Speed of a capstan motor that nothing regulates, against the right one; from memory."""
HOLDS_FROM: Final = 1.15
"""Margin from which a coupling does not slip at all; as in `behaviours`."""
RACING_TURNS: Final = 2.0
"""Turns a second of a reel that nothing holds, where no motor tells; from memory."""


def speed_ratio(machine: Machine, mode: str = "play") -> float:
    """Give the tape's mean speed in the middle of a side against the speed it should have: 1.01 is 1 % fast.

    Arguments:
        machine: with its imperfections.
        mode: one in which the capstan should set the speed.

    Returns:
        0 where the tape does not move; far above 1 where the take-up reel pulls it past an idle capstan.

    >>> from tapewright.faults.applied import Fault, applied
    >>> from tapewright.machine.library import shipped
    >>> slow = applied(shipped("four_track"), [Fault("capstan_motor", "wrong_speed", -1.0)])
    >>> round(speed_ratio(slow), 3)
    0.971
    """
    values = outcome(machine).values
    driven = _driven_by(machine, mode, values)
    if driven == "":
        return 0.0
    if driven == "take_up":
        tape = machine.tape
        radius = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
        return 2 * math.pi * radius * racing_turns(machine, mode) / tape.speed_m_per_s
    dragged = _capstan_word(machine, mode, values) == "slow" and speed_factor(machine, mode) == 1.0
    lost = (DRAGGED_SHARE if dragged else 0.0) + SLIP_SHARE * shortfall(machine, mode)
    unruled = _capstan_word(machine, mode, values) == "runs_away" and speed_factor(machine, mode) < RUNS_AWAY_RATIO
    return (RUNS_AWAY_RATIO if unruled else speed_factor(machine, mode)) * (1.0 - lost)


def shortfall(machine: Machine, mode: str = "play") -> float:
    """Say how much the drive of the capstan and its nip fall short: 0 nothing slips, 1 next to nothing is passed.

    The physics of the worst coupling on the way to the tape says how much; the outcome says whether at all.
    """
    values = outcome(machine).values
    if _driven_by(machine, mode, values) != "capstan":
        return 0.0
    nip = values.get(f"closed@{_told(machine, mode)}", "")
    if _capstan_word(machine, mode, values) != "weak" and nip != "slips":
        return 0.0
    on_the_way = _to_the_capstan(machine, mode)
    found = [m.ratio.value for m in mode_margins(machine, mode, exact=True) if m.coupling in on_the_way]
    worst = min(found, default=HOLDS_FROM)
    return min(1.0, max(LEAST_SHORTFALL, 1.0 - worst / HOLDS_FROM))


def racing_turns(machine: Machine, mode: str = "play") -> float:
    """Give how fast the take-up reel turns when no capstan holds the tape, turns a second.

    A clutch lets it turn as fast as its driver; a reel motor as fast as it would wind, by the share of its speed it is
    given in this mode.
    """
    reel = shaft(machine, machine.modes[mode].takes_up)
    arriving = [step for step in steps(machine, mode) if shaft(machine, step.driven) == reel]
    if arriving and arriving[0].slips:
        return rates(machine, mode)[arriving[0].driver].turns_per_s.value
    if "fast_forward" in machine.modes and arriving:
        winding = machine.modes["fast_forward"].motors
        for motor, given in machine.modes[mode].motors.items():
            if motor in winding and reel in _shafts_beyond(machine, mode, shaft(machine, motor)):
                turns = rates(machine, "fast_forward")[machine.modes["fast_forward"].takes_up].turns_per_s.value
                return turns * abs(given / winding[motor])
    return RACING_TURNS


def _driven_by(machine: Machine, mode: str, values: Mapping[str, str]) -> str:
    """Say what sets the tape's speed: "capstan", "take_up", or "" where it does not move."""
    told = _told(machine, mode)
    word = values.get(f"tape@{told}", "still")
    if word == "still":
        return ""
    nip = values.get(f"nip@{told}", "")
    pulled_past = nip in ("open", "free")
    return "take_up" if pulled_past or not machine.modes[mode].at_capstan else "capstan"


def _capstan_word(machine: Machine, mode: str, values: Mapping[str, str]) -> str:
    nips = nips_at_work(machine, machine.modes[mode])
    capstans = [end for nip in nips for end in nip.path if machine.rotors[end].kind == "capstan"]
    words = [values.get(f"turns:{shaft(machine, name)}@{_told(machine, mode)}", "") for name in capstans]
    return next((word for word in words if word in ("weak", "slow")), next(iter(words), ""))


def _shafts_beyond(machine: Machine, mode: str, start: str) -> frozenset[str]:
    found = [start]
    for name in found:
        ends = [shaft(machine, s.driven) for s in steps(machine, mode) if shaft(machine, s.driver) == name]
        found += [end for end in ends if end not in found]
    return frozenset(found)


def _to_the_capstan(machine: Machine, mode: str) -> frozenset[str]:
    """Name the couplings between a motor and the tape by way of a capstan that holds it."""
    pressed = [end for nip in nips_at_work(machine, machine.modes[mode]) for end in nip.path]
    capstans = {shaft(machine, name) for name in pressed if machine.rotors[name].kind == "capstan"}
    at_work = steps(machine, mode)
    nips = {step.coupling for step in at_work if machine.couplings[step.coupling].kind == "nip"}
    ways = {s.coupling for s in at_work if capstans & _shafts_beyond(machine, mode, shaft(machine, s.driven))}
    return frozenset(ways | nips)


# --- which lines stand on its speed -----------------------------------------------------------------------------------

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
    driven = _driven_by(machine, mode, outcome(machine).values)
    if not driven:
        return ()
    drive = _drive(machine, mode, driven)
    turning = rates(machine, mode)
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
        {m.coupling: min(1.0, m.ratio.value / HOLDS_FROM) for m in mode_margins(machine, mode, exact=True)},
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
