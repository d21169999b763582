"""The next check: worth what it says, case shut as long as that tells, its cautions with it."""

import numpy as np
import pytest

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.next_check import BESIDE_THE_COMPLAINT, mending_minutes, next_check
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation


def bits(p: float) -> float:
    return 0.0 if p in (0.0, 1.0) else float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))


def saving_the_slow_way(net: Network, told: list[Observation], sign: str) -> float:
    """One sign at a time, no batch: stake now, less the expected stake after, less the minutes."""
    now = posterior(net, of_observations(net, told))
    weights = {}
    for name, known in net.parts.items():
        gone = max(0.0, 1.0 - now.states[name][0, 0] / known.prior[0])
        weights[name] = BESIDE_THE_COMPLAINT + (1 - BESIDE_THE_COMPLAINT) * min(1.0, 2 * gone)

    def stake(observations: list[Observation]) -> tuple[float, float]:
        found = posterior(net, of_observations(net, observations))
        total = sum(
            weights[name] * mending_minutes(net, name, now) * bits(1 - float(found.states[name][0, 0]))
            for name in net.parts
        )
        return total, float(np.exp(found.log_evidence[0]))

    before, p = stake(told)
    yes, p_yes = stake([*told, Observation(sign, True)])
    no, p_no = stake([*told, Observation(sign, False)])
    assert p_yes + p_no == pytest.approx(p, rel=1e-9)
    asked = net.signs[sign]
    assert not asked.opens_case
    cost = asked.minutes + asked.risk_minutes
    return before - (p_yes * yes + p_no * no) / p - cost


@pytest.mark.parametrize("told", [[], [Observation("play_tape_still", True)]])
def test_the_check_chosen_is_the_best_one_with_the_case_shut(told: list[Observation]) -> None:
    net = network(shipped("one_motor_portable"))
    asked = [o.id for o in told]
    chosen = next_check(net, of_observations(net, told), asked)
    assert chosen is not None
    assert not chosen.opens_case
    slow = {
        name: saving_the_slow_way(net, told, name)
        for name, sign in net.signs.items()
        if name not in asked and sign.node in net.words and not sign.opens_case
    }
    assert chosen.expected_saving == pytest.approx(max(slow.values()), abs=0.01)
    assert slow[chosen.id] == pytest.approx(chosen.expected_saving, abs=0.01)


def test_the_case_stays_shut_while_a_shut_check_tells_and_opens_when_none_does() -> None:
    net = network(shipped("four_track"))
    told = [Observation("switch_on_does_not_drop", True), Observation("switch_on_cam_motor_races", False)]
    first = next_check(net, of_observations(net, told), {o.id for o in told})
    assert first is not None
    assert not first.opens_case
    outside = {name for name, sign in net.signs.items() if not sign.opens_case}
    inside = next_check(net, of_observations(net, told), outside)
    assert inside is not None
    assert inside.opens_case
    assert "case shut" in inside.why
    assert any("Unplug" in said or "plug" in said for said in inside.cautions)


def test_with_everything_known_it_is_time_to_mend() -> None:
    net = network(shipped("four_track"))
    assert next_check(net, {}, set(net.signs)) is None


def test_a_check_says_why_and_what_each_answer_would_do() -> None:
    net = network(shipped("four_track"))
    told = [Observation("play_tape_races", True)]
    check = next_check(net, of_observations(net, told), {"play_tape_races"})
    assert check is not None
    assert check.cautions
    assert "minutes of work" in check.why
    yes = posterior(net, of_observations(net, [*told, Observation(check.id, True)]))
    leading = check.if_yes[0]
    assert leading.out_of_order == pytest.approx(1 - float(yes.states[leading.part][0, 0]), abs=1e-3)
    assert check.if_yes != check.if_no
