"""Work the owner's sheet out: for every complaint the next checks as on the bench, from outside only, and verdicts.

A phone cannot run the belief network, so every way through it is worked out beforehand: the tree of the next checks, as
deep as it is wanted, with the belief at the end of each way turned into a verdict.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.next_check import look_ahead
from tapewright.diagnose.plan import plan
from tapewright.diagnose.rescue import FREE_THE_TAPE, tape_held
from tapewright.faults.cautions import CAUTIONS, cautions
from tapewright.faults.signs import Sign
from tapewright.jobs.owner_code import MOST_SIGNS, answers_in, minute_marks_in
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine, spoken
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief, PlanStep
from tapewright.words.owner import CASSETTE, CLEAN, SEND, UNCLEAR, AskedSign, OwnerSheet, Step, Verdict

DEEP: Final = 3
"""Questions after the complaint: each more makes the sheet three times as large."""
MOST_MINUTES: Final = 4.0
"""An owner is not sent to anything longer."""
NOT_FOR_OWNERS: Final = ("mains", "solvent", "moving", "opening", "live", "static", "oil", "heat")
"""Hazards of checks that are left to a bench."""
MOST_COMPLAINTS: Final = 32
TOLD: Final = 0.005
"""A complaint is offered when faults make it likelier by so much."""
HALF: Final = 0.5
MOST: Final = 0.8
WORTH_NAMING: Final = 0.1
HARMFUL: Final = 0.2
"""Chance of a harmed tape from which on the owner is told to stop."""
HARMS: Final = {"loop": ("yes",), "wrap": ("yes",), "eaten": ("yes",), "edge": ("yes",), "oxide": ("yes",)}
"""What harms a tape: the function's stem and its words, in any mode."""
Progress = Callable[[float], None]


def owner_sheet(
    machine: Machine, *, age_years: float | None = None, deep: int = DEEP, progress: Progress | None = None
) -> OwnerSheet:
    """Work out the sheet for a machine.

    Arguments:
        machine: as described; a starter without a single size will do.
        age_years: age of rubber and grease; None for the usual.
        deep: how many questions follow on the complaint at most.
        progress: is told how much is done, 0 to 1.
    """
    net = network(machine, age_years)
    signs = owner_signs(net)
    building = Building(net, signs)
    chosen = _complaints(net, signs)
    trees = []
    for number, sign in enumerate(chosen):
        trees.append((building.numbers[sign.id], building.step((Observation(sign.id, True),), deep)))
        if progress is not None:
            progress((number + 1) / len(chosen))
    return OwnerSheet(
        machine_id=machine.id,
        title=machine.title,
        invented=machine.invented,
        fingerprint=fingerprint(machine.id, [sign.id for sign in signs]),
        signs=tuple(_asked(sign) for sign in signs),
        complaints=tuple(trees),
        verdicts=tuple(building.verdicts),
        rescue=FREE_THE_TAPE,
        rescue_cautions=cautions(("power", "tape")),
    )


def owner_signs(net: Network) -> list[Sign]:
    """List what an owner can look for: the case shut, no tool, no solvent, a few minutes; in the machine's order."""
    return [sign for sign in net.signs.values() if _for_owners(sign)][:MOST_SIGNS]


def answers_of(machine: Machine, code: str) -> tuple[Observation, ...]:
    """Read the code that an owner sent back.

    Arguments:
        machine: the one the sheet was made for.
        code: as the owner gave it.

    Raises:
        InputAtFaultError: for a code that was misheard, or belongs to another machine's sheet.
    """
    ids = [sign.id for sign in owner_signs(network(machine))]
    return answers_in(code, ids, fingerprint(machine.id, ids))


def minute_of(machine: Machine, code: str) -> tuple[tuple[str, float, bool], ...]:
    """Read the code of a guided minute that an owner sent back: mode, seconds, whether the machine did not do it.

    Arguments:
        machine: the one the sheet was made for.
        code: as the owner gave it.

    Raises:
        InputAtFaultError: for a code that was misheard, or belongs to another machine's sheet.
    """
    ids = [sign.id for sign in owner_signs(network(machine))]
    return minute_marks_in(code, [step.mode for step in minute_steps(machine)], fingerprint(machine.id, ids))


def _for_owners(sign: Sign) -> bool:
    return not sign.opens_case and sign.minutes <= MOST_MINUTES and not set(sign.hazards) & set(NOT_FOR_OWNERS)


def fingerprint(machine_id: str, ids: Sequence[str]) -> int:
    """Give 16 bits that tell one sheet's list of signs from another's."""
    digest = hashlib.sha256("\n".join((machine_id, *ids)).encode()).digest()
    return int.from_bytes(digest[:2], "big")


def _asked(sign: Sign) -> AskedSign:
    return AskedSign(sign.id, sign.says, sign.how, sign.mode, sign.part, cautions(sign.hazards))


