"""What a microphone heard of a mechanism: which motors ran and when, what squealed, knocked, rubbed or clicked."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.words.evidence import Evidence
from tapewright.words.reading import Reading

OFF: Final = "off"
"""The mode of a machine before it is switched on and after it is switched off."""


@dataclass(frozen=True, slots=True)
class Mark:
    """The moment at which a mode was entered.

    Arguments:
        mode: "off" before switch-on and after switch-off, else a mode of the description.
        at_s: time in the recording.
        doubt_s: half-width of the 95 % interval of that.
    """

    mode: str
    at_s: float
    doubt_s: float = 0.3


@dataclass(frozen=True, slots=True)
class RateExpected:
    """Something that may turn in a mode, as plain numbers.

    Arguments:
        name: the rotor's.
        mode: in which it may turn.
        rate_hz: turns a second that are likeliest.
        low_hz: the lowest rate that is looked for.
        high_hz: the highest.
        kind: the rotor's kind: "motor", "flywheel", "reel_table" and so on.
        comb: the multiples of its rate at which it may sound.
    """

    name: str
    mode: str
    rate_hz: float
    low_hz: float
    high_hz: float
    kind: str
    comb: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StretchHeard:
    """One motor, or another rotor that could be told apart, heard to turn from one moment to another.

    Arguments:
        name: the rotor's; "" where a steady rate fits nothing that was expected.
        mode: the mode the machine was in when it began; "" where nobody said.
        start_s: time in the recording.
        end_s: the same.
        rate_hz: its mean rate while it ran.
        unsteady_pct: how much the rate wavers, root mean square of the mean.
        sure: chance that it really turned, 0 to 1.
    """

    name: str
    mode: str
    start_s: float
    end_s: float
    rate_hz: Reading
    unsteady_pct: Reading
    sure: float


@dataclass(frozen=True, slots=True)
class NotHeard:
    """Something expected in a mode and not heard there.

    Arguments:
        name: the rotor's.
        mode: the mode.
        start_s: where the mode begins in the recording.
        end_s: where it ends.
        loud_enough_db: level of its comb, dB against full scale, from which on it would have been heard nine times of
            ten over this background.
        sure: chance that a rotor as loud as this machine's others would have been heard here, 0 to 1.
    """

    name: str
    mode: str
    start_s: float
    end_s: float
    loud_enough_db: float
    sure: float


@dataclass(frozen=True, slots=True)
class Squeal:
    """A tone that stands out above its neighbours where mechanisms squeal.

    Arguments:
        start_s: time in the recording.
        end_s: the same.
        frequency_hz: its mean frequency.
        prominence_db: by how much its critical band stands above the mean of both neighbours.
        modulation_hz: how often a second it comes and goes.
        kind: "squeal" for a third of a second and longer, else "chirp".
        sure: chance that it is no chance peak, 0 to 1.
    """

    start_s: float
    end_s: float
    frequency_hz: Reading
    prominence_db: float
    modulation_hz: Reading
    kind: str
    sure: float


@dataclass(frozen=True, slots=True)
class Knock:
    """Short sounds repeated at a steady rate.

    Arguments:
        start_s: time in the recording.
        end_s: the same.
        rate_hz: how often a second.
        strength_db: how far they rise above what lies between them, in the band in which they do so most.
        sure: chance that the repetition is no accident, 0 to 1.
        high_db: how far they rise from 2 kHz on: next to nothing for a thump.
    """

    start_s: float
    end_s: float
    rate_hz: Reading
    strength_db: float
    sure: float
    high_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Rubbing:
    """Noise that swells and fades at a steady rate.

    Arguments:
        start_s: time in the recording.
        end_s: the same.
        rate_hz: how often a second.
        sure: chance that the swelling is no accident, 0 to 1.
        strength_db: from its faintest to its loudest, in the band in which it swells most.
        high_db: the same from 2 kHz on.
    """

    start_s: float
    end_s: float
    rate_hz: Reading
    sure: float
    strength_db: float = 0.0
    high_db: float = 0.0


@dataclass(frozen=True, slots=True)
class NoRepeats:
    """How plain something that comes back would have had to be in a stretch to be found.

    Arguments:
        mode: the mode of the stretch; "" where nobody said.
        start_s: time in the recording.
        end_s: the same.
        enough_db: from trough to peak, from 2 kHz on.
        over_room_db: how far the stretch is louder there than the room with the machine off; None where that is not
            known.
    """

    mode: str
    start_s: float
    end_s: float
    enough_db: float
    over_room_db: float | None


@dataclass(frozen=True, slots=True)
class SlipHeard:
    """How far the loudness of a stretch falters at no steady rate, as of something driven that slips.

    Arguments:
        mode: the mode of the stretch.
        start_s: time in the recording.
        end_s: the same.
        swings_db: standard deviation of the loudness from one third of a second to the next, from 2 kHz on.
        sure: chance that it falters, 0 to 1; below one half it speaks for steady turning.
    """

    mode: str
    start_s: float
    end_s: float
    swings_db: float
    sure: float


@dataclass(frozen=True, slots=True)
class Click:
    """A short broad sound: a key, a lid, a solenoid.

    Arguments:
        at_s: when it begins, time in the recording.
        sure: chance that it is no chance peak, 0 to 1.
    """

    at_s: float
    sure: float


@dataclass(frozen=True, slots=True)
class Disturbance:
    """Something of the room or the recorder that hides the mechanism or looks like it.

    Arguments:
        kind: "speech", "mains_hum", "automatic_gain", "noise_suppression", "codec_band" or "clipping".
        start_s: time in the recording.
        end_s: the same.
        says: a sentence: what was heard and what it means for the rest.
    """

    kind: str
    start_s: float
    end_s: float
    says: str


@dataclass(frozen=True, slots=True)
class MechanismHeard:
    """All that one recording of a mechanism tells.

    Arguments:
        duration_s: length of the recording.
        sample_rate_hz: as the file has it.
        marks: when which mode was entered, sorted by time.
        stretches: what turned, sorted by time.
        squeals: sorted by time.
        knocks: sorted by time.
        rubbings: sorted by time.
        clicks: sorted by time.
        disturbances: sorted by time.
        cannot_say: sentences: what this recording cannot tell.
        not_heard: what was expected and not heard.
        no_repeats: for each stretch, how plain a knocking or rubbing would have had to be.
        slips: for stretches of which it can be told, how far their loudness falters.
    """

    duration_s: float
    sample_rate_hz: float
    marks: tuple[Mark, ...]
    stretches: tuple[StretchHeard, ...]
    squeals: tuple[Squeal, ...]
    knocks: tuple[Knock, ...]
    rubbings: tuple[Rubbing, ...]
    clicks: tuple[Click, ...]
    disturbances: tuple[Disturbance, ...]
    cannot_say: tuple[str, ...]
    not_heard: tuple[NotHeard, ...] = ()
    no_repeats: tuple[NoRepeats, ...] = ()
    slips: tuple[SlipHeard, ...] = ()


@dataclass(frozen=True, slots=True)
class EvidenceHeard:
    """What a recording or a film says about a machine, in the machine's own readings and signs.

    Arguments:
        evidence: readings and observations.
        reasons: for each of them its name or id, and a sentence that says why.
    """

    evidence: Evidence
    reasons: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class SoundPicture:
    """How loud a recording is at each frequency and moment, to be drawn.

    Arguments:
        times_s: shape (n,).
        frequency_hz: middle of each band, shape (m,).
        level_db: against an arbitrary level, shape (n, m).
    """

    times_s: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
