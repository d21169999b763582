"""What a recording of a mechanism leaves open, in sentences."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tapewright.measure.mechanism_comb import LOWEST_HZ
from tapewright.measure.mechanism_frames import LONGEST_S, Sound
from tapewright.words.mechanism_heard import OFF, Mark, NotHeard, RateExpected


@dataclass(frozen=True, slots=True, eq=False)
class Open:
    """Lines that were heard and are nobody's for certain.

    Arguments:
        like_mains_hz: rates of combs that hum would make too.
        like_slow: rotors whose lines a slower one may have made.
        one_of: pairs of rotors of which one was heard, with the mode.
    """

    like_mains_hz: list[float] = field(default_factory=list)
    like_slow: set[str] = field(default_factory=set)
    one_of: set[tuple[str, str, str]] = field(default_factory=set)

    def sentences(self) -> list[str]:
        """Say them.

        >>> Open(one_of={("left", "right", "rewind")}).sentences()
        ['One of the left and the right runs in rewind; they turn at nearly one rate: which it is, is open.']
        """
        mains = [
            f"Lines at multiples of {rate:.1f} Hz cannot be told from mains hum: there is no stretch with the machine "
            "off." for rate in sorted({round(rate, 1) for rate in self.like_mains_hz})
        ]  # fmt: skip
        slow = [
            f"Lines are heard where the {_plain(name)} should stand; a motor that turns slowly may make them."
            for name in sorted(self.like_slow)
        ]
        pairs = [
            f"One of the {_plain(one)} and the {_plain(other)} runs in {_plain(mode)}; they turn at nearly one rate: "
            "which it is, is open." for one, other, mode in sorted(self.one_of)
        ]  # fmt: skip
        return [*mains, *slow, *pairs]


def _plain(name: str) -> str:
    return name.replace("_", " ")


def cannot_say(
    sound: Sound,
    marks: Sequence[Mark],
    by_name: Mapping[str, Sequence[RateExpected]],
    low_hz: float,
    not_heard: Sequence[NotHeard],
) -> list[str]:
    """Say what this recording cannot tell for its length, its marks, its band and its background.

    Arguments:
        sound: the whole of it.
        marks: when which mode was entered.
        by_name: what was expected, by rotor.
        low_hz: the lowest frequency that reaches the file.
        not_heard: what was expected and not heard.
    """
    said = []
    if sound.left_out_s > 0:
        said.append(f"Only the first {LONGEST_S / 60:.0f} minutes were listened to.")
    if not marks:
        said.append(
            "Nobody noted what was done when: which mode a sound belongs to, and what failed to start, is open."
        )
    elif not any(mark.mode == OFF for mark in marks):
        said.append("There is no stretch with the machine off: a fan or hum of the room may pass for the machine's.")
    if sound.duration_s < 3.0:
        said.append(
            f"The recording lasts {sound.duration_s:.1f} s: too short for what comes back slowly, such as a "
            "reel's knock, for how steadily a motor runs, and for telling a room's lines from the machine's."
        )
    for name, rows in by_name.items():
        dumb = [e.mode for e in rows if not [c for c in e.comb if c * e.rate_hz > max(low_hz, LOWEST_HZ)]]
        if dumb and name:
            where = ", ".join(dict.fromkeys(dumb))
            said.append(f"The {name} turns too slowly to be heard by its lines ({where}).".replace("_", " "))
    quiet = sorted({_plain(one.name) for one in not_heard if one.sure < 0.7 and one.name})
    if quiet:
        said.append(f"Over this background it is open whether these ran where they were not heard: {', '.join(quiet)}.")
    return said
