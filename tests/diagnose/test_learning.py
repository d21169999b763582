"""What closed jobs teach: against closed forms, slow obvious versions, and shops whose true rates are known."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.closed_jobs import (
    NOT_LOOKED_AT,
    SOUND,
    AnswerGiven,
    ClosedJob,
    Knowledge,
    PartFound,
    Tally,
    merged,
)
from tapewright.diagnose.learning import (
    POOL_WEIGHT,
    RATE_WEIGHT,
    SENSE_WEIGHT,
    SIGN_WEIGHT,
    by_kind,
    dirichlet_mean,
    part_kind,
    sense_of,
    with_knowledge,
)
from tapewright.diagnose.learnt import learnt_rates, learnt_senses
from tapewright.diagnose.network import network
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import SENSES, signs
from tapewright.machine.library import shipped, shipped_ids

NET = network(shipped("four_track"))
LAYOUT = NET.machine.layout
BASE = {name: by_kind(known, known.prior) for name, known in NET.parts.items()}
NUMBER = iter(range(10**9))


def found(part: str, kind: str, **others: float) -> PartFound:
    before = {k: p for k, p in BASE[part].items() if k != SOUND}
    return PartFound(part, part_kind(NET.machine, part), kind, before, others)


def job(*parts: PartFound, layout: str = LAYOUT, answers: Sequence[AnswerGiven] = ()) -> ClosedJob:
    return ClosedJob(f"job {next(NUMBER)}", layout, parts=parts, answers=tuple(answers))


def kinds(part: str, *jobs: ClosedJob, tallies: Sequence[Tally] = ()) -> dict[str, float]:
    taught = with_knowledge(NET, Knowledge(tuple(jobs), tuple(tallies))).parts[part]
    return by_kind(taught, taught.prior)


# --- base rates -------------------------------------------------------------------------------------------------------


def test_counts_on_a_judgement_give_worked_examples() -> None:
    """Two worked examples, closed forms: Beta(2, 8) and 3 of 4 more give 5/14 = 0.35714; a Dirichlet of (0.5, 0.3, 0.2)
    worth 10 with counts (4, 0, 1) gives 0.6, 0.2, 0.2."""
    assert dirichlet_mean({"so": 0.2, "not": 0.8}, 10.0, {"so": 3, "not": 1})["so"] == pytest.approx(0.35714, abs=5e-6)
    moved = dirichlet_mean({"a": 0.5, "b": 0.3, "c": 0.2}, 10.0, {"a": 4, "b": 0, "c": 1})
    assert moved == pytest.approx({"a": 0.6, "b": 0.2, "c": 0.2})


@settings(max_examples=15)
@given(st.lists(st.sampled_from(["glazed", "sticky", SOUND]), max_size=30))
def test_what_was_looked_at_moves_the_rates_as_counts_on_a_dirichlet_do(seen: list[str]) -> None:
    """Oracle: the closed form, `dirichlet_mean`, at the machine's own catalogue rates."""
    counts = {kind: seen.count(kind) for kind in set(seen)}
    expected = dirichlet_mean(BASE["idler_tyre"], RATE_WEIGHT, counts)
    assert kinds("idler_tyre", *(job(found("idler_tyre", kind)) for kind in seen)) == pytest.approx(expected)


def test_degrees_of_a_kind_keep_their_proportions() -> None:
    taught = with_knowledge(NET, Knowledge((job(found("idler_tyre", "glazed")),))).parts["idler_tyre"]
    before = NET.parts["idler_tyre"]
    ratios = {
        kind: round(now / was, 12)
        for (kind, _), now, was in zip(before.states, taught.prior, before.prior, strict=True)
        if kind == "glazed"
    }
    assert len(ratios) == 1


def test_what_was_not_looked_at_and_nothing_speaks_of_teaches_nothing() -> None:
    jobs = [job(found("idler_tyre", "glazed"), replace(found("pinch_roller", NOT_LOOKED_AT), before={}))] * 50
    assert kinds("pinch_roller", *jobs) == pytest.approx(BASE["pinch_roller"])
    looked = [job(found("pinch_roller", SOUND))] * 50
    assert kinds("pinch_roller", *looked)[SOUND] > BASE["pinch_roller"][SOUND] + 0.1


def test_evidence_that_speaks_for_nothing_in_particular_changes_nothing() -> None:
    """Equal weights carry no information, however many the jobs: expectation and maximization stand still."""
    even = {kind: 1.0 for kind in BASE["idler_tyre"] if kind != SOUND}
    seen = [job(found("idler_tyre", "glazed")) for _ in range(5)]
    silent = [job(found("idler_tyre", NOT_LOOKED_AT, **even)) for _ in range(40)]
    assert kinds("idler_tyre", *seen, *silent) == pytest.approx(kinds("idler_tyre", *seen), abs=1e-5)


