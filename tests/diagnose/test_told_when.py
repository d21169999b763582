"""What a moment changes: the same sign at two moments is another sign."""

import pytest

from tapewright.diagnose.told_when import by_moment
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.jobs.examine import examine
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation

MACHINE = shipped("four_track")
SIGNS = {sign.id: sign for sign in signs(mechanism(MACHINE))}


@pytest.mark.parametrize(
    ("there", "not_there", "sign"),
    [
        ("cold", "warm", "play_right_when_warm"),
        ("warm", "cold", "play_fails_when_warm"),
        ("End of tape", "start of tape", "play_only_late"),
    ],
)
def test_what_differs_between_two_moments_is_a_sign(there: str, not_there: str, sign: str) -> None:
    told = [Observation("play_tape_slow", True, 0.9, there), Observation("play_tape_slow", False, 1.0, not_there)]
    found = by_moment(SIGNS, told)
    assert (sign, True, 0.9) in {(one.id, one.present, one.sure) for one in found}
    assert len(found) == 2


def test_what_is_told_of_another_moment_alone_says_nothing_of_this_one() -> None:
    assert by_moment(SIGNS, [Observation("play_tape_slow", True, when="warm")]) == ()
    usual = Observation("play_tape_slow", True, when="on Tuesdays")
    assert by_moment(SIGNS, [usual]) == (usual,)


def test_grease_is_suspected_where_warmth_cures() -> None:
    """Common practice: hardened grease frees with warmth; a belt that is gone does not come back."""
    told = (
        Observation("play_rises_part_way", True, when="cold"),
        Observation("play_rises_part_way", False, when="warm"),
    )
    found = examine(MACHINE, Evidence(told)).beliefs
    assert found[0].part in ("cam", "head_base")
