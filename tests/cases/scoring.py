"""How often the part that was found is named, from the owner's words alone and with the checks that were done.

The words were mapped to signs before the first scoring (`words_to_signs`, `checks_to_signs`); here stands only which
parts of the shipped machine a told cause may be called. A cause that the machine has no part for counts as missed.
Run: python -m tests.cases.scoring
"""

import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from scipy.stats import beta

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.diagnose.told_when import as_told
from tapewright.machine.library import shipped
from tapewright.machine.parts import Coupling, Machine, Rotor, part, part_names
from tapewright.words.evidence import Evidence, Observation
from tests.cases.checks_to_signs import answers, noticed
from tests.cases.words_to_signs import mapping, told

CAUSES: Final = Path(__file__).with_name("repair_cases_causes.json")


@dataclass(frozen=True, slots=True)
class Scored:
    """How one case came out.

    Arguments:
        case: its id.
        machine: the shipped machine it sits on.
        wanted: parts that the main cause may be called there; empty when the machine has no such part.
        ranking: parts, the best explanation first.
    """

    case: str
    machine: str
    wanted: frozenset[str]
    ranking: tuple[str, ...]

    def within(self, places: int) -> bool:
        """Tell whether the main cause stands among the first."""
        return bool(self.wanted & set(self.ranking[:places]))


def causes() -> dict[str, list[dict[str, str]]]:
    """Read what was found, the main cause first."""
    return {one["id"]: one["causes"] for one in json.loads(CAUSES.read_text(encoding="utf-8"))}


# --- what a told cause may be called ---------------------------------------------------------------------------------

Fits = Callable[[Machine, str], bool]


def _belt(*driven: str) -> Fits:
    def fits(machine: Machine, name: str) -> bool:
        thing = part(machine, name)
        if not isinstance(thing, Coupling) or thing.kind != "belt":
            return False
        return any(machine.rotors[rotor].kind in driven for rotor in thing.path[1:])

    return fits


def _reel_belt(machine: Machine, name: str) -> bool:
    thing = part(machine, name)
    if not isinstance(thing, Coupling) or thing.kind != "belt":
        return False
    last = machine.rotors[thing.path[-1]]
    onward = {c.path[-1] for c in machine.couplings.values() if c.driver == last.name}
    return last.kind == "reel_table" or any(
        machine.rotors[r].kind == "reel_table" for r in onward if r in machine.rotors
    )


def _cam_belt(machine: Machine, name: str) -> bool:
    thing = part(machine, name)
    if not isinstance(thing, Coupling) or thing.kind != "belt":
        return False
    onward = {c.path[-1] for c in machine.couplings.values() if c.driver == thing.path[-1]}
    return any(machine.rotors[rotor].kind == "cam" for rotor in onward if rotor in machine.rotors)


def _kind(*kinds: str) -> Fits:
    def fits(machine: Machine, name: str) -> bool:
        thing = part(machine, name)
        return getattr(thing, "kind", type(thing).__name__.lower()) in kinds

    return fits


def _named(*names: str) -> Fits:
    return lambda machine, name: name in names


def _reel_motor(machine: Machine, name: str) -> bool:
    thing = part(machine, name)
    return isinstance(thing, Rotor) and thing.kind == "motor" and name not in ("capstan_motor", "cam_motor")


def _idler(machine: Machine, name: str) -> bool:
    return _kind("idler_tyre")(machine, name) or name in ("swing_gear", "swing_arm")


def _either(*fits: Fits) -> Fits:
    return lambda machine, name: any(one(machine, name) for one in fits)


SAID: Final[tuple[tuple[str, Fits], ...]] = (
    ("capstan belt", _belt("flywheel", "capstan")),
    ("cam belt", _cam_belt),
    ("counter belt", _belt("counter")),
    ("reel belt", _reel_belt),
    ("back-tension belt", _reel_belt),
    ("tray loading belt", _named("tray_belt")),
    ("capstan motor servo", _named("capstan_motor", "power_supply")),
    ("opposite reel motor drive", _either(_reel_motor, _named("control_board"))),
    ("control board", _named("control_board")),
    ("replay amplifier", _named("electronics")),
    ("motor trimmer", _either(_reel_motor, _named("power_supply"))),
    ("speed trimmer", _named("capstan_motor")),
    ("capstan motor", _named("capstan_motor")),
    ("cam motor", _named("cam_motor", "cam_solenoid", "lift_solenoid")),
    ("reel motor pinion", _either(_named("reel_pinion", "reel_drive"), _kind("gear"))),
    ("reel motor", _reel_motor),
    ("pinch roller arm", _either(_kind("pinch_roller"), _named("pinch_arm", "lift_lever", "head_base"))),
    ("pinch roller", _kind("pinch_roller")),
    ("cam/idler gear", _either(_kind("cam", "gear", "worm"), _named("head_base", "key_switch"))),
    ("idler", _idler),
    ("reel table hub", _either(_kind("reel_table", "clutch"), _named("takeup_to_reel"))),
    ("reel sensor", _either(_kind("pulse_sensor", "auto_stop"))),
    ("take-up clutch", _kind("clutch")),
    ("capstan bearing", _kind("capstan", "flywheel")),
    ("back-tension brake", _kind("drag", "brake")),
    ("brake", _kind("brake", "drag")),
    ("wrapped tape", _either(_kind("pinch_roller", "capstan"), _named("cassette"))),
    ("cassette", _named("cassette")),
    ("head", _named("heads")),
    ("key switch", _either(_kind("key_switch"), _named("control_board"))),
    ("earlier repair damage", _kind("capstan", "flywheel", "pinch_roller")),
    ("eject link", _named("lid")),
    ("door damper", _named("lid")),
    ("lubrication", _either(_kind("cam", "lever"), _named("head_base"))),
)
"""Words of a cause -> the parts it may be called; the first words that stand in the cause count."""


