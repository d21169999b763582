"""What is believed: against enumeration, and against what technicians know."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.beliefs import posterior, ranked, shares
from tapewright.diagnose.likelihoods import of_answer, of_observations, of_readings
from tapewright.diagnose.network import Network, derive, network
from tapewright.faults.applied import Fault, applied
from tapewright.faults.graph import evaluate
from tapewright.machine.library import shipped
from tapewright.machine.parts import Coupling, HeadBase, Machine, Mode, Rotor, Supply, TapeFormat
from tapewright.words.evidence import Observation
from tapewright.words.findings import Belief
from tapewright.words.reading import Reading
from tests.described import (
    capstan_motor_runs_always,
    described,
    flywheel_lifts_the_head_base,
    flywheel_takes_the_tape_up,
)

EQUAL = 0.2

SMALL = Machine(
    id="small",
    title="An invented winder: a motor, a belt, a reel table",
    layout="none",
    invented=True,
    tape=TapeFormat(0.047625, 2, 16e-6, 0.011, 0.0236),
    rotors={
        "motor": Rotor("motor", "motor"),
        "motor_pulley": Rotor("motor_pulley", "pulley", on="motor"),
        "takeup_reel": Rotor("takeup_reel", "reel_table", sight="well"),
        "supply_reel": Rotor("supply_reel", "reel_table", sight="well"),
    },
    couplings={"reel_belt": Coupling("reel_belt", "belt", ("motor_pulley", "takeup_reel"), (1, 1))},
    sensors={},
    supply=Supply(),
    head_base=HeadBase("keys"),
    modes={"fast_forward": Mode("fast_forward", {"motor": 1.0}, takes_up="takeup_reel", gives="supply_reel")},
)


def seen(*ids: str) -> list[Observation]:
    return [Observation(sign, True) for sign in ids]


def beliefs_of(machine: Machine, observations: list[Observation], equal: float | None = EQUAL) -> list[Belief]:
    net = network(machine, None, equal)
    return ranked(net, posterior(net, of_observations(net, observations)))[0]


def by_enumeration(net: Network, observations: list[Observation]) -> dict[str, float]:
    """The slow obvious way: put every combination of states into the machine, run it, and weigh what shows."""
    weights: dict[str, float] = dict.fromkeys(net.parts, 0.0)
    total = 0.0
    names = list(net.parts)
    possible = [[i for i, chance in enumerate(net.parts[name].prior) if chance > 0] for name in names]
    for combination in product(*possible):
        states = {name: net.parts[name].states[i] for name, i in zip(names, combination, strict=True)}
        chance = math.prod(net.parts[name].prior[i] for name, i in zip(names, combination, strict=True))
        faults = [Fault(name, *state) for name, state in states.items() if state[0] != "sound"]
        worn = applied(net.machine, faults)
        values = evaluate(net.mechanism.nodes, {c.name: c.read(worn) for c in net.mechanism.conditions})
        for observation in observations:
            sign = net.signs[observation.id]
            shows = sign.chance(values[sign.node])
            chance *= shows if observation.present else 1.0 - shows
        total += chance
        for fault in faults:
            weights[fault.part] += chance
    return {name: weight / total for name, weight in weights.items()}


@pytest.mark.slow
def test_beliefs_equal_enumeration_on_a_small_machine() -> None:
    net = derive(SMALL)
    sound_here = ("heads", "cassette", "head_base", "supply_reel")  # so that what is to be gone through stays small
    held = {n: replace(p, prior=(1.0, *[0.0] * (len(p.prior) - 1))) for n, p in net.parts.items() if n in sound_here}
    net = replace(net, parts={**net.parts, **held})
    observations = [Observation("fast_forward_weak", True), Observation("takeup_reel_stiff", False)]
    found = posterior(net, of_observations(net, observations))
    for name, expected in by_enumeration(net, observations).items():
        assert 1.0 - found.states[name][0, 0] == pytest.approx(expected, abs=1e-9)


# --- common practice, no source: what a technician concludes, all parts equally likely beforehand ---------------------

PRACTICE = [
    (("switch_on_cam_motor_races", "switch_on_cam_motor_goes_on"), "cam_belt"),
    (("switch_on_cam_motor_races",), "cam_belt"),
    (("switch_on_cam_motor_goes_on",), "cam_belt"),
    (("switch_on_does_not_drop",), "cam_belt"),
    (("play_tape_races",), "capstan_belt"),
    (("cassette_in_capstan_motor_heard", "cassette_in_capstan_still"), "capstan_belt"),
    (("fast_forward_weak", "rewind_weak"), "idler_tyre"),
    (("play_loop", "play_takeup_reel_falters"), "idler_tyre"),
    (("play_oxide",), "pinch_roller"),
]


@pytest.mark.parametrize("machine_id", ["four_track", "four_track_starter"])
@pytest.mark.parametrize("equal", [EQUAL, None], ids=["equal rates", "catalogue"])
@pytest.mark.parametrize(
    ("signs", "part"), PRACTICE, ids=lambda value: "+".join(value) if isinstance(value, tuple) else ""
)
def test_the_part_a_technician_names(machine_id: str, equal: float | None, signs: tuple[str, ...], part: str) -> None:
    found = beliefs_of(shipped(machine_id), seen(*signs), equal)
    assert found[0].part == part
    without = {b.part: b for b in beliefs_of(shipped(machine_id), [], equal)}
    print(f"{signs}: {part} {without[part].out_of_order:.2f} -> {found[0].out_of_order:.2f}")
    assert found[0].out_of_order > without[part].out_of_order + 0.1
    assert without[part].explains_complaint == pytest.approx(0.0, abs=1e-9)


# --- the beliefs turn as the mechanism says, with the description alone changed ---------------------------------------


def share_of(machine: Machine, part: str, *signs: str) -> float:
    return next(b.explains_complaint for b in beliefs_of(machine, seen(*signs)) if b.part == part)


def test_nothing_lifts() -> None:
    changed = described("four_track", flywheel_lifts_the_head_base)
    heard = seen("play_stays_down", "cassette_in_capstan_still", "cassette_in_capstan_motor_heard")
    assert beliefs_of(changed, heard)[0].part == "capstan_belt"
    assert beliefs_of(shipped("four_track"), seen("play_stays_down"))[0].part == "cam_belt"
    assert share_of(changed, "capstan_belt", "play_stays_down") > 0.15
    assert share_of(shipped("four_track"), "capstan_belt", "play_stays_down") < 0.01


def test_play_no_longer_races() -> None:
    changed = described("four_track", flywheel_takes_the_tape_up)
    assert share_of(shipped("four_track"), "capstan_belt", "play_tape_races") > 0.5
    assert share_of(changed, "capstan_belt", "play_tape_races") < 0.02
    assert share_of(changed, "capstan_belt", "play_tape_still") > share_of(
        shipped("four_track"), "capstan_belt", "play_tape_still"
    )


def test_no_motor_starts_with_the_cassette_where_it_runs_already() -> None:
    changed = described("four_track", capstan_motor_runs_always)
    switch = share_of(shipped("four_track"), "cassette_switch", "cassette_in_nothing_starts")
    assert switch > 0.2
    found = beliefs_of(changed, seen("cassette_in_nothing_starts"))
    assert max(b.explains_complaint for b in found) < 1e-9


# --- two questions ----------------------------------------------------------------------------------------------------


def test_an_old_belt_is_out_of_order_but_does_not_explain_what_it_cannot() -> None:
    found = {b.part: b for b in beliefs_of(shipped("four_track"), seen("fast_forward_weak"), equal=None)}
    assert found["cam_belt"].out_of_order > 0.5
    assert found["cam_belt"].explains_complaint < 0.01
    assert found["idler_tyre"].explains_complaint > 0.5


@settings(max_examples=25)
@given(st.data())
def test_shares_sum_to_one_and_the_order_of_evidence_changes_nothing(data: st.DataObject) -> None:
    net = network(shipped("one_motor_portable"))
    asked = sorted(sign.id for sign in net.signs.values() if not sign.aside)
    ids = data.draw(st.lists(st.sampled_from(asked), min_size=0, max_size=6, unique=True))
    told = [
        Observation(sign, data.draw(st.sampled_from([True, False, None])), data.draw(st.floats(0, 1))) for sign in ids
    ]
    found = posterior(net, of_observations(net, told))
    shared = shares(net, found)
    assert float(shared.share[0].sum() + shared.none_of_these[0]) == pytest.approx(1.0, abs=1e-9)
    turned = posterior(net, of_observations(net, told[::-1]))
    for part, states in found.states.items():
        assert np.isfinite(states).all()
        np.testing.assert_allclose(states, turned.states[part], atol=1e-9)


def test_no_evidence_leaves_the_base_rates_and_explains_nothing() -> None:
    net = network(shipped("four_track"))
    found = posterior(net, {})
    for name, known in net.parts.items():
        np.testing.assert_allclose(found.states[name][0], known.prior, atol=1e-12)
    beliefs, none = ranked(net, found)
    assert none == pytest.approx(1.0, abs=1e-9)
    assert all(b.explains_complaint == pytest.approx(0.0, abs=1e-9) for b in beliefs)


def test_a_guess_says_less_than_a_certainty_and_cannot_tell_says_nothing() -> None:
    machine = shipped("four_track")
    sure, guess, unknown = (
        beliefs_of(machine, [Observation("play_tape_races", present, weight)])
        for present, weight in ((True, 1.0), (True, 0.4), (None, 1.0))
    )
    rise = {name: {b.part: b.out_of_order for b in found}["capstan_belt"] for name, found in
            (("sure", sure), ("guess", guess), ("unknown", unknown))}  # fmt: skip
    assert rise["sure"] > rise["guess"] > rise["unknown"] == pytest.approx(EQUAL)


def test_an_answer_of_no_certainty_is_flat() -> None:
    sign = network(shipped("four_track")).signs["play_loop"]
    assert of_answer(sign, ("no", "yes"), present=True, sure=0.0).tolist() == [0.5, 0.5]


def test_a_slow_reading_speaks_for_what_makes_it_slow() -> None:
    net = network(shipped("four_track"))
    slow = {"speed_error_pct": Reading(-3.0, "%", 0.05)}
    right = {"speed_error_pct": Reading(0.1, "%", 0.05), "weighted_peak_pct": Reading(0.08, "%", 0.01)}
    dry = [kind == "dry_bearing" for kind, _ in net.parts["capstan"].states]
    bearing = [posterior(net, of_readings(net, r)).states["capstan"][0, dry].sum() for r in (slow, right, {})]
    assert bearing[0] > bearing[2] > bearing[1]


def test_a_kind_is_named_with_the_part() -> None:
    found = beliefs_of(shipped("four_track"), seen("pinch_roller_sticky"))[0]
    assert (found.part, found.kind) == ("pinch_roller", "sticky")
    assert sum(chance for _, chance in found.kinds) == pytest.approx(found.out_of_order)
