"""How capstans, pinch rollers, reels and what holds back combine in what the tape does: from words to words.

The words of motion are those of `behaviours`.
"""

from tapewright.faults.behaviours import HOLDS_FROM, SLIPS_THROUGH_BELOW
from tapewright.faults.conditions import GRIP_SHARE


def nip_closes(head_base: str, grip: str, reported: str = "yes", *, sound_margin: float) -> str:
    """Say how pinch roller and capstan hold the tape: open, at_times, slips, lumpy, firm.

    Where the logic never learns that the head base is up it lets it down again.
    """
    margin = sound_margin * GRIP_SHARE[grip]
    if head_base in ("stays", "part") or reported == "no" or margin < SLIPS_THROUGH_BELOW:
        return "open"
    if "at_times" in (head_base, reported):
        return "at_times"
    if margin < HOLDS_FROM:
        return "slips"
    return "lumpy" if grip == "lumpy" else "firm"


def nip_drives(closed: str, capstan: str, size: str) -> str:
    """Say what capstan and pinch roller do with the tape.

    Gives "open" (they do not touch it), "free" (it can drag the undriven capstan round), "held" (the capstan stands),
    "slips" (it slides on the capstan), "at_times", or how they drive it: slow, uneven, right, fast.
    """
    if closed in ("open", "at_times"):
        return closed
    if capstan in ("loose", "still"):
        return "free" if capstan == "loose" else "held"
    if closed == "slips" or capstan == "at_times":
        return "slips" if capstan != "at_times" else "at_times"
    if closed == "lumpy" or capstan == "weak":
        return "uneven"
    return {"large": "fast", "small": "slow"}.get(size, capstan) if capstan == "right" else capstan


def nips_together(leading: str, *following: str) -> str:
    """Combine two capstans in one tape path: the leading one sets the speed, the other holds the tape before the heads.

    Where the leading one does not hold the tape the other feeds it; one that stands with its roller closed holds the
    tape against the leading one.
    """
    driving = [nip for nip in following if nip not in ("open", "free", "held", "at_times")]
    if leading in ("open", "free"):
        return "held" if "held" in following else (driving[0] if driving else leading)
    if leading != "held" and "held" in following:
        return "slips"
    return leading


def head_loop(leading: str, following: str) -> str:
    """Say whether the tape between two capstans is held taut: taut, at_times, slack."""
    driving = ("slow", "uneven", "right", "fast", "runs_away")
    if leading == "at_times" or following == "at_times":
        return "at_times"
    if leading not in driving:
        return "slack" if following in driving else "taut"
    return "taut" if following in ("slow", "right", "held") else "slack"


def edge_creases(following: str, *square: str) -> str:
    """Say whether the tape's edge is creased: a roller lets it wander, or roller or guide drives it to one side."""
    if following in ("open", "held", "free"):
        return "no"
    return "yes" if following in ("slips", "uneven", "lumpy") or "askew" in square else "no"


def edge_wanders(creased: str, hold_back: str) -> str:
    """The same for a tape that nothing holds back: it wanders in its guides, and an edge is caught now and then."""
    return "at_times" if creased == "no" and hold_back == "slack" else creased


def tape_in_play(nip: str, take_up: str, hold_back: str) -> str:
    """Say how the tape moves where the capstan should set its speed.

    Gives still, at_times, slow, uneven, right, fast, or races (the take-up pulls it through).
    """
    if nip in ("open", "free"):
        pulled = dict.fromkeys(("right", "fast", "hard", "slow", "runs_away"), "races") | {"uneven": "uneven"}
        return pulled.get(take_up, "at_times" if take_up == "at_times" else "still")
    if nip == "held":
        return "still"
    if nip == "at_times":
        return "at_times"
    if nip == "slips" or take_up in ("hard", "uneven"):
        return "uneven"
    if nip == "runs_away":
        return "races"
    if hold_back == "hard" and nip == "right":
        return "uneven"
    return {"hard": "fast"}.get(nip, nip)


def tape_in_wind(take_up: str, give_drag: str, hold_back: str) -> str:
    """Say how the tape winds: still, at_times, weak, slow, uneven, right."""
    if take_up in ("still", "loose") or give_drag == "seized":
        return "still"
    if take_up in ("weak", "at_times"):
        return take_up
    if give_drag in ("stiff", "tight") or hold_back == "hard":
        return "slow"
    return {"fast": "right", "hard": "right", "runs_away": "right"}.get(take_up, take_up)


def only_this_cassette(tape: str, cassette_drag: str) -> str:
    """Say whether one cassette is slow or stops where a known good one plays: no, yes."""
    return "yes" if tape in ("right", "fast") and cassette_drag != "free" else "no"


def loop_forms(nip: str, take_up: str) -> str:
    """Say whether tape piles up between pinch roller and take-up reel: no, at_times, yes."""
    fed = nip in ("slow", "uneven", "right", "fast", "runs_away")
    if fed and take_up in ("still", "loose", "weak"):
        return "yes"
    return "at_times" if fed and take_up in ("uneven", "at_times") else "no"


def tape_is_scrubbed(nip: str, roller: str) -> str:
    """Say whether the oxide is rubbed or pulled off: the tape slides on the capstan, or clings to the roller."""
    return "yes" if nip == "slips" or (roller == "sticky" and nip not in ("open", "held")) else "no"


def tape_wraps(nip: str, roller: str, capstan: str) -> str:
    """Say whether tape is carried round the roller or capstan."""
    fed = nip in ("slow", "uneven", "right", "fast", "slips", "at_times", "runs_away")
    if fed and roller == "sticky":
        return "yes"
    return "at_times" if fed and capstan == "crusted" else "no"


def pack_is_loose(tape: str, hold_back: str, take_up: str) -> str:
    """Say whether the tape winds loosely and weaves, for want of hold-back or of pull: no, at_times, yes."""
    if tape not in ("slow", "uneven", "right", "fast"):
        return "no"
    if hold_back == "slack" or take_up == "weak":
        return "yes"
    return "at_times" if take_up in ("uneven", "at_times") else "no"


def reel_follows(tape: str) -> str:
    """Say how a reel turns that only the tape pulls."""
    if tape == "still":
        return "still"
    return {"races": "fast", "weak": "weak", "at_times": "at_times"}.get(tape, tape)


def roller_comes(head_base: str, surface: str) -> str:
    """Say whether the pinch roller comes to the capstan: comes, at_times, apart."""
    if head_base in ("stays", "part") or surface in ("off", "gone"):
        return "apart"
    return "at_times" if head_base == "at_times" else "comes"


def roller_turns(nip: str, drag: str) -> str:
    """Say how the pinch roller turns in play: turns, by_fits, stands."""
    if nip in ("open", "free", "held") or drag == "seized":
        return "stands"
    return "by_fits" if nip in ("slips", "at_times") or drag == "tight" else "turns"


def guide_rubs(guide: str) -> str:
    """Say how a guide holds the tape back: a word of drag."""
    return "stiff" if guide == "askew" else "free"
