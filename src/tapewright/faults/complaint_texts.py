"""How owners tell of what helps, how it came and what fell out, in words. What they mean is nowhere said here."""

from typing import Final

from tapewright.faults.sign_texts import Template

_RUN = "With a sacrificial cassette in, press {key}"
_PLAYS, _MOVES = ("play", "reverse_play"), ("play", "reverse_play", "fast_forward", "rewind")
_HELPED = "The {part} does not start by itself {mode} and runs on once a finger helps it"
_ASK = "Ask the owner; ask what was the last thing that worked."

COMPLAINED: Final = (
    # --- what helps it on
    Template("runs_when_helped", "helped_on", _HELPED,
             "Cover off; give the rim one light push {mode}, then let it run by itself.", {"yes": 1.0, "at_times": 0.5},
             sense="feel", minutes=5, modes=_PLAYS, kinds=("flywheel",), inside=True, hazards=("moving", "live")),
    Template("runs_when_helped", "helped_on", _HELPED,
             "With a sacrificial cassette in and the lid open, turn the hub on a little {mode}.",
             {"yes": 1.0, "at_times": 0.5}, sense="feel", minutes=2, modes=_PLAYS, kinds=("reel_table",),
             role="takes_up", hazards=("tape", "nip", "moving")),
    Template("runs_when_helped", "helped_on", _HELPED,
             "Cover off; turn the pulley of the {part} on a little with a wooden stick {mode}.",
             {"yes": 1.0, "at_times": 0.5}, sense="feel", minutes=5, modes=_PLAYS, kinds=("motor",), inside=True,
             hazards=("moving", "live")),
    Template("only_after_tries", "tries", "{key} takes hold only after several presses, and then goes on well",
             _RUN + " ten times; count the presses until it runs.", {"yes": 1.0, "at_times": 0.6}, minutes=4,
             modes=_PLAYS),
    Template("stiff_ones_fail", "stiff", "Stiff or long cassettes stall or are eaten {mode} where easy ones run well",
             "Run two sacrificial cassettes, one that is easy to turn with a pencil and one that is hard.",
             {"yes": 1.0}, minutes=6, modes=_PLAYS),
    # --- how it came
    Template("came_suddenly", "sudden", "The trouble {mode} came from one moment to the next", _ASK, {"yes": 1.0},
             sense="told", minutes=1, modes=_MOVES),
    Template("came_slowly", "sudden", "The trouble {mode} grew over weeks or years", _ASK, {"no": 1.0}, sense="told",
             minutes=1, modes=_MOVES),
    Template("came_with_rest", "rested", "All was well {mode} when it was put away, and not after a long rest",
             _ASK, {"yes": 1.0}, sense="told", minutes=1, modes=_MOVES),
    Template("came_with_handling", "handled", "The trouble {mode} began with a repair, a knock or a move", _ASK,
             {"yes": 1.0}, sense="told", minutes=1, modes=_MOVES),
    Template("loose_piece", "loose_piece", "A loose spring, felt or broken piece falls out or rattles in the machine",
             "Unplugged: turn the machine over gently above a cloth and listen; keep what falls out.", {"yes": 0.8},
             minutes=2, modes=("off",), hazards=("power",)),
)  # fmt: skip
