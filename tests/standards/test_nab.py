"""The average-responding reading against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.standards.nab import BAND_HZ, RMS_OF_MEAN, average_reading


def test_of_a_sine_it_is_the_rms() -> None:
    times = np.arange(60000) / 1200.0
    assert average_reading(np.sin(2.0 * np.pi * 5.0 * times)) == pytest.approx(math.sqrt(0.5), abs=1e-4)


@pytest.mark.parametrize(
    ("shape", "ratio"),
    [
        (np.random.default_rng(1).standard_normal(1_000_000), math.sqrt(2.0 / math.pi)),  # mean size of a normal law
        (np.linspace(-1.0, 1.0, 100_001), math.sqrt(3.0) / 2.0),  # a triangle: 1/2 over 1/sqrt 3
        (np.sign(np.sin(np.arange(100_000) * 0.01)), 1.0),  # a square
    ],
    ids=["noise", "triangle", "square"],
)
def test_of_anything_else_it_is_not(shape: np.ndarray, ratio: float) -> None:
    """Oracle: mean size over rms in closed form, times pi/(2 sqrt 2)."""
    rms = float(np.sqrt(np.mean(shape**2)))
    assert average_reading(shape) / rms == pytest.approx(ratio * math.pi / (2.0 * math.sqrt(2.0)), rel=0.003)


@given(st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=40))
def test_it_never_exceeds_what_a_square_of_that_rms_reads(values: list[float]) -> None:
    """Mean size is at most rms (Cauchy and Schwarz)."""
    found = np.array(values)
    assert average_reading(found) <= RMS_OF_MEAN.value * float(np.sqrt(np.mean(found**2))) + 1e-12


def test_figures() -> None:
    assert RMS_OF_MEAN.value == pytest.approx(1.1107, abs=1e-4)
    assert BAND_HZ == (0.5, 200.0)
