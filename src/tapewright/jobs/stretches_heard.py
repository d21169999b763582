"""What a recording says besides its channels' main readings: other stretches of tone, channels read as one."""

from dataclasses import fields, replace

from tapewright.measure.recording import ChannelReadings, RecordingReadings
from tapewright.measure.test_tape import KnownTape, through_tape
from tapewright.words.plain import plain
from tapewright.words.reading import Reading
from tapewright.words.record import Heard


def with_together(heard: list[Heard], measured: RecordingReadings, tape: KnownTape | None) -> list[Heard]:
    """Say with the first channel that has a tone what channels of the same tone read together, or why they are not.

    Arguments:
        heard: one for each channel.
        measured: the same as it was measured.
        tape: the test tape, where it is known.
    """
    at = next((i for i, one in enumerate(measured.channels) if one.tone.found), None)
    if at is None or not measured.together_said:
        return heard
    one, both = heard[at], measured.together
    if both is None:
        shown: dict[str, object] = {"why_not": measured.together_said}
        note = measured.together_said
    else:
        shown = _shown(both, tape)
        peak, rms = (_said(both, name) for name in ("weighted_peak_pct", "weighted_rms_pct"))
        note = f"{measured.together_said} Together they read: weighted peak {peak}, weighted rms {rms}."
    heard[at] = replace(one, also={**one.also, "together": shown}, notes=(*one.notes, note))
    return heard


def _said(channel: ChannelReadings, name: str) -> str:
    reading: Reading = getattr(channel, name)
    return "withheld" if reading.value is None else f"{reading.value:.4f} ± {reading.doubt or 0.0:.4f} %"


def _shown(channel: ChannelReadings, tape: KnownTape | None) -> dict[str, object]:
    """Give tone, readings and lines of one stretch as plain data."""
    held = {each.name: getattr(channel, each.name) for each in fields(channel) if each.name != "side_drift_pct"}
    readings = {name: reading for name, reading in held.items() if isinstance(reading, Reading)}
    if tape is not None:
        readings = through_tape(readings, channel.lines, tape)
    named = {name: plain(reading) for name, reading in readings.items()}
    return {"tone": plain(channel.tone), **named, "lines": plain(channel.lines), "notes": list(channel.notes)}


def over_the_side(channel: ChannelReadings, tape: KnownTape | None) -> dict[str, object]:
    """Give every stretch of tone as plain data, in the order of time, and the change; and the reels' packs.

    Arguments:
        channel: of a recording.
        tape: the test tape, where it is known.
    """
    shown: dict[str, object] = {"packs": plain(channel.packs)} if channel.packs else {}
    if not channel.others:
        return shown
    in_time = sorted((channel, *channel.others), key=lambda one: one.tone.start_s or 0.0)
    rows = [{"main": one is channel, **_shown(one, tape)} for one in in_time]
    return shown | {"stretches": rows, "side_drift_pct": plain(channel.side_drift_pct)}


__all__ = ["over_the_side", "with_together"]
