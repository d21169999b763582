"""Every adjustment there is on a cassette machine, and what each of them moves besides. Common practice of the trade.

What an adjustment `disturbs` has to be done after it; what it only `nudges` is looked at once more. No list here says
in which order anything is done: the order follows from what disturbs what.
"""

from dataclasses import dataclass
from typing import Final

TAPES: Final = {
    "sacrificial": "a cassette that may be spoilt, see-through or with the front cut open, so that the tape is seen",
    "speed": "a speed tape, 3150 or 3000 Hz, whose own error is known",
    "azimuth": "a bought calibration tape with an azimuth section: several tones, the finest 6.3 to 12.5 kHz",
    "level": "a calibration tape with a level section: 315 Hz at 250 nWb/m, or 400 Hz at 200 nWb/m by the ANSI method",
    "response": "a calibration tape with a response section of the right time constant, its 315 Hz mark first",
    "blank": "a new blank tape of the kind that the machine is set up for, wound through once",
}
TOOL: Final = (
    "Near heads only tools of brass, plastic or ceramic: a magnetic one leaves noise on every tape that passes."
)
SEAL: Final = (
    "Note how each screw stands before it moves (a photo, a mark), so that it can go back; seal it at the end."
)


@dataclass(frozen=True, slots=True)
class Adjustment:
    """One kind of adjustment, before it is fitted to a machine.

    Arguments:
        kind: its name.
        says: what it is called.
        adjusts, where, how: as in `SetUpStep`; {motor}, {tracks} and {treble} are filled in.
        tapes: by `TAPES`.
        reading: followed live; "" for the eye.
        hazards: keys of the catalogue's cautions.
        near_heads: whether a tool comes near the heads.
        disturbs: has to be done after this.
        nudges: is to be looked at once more after this.
        recording: whether it is for machines that record.
    """

    kind: str
    says: str
    adjusts: str
    where: str
    how: str
    tapes: tuple[str, ...] = ()
    reading: str = ""
    hazards: tuple[str, ...] = ()
    near_heads: bool = False
    disturbs: tuple[str, ...] = ()
    nudges: tuple[str, ...] = ()
    recording: bool = False


ADJUSTMENTS: Final = (
    Adjustment(
        "clean", "Clean the path",
        "Nothing is turned: heads, capstan, pinch roller and guides are cleaned, and demagnetised where needed.",
        "All that the tape touches.",
        "Wipe until a fresh swab stays clean. Dirt under the tape looks like azimuth, level and treble at once, so "
        "nothing is read before this.",
        hazards=("power", "solvent", "demagnetiser"),
        disturbs=("path", "height", "speed", "azimuth", "level", "response", "bias", "record_response", "record_level"),
    ),
    Adjustment(
        "path", "Tape path",
        "Guides and the pinch roller's stand, so that the tape runs flat through the middle of its guides.",
        "The guides beside the heads and the arm of the pinch roller; not the cassette's own rollers.",
        "Watch the tape's edges in play from its start to its end: no curl at a guide, no climbing at the roller, no "
        "wave. Where it runs true, leave it as it is.",
        ("sacrificial",), hazards=("nip", "moving", "tape"), near_heads=True,
        disturbs=("height", "speed", "azimuth", "level", "response"),
    ),
    Adjustment(
        "height", "Head height",
        "How high the head stands over the deck plate, so that its gaps lie on the tracks.",
        "The two screws, or nut and spring, that carry the head; washers under it on many machines, and then nothing "
        "can be turned.",
        "Play the level section and follow the level of {tracks}: the right height is where it is highest. Half a turn "
        "of the screw at most; no more than needed to find the top from both sides.",
        ("level",), "balance_db", ("nip", "moving", "live", "tone"), True,
        disturbs=("azimuth", "level", "response"), nudges=("path",),
    ),
    Adjustment(
        "speed", "Speed",
        "The rate of the {motor}.",
        "The speed trimmer: behind a hole in the motor's back, or on the board beside it; one for each speed.",
        "Let the machine run for a quarter of an hour, then play the speed tape from its middle and follow the mean, "
        "not the moment. Speed that differs between start and end of a side is no matter of this trimmer.",
        ("speed",), "speed_error_pct", ("moving", "live", "tone"),
        disturbs=("azimuth", "response"),
    ),
    Adjustment(
        "azimuth", "Azimuth",
        "How square the gaps stand across the tape.",
        "The spring-loaded screw beside the head; the other one is fixed. Often reached through a hole above the "
        "cassette door.",
        "Coarse tone first, then finer ones: turn until the delay between {tracks} is nought. The second "
        "road: the sum of the tracks is then as loud as their levels allow. A sum alone has a top at every turn of a "
        "fine tone; only the coarse tone tells which is the right one.",
        ("azimuth",), "angle_arcmin", ("nip", "moving", "live", "tone"), True,
        disturbs=("level", "response", "record_response"), nudges=("height",),
    ),
    Adjustment(
        "level", "Replay level",
        "The gain of each replay amplifier.",
        "One trimmer a track on the replay board.",
        "Play the level section; set each track to what the machine's sheet says for that tape, in volts at its test "
        "point or at the line socket. To follow it live, feed the computer the voltage that the sheet names, keep that "
        "level as the reference, then play the tape. {levels}",
        ("level",), "level_db", ("live", "static", "tone"),
        disturbs=("response", "bias", "record_response", "record_level"),
    ),
    Adjustment(
        "response", "Replay response",
        "The treble of each replay equaliser, where it has a trimmer.",
        "The equaliser beside the replay amplifier; many machines have none that can be set.",
        "Let the response section run through: its 315 Hz is kept, each further tone is shown against it. The tape "
        "switch stands where the tape says ({treble}). What is missing at the top after cleaning and azimuth is wear "
        "of the head more often than the equaliser.",
        ("response",), "deviation_db", ("live", "static", "tone"),
        disturbs=("bias", "record_response", "record_level"), nudges=("level",),
    ),
    Adjustment(
        "bias", "Bias",
        "The bias current of each record track.",
        "One trimmer a track on the record board, one more for each kind of tape.",
        "Record 6.3 kHz at -20 dB and raise the bias from low: what comes back rises, has its top, and falls. Go past "
        "the top by as much as the machine's or the tape's sheet says; too little distorts, too much dulls.",
        ("blank",), "level_db", ("live", "static", "tone", "tape"),
        disturbs=("record_response", "record_level"), recording=True,
    ),
    Adjustment(
        "record_response", "Record response",
        "The treble of each record equaliser, where it has a trimmer.",
        "Beside the record amplifier.",
        "Record 315 Hz and then the tones up to 12.5 kHz, all at -20 dB, and follow what comes back against 315 Hz.",
        ("blank",), "deviation_db", ("live", "static", "tone", "tape"),
        disturbs=("record_level",), nudges=("bias",), recording=True,
    ),
    Adjustment(
        "record_level", "Record level",
        "The gain into each record head.",
        "One trimmer a track on the record board, and the meter's own beside it.",
        "Record 315 Hz at 0 dB on the meter and set what comes back to the same level as the source; the noise "
        "reduction, where there is one, is switched off.",
        ("blank",), "level_db", ("live", "static", "tone", "tape"), recording=True,
    ),
)  # fmt: skip
"""In no order that counts, but that those that do not disturb each other keep it."""
NEEDS_REFERENCE: Final = frozenset({"height", "azimuth", "level", "response"})
