"""Contradictions named, lines attributed, chains told, work put in order."""

import math

import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.budget import UNEXPLAINED, budget, unexplained_pct
from tapewright.diagnose.clash import clashes
from tapewright.diagnose.explain import reasons
from tapewright.diagnose.likelihoods import checked_evidence, of_observations
from tapewright.diagnose.network import network
from tapewright.diagnose.plan import plan
from tapewright.machine.library import shipped
from tapewright.machine.rates import rates
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.findings import PlanStep
from tapewright.words.problem import InputAtFaultError
from tapewright.words.signal import Line

MACHINE = shipped("four_track")


def said(**answers: bool) -> list[Observation]:
    return [Observation(name, present) for name, present in answers.items()]


@pytest.mark.parametrize(
    ("told", "sets"),
    [
        (said(play_tape_still=True, play_tape_right=True), [("play_tape_still", "play_tape_right")]),
        (said(play_capstan_still=True, play_tape_right=True), [("play_capstan_still", "play_tape_right")]),
        (said(play_tape_races=True, fast_forward_weak=True, rewind_weak=True), []),
        (said(play_tape_races=True, cassette_in_capstan_still=True), []),
        (said(play_stays_down=True, play_loop=True), [("play_stays_down", "play_loop")]),
        ([], []),
    ],
)
def test_the_smallest_sets_that_cannot_hold_together(told: list[Observation], sets: list[tuple[str, ...]]) -> None:
    noise = said(supply_reel_stiff=False, capstan_crusted=False)
    found = clashes(network(MACHINE), [*told, *noise])
    assert [clash.signs for clash in found] == sets
    assert all("cannot hold together" in clash.says for clash in found)


def test_a_sign_nothing_here_can_bring_about_is_named_alone() -> None:
    """A one-motor machine with keys has nothing that would start when a cassette goes in, so its silence is usual."""
    found = clashes(network(shipped("one_motor_portable")), [Observation("cassette_in_nothing_starts", False)])
    assert [clash.signs for clash in found] == [("cassette_in_nothing_starts",)]
    assert "nothing that this description holds" in found[0].says


def test_contradictory_evidence_still_gives_numbers() -> None:
    net = network(MACHINE)
    found = posterior(net, of_observations(net, said(play_tape_still=True, play_tape_right=True)))
    beliefs, none = ranked(net, found)
    assert all(math.isfinite(b.out_of_order) and math.isfinite(b.explains_complaint) for b in beliefs)
    assert 0.0 <= none <= 1.0


def test_an_unknown_sign_is_a_problem_with_the_nearest() -> None:
    with pytest.raises(InputAtFaultError) as caught:
        checked_evidence(network(MACHINE), Evidence(tuple(said(play_tape_race=True, nonsense=True))))
    assert [p.where for p in caught.value.problems] == ["evidence, signs[0].id", "evidence, signs[1].id"]
    assert "'play_tape_races'" in caught.value.problems[0].do


# --- budget -----------------------------------------------------------------------------------------------------------


def line(frequency_hz: float, peak_pct: float = 0.1) -> Line:
    return Line(frequency_hz, peak_pct, 0.01, 0.002, 0.001)


@pytest.mark.parametrize("error_pct", [0.0, -2.5])
@pytest.mark.parametrize(
    ("part", "order"), [("capstan", 1), ("pinch_roller", 1), ("capstan_belt", 1), ("capstan_motor", 1), ("capstan", 2)]
)
def test_a_line_at_a_rotors_rate_is_that_rotors(part: str, order: int, error_pct: float) -> None:
    rate = rates(MACHINE, "play")[part].turns_per_s.value * (1 + error_pct / 100)
    (item,) = budget(MACHINE, [line(order * rate)], error_pct)
    assert (item.part, item.order) == (part, order)
    assert item.probability > 0.6


def test_a_line_from_nowhere_is_unexplained() -> None:
    items = budget(MACHINE, [line(205.0, 0.3), line(96.5, 0.4)])
    assert [item.part for item in items] == [UNEXPLAINED, UNEXPLAINED]
    assert unexplained_pct(items) == pytest.approx(0.5)


def test_sizes_nobody_measured_explain_with_less_certainty() -> None:
    rate = rates(MACHINE, "play")["capstan"].turns_per_s.value
    known, starter = (budget(m, [line(rate)])[0] for m in (MACHINE, shipped("four_track_starter")))
    assert known.probability > starter.probability


# --- explain, plan ----------------------------------------------------------------------------------------------------


def test_the_chain_leads_from_the_fault_to_the_sign() -> None:
    told = said(play_tape_races=True, cassette_in_capstan_still=False, play_loop=True)
    speaks_for, against = reasons(network(MACHINE), "capstan_belt", "missing", told)
    order = ["capstan belt is snapped", "nothing drives the flywheel", "drag the undriven capstan", "take-up pulls"]
    at = [speaks_for.index(words) for words in order]
    assert at == sorted(at)
    assert against.startswith("Against")
    assert "capstan does not turn" in against


def steps_for(*signs: str) -> list[PlanStep]:
    net = network(MACHINE)
    told = [Observation(sign, True) for sign in signs]
    beliefs, _ = ranked(net, posterior(net, of_observations(net, told)))
    return plan(net, beliefs, told)


def test_a_tape_that_may_be_caught_comes_out_first() -> None:
    """Common practice: power off, turned by hand, never pulled; after that a sacrificial tape."""
    for sign in ("play_loop", "play_wrap", "switch_on_does_not_drop"):
        first = steps_for(sign, "fast_forward_weak")[0]
        assert first.part == "tape"
        assert "never pull" in first.action
        assert "sacrificial" in first.action
    assert steps_for("fast_forward_weak")[0].part != "tape"


def test_the_plan_mends_the_cause_and_renews_on_the_way() -> None:
    steps = steps_for("cassette_in_capstan_motor_heard", "cassette_in_capstan_still", "play_tape_races")
    assert steps[0].part == "capstan_belt"
    assert "mm" in steps[0].size
    assert steps[0].cautions
    assert steps[0].remeasure
    on_the_way = [s.part for s in steps if s.why == "renew while it lies open"]
    assert "pinch_roller" in on_the_way
    assert "cam_belt" not in on_the_way  # the reels could only race with the head base up
    idler = steps_for("fast_forward_weak", "rewind_weak")
    assert idler[0].part == "idler_tyre"
    assert {"capstan_belt", "cam_belt"} <= {s.part for s in idler if s.why == "renew while it lies open"}
    assert all(0 <= s.probability_it_cures <= 1 and s.cost_low <= s.cost_high for s in steps)
