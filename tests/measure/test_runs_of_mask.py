"""Runs of yes, against the standard library's groupby."""

from itertools import groupby

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tapewright.measure.runs_of_mask import runs_of


@given(st.lists(st.booleans(), max_size=40))
def test_the_runs_are_those_that_groupby_gives(mask: list[bool]) -> None:
    groups = [(yes, [place for place, _ in each]) for yes, each in groupby(enumerate(mask), key=lambda pair: pair[1])]
    expected = [(places[0], places[-1] + 1) for yes, places in groups if yes]
    assert runs_of(np.array(mask, dtype=bool)) == expected
