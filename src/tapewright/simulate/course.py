"""What the tape does in one try at play: how fast, with which lines, how it slips, when it stops.

The outcome and the lines come from `faults`; what is added here are sizes that the outcome has no words
for. Those are from memory and say so: a simulated recording is an example, not a measurement.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from tapewright.faults.conditions import LUMP_FELT
from tapewright.faults.consequences import modes_told, outcome
from tapewright.faults.speed_lines import FaultLine, fault_lines
from tapewright.faults.tape_speed import racing_turns, shortfall, speed_ratio
from tapewright.machine.couplings import running_diameter
from tapewright.machine.doubt import columns
from tapewright.machine.forces import mode_margins
from tapewright.machine.formulas import half_side_radius, tension
from tapewright.machine.parts import Machine, sound
from tapewright.machine.rates import rates, speed_factor
from tapewright.machine.typical import all_sizes, typical
from tapewright.simulate.pack import Packs, Samples
from tapewright.words.problem import InputAtFaultError, Problem

CREEP: Final = 0.001
"""Speed that tape gains on a capstan under half of the tension at which it would slide, as a share; from memory."""
NEAREST: Final = 0.9
"""Share of the sliding tension at which creep is held, since beyond it nothing steady can be said."""
WANDER_SLIPPING: Final = 0.01
"""Slow unsteadiness, rms, where next to nothing is passed; from memory. It shrinks with the shortfall."""
WANDER_UNEVEN: Final = 0.002
"""The same where the outcome is uneven and neither a line nor slip accounts for it; from memory."""
WANDER_RACING: Final = 0.01
"""The same where only the take-up reel pulls; from memory."""
PULLS: Final = {"hard": 2.6, "weak": 0.3, "loose": 0.0, "still": 0.0}
"""Take-up torque against a sound one, by the reel's word; from memory, within what the words stand for."""


@dataclass(frozen=True, slots=True)
class Course:
    """What the tape does in one try.

    Arguments:
        tape_does: the outcome's word.
        moves: False where it stands in this try.
        says: what happens, a sentence.
        ratio: mean speed in the middle of a side, against what it should be; 0 where it stands.
        turning: speed of the rotors against what their rates say; below 1 where a motor is held up or slips.
        packs: the packs of tape.
        supply: the reel table that gives tape.
        lines: periodic unsteadiness.
        reel_ratio: turns of a line's part for one of its reel, by part, for lines that follow a pack.
        creep_n: tensions (take-up and supply torque, newton metres, and the tension at which tape slides, newtons);
            None where nothing creeps.
        creep_trimmed: creep of the sound machine in the middle of a side, at which its speed was set.
        slips: 0 nothing, 1 next to nothing is passed.
        wander: slow unsteadiness, rms, relative.
        stops_s: when the machine stops by itself, seconds; infinite when it does not.
    """

    tape_does: str
    moves: bool
    says: str
    ratio: float
    turning: float
    packs: Packs
    supply: str = ""
    lines: tuple[FaultLine, ...] = ()
    reel_ratio: tuple[tuple[str, float], ...] = ()
    creep_n: tuple[float, float, float] | None = None
    creep_trimmed: float = 0.0
    slips: float = 0.0
    wander: float = 0.0
    stops_s: float = float("inf")

    @property
    def ends_s(self) -> float:
        """Give the time from which the tape comes to a stand: the machine stops, or the side is over."""
        return min(self.stops_s, self.packs.ends_s)


def course(machine: Machine, seed: int, position_s: float = 0.0) -> Course:
    """Work out what the tape does in one try at play.

    Arguments:
        machine: with its imperfections.
        seed: decides whether it starts this time, on a machine that starts at times.
        position_s: how far into the side, seconds at the right speed.

    Raises:
        InputAtFaultError: when the machine cannot play, or the position lies beyond the side.
    """
    if "play" not in machine.modes or not machine.modes["play"].takes_up:
        do = "Describe play: its motors, what it engages, which reel takes the tape up."
        raise InputAtFaultError(Problem(machine.source or machine.id, "has no mode play that moves tape.", do))
    packs = _packs(machine, position_s)
    word = outcome(machine).values.get("tape@play", "still")
    ratio = speed_ratio(machine)
    starts = word != "at_times" or bool(np.random.default_rng([seed, 7]).random() < 0.5)
    if ratio == 0.0 or not starts:
        said = "does not move" if word != "at_times" else "does not start in this try, and does in others"
        return Course(word, False, f"The tape {said}.", 0.0, 0.0, packs)
    return _moving(machine, word, ratio, packs)


def _packs(machine: Machine, position_s: float) -> Packs:
    packs = Packs(machine.tape, 0.0, machine.tape.speed_m_per_s)
    if not 0.0 <= position_s < packs.ends_s:
        do = f"A side of this machine's tape lasts {packs.ends_s:.0f} s."
        raise InputAtFaultError(Problem("position", f"{position_s:g} s is not on the tape.", do))
    return replace(packs, wound_m=position_s * machine.tape.speed_m_per_s)


