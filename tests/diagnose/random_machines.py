"""Random machines around the shipped layouts, their true rates in closed form, and lines as a recording gives them.

Nothing here asks `tapewright.machine.rates`: how fast each part turns is written out by hand for each layout, from the
surface speeds of what runs on what (worked-out formulas 1, 7 and 9 of the trade reference). Only which parts there are,
their tooth counts and where their axes stand is taken from the shipped descriptions.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.estimate import Estimate
from tapewright.words.signal import Line

Sizes = Mapping[str, float]
"""Diameters in metres by rotor, belt thicknesses by belt."""


@dataclass(frozen=True, slots=True)
class Tape:
    """What the tape does: its speed, the radii of the packs, how fast their squares change; metres and seconds."""

    speed: float
    thickness: float
    takeup: float
    supply: float


@dataclass(frozen=True, slots=True)
class Truth:
    """True rate of each part, hertz, and whose pack it follows: +1 the take-up's, -1 the supply's, 0 none's."""

    rate_hz: dict[str, float]
    follows: dict[str, int]


def _loop(machine: Machine, d: Sizes, belt: str) -> float:
    """Middle line of an open belt round two pulleys; closed form."""
    first, second = machine.couplings[belt].path
    at = [machine.rotors[name].position_m or machine.rotors[machine.rotors[name].on or ""].position_m
          for name in (first, second)]  # fmt: skip
    assert at[0] is not None
    assert at[1] is not None
    apart = math.dist(at[0], at[1])
    small, large = sorted((d[name] + d[belt]) / 2 for name in (first, second))
    tilt = math.asin((large - small) / apart)
    return 2 * apart * math.cos(tilt) + large * (math.pi + 2 * tilt) + small * (math.pi - 2 * tilt)


def _belted(machine: Machine, d: Sizes, belt: str, turns: float, creep: float) -> tuple[float, float]:
    """Passes of a belt and turns of what it drives, from the turns of the driver."""
    driver, driven = machine.couplings[belt].path
    surface = math.pi * (d[driver] + d[belt]) * turns
    return surface / _loop(machine, d, belt), (d[driver] + d[belt]) / (d[driven] + d[belt]) * turns * (1 - creep)


def _capstan_side(machine: Machine, d: Sizes, tape: Tape, creep: Callable[[str], float]) -> dict[str, float]:
    """Capstan, roller, motor and the belt between, where one belt on two pulleys drives the flywheel."""
    capstan = tape.speed / (math.pi * (d["capstan"] + tape.thickness))
    thick = d["capstan_belt"]
    motor = capstan * (d["flywheel"] + thick) / (d["motor_pulley"] + thick) / (1 - creep("belt"))
    passes, _ = _belted(machine, d, "capstan_belt", motor, 0.0)
    roller = tape.speed / (math.pi * d["pinch_roller"]) * (1 + creep("nip"))
    return {"capstan": capstan, "capstan_motor": motor, "capstan_belt": passes, "pinch_roller": roller}


def _reels(tape: Tape) -> dict[str, float]:
    return {
        "takeup_reel": tape.speed / (2 * math.pi * tape.takeup),
        "supply_reel": tape.speed / (2 * math.pi * tape.supply),
    }


def _idler_reels(d: Sizes, tape: Tape, creep: Callable[[str], float]) -> dict[str, float]:
    """Reel motor, rubber-rimmed idler and take-up table, rim on rim."""
    reel = _reels(tape)["takeup_reel"]
    idler = reel * d["takeup_reel"] / d["idler_tyre"] / (1 - creep("tyre"))
    return {"idler_tyre": idler, "reel_motor": idler * d["idler_tyre"] / d["reel_pulley"] / (1 - creep("tyre"))}


