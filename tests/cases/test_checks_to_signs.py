"""The mapping from checks done to signs holds, and its checker finds each kind of mistake."""

from dataclasses import replace

import pytest

from tests.cases.checks_to_signs import Answer, answers, checks, machines, mistakes, noticed, unsaid
from tests.cases.words_to_signs import cases


def test_every_sign_and_part_exists_and_every_check_is_accounted_for() -> None:
    assert set(checks()) == {case.id for case in cases()}
    assert mistakes(checks(), machines(), answers()) == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sign": "capstan_belt_of_gold"}, "has no sign capstan_belt_of_gold"),
        ({"sign": "", "note": ""}, "no sign and no reason"),
        ({"sign": "", "note": "why"}, "no sign, yet an answer"),
        ({"sure": 0.0}, "sure above 0"),
        ({"present": None}, "needs present"),
        ({"check": 9}, "has no check 9"),
        ({"case": "rc-000"}, "stands on no machine"),
        ({"after": ("cam_belt",)}, "one_motor_portable has no part cam_belt"),
    ],
)
def test_a_mistake_is_found(change: dict[str, object], said: str) -> None:
    first, *rest = answers()
    changed: Answer = replace(first, **change)  # type: ignore[arg-type]
    assert any(said in one for one in mistakes(checks(), machines(), [changed, *rest]))


def test_a_check_left_out_is_found() -> None:
    rows = [row for row in answers() if (row.case, row.check) != ("rc-096", 0)]
    assert mistakes(checks(), machines(), rows) == ("rc-096 check 0 is neither mapped nor listed with a reason",)


def test_what_clashes_is_found() -> None:
    (row,) = [row for row in answers() if row.case == "rc-062"]
    rows = [*answers(), replace(row, present=False)]
    assert mistakes(checks(), machines(), rows) == (
        "rc-062: pinch_arm_stiff both shows and does not, with the same parts renewed",
    )


def test_a_repair_undone_or_out_of_order_is_found() -> None:
    told = answers()
    undone = [replace(row, after=()) if (row.case, row.check) == ("rc-046", 2) else row for row in told]
    assert any("capstan_belt had been renewed" in one for one in mistakes(checks(), machines(), undone))
    swapped = sorted(told, key=lambda row: (row.case, -row.check))
    assert "rc-069 check 0 stands behind check 2" in mistakes(checks(), machines(), swapped)


def test_noticed_tells_each_round_of_repair_for_itself() -> None:
    rounds = noticed(answers(), "rc-138")
    assert list(rounds) == [
        (),
        ("capstan_belt",),
        ("capstan_belt", "capstan"),
        ("capstan_belt", "capstan", "capstan"),
    ]
    assert [told.get("flywheel_wobbles") for told in rounds.values()] == [None, (True, 1.0), (True, 1.0), (False, 1.0)]


def test_noticed_takes_the_surer_of_two() -> None:
    (row,) = [row for row in answers() if row.case == "rc-062"]
    weaker = replace(row, sure=0.2)
    assert (
        noticed([weaker, row], "rc-062") == noticed([row, weaker], "rc-062") == {(): {"pinch_arm_stiff": (True, 1.0)}}
    )


def test_a_guess_answers_nothing() -> None:
    """Whoever only guessed has seen nothing: the first check of this case is a guess and no more."""
    assert [(row.case, row.check) for row in unsaid(answers()) if row.case == "rc-031"] == [("rc-031", 0)]