def test_what_is_shared_out_is_the_most_probable_rate() -> None:
    """Slow obvious version: the posterior of one rate over a fine grid; its mode is what is learnt.

    A part with two states stands for it: chance p before, worth RATE_WEIGHT jobs, cases that were looked at, and cases
    of which only a likelihood ratio is known. The prior is Beta(RATE_WEIGHT p + 1, RATE_WEIGHT (1 - p) + 1), whose mode
    with counts is the mean that `dirichlet_mean` gives.
    """
    part = "cassette_switch"
    assert list(BASE[part]) == [SOUND, "dirty"]
    p = BASE[part]["dirty"]
    ratios = [9.0, 4.0, 0.2, 30.0, 0.05, 1.5]
    jobs = [job(found(part, "dirty"))] * 3 + [job(found(part, SOUND))] * 4
    jobs += [job(found(part, NOT_LOOKED_AT, dirty=ratio)) for ratio in ratios]
    grid = np.linspace(1e-6, 1.0 - 1e-6, 200_001)
    log = (RATE_WEIGHT * p + 3) * np.log(grid) + (RATE_WEIGHT * (1.0 - p) + 4) * np.log1p(-grid)
    log += sum(np.log(grid * ratio + 1.0 - grid) for ratio in ratios)
    assert kinds(part, *jobs)["dirty"] == pytest.approx(float(grid[np.argmax(log)]), abs=2e-5)


def test_a_new_layout_starts_from_what_was_seen_of_such_parts_elsewhere() -> None:
    elsewhere = [job(found("idler_tyre", SOUND), layout="another") for _ in range(60)]
    expected = dirichlet_mean(BASE["idler_tyre"], POOL_WEIGHT, {SOUND: 60})
    assert kinds("idler_tyre", *elsewhere) == pytest.approx(expected)
    own = [job(found("idler_tyre", "glazed")) for _ in range(6)]
    both = dirichlet_mean(expected, RATE_WEIGHT, {"glazed": 6})
    assert kinds("idler_tyre", *elsewhere, *own) == pytest.approx(both)
    assert kinds("pinch_roller", *elsewhere) == pytest.approx(BASE["pinch_roller"])


def test_a_part_the_catalogue_holds_likelier_stays_likelier_by_what_both_teach() -> None:
    """What is pooled is by how much more than expected was seen: belts of two base rates keep their order."""
    younger = replace(found("cam_belt", SOUND), before={k: p / 2 for k, p in found("cam_belt", SOUND).before.items()})
    seen = [job(replace(younger, found="slack"), layout="another") for _ in range(30)]
    taught = with_knowledge(NET, Knowledge(tuple(seen)))
    assert taught.parts["cam_belt"].prior[0] < NET.parts["cam_belt"].prior[0]
    same_age = [job(found("cam_belt", "slack"), layout="another") for _ in range(30)]
    less = with_knowledge(NET, Knowledge(tuple(same_age)))
    # On younger machines as many slack belts are the bigger surprise.
    assert taught.parts["cam_belt"].prior[0] < less.parts["cam_belt"].prior[0]


def test_a_tally_counts_like_as_many_jobs() -> None:
    kind_of_part = part_kind(NET.machine, "idler_tyre")
    tally = Tally("notebook", kind_of_part, {"glazed": 3}, 2, LAYOUT, "idler_tyre")
    jobs = [job(found("idler_tyre", "glazed"))] * 3 + [job(found("idler_tyre", SOUND))] * 2
    assert kinds("idler_tyre", tallies=[tally]) == pytest.approx(kinds("idler_tyre", *jobs))
    elsewhere = replace(tally, layout="", part="")
    expected = dirichlet_mean(BASE["idler_tyre"], POOL_WEIGHT, {"glazed": 3, SOUND: 2})
    assert kinds("idler_tyre", tallies=[elsewhere]) == pytest.approx(expected)


@settings(max_examples=15)
@given(st.lists(st.sampled_from([("idler_tyre", "glazed"), ("cam_belt", "slack"), ("cam_belt", SOUND)]), max_size=20))
def test_the_order_of_jobs_changes_nothing_and_chances_stay_chances(seen: list[tuple[str, str]]) -> None:
    jobs = [job(found(*one), found("capstan_belt", NOT_LOOKED_AT, slack=0.2)) for one in seen]
    taught, turned = (with_knowledge(NET, Knowledge(tuple(order))) for order in (jobs, jobs[::-1]))
    for name, states in taught.parts.items():
        assert states.prior == pytest.approx(turned.parts[name].prior)
        assert sum(states.prior) == pytest.approx(1.0)
        assert min(states.prior) > 0.0


def test_a_kind_that_the_catalogue_no_longer_has_is_passed_over() -> None:
    assert kinds("idler_tyre", job(found("idler_tyre", "bewitched"))) == pytest.approx(BASE["idler_tyre"])


def test_no_job_counts_twice_and_the_later_word_stands() -> None:
    first = ClosedJob("a", LAYOUT, closed="2026-01-05", parts=(found("idler_tyre", "glazed"),))
    right = replace(first, closed="2026-01-09", parts=(found("idler_tyre", "sticky"),))
    both = merged(Knowledge((right,)), Knowledge((first, ClosedJob("b", LAYOUT))))
    assert [one.id for one in both.jobs] == ["a", "b"]
    assert both.jobs[0] == right
    assert merged(both, both) == both == merged(Knowledge((first, ClosedJob("b", LAYOUT))), Knowledge((right,)))


