"""What is known of a simulated recording: the truth that a measurement is to be held against."""

from dataclasses import dataclass

import numpy as np
from scipy import signal

from tapewright.faults.applied import Fault
from tapewright.simulate.course import Course
from tapewright.simulate.defects import Dropout
from tapewright.simulate.pack import Samples
from tapewright.standards.iec_60386 import SETTLING_S, TWO_SIGMA_LEAST_S, two_sigma, weighted

SAYS = (
    "Simulated: nobody recorded this. The machine's description, its faults and the sizes of what they do are worked "
    "out and partly from memory; use it to try a measurement, never as evidence about a real machine."
)


@dataclass(frozen=True, slots=True)
class Simulated:
    """What is said of everything that was simulated, before anything else.

    Arguments:
        simulated: always True.
        says: what this is, sentences.
        machine: its id; empty for a film without one.
        invented: whether nobody built the machine.
        faults: what was put into it.
        seed: what every random draw came from.
        file: name of the recording or film; empty while it has none.
    """

    simulated: bool
    says: str
    machine: str
    invented: bool
    faults: tuple[Fault, ...]
    seed: int
    file: str


@dataclass(frozen=True, slots=True)
class TruthLine:
    """A line that one part put on the speed.

    Arguments:
        part, order: of which part, which harmonic of its rate.
        frequency_hz: at the beginning of the recording.
        end_frequency_hz: at its end; another one where the rate follows the pack of tape.
        peak_pct: peak of the speed, percent.
    """

    part: str
    order: int
    frequency_hz: float
    end_frequency_hz: float
    peak_pct: float


@dataclass(frozen=True, slots=True)
class TruthTone:
    """The tone as it was written.

    Arguments:
        present: True where the tape moves and the file's sample rate can hold the tone.
        frequency_hz: mean while the tape moves; None when absent, as are the next two.
        start_frequency_hz: over the first second.
        end_frequency_hz: over the last second in which the tape moves.
        end_s: when the tape stops; the length of the recording when it does not.
        why_not: the reason, when absent; else empty.
    """

    present: bool
    frequency_hz: float | None
    start_frequency_hz: float | None
    end_frequency_hz: float | None
    end_s: float
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Truth(Simulated):
    """All that is known of a simulated recording, after what `Simulated` says of it.

    Arguments:
        duration_s, sample_rate_hz, channels, tone_hz, snr_db, hum_db, position_s: what was asked for.
        tape: what the tape does in play: right, slow, fast, uneven, races, still, at_times.
        happens: the same as a sentence.
        tone: the tone as written.
        speed_error_pct: mean while the tape moves, fast positive; None where it does not.
        weighted_peak_pct: of the curve itself, IEC 60386 two-sigma; None where there is no steady stretch of 7 s.
        weighted_rms_pct: root mean square through the same weighting.
        flutter_of_s: the stretch from the beginning these two are of, seconds.
        lines: what each part puts on the speed, the largest first.
        signs: ids of the signs such a machine shows.
        dropouts: in the order of time.
    """

    duration_s: float
    sample_rate_hz: int
    channels: int
    tone_hz: float
    snr_db: float
    hum_db: float | None
    position_s: float
    tape: str
    happens: str
    tone: TruthTone
    speed_error_pct: float | None
    weighted_peak_pct: float | None
    weighted_rms_pct: float | None
    flutter_of_s: float
    lines: tuple[TruthLine, ...]
    signs: tuple[str, ...]
    dropouts: tuple[Dropout, ...]


def true_flutter(curve: Samples, rate_hz: float) -> tuple[float | None, float | None]:
    """Give weighted peak (two-sigma) and rms of a speed curve, percent; None where it is too short.

    Arguments:
        curve: speed while the tape moves, shape (n,), 1 is right.
        rate_hz: samples per second, at least 1000.

    Source: IEC 60386; `standards.iec_60386` says what of it is from memory.
    """
    if len(curve) < (SETTLING_S + TWO_SIGMA_LEAST_S) * rate_hz:
        return None, None
    deviation = signal.detrend(curve / curve.mean() - 1.0)
    settled = weighted(deviation, rate_hz)[int(SETTLING_S * rate_hz) :]
    return 100.0 * two_sigma(settled), 100.0 * float(np.sqrt(np.mean(np.square(settled))))


def true_lines(way: Course, moves_for_s: float) -> tuple[TruthLine, ...]:
    """Give the lines of a course with their frequencies at the beginning and the end, the largest first."""
    if not way.moves or moves_for_s <= 0:
        return ()
    ends = np.array([0.0, min(0.01, moves_for_s), max(0.0, moves_for_s - 0.01), moves_for_s])
    ratios, found = dict(way.reel_ratio), []
    for line in way.lines:
        if line.pack and line.part in ratios:
            turns = ratios[line.part] * way.packs.turns(ends, line.pack == way.supply)
            rates = np.diff(turns)[[0, 2]] / np.diff(ends)[[0, 2]]
        else:
            rates = np.full(2, line.turns_per_s * way.turning)
        start, end = (float(line.order * rate) for rate in rates)
        found.append(TruthLine(line.part, line.order, start, end, 100.0 * line.peak_ratio))
    return tuple(found)
