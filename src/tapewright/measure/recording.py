"""Everything that is read from one file: `measure_recording`."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from tapewright.measure.audio import Recording, open_recording, sound_blocks
from tapewright.measure.beats import REFUSE_ABOVE, beat
from tapewright.measure.flutter import flutter
from tapewright.measure.follow import TRACE_RATE_HZ, Followed, ToneMixer, followed, speed_trace
from tapewright.measure.lines import find_lines
from tapewright.measure.speed import drift, mean_frequency, speed_error
from tapewright.measure.survey import Survey, survey
from tapewright.measure.tone import Tone, find_tone, low_noise_db, no_tone, overtones_db
from tapewright.measure.trend import straight_line
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.signal import Line, Trace

LEAST_CARRIER_DB: Final = 10.0
"""Tone over noise in the band that is followed; below this the phase slips whole turns."""
FOLLOWED_BAND_HZ: Final = 760.0
"""Both sides of the filter that follows a 3150 Hz tone, to its half-amplitude points."""
MOST_DEVIATION: Final = 0.05
"""A machine whose speed swings by more for one sample in twenty does not play a tape that anyone would record."""
MOST_SWING: Final = 0.45
"""One sigma of the level: noise through a narrow filter has 0.57, a tone whose level is modulated by 40 % has 0.4."""
HUM_DB: Final = -20.0
OVERTONES_DB: Final = -10.0
SPECTRUM_POINTS: Final = 4000


@dataclass(frozen=True, slots=True, eq=False)
class FlutterSpectrum:
    """Weighted flutter over frequency, to be drawn.

    Arguments:
        frequency_hz: shape (n,).
        peak_pct: size a steady line would have there, after weighting, percent of speed, shape (n,).
    """

    frequency_hz: NDArray[np.float64]
    peak_pct: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ChannelReadings:
    """What one channel of a recording says.

    Arguments:
        tone: where the test tone is, or why there is none.
        speed_error_pct: mean speed error, fast positive; this and the next are readings.
        drift_pct: how much faster at the end than at the beginning.
        weighted_peak_pct: IEC 60386 two-sigma, either way.
        weighted_quasi_peak_pct: the older meter reading.
        weighted_rms_pct: root mean square through the same weighting.
        unweighted_peak_pct: two-sigma, 0.2 to 200 Hz.
        unweighted_rms_pct: root mean square, 0.2 to 200 Hz.
        lines: steady lines, the slowest first.
        trace: speed deviation from the mean, for plots; None without a tone.
        spectrum: weighted flutter over frequency; None without a tone.
        notes: what else is to be said, sentences.
    """

    tone: Tone
    speed_error_pct: Reading
    drift_pct: Reading
    weighted_peak_pct: Reading
    weighted_quasi_peak_pct: Reading
    weighted_rms_pct: Reading
    unweighted_peak_pct: Reading
    unweighted_rms_pct: Reading
    lines: tuple[Line, ...] = ()
    trace: Trace | None = None
    spectrum: FlutterSpectrum | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class RecordingReadings:
    """What a recording says, channel by channel.

    Arguments:
        path: the file, as given.
        rate_hz: sample rate.
        duration_s: length.
        format: container and sample type.
        channels: one for each, in the file's order.
        notes: what is odd about the file itself, sentences.
    """

    path: str
    rate_hz: int
    duration_s: float
    format: str
    channels: tuple[ChannelReadings, ...]
    notes: tuple[str, ...] = ()


def _without_tone(tone: Tone, notes: tuple[str, ...]) -> ChannelReadings:
    none = Reading(None, "%", why_not=tone.why_not or "There is no test tone.")
    return ChannelReadings(tone, none, none, none, none, none, none, none, notes=notes)


def flutter_spectrum(trace: Trace) -> FlutterSpectrum:
    """Give the weighted flutter over frequency, 0.1 to 200 Hz, thinned to 4000 points by their maxima.

    Arguments:
        trace: speed deviation; dropouts count as nothing.
    """
    there = np.isfinite(trace.values)
    weight = np.hanning(len(there) + 2)[1:-1] * there
    held = np.where(there, trace.values - straight_line(trace.values, there), 0.0) * weight
    size = 2.0 * np.abs(fft.rfft(held)) / weight.sum()
    frequency = fft.rfftfreq(len(held), 1.0 / trace.rate_hz)
    inside = (frequency >= 0.1) & (frequency <= 200.0)
    size, frequency = 100.0 * size[inside] * np.abs(weighting_response(frequency[inside])), frequency[inside]
    step = -(-len(size) // SPECTRUM_POINTS)
    if step > 1:
        rows = size[: len(size) // step * step].reshape(-1, step)
        pick = np.arange(len(rows)) * step + np.argmax(rows, axis=1)
        size, frequency = size[pick], frequency[pick]
    return FlutterSpectrum(frequency, size)


def _file_notes(found: Survey, rate_hz: float) -> tuple[str, ...]:
    notes = []
    if found.not_numbers:
        notes.append(f"{found.not_numbers} samples are no numbers and were taken for silence.")
    if found.clipped:
        notes.append(
            f"{found.clipped} samples ({1e3 * found.clipped / rate_hz:.0f} ms) stand at full scale in a row: clipped. "
            "Flutter survives that; turn the level down for other readings."
        )
    return tuple(notes)


def _tone_notes(
    found: Survey, tone: Followed, second: tuple[float, float] | None, duration_s: float
) -> tuple[str, ...]:
    notes = []
    if tone.dropouts:
        several = "" if tone.dropouts == 1 else "s"
        notes.append(f"{tone.dropouts} dropout{several}, {1e3 * tone.masked_s:.0f} ms in all, masked and not bridged.")
    hum = low_noise_db(found)
    if hum > HUM_DB:
        notes.append(
            f"Hum or rumble below 300 Hz stands {hum:+.0f} dB against the tone; it is filtered out and takes no part."
        )
    overtones = overtones_db(found)
    if overtones > OVERTONES_DB:
        notes.append(
            f"Overtones stand {overtones:+.0f} dB against the tone: clipped, or a computer's square wave, whose "
            "edges land on whole samples and feign flutter and lines that no part makes."
        )
    held_s = tone.end_s - tone.start_s
    if held_s < duration_s - 2.0:
        notes.append(f"The tone holds {held_s:.1f} s of {duration_s:.1f} s; the readings are of that part.")
    if second is not None:
        notes.append(
            f"A second tone {second[0]:+.1f} Hz from the test tone, {-20 * np.log10(second[1]):.0f} dB down, beats "
            "with it and adds to the unweighted readings."
        )
    return tuple(notes)


def _not_followed(tone: Followed | None, second: tuple[float, float] | None, band_hz: float) -> str | None:
    """Say why a tone that stands out cannot be followed after all; None when it can."""
    if tone is None:
        return "What looked like a tone has no steady level: nothing can be followed."
    carrier_db = -10.0 * np.log10(max(tone.noise_rad2_per_hz * band_hz, 1e-30))
    if carrier_db < LEAST_CARRIER_DB:
        return (
            f"The tone stands only {carrier_db:.0f} dB over the noise beside it; {LEAST_CARRIER_DB:g} dB are needed "
            "to follow it without slips."
        )
    if second is not None and second[1] > REFUSE_ABOVE:
        return (
            f"A second tone {second[0]:+.1f} Hz away, {max(0.0, -20 * np.log10(second[1])):.0f} dB down, beats with "
            "the first: a chord, not a test tone."
        )
    if tone.swing > MOST_SWING:
        return f"The level swings by {100 * tone.swing:.0f} %, as narrow noise or beating tones do: not a test tone."
    length_s = tone.end_s - tone.start_s
    if tone.masked_s > 0.5 * length_s:
        return f"The tone drops out for {100 * tone.masked_s / length_s:.0f} % of its length."
    return None


def _channel(
    found: Survey, coarse: Tone, mixer: ToneMixer | None, recording: Recording, tone_hz: float | None
) -> ChannelReadings:
    notes = _file_notes(found, recording.rate_hz)
    if mixer is None:
        return _without_tone(coarse, notes)
    tone = followed(mixer)
    second = None if tone is None else beat(tone)
    fault = _not_followed(tone, second, FOLLOWED_BAND_HZ)
    if fault is not None or tone is None:
        return _without_tone(no_tone(fault or ""), notes)
    trace = speed_trace(tone)
    there = trace.values[np.isfinite(trace.values)]
    if len(there) < 0.1 * trace.rate_hz or float(np.quantile(np.abs(there), 0.95)) > MOST_DEVIATION:
        return _without_tone(no_tone("The frequency swings far beyond what a tape machine does."), notes)
    lines = find_lines(tone, trace)
    mean_hz, doubt_hz = mean_frequency(tone, trace, lines)
    seconds = tone.end_s - tone.start_s
    shown = flutter(trace, lines, tone.noise_rad2_per_hz, mean_hz)
    return ChannelReadings(
        Tone(True, mean_hz, tone.start_s, tone.end_s, coarse.snr_db),
        speed_error(mean_hz, doubt_hz, seconds, tone_hz),
        drift(trace, lines),
        shown.weighted_peak_pct,
        shown.weighted_quasi_peak_pct,
        shown.weighted_rms_pct,
        shown.unweighted_peak_pct,
        shown.unweighted_rms_pct,
        lines.lines,
        trace,
        flutter_spectrum(trace),
        notes + _tone_notes(found, tone, second, recording.duration_s),
    )


def _mix(recording: Recording, mixers: list[ToneMixer | None], progress: Callable[[float], None] | None) -> None:
    """Read the stretch that holds tones once more and give each channel's samples to its mixer."""
    active = [(channel, mixer) for channel, mixer in enumerate(mixers) if mixer is not None]
    if not active:
        return
    at = min(mixer.first for _, mixer in active)
    stop = max(mixer.last for _, mixer in active)
    for block in sound_blocks(recording, at, stop, progress=progress):
        for channel, mixer in active:
            samples = np.ascontiguousarray(block[max(0, mixer.first - at) : max(0, mixer.last - at), channel])
            if not np.isfinite(samples).all():
                samples = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
            mixer.add(samples)
        at += len(block)


