"""What pulls against what while a machine is set up, and what is never turned. Common practice of the trade."""

from collections.abc import Collection
from typing import Final

from tapewright.machine.parts import Machine, nips_at_work
from tapewright.words.setting_up import Conflict, NeverTurn

OWN_TAPES: Final = Conflict(
    "the reference tape and the owner's own tapes",
    "Tapes that were recorded while the head stood askew sound right only with the head as it was.",
    "Set to the reference, and tell the owner before. For a few tapes to be copied, turn the screw to each tape and "
    "back "
    "to the reference afterwards; note where it stood.",
)
TREBLE: Final = Conflict(
    "azimuth and response",
    "A head that stands askew, dirt under the tape and a worn gap all take treble, and an equaliser turned up hides "
    "them.",
    "Clean, then azimuth, then read the response. What is still missing above 8 kHz is the head: more treble brings "
    "more "
    "noise, and nothing back.",
)
HEIGHT: Final = Conflict(
    "height and azimuth",
    "Where one screw carries the head, each turn for height rocks it, and each turn for azimuth lifts it.",
    "Go to and fro, and stop as soon as a round changes both by less than their doubt.",
)
BALANCE: Final = Conflict(
    "level and balance",
    "A worn track is set louder until the levels agree, and then its noise is louder too.",
    "Set each track to the reference. More than the trimmer's middle third on one track only is a sign of wear: look "
    "at "
    "the head.",
)
SCATTER: Final = Conflict(
    "tracks that want different azimuths",
    "The gaps of one head do not lie on one straight line (gap scatter); no screw changes that.",
    "Set the line through all gaps to nought, or with an input of two channels the outer pair: the inner tracks are "
    "then off by what their gaps stand out. Leave the rest. Where a pair stays over its limit, the head is at fault.",
)
BOTH_WAYS: Final = Conflict(
    "the two directions",
    "Forward and reverse play with one head. Where it has one screw for both, right in one is wrong in the other.",
    "Where each direction has its own stop, set each. Where there is one screw, set both to the same error with "
    "opposite "
    "signs, unless the owner plays one way only.",
)
BIAS: Final = Conflict(
    "bias and treble",
    "Less bias brings treble and distortion, more takes both.",
    "Set the bias by its top for the kind of tape, then the record equaliser; never the bias for the treble.",
)
TWO_CAPSTANS: Final = Conflict(
    "the two capstans",
    "The tape between two capstans is led by both nips; one that stands askew pulls it to one side, and azimuth "
    "wanders "
    "whatever its screw does.",
    "See that the tape between them neither bulges nor climbs before anything at the head is turned.",
)
NEVER: Final = (
    ("azimuth", NeverTurn("the azimuth screw", "By ear the loudest treble of one tape is found, and that tape's "
                                               "error set.",
                          "a calibration tape with an azimuth section")),
    ("height", NeverTurn("the height of a head", "Nothing on an unknown tape tells where its tracks should lie.",
                         "a calibration tape; or the path gauge that the machine's sheet names")),
    ("level", NeverTurn("replay level", "Noise reduction and every later step rest on it; an unknown tape has an "
                                        "unknown "
                        "level, and without a tape there is none at all.", "a calibration tape with a level section")),
    ("response", NeverTurn("the replay equaliser", "Music tells nothing of what was recorded.",
                           "a calibration tape with a response section of the right time constant")),
    ("", NeverTurn("anything by a tape that the same machine recorded",
                   "Its own head is always square to its own tape, and its own level always right.")),
    ("", NeverTurn("guides and rollers of a cassette's shell", "They belong to the tape, not to the machine.")),
    ("", NeverTurn("sealed screws that the machine's sheet does not name", "They were set with tools that nobody has "
                                                                           "here.")),
    ("bias", NeverTurn("bias traps and the oscillator's core", "Level and noise tell nothing of them.",
                       "an instrument for the bias frequency, and the machine's sheet")),
)  # fmt: skip
"""What is never turned, each with the kind of step it belongs to; "" for every machine."""


def conflicts(machine: Machine, tracks: int, both_ways: bool) -> tuple[Conflict, ...]:
    """Give what pulls against what in this machine.

    Arguments:
        machine: as described.
        tracks: that are played at once.
        both_ways: whether it plays in both directions.
    """
    found = [OWN_TAPES, HEIGHT, TREBLE]
    if tracks > 1:
        found.append(BALANCE)
    if tracks > 2:
        found.append(SCATTER)
    if both_ways:
        found.append(BOTH_WAYS)
    if "play" in machine.modes and len(nips_at_work(machine, machine.modes["play"])) > 1:
        found.append(TWO_CAPSTANS)
    if "record" in machine.modes:
        found.append(BIAS)
    return tuple(found)


def never(kinds: Collection[str]) -> tuple[NeverTurn, ...]:
    """Give what is never turned on a machine that has these kinds of step."""
    return tuple(one for kind, one in NEVER if not kind or kind in kinds)
