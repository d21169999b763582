"""A limit to one side, and either way: closed forms, and what must hold whatever the numbers."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.words.reading import Reading
from tapewright.words.verdict import AT_LEAST, AT_MOST, EITHER_WAY, FAIL, PASS, WITHIN_DOUBT, judged, worst

SIZES = st.floats(-100.0, 100.0)
DOUBTS = st.floats(0.0, 20.0)


@pytest.mark.parametrize(
    ("value", "doubt", "way", "verdict"),
    [
        (-54.0, 1.0, AT_MOST, PASS),
        (-50.5, 1.0, AT_MOST, WITHIN_DOUBT),
        (-48.0, 1.0, AT_MOST, FAIL),
        (-48.0, 1.0, AT_LEAST, PASS),
        (-50.5, 1.0, AT_LEAST, WITHIN_DOUBT),
        (-54.0, 1.0, AT_LEAST, FAIL),
        (-48.0, 1.0, EITHER_WAY, FAIL),
    ],
)
def test_one_limit(value: float, doubt: float, way: str, verdict: str) -> None:
    limit = 40.0 if way == EITHER_WAY else -50.0
    found = judged(Reading(value, "dB", doubt), limit, "a sheet", way)
    assert found is not None
    assert (found.verdict, found.way) == (verdict, way)


@given(SIZES, DOUBTS, SIZES)
def test_at_most_and_at_least_are_mirror_images(value: float, doubt: float, limit: float) -> None:
    most = judged(Reading(value, "dB", doubt), limit, "", AT_MOST)
    least = judged(Reading(-value, "dB", doubt), -limit, "", AT_LEAST)
    assert most is not None
    assert least is not None
    assert most.verdict == least.verdict


@given(SIZES, DOUBTS, st.floats(0.0, 100.0))
def test_either_way_is_at_most_of_both_signs(value: float, doubt: float, limit: float) -> None:
    """Two roads: the size kept is both signs kept; the size broken is one of the signs broken."""
    found = judged(Reading(value, "dB", doubt), limit, "", EITHER_WAY)
    both = [judged(Reading(sign * value, "dB", doubt), limit, "", AT_MOST) for sign in (1.0, -1.0)]
    assert found is not None
    assert found.verdict == worst([one.verdict for one in both if one is not None])


def test_an_upper_limit_only_can_pass_and_cannot_fail() -> None:
    reading = Reading(None, "dB", why_not="No more than noise.", interval=(-math.inf, -55.0))
    verdicts = [judged(reading, limit, "", AT_MOST) for limit in (-50.0, -60.0)]
    assert [one.verdict for one in verdicts if one is not None] == [PASS, WITHIN_DOUBT]


def test_no_reading_no_verdict() -> None:
    for way in (EITHER_WAY, AT_MOST, AT_LEAST):
        assert judged(Reading(None, "dB", why_not="There is no tone."), 1.0, "", way) is None
