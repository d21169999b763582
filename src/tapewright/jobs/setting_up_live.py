"""The one number that a step of setting up is followed by, out of all that is read at a moment."""

from collections.abc import Sequence

from tapewright.measure.live_pair import MARK_HZ, MARK_WITHIN, PairMoment, ToneLevels
from tapewright.words.reading import Reading
from tapewright.words.setting_up import SetUpStep


def followed(step: SetUpStep, moment: PairMoment) -> Reading:
    """Give the reading that a step wants.

    Arguments:
        step: from `set_up_plan`.
        moment: from the meter.
    """
    if step.reading == "angle_arcmin":
        return moment.angle_arcmin
    if step.reading == "balance_db":
        return moment.balance_db
    if not moment.tones:
        return Reading(None, step.unit or "dB", why_not=moment.angle_arcmin.why_not or "There is no tone.")
    strongest = max(moment.tones, key=_loudest)
    if step.reading == "deviation_db":
        if abs(strongest.frequency_hz / MARK_HZ - 1.0) < MARK_WITHIN:
            return Reading(None, "dB", why_not="315 Hz is kept: each further tone is told against it.")
        return furthest(strongest.deviation_db)
    return furthest(strongest.against_kept_db)


def _loudest(tone: ToneLevels) -> float:
    return max((-200.0 if one.value is None else one.value) for one in tone.levels_db)


def furthest(readings: Sequence[Reading]) -> Reading:
    """Give the reading that is furthest from nought; where there is none, the first one's reason.

    >>> furthest([Reading(0.1, "dB"), Reading(-0.4, "dB"), Reading(None, "dB", why_not="silent")]).value
    -0.4
    """
    there = [one for one in readings if one.value is not None]
    return max(there, key=lambda one: abs(one.value or 0.0)) if there else readings[0]


def best_of(readings: Sequence[Reading]) -> Reading:
    """Give the reading with the least doubt; where there is none, the first one's reason.

    >>> best_of([Reading(0.1, "%", 0.2), Reading(0.3, "%", 0.1)]).value
    0.3
    """
    there = [one for one in readings if one.value is not None and one.doubt is not None]
    return min(there, key=lambda one: one.doubt or 0.0) if there else readings[0]


def ways_to_connect(tracks: Sequence[int]) -> tuple[tuple[tuple[int, ...], str], ...]:
    """Give which tracks an input may carry, each way with what it is good for.

    Four tracks over an input of two channels take several goes: the outer pair sets the angle, the others are seen
    against it.

    Arguments:
        tracks: that the machine plays at once.

    >>> [way for way, _ in ways_to_connect((1, 2, 3, 4))]
    [(1, 2, 3, 4), (1, 4), (1, 2), (3, 4)]
    """
    whole = tuple(tracks)
    if len(whole) < 3:
        return ((whole, "the first channel is the track nearer to the deck plate"),)
    return (
        (whole, f"an input of {len(whole)} channels, or a capture of all"),
        ((whole[0], whole[-1]), "first go on two channels: the outer pair sets the angle"),
        ((whole[0], whole[1]), "second go: how the first two stand"),
        ((whole[-2], whole[-1]), "third go: how the last two stand"),
    )