def _check_tone(path: Path, tone_hz: float | None, rate_hz: float) -> None:
    if tone_hz is not None and not 100.0 <= tone_hz <= 20000.0:
        raise InputAtFaultError(
            Problem("--tone", f"{tone_hz:g} Hz is no test tone.", "Name one between 100 and 20000 Hz.")
        )
    if tone_hz is not None and 1.1 * tone_hz > 0.48 * rate_hz:
        raise InputAtFaultError(
            Problem(
                str(path),
                f"{rate_hz:g} samples a second cannot hold a tone of {tone_hz:g} Hz.",
                "Record at 44100 or more.",
            )
        )


def measure_recording(
    path: str | Path,
    tone_hz: float | None = None,
    progress: Callable[[float], None] | None = None,
    accept_truncated: bool = False,
) -> RecordingReadings:
    """Read speed and flutter off a recording of a test tone. The file is only read, never altered.

    Arguments:
        path: a sound file; the tone may hold any part of it.
        tone_hz: what the tone was recorded at; None looks from 500 Hz to 10 kHz and takes 3150 or 3000 Hz as nominal
            when the tone is within 10 % of one of them.
        progress: called with the share done, 0 to 1.
        accept_truncated: measure what is there of a file that is cut short.

    Returns:
        Readings for each channel. A channel without a test tone is an answer: `tone.found` is False and every reading
        says why.

    Errors:
        InputAtFaultError: the file cannot be read, is empty, or holds nothing but zeros or full scale.

    Source: IEC 60386 (AES6-2008) for flutter; `tapewright.standards.iec_60386` says what of it is from memory.
    """
    recording = open_recording(path, accept_truncated)
    _check_tone(recording.path, tone_hz, recording.rate_hz)
    tell = progress or (lambda share: None)
    surveys = survey(recording, tone_hz, lambda share: tell(0.5 * share))
    if recording.rate_hz < 2.0 * TRACE_RATE_HZ:
        coarse = [no_tone(f"{recording.rate_hz} samples a second are too few to follow a test tone.") for _ in surveys]
    else:
        coarse = [find_tone(found, tone_hz) for found in surveys]
    mixers = [ToneMixer(tone, recording.rate_hz, recording.frames) if tone.found else None for tone in coarse]
    _mix(recording, mixers, lambda share: tell(0.5 + 0.4 * share))
    channels = []
    for number, (found, tone, mixer) in enumerate(zip(surveys, coarse, mixers, strict=True), start=1):
        channels.append(_channel(found, tone, mixer, recording, tone_hz))
        tell(0.9 + 0.1 * number / len(surveys))
    return RecordingReadings(
        str(path), recording.rate_hz, recording.duration_s, recording.format, tuple(channels), recording.notes
    )