def _moving(machine: Machine, word: str, ratio: float, packs: Packs) -> Course:
    values = outcome(machine).values
    races = word == "races" or values.get("nip@play", "") in ("open", "free")
    lines, slips = fault_lines(machine), shortfall(machine)
    creep = None if races or slips else _tensions(machine)
    stops = [stop.after_s for stop in modes_told(machine)["play"].stopped_by if stop.how == "yes"]
    return Course(
        tape_does=word,
        moves=True,
        says=_says(word, races),
        ratio=ratio,
        turning=1.0 if races else ratio / speed_factor(machine),
        packs=_running(machine, packs, ratio, races),
        supply=machine.modes["play"].gives,
        lines=lines,
        reel_ratio=tuple(_reel_ratios(machine, lines).items()),
        creep_n=creep,
        creep_trimmed=_trimmed(machine) if creep else 0.0,
        slips=slips,
        wander=_wander(word, races, slips, lines),
        stops_s=min((after for after in stops if after is not None), default=float("inf")),
    )


def _says(word: str, races: bool) -> str:
    if races:
        return "The take-up reel pulls the tape past a capstan that does not hold it: it races."
    if word == "at_times":
        return "The tape starts in this try, and not in others."
    return "The tape runs as it should." if word == "right" else f"The tape runs {word}."


def _running(machine: Machine, packs: Packs, ratio: float, races: bool) -> Packs:
    if races:
        return replace(packs, reel_turns_per_s=racing_turns(machine))
    return replace(packs, m_per_s=ratio * machine.tape.speed_m_per_s)


def _reel_ratios(machine: Machine, lines: tuple[FaultLine, ...]) -> dict[str, float]:
    turning = rates(machine, "play")
    return {
        line.part: turning[line.part].turns_per_s.value / turning[line.pack].turns_per_s.value
        for line in lines
        if line.pack and line.part in turning
    }


def _wander(word: str, races: bool, slips: float, lines: tuple[FaultLine, ...]) -> float:
    if races:
        return WANDER_RACING
    explained = slips > 0 or any(line.peak_ratio >= LUMP_FELT for line in lines)
    return WANDER_SLIPPING * slips if explained or word != "uneven" else WANDER_UNEVEN


# --- creep of the tape on the capstan ---------------------------------------------------------------------------------


def _tensions(machine: Machine) -> tuple[float, float, float] | None:
    """Give take-up torque, hold-back torque (newton metres) and the tension at which tape slides (newtons)."""
    nips = [c for c in machine.couplings.values() if c.kind == "nip"]
    found = {m.coupling: m.capacity_nm for m in mode_margins(machine, "play", exact=True)}
    if not nips or nips[0].name not in found:
        return None
    table = columns(all_sizes(machine), exact=True)
    slides_n = found[nips[0].name] / (running_diameter(machine, nips[0].path[0], table)[0] / 2)
    play = machine.modes["play"]
    clutches = [c.name for c in machine.couplings.values() if c.kind == "clutch" and play.takes_up in c.path]
    usual = table[f"{clutches[0]}.torque"][0] if clutches else typical("takeup_torque").value
    pulled = usual * PULLS.get(modes_told(machine)["play"].reels.get(play.takes_up, ""), 1.0)
    held = sum(
        float(table[f"{c.name}.torque"][0]) * c.imperfections.passes * float(c.imperfections.present)
        for c in machine.couplings.values()
        if c.kind == "drag" and play.gives in c.path
    )
    return float(pulled), held, float(slides_n)


def creep(tensions: tuple[float, float, float], takeup_m: Samples, supply_m: Samples) -> Samples:
    """Give how much faster than the capstan the tape runs, relative: take-up pulls it on, hold-back holds it back.

    Arguments:
        tensions: take-up and hold-back torque, newton metres; tension at which tape slides, newtons.
        takeup_m: radius of the take-up pack, metres, any shape.
        supply_m: the same of the supply pack.
    """
    pulled, held, slides_n = tensions

    def under(force_n: Samples | float) -> Samples:
        share = np.minimum(np.asarray(force_n) / max(slides_n, 1e-9), NEAREST)  # a nip without a spring holds nothing
        return np.asarray(CREEP * share / (1.0 - share))

    return under(tension(pulled, takeup_m)) - under(tension(held, supply_m))


def _trimmed(machine: Machine) -> float:
    ideal = sound(machine)
    tensions = _tensions(ideal)
    half = np.array([float(half_side_radius(machine.tape.hub_radius_m, machine.tape.full_radius_m))])
    return float(creep(tensions, half, half)[0]) if tensions else 0.0
