"""A test tape's own speed and flutter: taken out of what was read with it, or said where they cannot be.

Three kinds of tape, three ways. A certified tape has flutter of its own that has nothing to do with the machine's: the
two add in power. So has a tape made on another machine, except where both turn at the same rate. A tape made on the
machine under test itself holds each rotor twice: two passes add as vectors, in a phase that nobody knows.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.bands import AVERAGED, FAST, WHOLE, WOW, band_gain
from tapewright.measure.speed import TAPE_LEFT_IN
from tapewright.standards.iec_60094 import SPEED_TOLERANCE
from tapewright.standards.iec_60386 import weighting_response
from tapewright.words.reading import Reading
from tapewright.words.signal import Line

CERTIFIED: Final = "certified"
OTHER_MACHINE: Final = "other machine"
THIS_MACHINE: Final = "this machine"
KINDS: Final = {
    CERTIFIED: "a certified tape",
    OTHER_MACHINE: "made on another machine",
    THIS_MACHINE: "made on this machine itself",
}
HOW_KNOWN: Final = ("certificate", "measured", "unknown")
DRAWS: Final = 20000
MOST_DRAWN: Final = 6

Gain = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class KnownTape:
    """What is known of a test tape.

    Arguments:
        name: what the shop calls it.
        kind: one of `KINDS`.
        known: one of `HOW_KNOWN`: from a certificate, measured against another tape, or not at all.
        said_by: which certificate, which other tape; words, may be empty.
        tone_hz: what was recorded on it; None where that is not stated.
        speed_error_pct: how much too high its tone is at exactly nominal speed, with doubt; None when not known.
        flutter: its own flutter by the names of the readings, each with doubt.
        passes: how often it has been played.
        passes_then: how often it had been played when its figures were taken.
        speed_per_pass_pct: what one pass adds to its speed error, with doubt; None when not known.
    """

    name: str
    kind: str = CERTIFIED
    known: str = "unknown"
    said_by: str = ""
    tone_hz: float | None = None
    speed_error_pct: Reading | None = None
    flutter: Mapping[str, Reading] = field(default_factory=dict)
    passes: int = 0
    passes_then: int = 0
    speed_per_pass_pct: Reading | None = None

    @property
    def speed_now_pct(self) -> tuple[float, float] | None:
        """Give its speed error after all passes, and the doubt of that; None when it is not known."""
        own, wear = self.speed_error_pct, self.speed_per_pass_pct
        if own is None or own.value is None:
            return None
        since = max(0, self.passes - self.passes_then)
        moved, unsure = (0.0, 0.0) if wear is None else (wear.value or 0.0, wear.doubt or 0.0)
        return own.value + since * moved, float(np.hypot(own.doubt or 0.0, since * unsure))

    def says(self) -> str:
        """Say what it is and how it is known, for a note beside the readings."""
        how = {"certificate": "known from its certificate", "measured": "measured against another"}.get(self.known)
        by = f" ({self.said_by})" if self.said_by else ""
        wear = "" if self.speed_per_pass_pct else "; what a pass does to it is not known, and nothing is counted for it"
        return (
            f"Test tape “{self.name}”: {KINDS[self.kind]}, {how or 'not known'}{by}, played {self.passes} times{wear}."
        )


def through_tape(readings: Mapping[str, Reading], lines: Sequence[Line], tape: KnownTape) -> dict[str, Reading]:
    """Turn what was read off a tape into what that says of the machine.

    Arguments:
        readings: of one tone, by name, in percent.
        lines: its steady lines; on a tape of the machine's own they come twice.
        tape: what is known of the tape.

    Returns:
        The same names. What cannot be told apart from the tape has no value, and says why.

    >>> tape = KnownTape("A", speed_error_pct=Reading(0.2, "%", 0.1))
    >>> found = through_tape({"speed_error_pct": Reading(1.0, "%", 0.05)}, (), tape)["speed_error_pct"]
    >>> round(found.value, 3), round(found.doubt, 3)
    (0.798, 0.112)
    """
    found = {}
    for name, reading in readings.items():
        if reading.value is None:
            found[name] = reading
        elif name == "speed_error_pct":
            found[name] = _speed(reading, tape)
        elif name == "drift_pct":
            found[name] = _drift(reading, tape)
        elif tape.kind == THIS_MACHINE:
            found[name] = _one_of_two(name, reading, readings, lines)
        elif name in tape.flutter:
            found[name] = _without_own(name, reading, tape)
        else:
            found[name] = _own_left_in(reading)
    return found


# --- speed ------------------------------------------------------------------------------------------------------------


def _speed(reading: Reading, tape: KnownTape) -> Reading:
    """Take the tape's own speed out: the tone is off by the product of the two ratios."""
    if reading.value is None:
        return reading
    if tape.kind == THIS_MACHINE:
        why = (
            "The tape was made on this machine itself: an error of the mean speed is in the recording as in the "
            "playing, and cancels. Play a tape whose speed is known."
        )
        return Reading(None, reading.unit, why_not=why, method=reading.method)
    doubt, own = reading.doubt or 0.0, tape.speed_now_pct
    if own is None:
        most = 100.0 * SPEED_TOLERANCE.value
        said = (
            f"The tape's own speed is not known and is in this; ± {most:g} % is counted for it, what a recorder may be "
            f"off by ({SPEED_TOLERANCE.source}, {SPEED_TOLERANCE.basis})."
        )
        return replace(reading, doubt=float(np.hypot(doubt, most)), conditions=_said_of_tape(reading, said))
    offset, unsure = own
    ratio = 1.0 + offset / 100.0
    value = 100.0 * ((1.0 + reading.value / 100.0) / ratio - 1.0)
    said = f"The test tape's own speed error, {offset:+.3g} ± {unsure:.2g} %, is taken out and its doubt counted."
    return replace(
        reading,
        value=value,
        doubt=float(np.hypot(doubt, unsure)) / ratio,
        conditions=_said_of_tape(reading, said),
    )


