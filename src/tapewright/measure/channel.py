"""What one channel of a recording says, put together from what was heard of its tone; and two channels read as one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

from tapewright.measure.audio import Recording
from tapewright.measure.flutter import Flutter
from tapewright.measure.follow import Followed
from tapewright.measure.lines import FittedLines
from tapewright.measure.listening import Listener, heard_again, measured_whole
from tapewright.measure.pack import Pack, packs
from tapewright.measure.remarks import OVERTONES_DB, Heard, file_notes, line_notes, not_followed, tone_notes
from tapewright.measure.side import ONE_STRETCH, Stretch, over_side, said
from tapewright.measure.spectrum import FlutterSpectrum
from tapewright.measure.speed import Clock, drift, mean_frequency, speed_error
from tapewright.measure.square import feigned, hum_notes
from tapewright.measure.survey import Survey
from tapewright.measure.together import together
from tapewright.measure.tone import Tone, no_tone, overtones_db
from tapewright.words.reading import Reading
from tapewright.words.signal import Line, Trace

_ONE_STRETCH: Final = Reading(None, "%", why_not=ONE_STRETCH)


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
        weighted_average_pct: average-responding, through the same weighting.
        unweighted_peak_pct: two-sigma, 0.2 to 200 Hz.
        unweighted_rms_pct: root mean square, 0.2 to 200 Hz.
        unweighted_average_pct: average-responding, 0.5 to 200 Hz.
        wow_band_peak_pct: two-sigma, 0.1 to 10 Hz.
        wow_band_rms_pct: root mean square, 0.1 to 10 Hz.
        flutter_band_peak_pct: two-sigma, 10 to 200 Hz.
        flutter_band_rms_pct: root mean square, 10 to 200 Hz.
        lines: steady lines, the slowest first.
        trace: speed deviation from the mean, for plots; None without a tone.
        spectrum: weighted flutter over frequency; None without a tone.
        notes: what else is to be said, sentences.
        others: the same of each other stretch in which the tone stands, in the order of time.
        side_drift_pct: how much faster in the last stretch than in the first.
        packs: what the reels' lines say of their packs.
    """

    tone: Tone
    speed_error_pct: Reading
    drift_pct: Reading
    weighted_peak_pct: Reading
    weighted_quasi_peak_pct: Reading
    weighted_rms_pct: Reading
    weighted_average_pct: Reading
    unweighted_peak_pct: Reading
    unweighted_rms_pct: Reading
    unweighted_average_pct: Reading
    wow_band_peak_pct: Reading
    wow_band_rms_pct: Reading
    flutter_band_peak_pct: Reading
    flutter_band_rms_pct: Reading
    lines: tuple[Line, ...] = ()
    trace: Trace | None = None
    spectrum: FlutterSpectrum | None = None
    notes: tuple[str, ...] = ()
    others: tuple["ChannelReadings", ...] = ()
    side_drift_pct: Reading = _ONE_STRETCH
    packs: tuple[Pack, ...] = ()


def without_tone(tone: Tone, notes: tuple[str, ...]) -> ChannelReadings:
    """Give the answer "there is no tone" for a channel.

    Arguments:
        tone: with its reason.
        notes: what is said besides.
    """
    none = Reading(None, "%", why_not=tone.why_not or "There is no test tone.")
    flutter: dict[str, Any] = {each.name: none for each in fields(Flutter)}
    return ChannelReadings(tone, none, none, **flutter, notes=notes, side_drift_pct=none)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the user said: the tape's tone, and the sound card's clock."""

    tone_hz: float | None
    clock: Clock | None


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A channel whose tone was followed.

    Arguments:
        survey: of the channel.
        coarse: the tone as it was found.
        listener: with the sound.
        heard: the tone as it was followed.
    """

    survey: Survey
    coarse: Tone
    listener: Listener
    heard: Heard


Measured = tuple[FittedLines, Flutter, FlutterSpectrum]


def channel_readings(found: Found, recording: Recording, asked: Asked) -> ChannelReadings:
    """Read one stretch of tone in one channel.

    Arguments:
        found: the tone, followed.
        recording: from `open_recording`.
        asked: what the user said.
    """
    return _read(found, found.heard, found.listener.measured(found.heard), recording, asked)


