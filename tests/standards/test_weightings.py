"""A-weighting, BS.468 weighting and the quasi-peak detector against the printed tables, at every usual sample rate."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from tapewright.standards import iec_61672, itu_bs468
from tapewright.standards.tables import table_column, table_rows
from tapewright.standards.weighting import Response, weighted_samples

RATES_HZ = [44100.0, 48000.0, *(pytest.param(rate, marks=pytest.mark.slow) for rate in (88200.0, 96000.0, 192000.0))]


def decibels(ratio: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.abs(ratio)), dtype=np.float64)


def limits(row: dict[str, str], name: str) -> tuple[float, float]:
    return float(row[f"{name}_minus_db"]), float(row[f"{name}_plus_db"])


def gain_db(response: Response, frequency_hz: float, rate_hz: float) -> float:
    """Give the gain for a real tone that swells and dies away, put through the filter: sizes before and after."""
    count = int(rate_hz * max(0.2, 20.0 / frequency_hz))
    tone = np.sin(2.0 * np.pi * frequency_hz * np.arange(count) / rate_hz) * np.hanning(count)
    found, _ = weighted_samples(tone, rate_hz, response)
    return float(decibels(np.std(found) / np.std(tone)))


def test_a_weighting_closed_form_against_the_printed_table() -> None:
    """Oracle: IEC 61672-1:2002 table 2; rounded to a tenth, so 0.05 dB at the exact rates."""
    exact = iec_61672.exact_frequency_hz(table_column("a_weighting", "frequency_hz"))
    apart = decibels(iec_61672.a_weighting_response(exact)) - table_column("a_weighting", "response_db")
    assert len(apart) == 34
    assert np.abs(apart).max() < 0.0505


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_weighting_of_tones_lies_within_class_1(rate_hz: float) -> None:
    """Oracle: class 1 limits of the same table; and a tenth of a decibel, since the digital part is to use up none."""
    for row in table_rows("a_weighting"):
        exact = float(iec_61672.exact_frequency_hz(np.array(float(row["frequency_hz"]))))
        apart = gain_db(iec_61672.a_weighting_response, exact, rate_hz) - float(row["response_db"])
        lowest, highest = limits(row, "class1")
        assert lowest <= apart <= highest
        assert abs(apart) < 0.1


@pytest.mark.parametrize("rate_hz", [44100.0, 48000.0])
def test_the_bilinear_filter_would_not_do(rate_hz: float) -> None:
    """Why the spectrum is weighted: the usual digital filter is decibels low at 16 kHz."""
    poles = -2.0 * np.pi * np.array(iec_61672.POLES_HZ)
    sections = signal.zpk2sos(*signal.bilinear_zpk(np.zeros(4), poles, 1.0, rate_hz))
    _, found = signal.freqz_sos(sections, [1000.0, 15848.9], fs=rate_hz)
    assert decibels(found[1] / found[0]) < -6.6 - 2.0


def test_bs468_closed_form_against_the_printed_table() -> None:
    """Oracle: ITU-R BS.468-4 table 1, within its tolerances and within its rounding."""
    found = decibels(itu_bs468.bs468_response(table_column("bs468_weighting", "frequency_hz")))
    for row, each in zip(table_rows("bs468_weighting"), found, strict=True):
        apart = each - float(row["response_db"])
        assert abs(apart) <= 0.0505
        lowest, highest = limits(row, "tolerance")
        assert lowest - 0.05 <= apart <= highest + 0.05, "the row at 6.3 kHz allows nothing but its own rounding"


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_bs468_weighting_of_tones_lies_within_the_table(rate_hz: float) -> None:
    for row in table_rows("bs468_weighting"):
        frequency_hz = float(row["frequency_hz"])
        if frequency_hz < 0.46 * rate_hz:
            apart = gain_db(itu_bs468.bs468_response, frequency_hz, rate_hz) - float(row["response_db"])
            lowest, highest = limits(row, "tolerance")
            assert lowest - 0.05 <= apart <= highest + 0.05


def burst_readings(rate_hz: float) -> list[float]:
    """Give the highest reading of each row of the burst table over that of the steady tone, all in one go."""
    times = np.arange(int(3.2 * rate_hz)) / rate_hz
    tone = np.sin(2.0 * np.pi * 5000.0 * times)
    gates: list[NDArray[Any]] = [np.ones_like(times)]
    for row in table_rows("bs468_bursts"):
        length, rate = float(row["burst_s"]), float(row["per_second"])
        begins = times % (1.0 / rate) if rate else times - 2.0
        gates.append(1.0 * ((begins >= -1e-9) & (begins < length - 1e-9)))
    shown, shown_hz = itu_bs468.quasi_peak(tone[:, None] * np.array(gates).T, rate_hz)
    settled = shown[int(1.9 * shown_hz) : int(3.1 * shown_hz)]
    return [float(one) for one in settled[:, 1:].max(axis=0) / settled[:, 0].mean()]


@pytest.mark.parametrize(
    "rate_hz",
    [44100.0, *(pytest.param(rate, marks=pytest.mark.slow) for rate in (48000.0, 96000.0, 192000.0))],
)
def test_burst_readings_lie_within_their_limits(rate_hz: float) -> None:
    """Oracle: ITU-R BS.468-4 tables 2 and 3, from memory; and within a third of the way to either limit."""
    for row, found in zip(table_rows("bs468_bursts"), burst_readings(rate_hz), strict=True):
        reading, lowest, highest = (float(row[name]) for name in ("reading", "lowest", "highest"))
        assert lowest < found < highest
        assert (lowest - reading) / 3.0 < found - reading < (highest - reading) / 3.0 + 1e-9


@pytest.mark.parametrize("rate_hz", [44100.0, pytest.param(192000.0, marks=pytest.mark.slow)])
def test_a_steady_tone_reads_its_rms(rate_hz: float) -> None:
    """Oracle: the meter is adjusted so; at 6.3 kHz by 12.2 dB more, the table."""
    times = np.arange(int(2.5 * rate_hz)) / rate_hz
    tones = np.array([np.sin(2.0 * np.pi * f * times) for f in (1000.0, 6300.0)]).T
    shown, shown_hz = itu_bs468.quasi_peak(tones, rate_hz)
    found = shown[int(1.8 * shown_hz) : int(2.4 * shown_hz)].mean(axis=0)
    assert found[0] == pytest.approx(np.sqrt(0.5), rel=0.003)
    assert decibels(found[1] / found[0]) == pytest.approx(12.2, abs=0.1)


def test_the_meter_agrees_with_itself_sample_by_sample() -> None:
    """Oracle: the two stages in plain Python over one unbroken record; the meter cuts it into runs."""
    rate_hz = 8000.0
    draw = np.random.default_rng(5)
    samples = draw.standard_normal(int(5.0 * rate_hz)) * (1.0 + np.sin(np.arange(int(5.0 * rate_hz)) / 900.0))
    first = second = 0.0
    slow = []
    rates = [
        (1.0 - np.exp(-1.0 / (up * rate_hz)), 1.0 - np.exp(-1.0 / (down * rate_hz))) for up, down in itu_bs468.STAGES_S
    ]
    for size in np.abs(samples):
        first += rates[0][0 if size > first else 1] * (size - first)
        second += rates[1][0 if first > second else 1] * (first - second)
        slow.append(second)
    shown, _ = itu_bs468.quasi_peak(samples[:, None], rate_hz, weighted=False)
    wanted = np.array(slow) / (itu_bs468.STEADY * np.sqrt(2.0))
    assert np.abs(shown[:, 0] - wanted).max() < 0.01 * wanted.max()


def test_what_is_thinned_keeps_its_place() -> None:
    """A click in the middle stays in the middle when the result is given at a lower rate."""
    click = np.zeros(96000)
    click[48000] = 1.0
    found, rate_hz = weighted_samples(click, 96000.0, itu_bs468.bs468_response, 48000.0)
    assert rate_hz == pytest.approx(48000.0, rel=1e-4)
    assert np.argmax(np.abs(found)) / rate_hz == pytest.approx(0.5, abs=3e-4)