def _rates(name: str, machine: Machine, d: Sizes, tape: Tape, creep: Callable[[str], float]) -> Truth:
    """Write out every rate of one layout."""
    found = _reels(tape)
    follows = {"takeup_reel": 1, "supply_reel": -1}
    if name == "direct_drive_deck":
        found["capstan"] = tape.speed / (math.pi * (d["capstan"] + tape.thickness))
        found["pinch_roller"] = tape.speed / (math.pi * d["pinch_roller"]) * (1 + creep("nip"))
        found["swing_gear"] = found["takeup_reel"] * 36 / 48
        found["reel_motor"] = found["takeup_reel"] * 36 / 12
        return Truth(found, follows | {"swing_gear": 1, "reel_motor": 1})
    found |= _capstan_side(machine, d, tape, creep)
    if name in ("four_track", "two_motor_deck"):
        found |= _idler_reels(d, tape, creep)
        follows |= {"idler_tyre": 1, "reel_motor": 1}
    if name in ("four_track", "two_motor_deck", "one_motor_portable", "flywheel_cam_deck"):
        found["counter_belt"], _ = _belted(machine, d, "counter_belt", found["takeup_reel"], 0.0)
        follows["counter_belt"] = 1
    if name in ("one_motor_portable", "closed_loop_deck"):
        found["clutch_belt"], found["clutch_pulley"] = _belted(
            machine, d, "clutch_belt", found["capstan"], creep("belt")
        )
    if name == "closed_loop_deck":
        found["inter_belt"], found["supply_capstan"] = _belted(
            machine, d, "inter_belt", found["capstan"], creep("belt")
        )
        found["supply_roller"] = (
            math.pi * (d["supply_capstan"] + tape.thickness) * found["supply_capstan"]
            / (math.pi * d["supply_roller"]) * (1 + creep("nip"))
        )  # fmt: skip
    if name == "flywheel_cam_deck":
        found["swing_gear"] = found["capstan"] * 24 / 56
        found["clutch_gear"] = found["capstan"] * 24 / 54
    return Truth(found, {part: follows.get(part, 0) for part in found})


LAYOUTS = (
    "four_track", "one_motor_portable", "two_motor_deck", "flywheel_cam_deck", "direct_drive_deck", "direct_reels_deck",
    "closed_loop_deck",
)  # fmt: skip
SEGMENTS = {"capstan_motor": 3, "reel_motor": 3}


@dataclass(frozen=True, slots=True)
class Made:
    """One line as it was made: by which part, at which order, at its true frequency; part "" for none described."""

    part: str
    order: int
    true_hz: float
    line: Line


@dataclass(frozen=True, slots=True)
class Bench:
    """One random machine as somebody described it, its true rates, a recording's lines.

    Arguments:
        described: with the errors of the calipers in it.
        truth: the true rates.
        made: the lines.
        seconds: length of the recording.
        speed_error_pct: as read.
    """

    described: Machine
    truth: Truth
    made: tuple[Made, ...]
    seconds: float
    speed_error_pct: float


def bench(seed: int, least: float = 10.0) -> Bench:
    """Draw a machine, describe it badly, let it play.

    Arguments:
        seed: decides everything.
        least: every line stands so many times above its local background in power.
    """
    rng = np.random.default_rng([2026, seed])
    name = LAYOUTS[seed % len(LAYOUTS)]
    machine = shipped(name)
    sizes = _true_sizes(machine, rng)
    error = rng.uniform(-0.01, 0.01)
    nominal = machine.tape
    hub, full = nominal.hub_radius_m * (1 + rng.normal(0, 0.005)), nominal.full_radius_m
    fill = 1.0 if rng.random() < 0.8 else rng.uniform(0.45, 1.0)
    wound, side = rng.random(), fill * (full**2 - hub**2)
    tape = Tape(
        nominal.speed_m_per_s * (1 + error) * (1 + rng.normal(0, 0.001)),  # the test tape is a little off itself
        nominal.thickness_m,
        math.sqrt(hub**2 + wound * side),
        math.sqrt(hub**2 + (1 - wound) * side),
    )
    creeps = {"belt": lambda: rng.uniform(0.002, 0.01) / 2, "tyre": lambda: rng.uniform(0.0, 0.008),
              "nip": lambda: rng.normal(0.0, 0.004)}  # fmt: skip
    truth = _rates(name, machine, sizes, tape, lambda kind: float(creeps[kind]()))
    seconds = float(rng.uniform(40.0, 170.0))
    return Bench(
        _described(machine, sizes, rng), truth, _lines(truth, tape, seconds, least, rng), seconds, 100.0 * error
    )


def _true_sizes(machine: Machine, rng: np.random.Generator) -> dict[str, float]:
    sizes = {
        name: rotor.diameter.value * rng.uniform(0.87, 1.15)
        for name, rotor in machine.rotors.items()
        if rotor.diameter is not None
    }
    return sizes | {c.name: c.section_m[1] for c in machine.couplings.values() if c.kind == "belt" and c.section_m}


