"""What is read while a machine is set up, as lines of words: each pair of tracks, each track's level, each tone."""

from collections.abc import Sequence
from typing import Final

from tapewright.measure.live_pair import PairMoment, ToneLevels
from tapewright.measure.live_pair_sum import PairReading
from tapewright.show.said import with_doubt
from tapewright.show.setting_up_text import unit_said
from tapewright.words.reading import Reading

Line = tuple[str, str]
LEAST_DOUBT: Final = 0.01
"""A doubt below this is written as this, in minutes of arc, dB or percent: a machine has none so small, a file has."""


def reading_said(reading: Reading, *, sign: bool = True) -> str:
    """Say a reading with its doubt and unit, or why there is none.

    >>> reading_said(Reading(1.234, "arcmin", 0.21))
    '+1.23 ± 0.21 minutes of arc'
    """
    if reading.value is None:
        return reading.why_not or "Nothing was read."
    doubt = None if reading.doubt is None else max(reading.doubt, LEAST_DOUBT)
    return with_doubt(reading.value, doubt, unit_said(reading.unit), sign=sign)


def track_said(channel: int, tracks: Sequence[int | None]) -> str:
    """Name a channel by the track it carries.

    >>> track_said(2, (1, 4)), track_said(2, (1, None))
    ('track 4', 'channel 2')
    """
    track = tracks[channel - 1] if channel <= len(tracks) else None
    return f"channel {channel}" if track is None else f"track {track}"


def azimuth_lines(moment: PairMoment, tracks: Sequence[int | None]) -> list[Line]:
    """Say what the delays tell: tones, the open turn, pairs, wander, gaps off the line.

    Arguments:
        moment: from the meter.
        tracks: which track each channel carries; None for none.
    """
    lines = [("tones", tones_said(moment.tones))]
    if moment.comes_round_arcmin is not None:
        said = (
            f"This tone alone looks the same again every {moment.comes_round_arcmin:.1f} minutes of arc: play a "
            "coarser tone first, or several at once."
        )
        lines.append(("which turn", said))
    elif moment.angle_arcmin.value is not None:
        lines.append(("which turn", "No turn is left open."))
    lines += [(_pair_said(pair, tracks), _pair_line(pair)) for pair in moment.pairs]
    if len(moment.pairs) > 1:
        lines.append(("sum of all tracks", _sum_said(moment.sum_db)))
    if moment.angle_arcmin.value is not None:
        lines.append(("weave over the last seconds", reading_said(moment.wander_arcmin, sign=False)))
    for channel, one in enumerate(moment.scatter_um, 1):
        if one.value is not None:
            lines.append((f"gap of {track_said(channel, tracks)} off the line", reading_said(one)))
    return lines


def _pair_said(pair: PairReading, tracks: Sequence[int | None]) -> str:
    first, second = (track_said(one, tracks) for one in pair.channels)
    return f"{first} to {second}"


def _pair_line(pair: PairReading) -> str:
    delay, angle = reading_said(pair.delay_us), reading_said(pair.angle_arcmin)
    by_sum = ""
    if pair.by_sum_arcmin.value is not None:
        by_sum = f", which tells {reading_said(pair.by_sum_arcmin, sign=False)} to either side"
    return f"{delay}, {angle}; {_sum_said(pair.sum_db)}{by_sum}"


def _sum_said(reading: Reading) -> str:
    if reading.value is None:
        return reading.why_not or ""
    return f"sum {abs(reading.value):.2f} dB below what it would be in step"


def tones_said(tones: Sequence[ToneLevels]) -> str:
    """Name the tones that stand now."""
    return ", ".join(f"{one.frequency_hz:.0f} Hz" for one in tones) or "none"


def level_lines(moment: PairMoment, tracks: Sequence[int | None]) -> list[Line]:
    """Say each track's level: as it comes in, and against the one that was kept."""
    lines = [("tones", tones_said(moment.tones))]
    strongest = strongest_tone(moment)
    for channel, one in enumerate(strongest.levels_db if strongest else (), 1):
        said = f"{reading_said(one)} re full scale" if one.value is not None else one.why_not or ""
        against = strongest.against_kept_db[channel - 1] if strongest else one
        if against.value is not None:
            said += f"; {reading_said(against)} against the one kept"
        lines.append((track_said(channel, tracks), said))
    if moment.balance_db.value is not None:
        lines.append(("last track less the first", reading_said(moment.balance_db)))
    return lines


def response_lines(moment: PairMoment, tracks: Sequence[int | None]) -> list[Line]:
    """Say each tone that was heard since 315 Hz against that, track by track."""
    lines = [("tones", tones_said(moment.tones))]
    for tone in moment.response:
        each = [
            f"{track_said(channel, tracks)} {reading_said(one) if one.value is not None else '–'}"
            for channel, one in enumerate(tone.deviation_db, 1)
        ]
        lines.append((f"{tone.frequency_hz:.0f} Hz", "; ".join(each)))
    return lines


def strongest_tone(moment: PairMoment) -> ToneLevels | None:
    """Give the tone that is loudest on any channel; None without one."""

    def loudest(tone: ToneLevels) -> float:
        return max((-200.0 if one.value is None else one.value) for one in tone.levels_db)

    return max(moment.tones, key=loudest, default=None)