def _read(found: Found, heard: Heard, measured: Measured, recording: Recording, asked: Asked) -> ChannelReadings:
    tone, trace = heard.tone, heard.trace
    lines, shown, spectrum = measured
    mean_hz, doubt_hz = mean_frequency(tone, trace, lines)
    survey = found.survey
    square = feigned(lines.lines, mean_hz, recording.rate_hz) if overtones_db(survey) > OVERTONES_DB else None
    if square is not None:
        return without_tone(no_tone(square.says()), file_notes(survey, recording.rate_hz))
    flutter: dict[str, Any] = {each.name: getattr(shown, each.name) for each in fields(shown)}
    speed = speed_error(mean_hz, doubt_hz, tone.end_s - tone.start_s, asked.tone_hz, asked.clock)
    found_packs = packs(lines, speed)
    return ChannelReadings(
        Tone(
            True, mean_hz * (asked.clock.ratio if asked.clock else 1.0), tone.start_s, tone.end_s, found.coarse.snr_db
        ),
        speed,
        drift(trace, lines),
        **flutter,
        lines=lines.lines,
        trace=trace,
        spectrum=spectrum,
        notes=file_notes(survey, recording.rate_hz)
        + tone_notes(survey, heard, recording.duration_s)
        + line_notes(lines)
        + tuple(one.says() for one in found_packs)
        + hum_notes(lines.lines, mean_hz),
        packs=found_packs,
    )


def with_others(main: ChannelReadings, others: Sequence[ChannelReadings], clock: Clock | None) -> ChannelReadings:
    """Add to a channel's readings what its other stretches of tone say, and how the speed moved between them.

    Arguments:
        main: of the longest stretch.
        others: of the others, in any order; those without a tone after all are left out.
        clock: of the sound card, where it is known.
    """
    kept = sorted((one for one in others if one.tone.found), key=lambda one: one.tone.start_s or 0.0)
    if not kept or not main.tone.found:
        return main
    in_time = sorted([main, *kept], key=lambda one: one.tone.start_s or 0.0)
    stretches = {id(one): _stretch(one) for one in in_time}
    rows = list(stretches.values())
    change = over_side(rows, 1e-4 * clock.doubt_ppm if clock else 0.0)
    note = said(rows, stretches[id(main)], change)
    return replace(main, others=tuple(kept), side_drift_pct=change, notes=(note, *main.notes))


def _stretch(one: ChannelReadings) -> Stretch:
    return Stretch(one.tone.start_s or 0.0, one.tone.end_s or 0.0, one.speed_error_pct)


def channels_together(
    found: Mapping[int, Found], recording: Recording, asked: Asked
) -> tuple[ChannelReadings | None, str]:
    """Read two or more channels of the same tone as one where that is better.

    Arguments:
        found: the channels' main stretches, by channel, from 0.
        recording: from `open_recording`.
        asked: what the user said.

    Returns:
        The readings and what was put together, or None and why not: sentences.
    """
    if len(found) < 2:
        return None, ""
    tones = {at: one.listener.whole for at, one in found.items()}
    held = {at: tone for at, tone in tones.items() if tone is not None}
    if len(held) < 2:
        return None, "Tones of more than four minutes are read channel by channel: their own noise averages out."
    order = sorted(held, key=lambda at: held[at].noise_rad2_per_hz)
    whole: Followed = held[order[0]]
    taken, why = [order[0]], ""
    for at in order[1:]:
        tried = together(whole, held[at])
        if tried.tone is None:
            why = why or f"Channels {taken[0] + 1} and {at + 1} are not put together. {tried.why_not}"
            continue
        whole = tried.tone
        taken.append(at)
    if len(taken) < 2:
        return None, why
    best = found[order[0]]
    heard = heard_again(whole, best.heard)
    if heard is None or not_followed(heard) is not None:
        return None, why
    names = " and ".join(str(at + 1) for at in sorted(taken))
    gain = (whole.noise_rad2_per_hz / held[order[0]].noise_rad2_per_hz) ** 0.5
    note = (
        f"Channels {names} put together, each weighed by the inverse of its noise: the tone's own noise is "
        f"{gain:.2f} times that of the better one. They agree within their noise."
    )
    read = _read(best, heard, measured_whole(whole, heard), recording, asked)
    return (replace(read, notes=(note, *read.notes)), note) if read.tone.found else (None, why)


__all__ = [
    "Asked",
    "ChannelReadings",
    "Found",
    "channel_readings",
    "channels_together",
    "with_others",
    "without_tone",
]