def _complaints(net: Network, signs: Sequence[Sign]) -> list[Sign]:
    """Choose what an owner may come with: signs of the machine as a whole that faults make likelier."""
    now = posterior(net, {}).words
    sound = posterior(net, {}, priors={name: np.eye(len(net.prior(name)))[:1] for name in net.parts}).words
    risen: list[tuple[float, Sign]] = []
    for sign in signs:
        if sign.part or sign.node not in now:
            continue
        chances = np.array([sign.chance(word) for word in net.words[sign.node]])
        ill, well = float(now[sign.node][0] @ chances), float(sound[sign.node][0] @ chances)
        if well < HALF and ill - well > TOLD:
            risen.append((ill, sign))
    likeliest = sorted(risen, key=lambda one: -one[0])[:MOST_COMPLAINTS]
    order = list(net.signs)
    return sorted((sign for _, sign in likeliest), key=lambda sign: order.index(sign.id))


@dataclass(slots=True)
class Building:
    """What is gathered while a tree grows: the verdicts, each once.

    Arguments:
        net: the machine's belief network.
        signs: what an owner may be asked, in the sheet's order.
        verdicts: so far, in the order in which they came up.
        numbers: place of each sign in the sheet, by its id.
        not_asked: ids of the signs that are not on the sheet.
    """

    net: Network
    signs: Sequence[Sign]
    verdicts: list[Verdict] = field(default_factory=list)
    numbers: dict[str, int] = field(default_factory=dict)
    not_asked: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        self.numbers = {sign.id: number for number, sign in enumerate(self.signs)}
        self.not_asked = frozenset(self.net.signs) - frozenset(self.numbers)

    def step(self, told: tuple[Observation, ...], left: int) -> Step:
        """Grow the tree from where so much was told."""
        likelihoods = of_observations(self.net, told)
        now = posterior(self.net, likelihoods)
        beliefs, none = ranked(self.net, now)
        steps = plan(self.net, beliefs, told, likelihoods)
        harmed = tape_held(self.net, likelihoods) or _harm(self.net, now.words) >= HARMFUL
        verdict = self._number(_verdict(self.net.machine, beliefs, none, steps, harmed))
        asked = self.not_asked | {one.id for one in told}
        check = look_ahead(self.net, likelihoods, asked, now=now).check if left else None
        if check is None:
            return Step(None, verdict)
        yes, no, unsure = (
            self.step((*told, Observation(check.id, present)), left - 1) for present in (True, False, None)
        )
        return Step(self.numbers[check.id], verdict, yes, no, unsure)

    def _number(self, verdict: Verdict) -> int:
        if verdict not in self.verdicts:
            self.verdicts.append(verdict)
        return self.verdicts.index(verdict)


def _harm(net: Network, words: object) -> float:
    """Give the chance that a tape that is played comes to harm: that of the likeliest harm."""
    assert isinstance(words, dict)
    found = [0.0]
    for node, chances in words.items():
        harmful = HARMS.get(node.partition("@")[0].partition(":")[0], ())
        found.append(sum(float(chances[0][i]) for i, word in enumerate(net.words[node]) if word in harmful))
    return max(found)


def _verdict(
    machine: Machine, beliefs: Sequence[Belief], none: float, steps: Sequence[PlanStep], harmed: bool
) -> Verdict:
    """Turn what is believed into what an owner can do with it."""
    leading = [b for b in beliefs if b.explains_complaint >= WORTH_NAMING][:3]
    suspects = tuple((spoken(machine, b.part), round(b.explains_complaint, 1)) for b in leading)
    explaining = [step for step in steps if step.why == "explains the complaint"]
    outside = [step for step in explaining if _owner_can(step)]
    cured = sum(step.probability_it_cures for step in outside)
    if leading and leading[0].part == "cassette" and leading[0].explains_complaint >= HALF:
        return Verdict(CASSETTE, harmed, suspects)
    if cured >= HALF:
        said = tuple(dict.fromkeys(caution for step in outside for caution in step.cautions))
        return Verdict(CLEAN, harmed, suspects, tuple(step.action for step in outside), said)
    if not explaining or none >= HALF:
        return Verdict(UNCLEAR, harmed, suspects)
    likely = _likely_work(explaining)
    return Verdict(
        SEND, harmed, suspects,
        minutes=round(sum(step.minutes for step in likely) / 15.0) * 15.0,
        cost_low=round(likely[0].cost_low),
        cost_high=round(sum(step.cost_high for step in likely)),
    )  # fmt: skip


def _likely_work(explaining: Sequence[PlanStep]) -> list[PlanStep]:
    """Give the likeliest work first, as much of it as would cure most of what can be cured."""
    by_share = sorted(explaining, key=lambda step: -step.probability_it_cures)
    total = sum(step.probability_it_cures for step in by_share)
    likely: list[PlanStep] = []
    for step in by_share:
        likely.append(step)
        if sum(one.probability_it_cures for one in likely) >= MOST * total:
            break
    return likely


def _owner_can(step: PlanStep) -> bool:
    """Whether an owner can do it: nothing is opened and nothing bought."""
    return not step.size and not {CAUTIONS[hazard] for hazard in ("opening", "mains", "live")} & set(step.cautions)