def _said_of_tape(reading: Reading, said: str) -> str:
    """Put the sentence about the tape in place of the one that it is not taken out."""
    return f"{reading.conditions.replace(TAPE_LEFT_IN, '').strip()} {said}"


def _drift(reading: Reading, tape: KnownTape) -> Reading:
    if tape.kind != THIS_MACHINE:
        return _and(reading, "The tape's own drift is in this.")
    why = (
        f"The tape was made on this machine itself: drift that goes with the place on the tape is in both passes and "
        f"cancels. The two passes differ by {reading.value:+.2g} %."
    )
    return Reading(None, reading.unit, why_not=why, method=reading.method)


# --- flutter of another machine's making ------------------------------------------------------------------------------


def in_power(read: Reading, own: Reading, exact: bool) -> tuple[float, float, float] | None:
    """Take one size out of another that it was added to in power.

    Arguments:
        read: both together, with doubt.
        own: what is to be taken out, with doubt.
        exact: whether sizes add in power exactly, as rms does; a peak or a mean of two may lie anywhere from there up
            to the plain sum, so that the plain difference is let in as well.

    Returns:
        What is left and the ends of its 95 % interval; a value of 0 when nothing stands out of the doubt, so that only
        the upper end holds. None when less was read than the tape alone should show.

    >>> left, low, high = in_power(Reading(0.5, "%", 0.0), Reading(0.3, "%", 0.0), True)
    >>> round(left, 3), round(low, 3), round(high, 3)
    (0.4, 0.4, 0.4)
    """
    both, alone = read.value or 0.0, own.value or 0.0
    power = both**2 - alone**2
    unsure = 2.0 * float(np.hypot(both * (read.doubt or 0.0), alone * (own.doubt or 0.0)))
    if power + unsure <= 0.0:
        return None
    high = float(np.sqrt(power + unsure))
    if power <= unsure:
        return 0.0, 0.0, high
    left, low = float(np.sqrt(power)), float(np.sqrt(power - unsure))
    if not exact:
        low = min(low, both - alone - float(np.hypot(read.doubt or 0.0, own.doubt or 0.0)))
    return left, max(0.0, low), high


def _without_own(name: str, reading: Reading, tape: KnownTape) -> Reading:
    own = tape.flutter[name]
    both, alone = reading.value or 0.0, own.value or 0.0
    pair = (
        f"{both:.3g} ± {reading.doubt or 0.0:.2g} % was read, {alone:.3g} ± {own.doubt or 0.0:.2g} % is the tape's own"
    )
    found = in_power(reading, own, exact=_is_rms(name))
    none = Reading(None, reading.unit, why_not=" ", method=reading.method, conditions=reading.conditions)
    if found is None:
        why = f"Less was read than the tape alone should show: {pair}. Its figure is not right, or the two cancel."
        return replace(none, why_not=why)
    left, low, high = found
    if left == 0.0:
        why = f"The tape's own flutter leaves no more than an upper limit of the machine's, {high:.2g} %: {pair}."
        return replace(none, why_not=why, interval=(0.0, high))
    note = f"The test tape's own flutter is taken out in power: {pair}."
    if tape.kind == OTHER_MACHINE:
        note += (
            f" Where both machines turn at the same rate the two add as vectors, and the machine's own may lie "
            f"anywhere from {abs(both - alone):.2g} to {both + alone:.2g} %."
        )
    doubt = max(left - low, high - left)
    interval = None if _is_rms(name) else (low, high)
    return _and(replace(reading, value=left, doubt=doubt, interval=interval), note)


def _own_left_in(reading: Reading) -> Reading:
    """Say that the tape's own flutter is in a reading, which then is an upper limit."""
    high = (reading.value or 0.0) + (reading.doubt or 0.0)
    note = (
        "The tape's own flutter is in this and is not known; of the machine's own this is an upper limit, unless "
        "lines of the two cancel."
    )
    return _and(replace(reading, interval=(0.0, high)), note)


# --- flutter of the machine's own making, twice -----------------------------------------------------------------------


