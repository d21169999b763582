"""Jobs on simulated machines, from the complaint to its end, whoever decides: what they cost in minutes.

A machine is drawn from the base rates with a few parts bad; its complaint is something an owner notices from outside.
What is asked is answered as noisily as the tool assumes people are. What is mended is sound afterwards, all else stays
as it was, and the machine is tried: the job ends when the complaint is gone. The machines, the faults and the answers
are simulated: this measures decisions, not the base rates.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.cases import (
    Array,
    Codes,
    Stage,
    Workings,
    believed_of,
    complaint_by,
    drawn_cases,
    hangs_on,
    may_be_asked,
    mended,
    owners_signs,
    showing,
    words_of,
)
from tapewright.diagnose.likelihoods import of_answer
from tapewright.diagnose.policy import choose
from tapewright.diagnose.repairs import GIVE_UP_MINUTES, OPENING_MINUTES
from tapewright.faults.signs import Sign

MOST_STEPS: Final = 200

Step = tuple[str, str, bool]
"""("ask", sign, answer), or ("mend", number of the work, whether the complaint is gone)."""
Decider = Callable[[Sign, tuple[Step, ...]], tuple[str, str]]
"""From the complaint and what was done to ("ask", sign), ("mend", number of the work) or ("hand back", "")."""


@dataclass(frozen=True, slots=True, eq=False)
class Arrived:
    """A simulated machine with its complaint.

    Arguments:
        states: the state of each part, shape (1, parts).
        sign: what the owner noticed.
    """

    states: Codes
    sign: Sign


@dataclass(frozen=True, slots=True)
class Job:
    """What was done on a machine, and what it cost.

    Arguments:
        minutes: money turned into time, the opening counted.
        steps: in order.
        opened: whether the case was opened.
        cured: whether the complaint is gone.
    """

    minutes: float
    steps: tuple[Step, ...]
    opened: bool
    cured: bool


def arriving(inner: Workings, count: int, seed: int = 1, most_bad: int = 4) -> list[Arrived]:
    """Draw machines that come with a complaint.

    Arguments:
        inner: the machine's workings.
        count: how many.
        seed: the same machines each time.
        most_bad: parts that are bad at most.
    """
    random = np.random.default_rng(seed)
    known = inner.network.parts
    signs = owners_signs(inner.network)
    found: list[Arrived] = []
    while len(found) < count:
        drawn = [random.choice(len(one.prior), p=np.array(one.prior) / sum(one.prior)) for one in known.values()]
        states = np.array([drawn], dtype=np.intp)
        if 1 <= np.count_nonzero(states) <= most_bad:
            shown = [s for s in signs if showing(inner, states, complaint_by(inner.network, s))[0]]
            # An owner tells of the tape before any part.
            shown = [s for s in shown if not s.part] or shown
            if shown:
                found.append(Arrived(states, shown[int(random.integers(len(shown)))]))
    return found


def work_through(inner: Workings, arrived: Arrived, decider: Decider, seed: int = 1) -> Job:
    """Do a job until the complaint is gone or the machine is handed back.

    Arguments:
        inner: the machine's workings.
        arrived: the machine and its complaint.
        decider: who says what to do next.
        seed: of the noise in the answers; a sign gets the same answer whoever asks.
    """
    complaint = complaint_by(inner.network, arrived.sign)
    noise = {name: np.random.default_rng((seed, i)).random() for i, name in enumerate(inner.network.signs)}
    steps: list[Step] = []
    minutes, opened, done = 0.0, False, set[int]()
    while len(steps) < MOST_STEPS:
        does, name = decider(arrived.sign, tuple(steps))
        if does == "hand back":
            break
        inside, price = _price(inner, does, name)
        minutes += price + (OPENING_MINUTES if inside and not opened else 0.0)
        opened = opened or inside
        if does == "mend":
            done.add(int(name))
            gone = not showing(inner, mended(inner, arrived.states, done), complaint)[0]
            steps.append((does, name, gone))
            if gone:
                return Job(minutes, tuple(steps), opened, cured=True)
        else:
            chance = _chance_of_yes(inner, inner.network.signs[name], mended(inner, arrived.states, done))
            steps.append((does, name, bool(noise[name] < chance[0])))
    return Job(minutes + GIVE_UP_MINUTES, tuple(steps), opened, cured=False)


def _price(inner: Workings, does: str, name: str) -> tuple[bool, float]:
    if does == "mend":
        work = inner.works[int(name)]
        return work.opens_case, work.minutes
    sign = inner.network.signs[name]
    return sign.opens_case, sign.minutes + sign.risk_minutes


def _chance_of_yes(inner: Workings, sign: Sign, states: Codes) -> Array:
    said = of_answer(sign, inner.network.words[sign.node], present=True)
    return np.asarray(said[words_of(inner, states, [sign.node])[sign.node]])


@dataclass(slots=True)
class ByBaseRate:
    """Renewing in the order of how common what each work mends is, the commonest first, and asking nothing.

    Arguments:
        inner: the machine's workings.
        only_behind: leave out what the complaint cannot hang on.
    """

    inner: Workings
    only_behind: bool = False

    def __call__(self, sign: Sign, steps: tuple[Step, ...]) -> tuple[str, str]:
        """Decide what to do next."""
        behind = {self.inner.parts[i] for i in hangs_on(self.inner, [sign.node])}
        left = [i for i, work in enumerate(self.inner.works) if work.part in behind or not self.only_behind]
        done = {int(name) for _, name, _ in steps}
        best = max((i for i in left if i not in done), key=self._rate, default=-1)
        return ("mend", str(best)) if best >= 0 else ("hand back", "")

    def _rate(self, number: int) -> float:
        work = self.inner.works[number]
        known = self.inner.network.parts[work.part]
        return sum(p for (kind, _), p in zip(known.states, known.prior, strict=True) if kind in work.kinds)


@dataclass(slots=True)
class ByPolicy:
    """The policy as somebody who decides; what it decided once for a history it remembers.

    Arguments:
        inner: the machine's workings.
        asks: whether it may ask at all.
        known: what it decided, by the sign first told of and the steps since.
        believed: what it believed of each part, by the same.
    """

    inner: Workings
    asks: bool = True
    known: dict[tuple[str, tuple[Step, ...]], tuple[str, str]] = field(default_factory=dict)
    believed: dict[tuple[str, tuple[Step, ...]], Sequence[Array]] = field(default_factory=dict)

    def __call__(self, sign: Sign, steps: tuple[Step, ...]) -> tuple[str, str]:
        """Decide what to do next."""
        key = (sign.id, steps)
        if key not in self.known:
            self.known[key] = self._decide(sign, steps)
        return self.known[key]

    def _decide(self, sign: Sign, steps: tuple[Step, ...]) -> tuple[str, str]:
        stages = self._stages(sign, steps)
        cases = drawn_cases(self.inner, stages, complaint_by(self.inner.network, sign), self._about(sign, steps))
        if cases is None:
            return "hand back", ""
        self.believed[sign.id, steps] = believed_of(self.inner, cases)
        asked = {sign.id, *(name for does, name, _ in steps if does == "ask")}
        net = self.inner.network
        left = [s for s in net.signs.values() if self.asks and s.id not in asked and may_be_asked(net, s)]
        opened = any(_price(self.inner, does, name)[0] for does, name, _ in steps)
        choice = choose(self.inner, cases, complaint_by(net, sign), left, opened=opened)
        if choice.does == "ask":
            return "ask", left[choice.number].id
        return choice.does, str(choice.number)

    def _about(self, sign: Sign, steps: tuple[Step, ...]) -> Sequence[Array]:
        before = self.believed.get((sign.id, steps[:-1])) if steps and steps[-1][0] == "mend" else None
        if before is not None:
            return before
        net = self.inner.network
        said = self._stages(sign, tuple(step for step in steps if step[0] == "ask"))[0].said
        found = posterior(net, said, with_words=False)
        return [found.states[name][0] for name in self.inner.parts]

    def _stages(self, sign: Sign, steps: tuple[Step, ...]) -> list[Stage]:
        net = self.inner.network
        done: set[int] = set()
        said: dict[str, Array] = {sign.node: of_answer(sign, net.words[sign.node], present=True)}
        stages = []
        for does, name, answer in steps:
            if does == "mend":
                stages.append(Stage(frozenset(done), said))
                done.add(int(name))
                said = {}
            else:
                asked = net.signs[name]
                likely = of_answer(asked, net.words[asked.node], present=answer)
                said = {**said, asked.node: said.get(asked.node, 1.0) * likely}
        return [*stages, Stage(frozenset(done), said)]
