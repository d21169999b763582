"""Close a job: evidence and what was found become what the shop can learn from.

The predictions are made again from the evidence, step by step in the order it was given, each from what was known
before it: what is kept is what was said before the outcome, whoever writes it down. They use the knowledge that stood
when the job was closed.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.beliefs import Posterior, posterior, ranked
from tapewright.diagnose.closed_jobs import (
    NOT_LOOKED_AT,
    SOUND,
    AnswerGiven,
    ClosedJob,
    Knowledge,
    PartFound,
    is_plain,
    without_job,
)
from tapewright.diagnose.learning import SETTLED, by_kind, part_kind, sense_of, with_knowledge
from tapewright.diagnose.likelihoods import checked_evidence, of_answer, of_readings
from tapewright.diagnose.network import Network, PartStates, network
from tapewright.diagnose.told_when import as_told
from tapewright.faults.consequences import NOTICED_FROM
from tapewright.faults.signs import Sign
from tapewright.jobs.evidence_file import evidence_json
from tapewright.jobs.rounds import Round, latest_round, with_more
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError, Problem, nearest

SPEAKS_FROM: Final = 0.01
"""Evidence that makes no kind likelier or less likely than sound by more than this says nothing of a part."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What one part was found to be once it was looked at: a kind of fault, or `SOUND`."""

    part: str
    kind: str


def parse_findings(machine: Machine, said: Sequence[tuple[str, str]], cured: Sequence[str] = ()) -> tuple[Finding, ...]:
    """Read what was found, in the order in which it was looked at.

    Arguments:
        machine: as described.
        said: ("--bad", "PART=KIND") or ("--sound", "PART"), in order.
        cured: parts whose mending cured the complaint; each must have been found bad.

    Raises:
        InputAtFaultError: a Problem for each name that the machine does not have, or that is given twice.
    """
    net, problems = network(machine), list[Problem]()
    findings: list[Finding] = []
    for option, text in said:
        name, _, kind = text.partition("=") if option == "--bad" else (text, "", SOUND)
        where = f"{option} {text}"
        if name not in net.parts:
            problems.append(Problem(where, f"names {name!r}, which cannot fail here.", nearest(name, list(net.parts))))
            continue
        kinds = list(by_kind(net.parts[name], net.parts[name].prior))[1:]
        if option == "--bad" and kind not in kinds:
            found = f"names the kind {kind!r}." if kind else "is not PART=KIND."
            problems.append(Problem(where, found, f"{name} can be: {', '.join(kinds)}."))
        elif name in {finding.part for finding in findings}:
            problems.append(Problem(where, f"names {name} once more.", "Say once of each part how it was found."))
        else:
            findings.append(Finding(name, kind))
    bad = [finding.part for finding in findings if finding.kind != SOUND]
    for name in cured:
        if name not in bad:
            do = (
                "Say with --bad what was wrong with it." if name in net.parts else nearest(name, bad or list(net.parts))
            )
            problems.append(Problem(f"--cured {name}", "names no part that was found bad.", do))
    if not findings:
        problems.append(Problem("close", "was not told what was found.", "Give --bad PART=KIND or --sound PART."))
    if problems:
        raise InputAtFaultError(problems)
    return tuple(findings)


def close_job(
    machine: Machine,
    evidence: Evidence,
    findings: Sequence[Finding],
    *,
    cured: Sequence[str] = (),
    name: str = "",
    knowledge: Knowledge | None = None,
    closed: str | None = None,
) -> ClosedJob:
    """Close a job.

    Arguments:
        machine: as described.
        evidence: all that was noticed and measured, in its order.
        findings: the parts that were looked at, in that order; every other part stays unknown.
        cured: parts whose mending cured the complaint: what they made one notice is then taken to be gone.
        name: what the shop calls the job, to tell apart two whose evidence is the same.
        knowledge: what the shop knew while it worked; None for the catalogue alone. Where this job is in it already, it
            is left out: nothing predicts itself.
        closed: the day, ISO 8601; None for today.

    Raises:
        InputAtFaultError: for signs the machine does not have; for a job that nothing tells from others.
    """
    usual = network(machine, evidence.age_years)
    checked_evidence(usual, evidence)
    if not evidence.signs and not name:
        found = "has neither evidence nor a name, so that it cannot be told from other jobs."
        raise InputAtFaultError(Problem("the job", found, "Give --evidence E or --job NAME."))
    known_as = job_id(machine, evidence, name)
    usual, told = as_told(usual, evidence)
    known = usual if knowledge is None else with_knowledge(usual, without_job(knowledge, known_as))
    steps = [_before_answer(known, told, findings, i) for i in range(len(told.signs) + 1)]
    said = [_before_looking(known, told, findings, i) for i in range(len(findings))]
    whole = replace(told, signs=(*told.signs, *_gone(usual, told, findings, cured)))
    leading = ranked(*_without_finding(known, told))[0][0] if told.signs else None
    return ClosedJob(
        id=known_as,
        layout=machine.layout,
        machine=machine.id,
        closed=closed or datetime.now(UTC).date().isoformat(),
        name=name,
        evidence=evidence,
        cured=tuple(cured),
        leading="" if leading is None else leading.part,
        leading_share=0.0 if leading is None else leading.explains_complaint,
        parts=_parts(known, usual, whole, findings, said, [found for found, _ in steps]),
        answers=_answers(known, usual, whole, findings, [chance for _, chance in steps]),
    )


