"""One part's imperfections -> what tape and heads feel of it, and so what is heard, in a few ordered words.

The laws of spacing, lean and sum are those of `machine.head_contact`.
"""

from typing import Final

from tapewright.faults.conditions import HEARD_FROM, Condition, told_by
from tapewright.machine.head_contact import SUMMED_HZ, lean_db, spacing_db, summed_db, tracks_of, wavelength_m
from tapewright.machine.parts import Imperfections, Machine, part


def signal(name: str) -> Condition:
    """What a head gives: clear, dull (too little level or treble), worn (the same, past cleaning), hissy."""
    return Condition(name, "signal", lambda machine: _signal_word(machine, part(machine, name).imperfections))


def _signal_word(machine: Machine, wrong: Imperfections) -> str:
    if wrong.noise >= HEARD_FROM:
        return "hissy"
    wave = wavelength_m(machine.tape)
    lost_db = spacing_db(wrong.spacing_m + wrong.spot_m, wave)
    if wrong.signal * 10.0 ** (lost_db / 20.0) >= DULL_BELOW:
        return "clear"
    return "worn" if wrong.worn_m >= WORN_FROM_M else "dull"


WORN_FROM_M: Final = 0.00002
"""Depth of a groove that a fingernail feels; from memory."""
DULL_BELOW: Final = 0.6
"""Share of level or treble below which an ear notices without comparing: 4 to 5 dB; from memory."""


def sound_path(name: str) -> Condition:
    """What the electronics make of what the heads give: clear, one_side, crackles, silent."""
    return told_by(name, "sound_path", _sound_word)


def _sound_word(wrong: Imperfections) -> str:
    if not wrong.works:
        return "silent"
    if wrong.contact < 0.9:
        return "crackles"
    return "one_side" if wrong.signal < DULL_BELOW else "clear"


def square(name: str) -> Condition:
    """Whether a head's gap stands square to the tape, or a tape lies flat across its way."""
    return told_by(name, "square", lambda wrong: "askew" if wrong.tilt_rad >= ASKEW_FROM else "square")


ASKEW_FROM: Final = 0.001
"""Radians from which treble is lost to azimuth on a narrow track: 3 minutes of arc; from memory."""


def edge(name: str) -> Condition:
    """Whether the tape's edge keeps contact with the head past a part: flat, little (a gauge sees it), lifts."""
    read = lambda machine: _edge_word(machine, part(machine, name).imperfections)  # noqa: E731
    return Condition(name, "edge", read)


def _edge_word(machine: Machine, wrong: Imperfections) -> str:
    lost_db = spacing_db(wrong.edge_lift_m, wavelength_m(machine.tape))
    if lost_db <= EDGE_DULL_DB:
        return "lifts"
    return "little" if wrong.edge_lift_m >= LIFT_READ_M else "flat"


LIFT_READ_M: Final = 0.2e-6
"""Spacing of some tracks against others that a response tells; from memory."""


EDGE_DULL_DB: Final = -3.0
"""Treble that one track has to lose against the others before an ear that compares them hears it; from memory."""


def spot(name: str) -> Condition:
    """Whether one track is dull for itself, whichever that is: clear, one."""
    read = lambda machine: _spot_word(machine, part(machine, name).imperfections)  # noqa: E731
    return Condition(name, "spot", read)


def _spot_word(machine: Machine, wrong: Imperfections) -> str:
    return "one" if spacing_db(wrong.spot_m, wavelength_m(machine.tape)) <= EDGE_DULL_DB else "clear"


def sways(name: str) -> Condition:
    """Whether a part swings the tape so far that the sum of the outermost tracks loses treble at each turn.

    Gives no, little (the delay between tracks shows it), yes.
    """
    read = lambda machine: _sways_word(machine, part(machine, name).imperfections)  # noqa: E731
    return Condition(name, "sways", read)


def _sways_word(machine: Machine, wrong: Imperfections) -> str:
    tracks = tracks_of(machine.tape)
    if tracks.apart_m > 0.0:
        lost_db = summed_db(wrong.weave_rad, tracks.apart_m, wavelength_m(machine.tape, SUMMED_HZ))
    else:
        lost_db = lean_db(wrong.weave_rad, tracks.width_m, wavelength_m(machine.tape))
    if lost_db <= EDGE_DULL_DB:
        return "yes"
    return "little" if wrong.weave_rad >= SWAY_READ_RAD else "no"


SWAY_READ_RAD: Final = 2.5e-4
"""0.9 minutes of arc, peak: more than good tape weaves at any one rate; from memory."""


def sheds(name: str) -> Condition:
    """Whether what a tape leaves on the heads makes the end of a side duller than its start: no, yes."""
    read = lambda machine: _sheds_word(machine, part(machine, name).imperfections)  # noqa: E731
    return Condition(name, "sheds", read)


def _sheds_word(machine: Machine, wrong: Imperfections) -> str:
    return "yes" if spacing_db(wrong.deposit_m, wavelength_m(machine.tape)) <= EDGE_DULL_DB else "no"


def erases(name: str) -> Condition:
    """How well what was on a tape is erased by recording over it: well, badly."""
    return told_by(name, "erases", lambda wrong: "badly" if wrong.erases < HEARD_UNDER else "well")


HEARD_UNDER: Final = 0.5
"""Share of the erasure of a sound machine, in decibels, below which the old is heard under the new: some 30 dB; from
memory."""


def guide(name: str) -> Condition:
    """Whether the guides beside a head lead the tape straight."""
    return told_by(name, "guide", lambda wrong: "square" if wrong.guides_true else "askew")
