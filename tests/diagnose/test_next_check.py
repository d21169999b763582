"""The next check: worth what it says, case shut as long as that tells, its cautions with it."""

import numpy as np
import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import Network, network
from tapewright.diagnose.next_check import UNNOTICED, look_ahead, mending_minutes, next_check
from tapewright.diagnose.repairs import RETURN_MINUTES
from tapewright.diagnose.rescue import FREE_THE_TAPE
from tapewright.machine.library import shipped
from tapewright.words.evidence import Observation


def bits(p: float) -> float:
    return 0.0 if p in (0.0, 1.0) else float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))


def saving_the_slow_way(net: Network, sign: str) -> float:
    """Before anything was found wrong; one sign at a time, no batch: stake now, less the expected stake after."""
    now = posterior(net, {})

    def stake(observations: list[Observation]) -> tuple[float, float, float]:
        found = posterior(net, of_observations(net, observations))
        total = sum(mending_minutes(net, name, now) * bits(1 - float(found.states[name][0, 0])) for name in net.parts)
        asked = net.signs[sign].node
        right = net.words[asked].index(net.sound_words[asked])
        fails = bits(1 - float(found.words[asked][0, right])) if asked.startswith("tape@") else 0.0
        return total, fails, float(np.exp(found.log_evidence[0]))

    before, mode, p = stake([])
    yes, mode_yes, p_yes = stake([Observation(sign, True)])
    no, mode_no, p_no = stake([Observation(sign, False)])
    assert p_yes + p_no == pytest.approx(p, rel=1e-9)
    asked = net.signs[sign]
    assert not asked.opens_case
    unnoticed = UNNOTICED * RETURN_MINUTES * (mode - (p_yes * mode_yes + p_no * mode_no) / p)
    return before - (p_yes * yes + p_no * no) / p + unnoticed - asked.minutes - asked.risk_minutes


def test_the_first_check_is_the_best_one_with_the_case_shut() -> None:
    net = network(shipped("one_motor_portable"))
    chosen = next_check(net, {})
    assert chosen is not None
    assert not chosen.opens_case
    asked = [s for s in net.signs.values() if s.node in net.words and not s.opens_case and not s.aside]
    slow = {sign.id: saving_the_slow_way(net, sign.id) for sign in asked}
    assert chosen.expected_saving == pytest.approx(max(slow.values()), abs=0.01)
    assert slow[chosen.id] == pytest.approx(chosen.expected_saving, abs=0.01)


def test_once_something_is_wrong_the_cost_of_repair_decides() -> None:
    """With reels that race it is belt or roller: what comes first tells them apart, from outside and in minutes."""
    net = network(shipped("four_track"))
    told = [Observation("play_tape_races", True)]
    check = next_check(net, of_observations(net, told), {"play_tape_races"})
    assert check is not None
    yes, no = ({shift.part: shift.explains_complaint for shift in way} for way in (check.if_yes, check.if_no))
    apart = [abs(yes.get(part, 0.0) - no.get(part, 0.0)) for part in ("capstan_belt", "pinch_roller")]
    assert max(apart) > 0.4
    assert check.minutes <= 3
    assert not check.opens_case


def test_what_would_change_its_mind_takes_the_lead_from_the_suspect() -> None:
    net = network(shipped("four_track"))
    told = [Observation("play_tape_races", True)]
    outlook = look_ahead(net, of_observations(net, told), {"play_tape_races"})
    before, _ = ranked(net, posterior(net, of_observations(net, told)))
    assert 1 <= len(outlook.changes) <= 2
    first = outlook.changes[0]
    assert not first.opens_case
    for change in outlook.changes:
        after, _ = ranked(net, posterior(net, of_observations(net, [*told, Observation(change.sign, change.present)])))
        share = {belief.part: belief.explains_complaint for belief in after}
        assert change.part == before[0].part
        assert share[change.part] == pytest.approx(change.explains_complaint, abs=1e-3)
        assert after[0].part == change.then_leading
        assert share[change.part] < before[0].explains_complaint
    assert first.then_leading != first.part
    assert look_ahead(net, {}).changes == ()


@pytest.mark.parametrize("sign", ["play_loop", "play_wrap", "stop_does_not_drop", "stop_stays_shut"])
def test_a_tape_that_is_held_comes_out_before_any_check(sign: str) -> None:
    """Common practice: power off, turned by hand, never pulled."""
    net = network(shipped("four_track"))
    said = of_observations(net, [Observation(sign, True)])
    check = next_check(net, said, {sign})
    assert check is not None
    assert check.first == FREE_THE_TAPE
    not_held = next_check(net, of_observations(net, [Observation(sign, False)]), {sign})
    assert not_held is not None
    assert not_held.first == ""


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