def job_id(machine: Machine, evidence: Evidence, name: str) -> str:
    """Give the same id for the same job, also when what was found is put right later."""
    text = json.dumps([machine.id, machine.layout, name, evidence_json(evidence)], sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


# --- predictions, each from what was known before it ------------------------------------------------------------------


def _before_answer(
    known: Network, evidence: Evidence, findings: Sequence[Finding], step: int
) -> tuple[Posterior, float]:
    """Give what was believed before an answer, and the chance of "yes"; after the last answer the chance is nan.

    What had been renewed by then had been found by then.
    """
    signs = evidence.signs
    asked = signs[step] if step < len(signs) else None
    renewed = asked.after if asked else signs[-1].after if signs else ()
    silent = Observation(asked.id, None, after=renewed) if asked else None
    before = Evidence((*signs[:step], *([silent] if silent else [])))
    net = _found(known, [finding for finding in findings if finding.part in renewed])
    latest = latest_round(net, before)
    believed = posterior(latest.network, latest.likelihoods, with_words=asked is not None)
    return believed, _yes(latest.network, believed, latest.network.signs[asked.id]) if asked else float("nan")


def _yes(net: Network, believed: Posterior, sign: Sign) -> float:
    """Give the chance that a sign is noticed."""
    if sign.node in net.words:
        return float(believed.words[sign.node][0] @ of_answer(sign, net.words[sign.node], present=True))
    return sign.chance(net.constants[sign.node])


def _before_looking(known: Network, evidence: Evidence, findings: Sequence[Finding], number: int) -> float:
    """Give the chance that a part is out of order as it stood when it was about to be looked at.

    That was before any answer that was given with the part renewed, and after all that had been found before.
    """
    name = findings[number].part
    signs = evidence.signs
    until = next((i for i, one in enumerate(signs) if name in one.after), len(signs))
    net = _found(known, findings[:number])
    latest = latest_round(net, Evidence(signs[:until]))
    readings = evidence.readings if until == len(signs) else {}
    believed = posterior(latest.network, with_more(latest, of_readings(latest.network, readings)), with_words=False)
    return float(1.0 - believed.states[name][0, 0])


def _without_finding(known: Network, evidence: Evidence) -> tuple[Network, Posterior]:
    """Give what was believed by all that was noticed before anything was renewed."""
    first = Evidence(tuple(one for one in evidence.signs if not one.after))
    latest = latest_round(known, first)
    said = with_more(latest, of_readings(latest.network, evidence.readings))
    return latest.network, posterior(latest.network, said, with_words=False)


def _found(known: Network, findings: Sequence[Finding]) -> Network:
    """Give the network of a machine of which this has been found."""
    parts = {finding.part: _fixed(known.parts[finding.part], finding.kind) for finding in findings}
    return replace(known, parts={**known.parts, **parts})


def _fixed(states: PartStates, found: str) -> PartStates:
    kept = np.array([p if kind == found else 0.0 for (kind, _), p in zip(states.states, states.prior, strict=True)])
    return replace(states, prior=tuple(float(p) for p in kept / kept.sum()))


# --- what the job teaches ---------------------------------------------------------------------------------------------


def _gone(
    usual: Network, evidence: Evidence, findings: Sequence[Finding], cured: Sequence[str]
) -> tuple[Observation, ...]:
    """Say what a cure says: that what was noticed, and the mended parts lead to, is noticed no more."""
    if not cured:
        return ()
    bad = [finding for finding in findings if finding.kind != SOUND]
    worn = posterior(_certain(usual, {one.part: one.kind for one in bad}), {})
    led_to = {
        sign.id
        for sign in usual.signs.values()
        if sign.node in usual.words
        and sign.chance(usual.sound_words[sign.node]) < NOTICED_FROM <= _yes(usual, worn, sign)
    }
    last = {one.id: one.present for one in evidence.signs}
    renewed = tuple(dict.fromkeys((*(name for one in evidence.signs for name in one.after), *(f.part for f in bad))))
    return tuple(
        Observation(name, False, after=renewed) for name, present in last.items() if present and name in led_to
    )


def _certain(usual: Network, bad: Mapping[str, str]) -> Network:
    """Give the network of a machine that has these faults, at their worst, and no others."""
    parts = {}
    for name, known in usual.parts.items():
        at = max(i for i, (kind, _) in enumerate(known.states) if kind == bad.get(name, SOUND))
        parts[name] = replace(known, prior=tuple(float(i == at) for i in range(len(known.states))))
    return replace(usual, parts=parts)


def _rounds(net: Network, evidence: Evidence) -> list[tuple[Round, list[int]]]:
    """Give every round of repair as it stood at its end, with the numbers of its answers."""
    sets = list(dict.fromkeys(frozenset(one.after) for one in evidence.signs)) or [frozenset[str]()]
    rounds = []
    for i, renewed in enumerate(sets):
        until = Evidence(tuple(one for one in evidence.signs if frozenset(one.after) in sets[: i + 1]))
        numbers = [n for n, one in enumerate(evidence.signs) if frozenset(one.after) == renewed]
        rounds.append((latest_round(net, until), numbers))
    return rounds


def _parts(
    known: Network,
    usual: Network,
    evidence: Evidence,
    findings: Sequence[Finding],
    said: Sequence[float],
    course: Sequence[Posterior],
) -> tuple[PartFound, ...]:
    last, _ = _rounds(_found(known, findings), evidence)[-1]
    likelihoods = with_more(last, of_readings(last.network, evidence.readings) if not last.renewed else {})
    believed = posterior(last.network, likelihoods, with_words=False)
    parts = []
    for finding, chance in zip(findings, said, strict=True):
        home, before = _home_and_before(usual, finding.part)
        steps = tuple(float(1.0 - one.states[finding.part][0, 0]) for one in course)
        parts.append(PartFound(finding.part, home, finding.kind, before, {}, chance, steps))
    # What was renewed unseen tells of the new part, not of the old one.
    for name in (name for name in usual.parts if name not in last.renewed | {one.part for one in findings}):
        speaks = _speaks(known.parts[name], believed.states[name][0])
        if speaks:
            home, before = _home_and_before(usual, name)
            parts.append(PartFound(name, home, NOT_LOOKED_AT, before, speaks))
    return tuple(parts)


def _home_and_before(usual: Network, name: str) -> tuple[str, dict[str, float]]:
    rates = by_kind(usual.parts[name], usual.parts[name].prior)
    return part_kind(usual.machine, name), {kind: p for kind, p in rates.items() if kind != SOUND}


def _speaks(states: PartStates, after: NDArray[np.float64]) -> dict[str, float]:
    """Say how many times likelier all that is known is with each kind than with the part sound."""
    before, now = by_kind(states, states.prior), by_kind(states, [float(p) for p in after])
    sound_grown = now[SOUND] / before[SOUND]
    if sound_grown <= 0.0:
        return {}
    speaks = {kind: now[kind] / before[kind] / sound_grown for kind in before if kind != SOUND and before[kind] > 0}
    return {kind: ratio for kind, ratio in speaks.items() if abs(ratio - 1.0) > SPEAKS_FROM}


def _answers(
    known: Network, usual: Network, evidence: Evidence, findings: Sequence[Finding], said: Sequence[float]
) -> tuple[AnswerGiven, ...]:
    """Judge every plain answer by what was found and by all other answers."""
    judged: dict[int, AnswerGiven] = {}
    for one_round, numbers in _rounds(_found(known, findings), evidence):
        believed = posterior(one_round.network, one_round.likelihoods)
        for number in numbers:
            one = evidence.signs[number]
            # What a cure says was never asked: there is no prediction for it.
            if is_plain(one) and number < len(said) - 1:
                shows = _shows(known, usual, believed, one)
                sense = sense_of(usual.signs[one.id])
                judged[number] = AnswerGiven(one.id, sense, one.present is True, float(said[number]), shows)
    return tuple(judged[number] for number in sorted(judged))


def _shows(known: Network, usual: Network, believed: Posterior, given: Observation) -> float | None:
    """Give how surely a sign should have shown, the answer itself left out; None when that is open."""
    sign, plain = known.signs[given.id], usual.signs[given.id]
    words = known.words.get(sign.node)
    if words is None:
        rest, words = np.ones(1), (known.constants[sign.node],)
    else:
        rest = believed.words[sign.node][0] / of_answer(sign, words, present=bool(given.present), sure=given.sure)
        rest = rest / rest.sum()
    full = max(plain.notice.values()) - plain.false_rate
    share = np.array([(plain.chance(word) - plain.false_rate) / full for word in words])
    shows = float(np.clip(rest @ share, 0.0, 1.0))
    return shows if min(shows, 1.0 - shows) <= SETTLED else None
