"""One function of a machine in one state, as a clause."""

from typing import Final

from tapewright.machine.parts import Machine, spoken

_TURNS: Final = {
    "still": "the {part} stands", "loose": "nothing drives the {part}", "at_times": "the {part} turns only at times",
    "weak": "the {part} turns without strength", "slow": "the {part} turns too slowly",
    "uneven": "the {part} turns unevenly", "right": "the {part} turns as it should",
    "fast": "the {part} turns too fast", "hard": "the {part} pulls too hard",
    "runs_away": "the {part} runs away, with nothing to regulate it",
}  # fmt: skip
_PULLS: Final = {
    "no": "the {part} does not pull", "weak": "the {part} pulls weakly", "at_times": "the {part} pulls only at times",
}  # fmt: skip
_ABOUT: Final[dict[str, dict[str, str]]] = {
    "turns": _TURNS, "able": _TURNS, "regulated": _TURNS, "pull": _PULLS, "pulls": _PULLS,
    "braked": {"tight": "the {part} stays on", "stiff": "the {part} is let go only at times"},
    "head_loop": {
        "slack": "the tape between the capstans is slack",
        "at_times": "the tape between the capstans is at times slack",
    },
    "overruns": {"yes": "the reel runs on when it should stop"},
    "head_base": {
        "stays": "the head base stays where it was", "part": "the head base goes part of the way",
        "late": "the head base comes late", "at_times": "the head base moves only at times",
    },
    "reported": {
        "no": "the logic never learns that the head base is in place",
        "at_times": "the logic learns only at times that the head base is in place",
    },
    "nip": {
        "open": "capstan and roller do not hold the tape", "free": "the tape can drag the undriven capstan round",
        "held": "the standing capstan holds the tape", "slips": "the tape slides on the capstan",
        "uneven": "the tape is driven unevenly", "slow": "the tape is driven too slowly",
        "fast": "the tape is driven too fast", "at_times": "the tape is driven only at times",
    },
    "tape": {
        "races": "the take-up pulls the tape through at its own pace", "still": "the tape stands",
        "slow": "the tape runs slow", "fast": "the tape runs fast", "uneven": "the tape runs unevenly",
        "weak": "the tape winds weakly", "at_times": "the tape moves only at times",
    },
    "loop": {"yes": "the tape fed is not taken up", "at_times": "the tape fed is not always taken up"},
    "oxide": {"yes": "the surface of the tape is rubbed"},
    "wrap": {"yes": "the tape is carried round", "at_times": "the tape is at times carried round"},
    "pack": {"yes": "the tape winds without tension", "at_times": "the tape winds at times without tension"},
    "helped": {"yes": "a helping finger is enough to bring the head base up"},
    "reserve": {
        "short": "the drive of the {part} has little in hand",
        "little": "the drive of the {part} has next to nothing in hand",
        "none": "the drive of the {part} has nothing in hand",
    },
    "edge": {"yes": "the tape wanders on the roller"},
    "only_this": {"yes": "this cassette holds its tape back more than another would"},
    "sounds": {
        "silent": "the {part} is not heard", "races": "the {part} runs free of its load",
        "labours": "the {part} has too much to move", "at_times": "the {part} runs only at times",
    },
    "runs_on": {"yes": "nothing ends the run of the {part}", "at_times": "the run of the {part} ends only at times"},
    "starts": {"no": "no motor starts", "at_times": "the motors start only at times"},
    "stops": {"yes": "the logic sees nothing turn and stops", "at_times": "the logic at times sees nothing turn"},
    "rubs": {"yes": "the {part} rubs", "at_times": "rubber slips on the {part}"},
    "permit": {"no": "the logic is never allowed to start", "at_times": "the logic is only at times allowed to start"},
    "grip": {
        "none": "the {part} passes nothing", "faint": "the {part} passes next to nothing",
        "poor": "the {part} slips", "fair": "the {part} slips under load", "lumpy": "the {part} passes motion in lumps",
        "excess": "the {part} never slips",
    },
}  # fmt: skip


def phrase(machine: Machine, node: str, word: str) -> str:
    """Put a node and its word into a clause; empty where there is nothing worth saying.

    >>> from tapewright.machine.library import shipped
    >>> phrase(shipped("four_track"), "turns:flywheel@play", "loose")
    'nothing drives the flywheel'
    """
    stem, _, _ = node.partition("@")
    about, _, subject = stem.partition(":")
    subject = subject.partition("/")[0]
    text = _ABOUT.get(about, {}).get(word, "")
    known = subject in machine.rotors or subject in machine.couplings
    return text.format(part=spoken(machine, subject) if known else subject.replace("_", " "))