def parts_of(machine: Machine, cause: str) -> frozenset[str]:
    """Name the parts of a machine that a told cause may be called."""
    fits = next((fits for words, fits in SAID if words in cause), None)
    if fits is None:
        raise KeyError(cause)
    return frozenset(name for name in part_names(machine) if fits(machine, name))


# --- scoring ----------------------------------------------------------------------------------------------------------


@cache
def scored(with_checks: bool = False) -> tuple[Scored, ...]:
    """Rank the parts in every case."""
    rows, found = mapping(), causes()
    machines = {row.case: row.machine for row in rows}
    return tuple(_scored(case, machines[case], with_checks) for case in found)


def evidence(case: str, with_checks: bool) -> list[Observation]:
    """Give what was noticed before any repair; what a check showed stands above what the owner said."""
    ticked = {sign: Observation(sign, shows, sure) for sign, (shows, sure) in told(mapping(), case).items()}
    if with_checks:
        found = noticed(answers(), case).get((), {})
        ticked |= {sign: Observation(sign, shows, sure) for sign, (shows, sure) in found.items()}
    return list(ticked.values())


def _scored(case: str, machine_id: str, with_checks: bool) -> Scored:
    machine, observations = shipped(machine_id), evidence(case, with_checks)
    net, told_of_it = as_told(network(machine), Evidence(tuple(observations)))
    beliefs, _ = ranked(net, posterior(net, of_observations(net, told_of_it.signs)))
    main = causes()[case][0]
    wanted = parts_of(machine, f"{main['part']} {main['kind']}")
    return Scored(case, machine_id, wanted, tuple(belief.part for belief in beliefs))


def interval(hits: int, of: int) -> tuple[float, float]:
    """Give the 95 % interval of a share, from Jeffreys' prior (Brown, Cai, DasGupta, Statistical Science 16, 2001)."""
    return float(beta.ppf(0.025, hits + 0.5, of - hits + 0.5)), float(beta.ppf(0.975, hits + 0.5, of - hits + 0.5))


def line(what: str, hits: int, of: int) -> str:
    """Put a share and its interval into a line."""
    low, high = interval(hits, of)
    return f"{what}: {hits} of {of}, {hits / of:.0%} (95 % interval {low:.0%} to {high:.0%})"


def by_base_rate(outcomes: Sequence[Scored], places: int) -> int:
    """Count the cases in which base rates alone would have named the main cause, without any evidence."""
    hits = 0
    for outcome in outcomes:
        net = network(shipped(outcome.machine))
        rates = sorted(net.parts, key=lambda name: net.parts[name].prior[0])
        hits += bool(outcome.wanted & set(rates[:places]))
    return hits


def main() -> None:
    """Print the score, beside what naming the commonest part and base rates alone would score."""
    outcomes = scored()
    of = len(outcomes)
    print(line("main cause first, from the words alone", sum(one.within(1) for one in outcomes), of))
    print(line("among the first three", sum(one.within(3) for one in outcomes), of))
    checked = scored(with_checks=True)
    print(line("with the checks done before any repair, first", sum(one.within(1) for one in checked), of))
    print(line("among the first three", sum(one.within(3) for one in checked), of))
    commonest = Counter(told_causes[0]["part"] for told_causes in causes().values()).most_common(1)[0]
    print(line(f"always naming the commonest ({commonest[0]})", commonest[1], of))
    print(line("base rates alone, first", by_base_rate(outcomes, 1), of))
    print(line("base rates alone, among the first three", by_base_rate(outcomes, 3), of))
    for what, results in (("from the words alone", outcomes), ("with the checks", checked)):
        print(f"missed {what}:")
        for one in (one for one in results if not one.within(1)):
            said = causes()[one.case][0]
            print(f"  {one.case} {one.machine}: {said['part']} {said['kind']}; named {', '.join(one.ranking[:4])}")


if __name__ == "__main__":
    main()
