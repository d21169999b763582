"""Everything that is read from one file: `measure_recording`."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from tapewright.measure.audio import Recording, open_recording
from tapewright.measure.channel import (
    Asked,
    ChannelReadings,
    Found,
    channel_readings,
    channels_together,
    with_others,
    without_tone,
)
from tapewright.measure.listening import Listener, listen
from tapewright.measure.meter import Meter
from tapewright.measure.mixer import TRACE_RATE_HZ
from tapewright.measure.remarks import file_notes, not_followed
from tapewright.measure.speed import MOST_CLOCK_PPM, Clock
from tapewright.measure.square import find_square_wave
from tapewright.measure.survey import Survey, glimpses, survey
from tapewright.measure.swinging import find_swinging_tone
from tapewright.measure.tone import Tone, find_tone, no_tone, other_stretches
from tapewright.words.problem import InputAtFaultError, Problem

PLAIN_S: Final = 30.0
"""A steady tone this long, alone in its channel, is followed without a look at every part of the file first."""
PLAIN_GLIMPSES: Final = 12
"""In fewer a tone was not really seen."""
LONGER: Final = 1.3
"""A strongly swinging tone is taken where it lasts so many times longer than the steadiest part of the file."""


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
        together: channels of the same tone read as one; None when that is not better.
        together_said: what was put together, or why not; empty for one channel with a tone.
    """

    path: str
    rate_hz: int
    duration_s: float
    format: str
    channels: tuple[ChannelReadings, ...]
    notes: tuple[str, ...] = ()
    together: ChannelReadings | None = None
    together_said: str = ""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A tone to be tried, whether it was found as a strongly swinging one, and where else it stands."""

    tone: Tone
    swinging: bool
    others: tuple[Tone, ...] = ()


def _candidates(found: Survey, tone_hz: float | None) -> tuple[_Candidate, ...]:
    """Give the tones worth following, the likeliest first; or the one answer why there is none."""
    steady, swinging = find_tone(found, tone_hz), find_swinging_tone(found, tone_hz)
    if not swinging.found:
        said = swinging.why_not if not steady.found and swinging.why_not else None
        return (_Candidate(no_tone(said) if said else steady, False),)
    if not steady.found:
        return (_Candidate(swinging, True),)
    if _length_s(swinging) > LONGER * _length_s(steady):
        return _Candidate(swinging, True), _Candidate(steady, False)
    return (_Candidate(steady, False, other_stretches(found, steady, tone_hz)),)


def _length_s(tone: Tone) -> float:
    return (tone.end_s or 0.0) - (tone.start_s or 0.0)


def _tried(
    tried: dict[int, _Candidate], recording: Recording, tell: Callable[[float], None] | None
) -> dict[int, tuple[Listener, tuple[tuple[Tone, Listener], ...]]]:
    """Listen to the tone of each channel and to its other stretches, all while the file is read once."""
    meter = Meter()
    listeners = {
        at: (
            Listener(one.tone, recording, meter, one.swinging),
            tuple((other, Listener(other, recording, meter)) for other in one.others),
        )
        for at, one in tried.items()
        if one.tone.found
    }
    every = [(at, each) for at, (main, others) in listeners.items() for each in (main, *(other for _, other in others))]
    listen(recording, every, tell)
    return listeners


def _first_that_holds(
    recording: Recording,
    surveys: dict[int, Survey],
    asked: Asked,
    tell: Callable[[float], None],
) -> tuple[dict[int, ChannelReadings], dict[int, Found]]:
    """Follow the likeliest tone of each surveyed channel, and where that is none after all the next one."""
    choices = {at: list(_candidates(found, asked.tone_hz)) for at, found in surveys.items()}
    read: dict[int, ChannelReadings] = {}
    held: dict[int, Found] = {}
    for attempt in range(max(len(one) for one in choices.values())):
        tried = {at: one[attempt] for at, one in choices.items() if attempt < len(one) and at not in read}
        listeners = _tried(tried, recording, tell if attempt == 0 else None)
        for at, one in tried.items():
            listener, others = listeners.get(at, (None, ()))
            heard = listener.heard() if listener else None
            fault = one.tone.why_not if listener is None else not_followed(heard)
            if listener is not None and heard is not None and fault is None:
                held[at] = Found(surveys[at], one.tone, listener, heard)
                main = channel_readings(held[at], recording, asked)
                read[at] = with_others(main, _others(surveys[at], others, recording, asked), asked.clock)
            elif attempt == len(choices[at]) - 1:
                square = find_square_wave(recording, surveys[at], at)
                reason = no_tone(square.says() if square else fault or "")
                read[at] = without_tone(reason, file_notes(surveys[at], recording.rate_hz))
    return read, held


def _others(
    found: Survey, others: tuple[tuple[Tone, Listener], ...], recording: Recording, asked: Asked
) -> list[ChannelReadings]:
    """Read the other stretches of a channel; one that cannot be followed after all is left out."""
    read = []
    for tone, listener in others:
        heard = listener.heard()
        if heard is not None and not_followed(heard) is None:
            read.append(channel_readings(Found(found, tone, listener, heard), recording, asked))
    return read


def _at_a_glance(
    recording: Recording, asked: Asked, tell: Callable[[float], None]
) -> dict[int, tuple[ChannelReadings, Found]]:
    """Read those channels of a long recording that hold one long steady tone, without surveying all of them first.

    Returns:
        The readings, and the tone, by channel, from 0; a channel is left out when anything is less plain than that:
        then the whole survey decides.
    """
    found = glimpses(recording, asked.tone_hz) or ()
    tones = {at: _to_the_ends(find_tone(one, asked.tone_hz), one, recording.duration_s) for at, one in enumerate(found)}
    meter = Meter()
    listeners = {at: Listener(tone, recording, meter) for at, tone in tones.items() if _plain(found[at], tone)}
    most = 0.95 if len(listeners) == recording.channels else 0.4
    listen(recording, list(listeners.items()), lambda share: tell(most * share))
    read = {}
    for at, listener in listeners.items():
        heard = listener.heard()
        if heard is None or not_followed(heard) is not None:
            continue
        counted = listener.levels
        whole = replace(found[at], clipped=counted.clipped, not_numbers=counted.not_numbers, peak=counted.peak)
        held = Found(whole, tones[at], listener, heard)
        read[at] = channel_readings(held, recording, asked), held
    return read


def _to_the_ends(tone: Tone, found: Survey, duration_s: float) -> Tone:
    """Let a tone that stands in the last glimpse reach the end of the file: what lies behind it was not looked at."""
    if tone.end_s is None or tone.end_s < float(found.times_s[-1]):
        return tone
    return replace(tone, end_s=duration_s)


def _plain(found: Survey, tone: Tone) -> bool:
    """Say whether a tone seen in glimpses is long, and all that there is of it in the file."""
    if tone.frequency_hz is None or tone.start_s is None or tone.end_s is None:
        return False
    if tone.end_s - tone.start_s < max(PLAIN_S, PLAIN_GLIMPSES * found.step_s):
        return False
    like_it = np.abs(found.wide_hz / tone.frequency_hz - 1.0) < 0.1
    beyond = (found.times_s < tone.start_s) | (found.times_s > tone.end_s)
    return not np.any(like_it & beyond & (found.wide_power > 0.5 * found.total_power))


def _clock(error_ppm: float | None, doubt_ppm: float) -> Clock | None:
    for value, least in ((error_ppm or 0.0, -MOST_CLOCK_PPM), (doubt_ppm, 0.0)):
        if not least <= value <= MOST_CLOCK_PPM:
            raise InputAtFaultError(
                Problem(
                    "clock_error_ppm",
                    f"{value:g} parts in a million is no sound card's clock.",
                    f"Give its error and its doubt, each within {MOST_CLOCK_PPM:g}.",
                )
            )
    return None if error_ppm is None and doubt_ppm == 0.0 else Clock(error_ppm or 0.0, doubt_ppm)


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
    clock_error_ppm: float | None = None,
    clock_doubt_ppm: float = 0.0,
) -> RecordingReadings:
    """Read speed and flutter off a recording of a test tone. The file is only read, never altered.

    Arguments:
        path: a sound file; the tone may hold any part of it.
        tone_hz: what the tone was recorded at; None looks from 500 Hz to 10 kHz and takes 3150 or 3000 Hz as nominal
            when the tone is within 10 % of one of them.
        progress: called with the share done, 0 to 1.
        accept_truncated: measure what is there of a file that is cut short.
        clock_error_ppm: how much faster the sound card's clock runs than it says, where that was measured; taken out of
            the speed.
        clock_doubt_ppm: half-width of its 95 % interval; added to the doubt of the speed.

    Returns:
        Readings for each channel. A channel without a test tone is an answer: `tone.found` is False and every reading
        says why.

    Errors:
        InputAtFaultError: the file cannot be read, is empty, or holds nothing but zeros or full scale.

    Source: IEC 60386 (AES6-2008) for flutter; `tapewright.standards.iec_60386` says what of it is from memory.
    """
    recording = open_recording(path, accept_truncated)
    _check_tone(recording.path, tone_hz, recording.rate_hz)
    asked = Asked(tone_hz, _clock(clock_error_ppm, clock_doubt_ppm))
    tell = progress or (lambda share: None)
    too_few = recording.rate_hz < 2.0 * TRACE_RATE_HZ
    seen = {} if too_few else _at_a_glance(recording, asked, tell)
    read, held = {at: one for at, (one, _) in seen.items()}, {at: one for at, (_, one) in seen.items()}
    rest = [at for at in range(recording.channels) if at not in read]
    if rest:
        found = survey(recording, tone_hz, lambda share: tell(0.4 + 0.3 * share), rest)
        surveys = dict(zip(rest, found, strict=True))
        if too_few:
            few = no_tone(f"{recording.rate_hz} samples a second are too few to follow a test tone.")
            read = {at: without_tone(few, file_notes(one, recording.rate_hz)) for at, one in surveys.items()}
        else:
            more, also = _first_that_holds(recording, surveys, asked, lambda share: tell(0.7 + 0.25 * share))
            read, held = read | more, held | also
    both, note = channels_together({at: one for at, one in held.items() if read[at].tone.found}, recording, asked)
    tell(1.0)
    return RecordingReadings(
        str(path),
        recording.rate_hz,
        recording.duration_s,
        recording.format,
        tuple(read[at] for at in range(recording.channels)),
        recording.notes,
        both,
        note,
    )


__all__ = ["ChannelReadings", "RecordingReadings", "measure_recording"]
