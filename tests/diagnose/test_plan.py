"""The work in its order: a held tape first, cheap before dear, what lies open together, what may show afterwards."""

from itertools import pairwise

import pytest

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.diagnose.plan import plan
from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.ask import Conversation, converse
from tapewright.jobs.examine import examine, findings_json
from tapewright.machine.library import shipped, shipped_ids
from tapewright.show.question import question_text
from tapewright.show.text import text_report
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.findings import PlanStep

LAYOUTS = [name for name in shipped_ids() if not name.endswith("_starter")]
HELD = ("play_loop", "play_wrap", "stop_does_not_drop", "switch_on_does_not_drop", "stop_stays_shut")


def steps_for(machine_id: str, *seen: str) -> list[PlanStep]:
    net = network(shipped(machine_id))
    told = [Observation(sign, True) for sign in seen]
    beliefs, _ = ranked(net, posterior(net, of_observations(net, told)))
    return plan(net, beliefs, told)


@pytest.mark.parametrize("machine_id", LAYOUTS)
def test_with_unsteady_pitch_rubber_and_cleaning_come_before_motors(machine_id: str) -> None:
    """Common practice: roller, tyre and a clean path are cheap and often the cause; a motor is dear and seldom."""
    steps = [step for step in steps_for(machine_id, "play_tape_uneven") if step.why == "explains the complaint"]
    rotors = shipped(machine_id).rotors
    motors = [i for i, step in enumerate(steps) if step.part in rotors and rotors[step.part].kind == "motor"]
    rubber = {name for name, rotor in rotors.items() if rotor.kind in ("pinch_roller", "idler_tyre")}
    cheap = [i for i, step in enumerate(steps) if step.action.startswith("Clean ") or step.part in rubber]
    assert any(steps[i].part == "pinch_roller" or steps[i].part.startswith("pinch") for i in cheap)
    assert any("swab" in steps[i].action for i in cheap)
    assert not motors or max(cheap) < min(motors)


@pytest.mark.parametrize("machine_id", LAYOUTS)
def test_what_lies_open_is_done_together(machine_id: str) -> None:
    """Opening is paid once: once the case is open, what is shut work is not put between for less than its share."""
    for sign in ("play_tape_uneven", "fast_forward_weak"):
        steps = [s for s in steps_for(machine_id, sign) if s.why == "explains the complaint"]
        inside = ["plug" in " ".join(s.cautions) and "Photograph" in " ".join(s.cautions) for s in steps]
        assert steps
        rates = [s.probability_it_cures / (s.minutes + 0.4 * (s.cost_low + s.cost_high) + 3.0) for s in steps]
        # After the first opening chance per minute alone decides.
        first = inside.index(True) if True in inside else len(steps)
        after = rates[first + 1 :]
        assert all(a >= b - 2e-4 for a, b in pairwise(after))


@pytest.mark.parametrize("sign", HELD)
def test_a_tape_that_is_held_comes_out_before_anything_else(sign: str) -> None:
    first = steps_for("four_track", "fast_forward_weak", sign)[0]
    assert first.part == "tape"
    assert "never pull" in first.action
    assert any("plug" in said for said in first.cautions)


def test_a_head_base_that_stays_down_holds_no_tape() -> None:
    assert steps_for("four_track", "play_stays_down")[0].part != "tape"


def test_the_conversation_speaks_of_the_held_tape_before_its_question() -> None:
    machine = shipped("four_track")
    said: list[str] = []
    talk = Conversation(machine, Evidence((Observation("play_loop", True),)))
    converse(talk, iter(["stop"]), said.append, lambda record: question_text(record, machine))
    text = " ".join("\n".join(said).split())
    assert "get the tape out unharmed" in text
    assert text.index("get the tape out unharmed") < text.index("Next check")
    quiet = question_text(Conversation(machine, Evidence((Observation("rewind_weak", True),))).now(), machine)
    assert "get the tape out" not in quiet


def test_what_may_show_afterwards_is_what_the_engine_then_shows() -> None:
    """Counterfactual: with the capstan belt gone, a dry bearing or a glazed roller shows only once it is renewed."""
    machine = shipped("four_track")
    steps = steps_for("four_track", "play_tape_races", "cassette_in_capstan_still")
    assert steps[0].part == "capstan_belt"
    assert steps[0].may_show
    gone = Fault("capstan_belt", "missing")
    hidden = {sign.says for sign in signs_shown(applied(machine, [gone]))}
    later: set[str] = set()
    for fault in (Fault("capstan", "dry_bearing"), Fault("pinch_roller", "glazed"), Fault("pinch_roller", "sticky")):
        with_both = {sign.says for sign in signs_shown(applied(machine, [gone, fault]))}
        later |= {sign.says for sign in signs_shown(applied(machine, [fault]))} - with_both
    assert set(steps[0].may_show) & later
    assert not set(steps[0].may_show) & hidden


def test_what_nothing_hides_is_not_said_to_show_later() -> None:
    steps = steps_for("four_track", "rewind_weak", "fast_forward_weak")
    assert all("wind" not in said for step in steps[:1] for said in step.may_show)


def test_what_would_change_its_mind_and_what_may_show_are_told_in_text_and_json() -> None:
    machine = shipped("four_track")
    seen = ("play_tape_races", "cassette_in_capstan_still")
    record = examine(machine, Evidence(tuple(Observation(sign, True) for sign in seen)))
    shown = findings_json(record)
    changes, steps = shown["change_of_mind"], shown["plan"]
    assert isinstance(changes, list)
    assert isinstance(steps, list)
    assert changes[0]["part"] == record.beliefs[0].part
    text = " ".join(text_report(record, machine).split())
    assert "What would change this" in text
    assert f"sign: {changes[0]['sign']}" in text
    assert "May then show, hidden until now: " in text
    assert all(said in text for said in steps[0]["may_show"])