def one_pass_factor(shares: NDArray[np.float64], draws: int = DRAWS) -> tuple[float, float]:
    """Give the 95 % interval of one pass over both together, when the same machine recorded and played.

    A steady line of peak m comes out as |m + m exp(i phi)| = 2 m |cos(phi/2)|, any phase as likely; what is no line
    adds in power, sqrt 2. For one line alone the ends are 1/(2 sin(pi 0.4875)) and 1/(2 sin(pi 0.0125)), closed form.
    Of several, all shares of their power are taken as likely beforehand as Jeffreys' rule has it (Dirichlet, 1/2 each):
    else the chance that one of many nearly cancels would be counted as if its true size knew no bounds. The six
    strongest are drawn, the others add in power. In a seeded trial of 1 to 25 lines the interval holds 94 to 99 %.

    Arguments:
        shares: of the power of what was read, held by each line, shape (n,); the rest is no line.
        draws: how many phases are tried for each line.

    >>> round(one_pass_factor(np.zeros(0))[0] ** 2, 6)
    0.5
    """
    total = max(float(shares.sum()), 1.0)
    lines = np.sort(shares / total)[::-1]
    lines = lines[:MOST_DRAWN][lines[:MOST_DRAWN] > 0.0]
    rest = (1.0 - float(lines.sum())) / 2.0
    if not len(lines):
        return float(np.sqrt(rest)), float(np.sqrt(rest))
    draw = np.random.default_rng(60386)
    even = (np.arange(draws) + 0.5) / draws
    # every size of phase once for each line, in an order of its own: one line alone then has no scatter
    halves = np.array([draw.permutation(even) for _ in lines]) * (np.pi / 2.0)
    single = lines[:, None] / (4.0 * np.cos(halves) ** 2)
    summed = single.sum(axis=0)
    likely = np.exp(0.5 * (np.log(single) - np.log(summed)).sum(axis=0))
    order = np.argsort(summed)
    below = np.cumsum(likely[order]) / likely.sum()
    low, high = (rest + float(summed[order[np.searchsorted(below, share)]]) for share in (0.025, 0.975))
    return float(np.sqrt(low)), float(np.sqrt(high))


def _one_of_two(name: str, reading: Reading, readings: Mapping[str, Reading], lines: Sequence[Line]) -> Reading:
    both, doubt = reading.value or 0.0, reading.doubt or 0.0
    low, high = one_pass_factor(_line_shares(name, readings, lines))
    ends = max(0.0, both - doubt) * low, (both + doubt) * high
    value = both / float(np.sqrt(2.0))
    note = (
        f"The tape was made on this machine itself: each rotor is in it twice, and two passes a and b add as vectors "
        f"to anything from |a - b| to a + b, in a phase that nobody knows and that drifts. Both together read "
        f"{both:.3g} ± {doubt:.2g} %; one pass lies between {ends[0]:.2g} and {ends[1]:.2g} % (95 %, any phase alike)."
    )
    method = f"{reading.method}; one pass of two alike, both together over the root of 2"
    wide = max(value - ends[0], ends[1] - value)
    return _and(replace(reading, value=value, doubt=wide, interval=ends, method=method), note)


def _line_shares(name: str, readings: Mapping[str, Reading], lines: Sequence[Line]) -> NDArray[np.float64]:
    """Give the share of each line in the power of a reading; of a peak or an average, in that of the rms beside it."""
    beside = readings.get(_rms_beside(name))
    rms = beside.value if beside is not None else None
    if not lines or not rms:
        return np.ones(1)  # as if it were all one line, which is the least that can be said
    order = sorted(lines, key=lambda line: line.frequency_hz)
    gains = np.abs(_gain_of(name)(np.array([line.frequency_hz for line in order], dtype=np.float64)))
    return np.asarray((gains * np.array([line.peak_pct for line in order])) ** 2 / 2.0 / rms**2, dtype=np.float64)


def _gain_of(name: str) -> Gain:
    if name.startswith("weighted"):
        return lambda frequency: np.abs(weighting_response(frequency))
    band = {"wow": WOW, "flutter": FAST}.get(name.split("_")[0], AVERAGED if "average" in name else WHOLE)
    return lambda frequency: band_gain(frequency, band.band_hz)


def _rms_beside(name: str) -> str:
    """Give the rms reading of the same filter.

    >>> _rms_beside("weighted_quasi_peak_pct"), _rms_beside("wow_band_peak_pct")
    ('weighted_rms_pct', 'wow_band_rms_pct')
    """
    kept = name.removesuffix("_pct")
    for detector in ("_quasi_peak", "_peak", "_average", "_rms"):
        kept = kept.removesuffix(detector)
    return f"{kept}_rms_pct"


def _is_rms(name: str) -> bool:
    return name.endswith("_rms_pct")


def _and(reading: Reading, said: str) -> Reading:
    return replace(reading, conditions=f"{reading.conditions} {said}".strip())


__all__ = [
    "CERTIFIED", "HOW_KNOWN", "KINDS", "OTHER_MACHINE", "THIS_MACHINE", "KnownTape", "in_power", "one_pass_factor",
    "through_tape",
]  # fmt: skip