def test_learnt_rates_are_listed_against_the_catalogues() -> None:
    jobs = [job(found("idler_tyre", "glazed"))] * 6 + [job(found("idler_tyre", SOUND), found("cam", NOT_LOOKED_AT))] * 2
    (rate,) = learnt_rates(Knowledge(tuple(jobs)))
    assert (rate.part, rate.bad, rate.looked_at, rate.jobs) == ("idler_tyre", 6, 8, 8)
    assert rate.catalogue == pytest.approx(1.0 - BASE["idler_tyre"][SOUND])
    assert rate.learnt == pytest.approx(1.0 - kinds("idler_tyre", *jobs)[SOUND])
    assert rate.low < rate.learnt < rate.high


# --- how well signs are noticed ---------------------------------------------------------------------------------------


def given_answer(sign: str, noticed: bool, shows: float | None) -> AnswerGiven:
    return AnswerGiven(sign, sense_of(NET.signs[sign]), noticed, 0.5, shows)


def test_every_sign_has_a_sense_and_its_rates_are_those_of_its_sense() -> None:
    for name in shipped_ids():
        for sign in signs(mechanism(shipped(name))):
            sense = sense_of(sign)
            assert sign.false_rate == SENSES[sense][1]
            assert max(sign.notice.values()) <= SENSES[sense][0] + 1e-9


def test_a_sign_that_people_miss_tells_less() -> None:
    """Closed form: the mean of a Beta."""
    sign = NET.signs["play_loop"]
    missed = Knowledge((job(answers=[given_answer("play_loop", False, 1.0)] * 30),))
    taught = with_knowledge(NET, missed).signs["play_loop"]
    usual, mistaken = SENSES[sense_of(sign)]
    assert max(taught.notice.values()) == pytest.approx(SIGN_WEIGHT * usual / (SIGN_WEIGHT + 30))
    assert taught.false_rate == sign.false_rate
    alarmed = Knowledge((job(answers=[given_answer("play_loop", True, 0.0)] * 10),))
    expected = (SIGN_WEIGHT * mistaken + 10) / (SIGN_WEIGHT + 10)
    assert with_knowledge(NET, alarmed).signs["play_loop"].false_rate == pytest.approx(expected)


def test_other_signs_of_a_sense_move_by_it_and_other_senses_stay() -> None:
    missed = Knowledge((job(answers=[given_answer("play_loop", False, 1.0)] * 30),))
    sense = sense_of(NET.signs["play_loop"])
    usual = SENSES[sense][0]
    taught = with_knowledge(NET, missed)
    for name, sign in NET.signs.items():
        if sense_of(sign) != sense:
            assert taught.signs[name] == sign
        elif name != "play_loop" and max(sign.notice.values()) == usual:
            expected = SENSE_WEIGHT * usual / (SENSE_WEIGHT + 30)
            assert max(taught.signs[name].notice.values()) == pytest.approx(expected)
    (only,) = learnt_senses(missed)
    assert (only.sense, only.answers) == (sense, 30)


def test_an_answer_that_leaves_open_whether_it_should_have_shown_teaches_nothing() -> None:
    open_one = Knowledge((job(answers=[given_answer("play_loop", True, None)] * 30),))
    assert with_knowledge(NET, open_one).signs == NET.signs


def test_an_answer_that_is_not_quite_settled_is_shared_out() -> None:
    """Slow obvious version: the posterior of both rates on a grid; its mode is what is learnt."""
    sign = NET.signs["play_loop"]
    usual, mistaken = SENSES[sense_of(sign)]
    rows = [(True, 0.95)] * 20 + [(False, 0.95)] * 12 + [(True, 0.06)] * 8 + [(False, 0.06)] * 25
    answers = [given_answer("play_loop", noticed, shows) for noticed, shows in rows]
    taught = with_knowledge(NET, Knowledge((job(answers=answers),))).signs["play_loop"]
    hit, false = np.meshgrid(np.linspace(0.3, 0.999, 1400), np.linspace(0.001, 0.5, 1400), indexing="ij")
    log = np.zeros_like(hit)
    for rate, x in ((usual, hit), (mistaken, false)):
        log = log + SIGN_WEIGHT * (rate * np.log(x) + (1.0 - rate) * np.log1p(-x))
    for noticed, shows in rows:
        yes = shows * hit + (1.0 - shows) * false
        log = log + np.log(yes if noticed else 1.0 - yes)
    at = np.unravel_index(np.argmax(log), log.shape)
    assert max(taught.notice.values()) == pytest.approx(float(hit[at]), abs=1e-3)
    assert taught.false_rate == pytest.approx(float(false[at]), abs=1e-3)


def test_equal_rates_that_were_asked_for_stay_equal() -> None:
    seen = Knowledge((job(found("idler_tyre", "glazed")),))
    assert with_knowledge(NET, seen, rates=False).parts == NET.parts