def _described(machine: Machine, sizes: Sizes, rng: np.random.Generator) -> Machine:
    """Write down every diameter 0.3 to 1.5 % wrong, either way, with the doubt that a plain number in a file has."""

    def read(size: float) -> float:
        return size * (1 + float(rng.choice([-1, 1])) * rng.uniform(0.003, 0.015))

    rotors = {
        name: replace(rotor, diameter=Estimate(read(sizes[name]), 2e-5)) if name in sizes else rotor
        for name, rotor in machine.rotors.items()
    }
    return replace(machine, rotors=rotors)


def _lines(truth: Truth, tape: Tape, seconds: float, least: float, rng: np.random.Generator) -> tuple[Made, ...]:
    wanted: list[tuple[str, int, float]] = []
    for part, rate in truth.rate_hz.items():
        if rng.random() < 0.5:
            orders = [1, *(h for h, share in ((2, 0.35), (3, 0.2), (4, 0.1), (5, 0.05)) if rng.random() < share)]
            wanted += [(part, order, order * rate) for order in orders]
        if part in SEGMENTS and rng.random() < 0.3 and (part, SEGMENTS[part]) not in [(p, o) for p, o, _ in wanted]:
            wanted.append((part, SEGMENTS[part], SEGMENTS[part] * rate))
    wanted += [("", 0, float(np.exp(rng.uniform(np.log(0.2), np.log(190.0))))) for _ in range(rng.poisson(1.5))]
    made: list[Made] = []
    for number in rng.permutation(len(wanted)):
        part, order, hertz = wanted[number]
        # What stands nearer to another line is one line with it; slower than three turns is drift.
        near = any(abs(hertz - one.true_hz) < 2.0 / seconds for one in made)
        if near or not 3.0 / seconds < hertz < 200.0:
            continue
        above = float(np.exp(rng.uniform(np.log(least), np.log(1e4))))
        # The bound on a line's frequency, one sigma, for a line so far above its background.
        sigma = math.sqrt(6.0) / (2 * math.pi * seconds * math.sqrt(above))
        seen = hertz + rng.normal(0.0, sigma)
        size = float(np.exp(rng.uniform(np.log(0.01), np.log(0.3))))
        slowing = _slowing(truth.follows.get(part, 0), hertz, tape, seconds, rng)
        line = Line(seen, size, 1.96 * size / math.sqrt(2 * above), 1.96 * sigma, 1e-4, slowing)
        made.append(Made(part, order, hertz, line))
    return tuple(made)


def _slowing(follows: int, hertz: float, tape: Tape, seconds: float, rng: np.random.Generator) -> float:
    """Give a reel's slowing where it bends the phase by a fifth of a turn at the ends; else none is seen."""
    if not follows or hertz > 3.0:
        return 0.0
    radius = tape.takeup if follows > 0 else tape.supply
    slowing = follows * tape.speed * tape.thickness / (2 * math.pi * radius**2)
    seen = abs(slowing) * hertz * seconds**2 / 8.0 > 0.2
    return slowing * (1 + float(rng.normal(0.0, 0.15))) if seen else 0.0


def every_order(truth: Truth, most: int = 6) -> list[tuple[str, int, float]]:
    """List all orders of all parts: part, order, hertz."""
    found = [(part, h, h * rate) for part, rate in truth.rate_hz.items() for h in range(1, most + 1)]
    return found + [(part, 2 * n, 2 * n * truth.rate_hz[part]) for part, n in SEGMENTS.items() if part in truth.rate_hz]


def separable(one: Made, bench: Bench, apart: float = 0.02) -> bool:
    """Tell whether no order up to the fourth of another part comes within so much of a line; a reel, if it drifted."""
    if bench.truth.follows.get(one.part) and not one.line.slowing_per_s:
        return False
    others = [hertz for part, _, hertz in every_order(bench.truth, 4) if part != one.part]
    return min(abs(math.log(one.true_hz / hertz)) for hertz in others) > apart


def near_a_rotor(one: Made, bench: Bench, apart: float = 0.03) -> bool:
    """Tell whether a line from nowhere happens to fall within what the sizes leave open of some order of some part."""
    return min(abs(math.log(one.true_hz / hertz)) for _, _, hertz in every_order(bench.truth)) < apart
