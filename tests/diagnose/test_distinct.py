"""Rows that are alike, against numpy's own way of finding them (the slow obvious version)."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tapewright.diagnose.distinct import distinct_rows

SHAPES = st.tuples(st.integers(1, 30), st.integers(0, 12))


@given(SHAPES.flatmap(lambda shape: arrays(np.int64, shape, elements=st.integers(0, 3))))
def test_the_rows_that_numpy_finds(rows: np.ndarray) -> None:
    few, place = distinct_rows(rows)
    wanted, which = np.unique(rows, axis=0, return_inverse=True)
    np.testing.assert_array_equal(few, wanted)
    np.testing.assert_array_equal(place, which.ravel())


@given(arrays(np.bool_, (20, 150)))
def test_more_columns_than_one_number_holds(rows: np.ndarray) -> None:
    few, place = distinct_rows(rows)
    np.testing.assert_array_equal(few, np.unique(rows, axis=0))
    np.testing.assert_array_equal(few[place], rows)
