"""The mapping from owners' words to signs holds, and its checker finds each kind of mistake."""

from dataclasses import replace

import pytest

from tests.cases.words_to_signs import Mapped, cases, mapping, mistakes, told


def test_every_sign_exists_and_every_symptom_is_accounted_for() -> None:
    assert len(cases()) == 46
    assert mistakes(cases(), mapping()) == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sign": "play_no_such_thing"}, "has no sign play_no_such_thing"),
        ({"sign": "", "note": ""}, "no sign and no reason"),
        ({"sign": "", "note": "why"}, "no sign, yet an answer"),
        ({"visit": "later"}, "visit is 'later'"),
        ({"sure": 0.0}, "sure above 0"),
        ({"present": None}, "needs present"),
        ({"machine": "four_track"}, "stands on two machines"),
        ({"comment": ""}, "does not say why its machine"),
        ({"symptom": 9}, "has no symptom 9"),
    ],
)
def test_a_mistake_is_found(change: dict[str, object], said: str) -> None:
    first, *rest = mapping()
    changed: Mapped = replace(first, **change)  # type: ignore[arg-type]
    assert any(said in one for one in mistakes(cases(), [changed, *rest]))


def test_a_symptom_left_out_is_found() -> None:
    rows = [row for row in mapping() if (row.case, row.symptom) != ("rc-096", 2)]
    assert mistakes(cases(), rows) == ("rc-096 symptom 2 is neither mapped nor listed with a reason",)


def test_what_clashes_is_found() -> None:
    row = next(row for row in mapping() if row.case == "rc-066" and row.sign)
    assert any("both shows and does not" in one for one in mistakes(cases(), [*mapping(), replace(row, present=False)]))


def test_told_gives_one_visit_and_the_surer_of_two() -> None:
    rows = mapping()
    assert told(rows, "rc-038") == {
        "stop_overruns": (True, 0.6),
        "stop_supply_reel_coasts": (True, 1.0),
        "stop_takeup_reel_coasts": (False, 1.0),
    }
    assert set(told(rows, "rc-101")) == {"play_tape_still", "play_takeup_reel_stands", "play_came_slowly"}
    assert told(rows, "rc-101", "before") == {"play_tape_uneven": (True, 1.0)}
