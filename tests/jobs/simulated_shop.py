"""A shop whose machines fail at rates of their own: jobs as they come in, are worked on, and are closed.

The technician answers some checks, then looks at the likeliest cause first, mends what is bad, and stops when what was
noticed is gone. So most parts of a machine are never looked at, and those that are were suspected.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from tapewright.diagnose.beliefs import posterior, shares
from tapewright.diagnose.closed_jobs import SOUND, ClosedJob, Knowledge
from tapewright.diagnose.learning import with_knowledge
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import SOUND_STATE, Network, PartStates
from tapewright.faults.applied import Fault
from tapewright.jobs.closing import Finding, close_job
from tapewright.words.evidence import Evidence, Observation

ANSWERS = 6
MOST_LOOKS = 5


def with_odds(known: PartStates, times: float) -> PartStates:
    """Give a part whose odds of being out of order are so many times the catalogue's."""
    sound, bad = known.prior[0], [times * p for p in known.prior[1:]]
    total = sound + sum(bad)
    return replace(known, prior=(sound / total, *(p / total for p in bad)))


def drawn(net: Network, random: np.random.Generator) -> list[Fault]:
    """Draw what is wrong with one machine."""
    faults = []
    for name, known in net.parts.items():
        kind, severity = known.states[random.choice(len(known.states), p=np.array(known.prior))]
        if kind != SOUND:
            faults.append(Fault(name, kind, severity))
    return faults


@dataclass
class Shop:
    """A shop with the true rates of its machines, and what it has learnt so far."""

    usual: Network
    true: Network
    random: np.random.Generator
    knowledge: Knowledge = field(default_factory=Knowledge)

    def one_job(self, number: int) -> ClosedJob:
        """Take one machine in, work on it, close the job and learn from it."""
        faults = drawn(self.true, self.random)
        evidence = Evidence(self._answers(faults))
        findings, cured = self._worked_on(faults, evidence)
        job = close_job(
            self.usual.machine, evidence, findings, cured=cured, name=f"{number}", knowledge=self.knowledge, closed="-"
        )
        self.knowledge = replace(self.knowledge, jobs=(*self.knowledge.jobs, job))
        return job

    def predictions(self, machines: int) -> tuple[list[float], list[bool], list[int]]:
        """Say of every part of new machines how likely it is bad by the knowledge so far; whether it is; of which."""
        known = with_knowledge(self.usual, self.knowledge)
        said, so, owner = list[float](), list[bool](), list[int]()
        for number in range(machines):
            faults = drawn(self.true, self.random)
            wrong = {fault.part for fault in faults}
            believed = posterior(known, of_observations(known, self._answers(faults)), with_words=False)
            for name, states in believed.states.items():
                said.append(1.0 - float(states[0, 0]))
                so.append(name in wrong)
                owner.append(number)
        return said, so, owner

    def _answers(self, faults: list[Fault]) -> tuple[Observation, ...]:
        values = self._words(faults)
        outside = [sign for sign in self.usual.signs.values() if not sign.opens_case and sign.node in self.usual.words]
        asked = self.random.choice(len(outside), size=ANSWERS, replace=False)
        signs = [self.true.signs[outside[i].id] for i in asked]
        return tuple(
            Observation(sign.id, bool(self.random.random() < sign.chance(values[sign.node]))) for sign in signs
        )

    def _worked_on(self, faults: list[Fault], evidence: Evidence) -> tuple[list[Finding], tuple[str, ...]]:
        known = with_knowledge(self.usual, self.knowledge)
        share = shares(known, posterior(known, of_observations(known, evidence.signs), with_words=False))
        wrong = {fault.part: fault for fault in faults}
        findings: list[Finding] = []
        for i in np.argsort(-share.share[0])[:MOST_LOOKS]:
            name = share.parts[int(i)]
            findings.append(Finding(name, wrong.pop(name).kind if name in wrong else SOUND))
            if findings[-1].kind != SOUND and self._gone(list(wrong.values()), evidence):
                return findings, tuple(one.part for one in findings if one.kind != SOUND)
        return findings, ()

    def _gone(self, left: list[Fault], evidence: Evidence) -> bool:
        values, usual = self._words(left), self._words([])
        noticed = [self.usual.signs[one.id] for one in evidence.signs if one.present]
        return all(sign.chance(values[sign.node]) < 0.5 for sign in noticed if sign.chance(usual[sign.node]) < 0.5)

    def _words(self, faults: list[Fault]) -> dict[str, str]:
        """Say what everything that can be noticed does on a machine with these faults: all is certain then."""
        wrong = {fault.part: (fault.kind, fault.severity) for fault in faults}
        parts = {
            name: replace(known, prior=tuple(float(state == wrong.get(name, SOUND_STATE)) for state in known.states))
            for name, known in self.usual.parts.items()
        }
        certain = posterior(replace(self.usual, parts=parts), {})
        return {node: self.usual.words[node][int(np.argmax(row[0]))] for node, row in certain.words.items()}
