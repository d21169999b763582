"""How motion, grip and drag combine at one place of a mechanism: small functions from words to words.

The words of motion, for anything that turns:

still      does not turn and is held
loose      is not driven, but free to be turned
at_times   turns or does not, from one try to the next
weak       turns, but a light load stops it
slow       turns too slowly
uneven     turns at about the right rate, unsteadily
right      turns as it should
fast       turns a little too fast
hard       turns as it should, and pulls far harder than it should
runs_away  turns far too fast: nothing regulates it
"""

from bisect import bisect_right
from typing import Final

from tapewright.faults.conditions import DRAG_FACTOR, GRIP_SHARE, GRIPS, grip_word

MOVING: Final = frozenset({"at_times", "weak", "slow", "uneven", "right", "fast", "hard", "runs_away"})

HOLDS_FROM: Final = 1.15
"""A coupling that can pass 15 % more than is asked of it holds."""
FALTERS_FROM: Final = 0.8
"""Below what is asked it slips now and then; below this share all the time."""
SLIPS_THROUGH_BELOW: Final = 0.25
"""Below a quarter of what is asked the driven side does not follow at all."""


LITTLE_RESERVE: Final = 0.25
"""Share of its sound torque at which a drive takes four times as long to bring its flywheel up to speed."""
SHORT_RESERVE: Final = 0.5
"""The same for twice as long: an owner seldom notices less."""


def worst_grip(*grips: str) -> str:
    """Combine what each part of one coupling leaves of its torque."""
    share = 1.0
    for grip in grips:
        share *= GRIP_SHARE[grip]
    word = grip_word(share)
    return "lumpy" if "lumpy" in grips and GRIPS.index(word) >= GRIPS.index("fair") else word


def worst_drag(*drags: str) -> str:
    """Combine the drags on one shaft."""
    for word in ("seized", "tight", "stiff"):
        if word in drags:
            return word
    return "free"


def worst_contact(*contacts: str) -> str:
    """Combine switches that all have to close: "yes", "at_times" or "no"."""
    if "dead" in contacts:
        return "no"
    return "at_times" if "at_times" in contacts else "yes"


def motor_able(feed: str, permit: str, motor: str) -> str:
    """Say how a motor turns that the logic wants to run."""
    if feed == "none" or permit == "no" or motor == "dead":
        return "still"
    if "at_times" in (feed, permit, motor):
        return "at_times"
    if motor == "runs_away":
        return "right" if feed == "low" else motor
    if motor in ("weak", "slow", "fast", "uneven"):
        return "weak" if feed == "low" and motor != "fast" else motor
    return "slow" if feed == "low" else "right"


def motor_regulated(able: str, tacho: str) -> str:
    """The same for a motor whose speed a tacho regulates: without its pulses it runs away."""
    if able in ("still", "at_times", "weak") or tacho == "good":
        return able
    return "runs_away" if tacho == "dead" else "uneven"


def motor_carries(run: str, drag: str) -> str:
    """The same for a motor with a capstan or reel on its own shaft, by how freely that turns."""
    if drag == "seized":
        return "still"
    if drag == "free" or run == "still":
        return run
    if drag == "tight" and run == "slow":
        return "weak"
    return {"right": "slow", "fast": "slow"}.get(run, run)


# --- solenoids, levers, brakes ----------------------------------------------------------------------------------------


def solenoid_pulls(feed: str, permit: str, solenoid: str) -> str:
    """Say how a solenoid pulls that the logic feeds: no, at_times, weak, yes."""
    if feed == "none" or permit == "no" or solenoid == "dead":
        return "no"
    if "at_times" in (feed, permit, solenoid):
        return "at_times"
    return "weak" if feed == "low" or solenoid == "weak" else "yes"


def linkage(*levers: str) -> str:
    """Combine the levers on one way: free, stiff, tight, gone (one is snapped or will not move)."""
    return "gone" if "gone" in levers or "seized" in levers else worst_drag(*levers)


def brought_in(pull: str, levers: str = "free") -> str:
    """Say whether what a solenoid, a cam or the head base moves comes in, or is let go: no, at_times, yes."""
    if pull == "no" or levers == "gone":
        return "no"
    if pull == "weak":
        return "at_times" if levers == "free" else "no"
    return "at_times" if pull == "at_times" or levers == "tight" else "yes"


def pull_of(head_base: str) -> str:
    """Say how the head base, or the cam that lifts it, moves what else hangs on it."""
    return {"stays": "no", "part": "weak", "at_times": "at_times"}.get(head_base, "yes")


def fed_through(driver: str, engaged: str) -> str:
    """Say what a coupling that has to be brought in gets from its driver."""
    if engaged == "yes" or driver in ("still", "loose"):
        return driver
    return "loose" if engaged == "no" else "at_times"


def braked(brake_drag: str, let_go: str = "yes") -> str:
    """Say how hard a brake that should be off still holds: a word of drag."""
    return {"no": "tight", "at_times": "stiff"}.get(let_go, "free") if brake_drag == "free" else brake_drag


def overruns(*brakes: str) -> str:
    """Say whether a reel runs on when the brakes come on."""
    return "yes" if "slack" in brakes else "no"


def motor_holds_back(run: str) -> str:
    """Say how a motor holds back that is fed against the way the tape drags it: slack, right, hard."""
    return "slack" if run in ("still", "at_times", "weak") else "hard" if run == "runs_away" else "right"


def held_back(brakes: str, *holds: str) -> str:
    """Combine everything that holds the giving reel back: slack, right, hard."""
    if brakes != "free" or "hard" in holds:
        return "hard"
    return "right" if not holds or "right" in holds else "slack"


def motor_runs(able: str, reported: str = "yes") -> str:
    """The same for a motor that waits until a position is reported."""
    if reported == "yes" or able == "still":
        return able
    return "still" if reported == "no" else "at_times"


def strength(grip: str, drag: str, *sizes: str) -> str:
    """Put all that a coupling does to the shaft it drives into one phrase, whatever the mode then asks of it.

    Arguments:
        grip: what the coupling still passes of its torque.
        drag: how freely the driven shaft turns.
        sizes: "large" or "small" where residue or a belt of the wrong size has changed the driving diameter.

    >>> strength("poor", "free"), strength("full", "stiff"), strength("full", "free", "large")
    ('poor', 'full stiff', 'full large')
    """
    if drag == "seized" or grip == "none":
        return " ".join((("none",) if grip == "none" else ()) + (("seized",) if drag == "seized" else ()))
    if drag != "free":
        return f"{grip} {drag}"
    changed = [size for size in sizes if size != "right"]
    return grip if not changed or grip == "lumpy" else f"{grip} {changed[0]}"


def _grip_and_drag(strong: str) -> tuple[str, str, str]:
    """Take a phrase of `strength` apart again: grip, drag, size."""
    words = strong.split()
    grip = next((word for word in words if word in GRIP_SHARE), "full")
    drag = next((word for word in words if word in DRAG_FACTOR), "free")
    return grip, drag, next((word for word in words if word in ("large", "small")), "right")


def pass_on(driver: str, strong: str, sound_margin: float) -> str:
    """Say how a driven shaft turns.

    Arguments:
        driver: how the driving shaft turns.
        strong: what the coupling does to it, a phrase of `strength`.
        sound_margin: torque the sound coupling can pass, against what this mode asks.
    """
    grip, drag, size = _grip_and_drag(strong)
    margin = sound_margin * GRIP_SHARE[grip] / DRAG_FACTOR[drag]
    if drag == "seized":
        return "still"
    if GRIP_SHARE[grip] == 0.0:
        return "loose"
    if driver in ("still", "loose"):
        return driver
    if margin < SLIPS_THROUGH_BELOW:
        return "loose"
    if margin < FALTERS_FROM or driver == "weak":
        return "weak"
    if driver in ("at_times", "uneven") or margin < HOLDS_FROM:
        return "at_times" if driver == "at_times" else "uneven"
    if grip == "lumpy":
        return "uneven"
    if drag in ("stiff", "tight"):
        return "slow"
    if grip == "excess":
        return "hard"
    return {"large": "fast", "small": "slow"}.get(size, driver) if driver == "right" else driver


def reserve(driver: str, strong: str, sound_margin: float) -> str:
    """Say how much a drive has in hand to start a flywheel and to meet more load: plenty, short, little, none.

    The time a flywheel takes to its speed, and the speed a soft drive loses to a load, grow as the torque that can be
    passed shrinks.

    Arguments:
        driver: how the driving shaft turns.
        strong: what the coupling does to the driven one, a phrase of `strength`.
        sound_margin: torque the sound coupling can pass, against what this mode asks.
    """
    grip, drag, _ = _grip_and_drag(strong)
    share = GRIP_SHARE[grip] / DRAG_FACTOR[drag]
    if driver in ("still", "loose") or drag == "seized" or sound_margin * share < SLIPS_THROUGH_BELOW:
        return "none"
    if share <= LITTLE_RESERVE:
        return "little"
    return "plenty" if share > SHORT_RESERVE else "short"


def margin_class(sound_margin: float) -> tuple[int, ...]:
    """Give what `pass_on` makes of a margin: two margins of one class give the same answer to everything."""
    edges = (SLIPS_THROUGH_BELOW, FALTERS_FROM, HOLDS_FROM)
    shares = [share / factor for share in GRIP_SHARE.values() for factor in DRAG_FACTOR.values()]
    return tuple(bisect_right(edges, sound_margin * share) for share in shares)


def sounds(run: str, near: tuple[str, ...], further: tuple[str, ...]) -> str:
    """Say how a motor sounds: silent, normal, races (nothing hangs on it), labours (something stiff does).

    Arguments:
        run: how it turns.
        near: `strength` of what it drives itself.
        further: the same of what hangs on that.
    """
    if run == "still":
        return "silent"
    grips = [_grip_and_drag(one)[0] for one in near]
    drags = [_grip_and_drag(one)[1] for one in (*near, *further)]
    if run == "runs_away" or (grips and all(GRIP_SHARE[grip] < 0.1 for grip in grips)):
        return "races"
    if any(drag != "free" for drag in drags) or run == "weak":
        return "labours"
    return "at_times" if run == "at_times" else "normal"


def head_base_goes(lifter: str) -> str:
    """Say whether the head base reaches the position it is sent to: arrives, late, part, stays, at_times."""
    if lifter in ("still", "loose"):
        return "stays"
    return {"weak": "part", "at_times": "at_times", "slow": "late", "uneven": "late"}.get(lifter, "arrives")


def head_base_by_hand(drag: str, levers: str = "free", spring: str = "there") -> str:
    """The same where a finger lifts it and a spring lets it down."""
    if "gone" in (levers, spring):
        return "stays"
    return {"free": "arrives", "stiff": "late", "tight": "part", "seized": "stays"}[worst_drag(drag, levers)]


def head_base_by_cam(lifter: str, levers: str) -> str:
    """The same with levers between it and the cam; how stiff they are already loads the cam."""
    return "stays" if levers == "gone" else head_base_goes(lifter)


def head_base_in_step(goes: str, step: str) -> str:
    """The same where the cam may stand out of step: its travel ends elsewhere."""
    return "part" if step == "out" and goes in ("arrives", "late") else goes


def head_base_by_solenoid(pull: str, drag: str, levers: str = "free") -> str:
    """The same where a solenoid lifts it."""
    if pull == "no":
        return "stays"
    by_hand = head_base_by_hand(drag, levers)
    if pull == "weak":
        return "part" if by_hand == "arrives" else "stays"
    return "at_times" if pull == "at_times" and by_hand != "stays" else by_hand


def arm_brings(head_base: str, levers: str) -> str:
    """Say how far the pinch roller comes, in the words of the head base, by way of its arm."""
    if levers == "gone":
        return "stays"
    return "part" if levers == "tight" and head_base in ("arrives", "late") else head_base


def reports(head_base: str, contact: str) -> str:
    """Say whether the logic learns that the position is reached: yes, at_times, no."""
    if head_base in ("stays", "part") or contact == "dead":
        return "no"
    return "at_times" if "at_times" in (head_base, contact) else "yes"


def helped(head_base: str, contact: str = "good") -> str:
    """Say whether a head base that does not come up by itself gets there, and is reported, when it is helped: no, yes.

    Help takes load off what lifts it; it cannot turn a cam that nothing turns.
    """
    return "yes" if head_base == "part" and contact != "dead" else "no"


def start_of(able: str) -> str:
    """Say whether a mode starts whose only motor runs like this."""
    return "no" if able == "still" else "yes"


def logic_stops(sensed: str, contact: str, started: str) -> str:
    """Say whether the machine stops by itself since it sees no turning: no, at_times, yes."""
    if started == "no":
        return "no"
    if contact == "dead" or sensed in ("still", "loose"):
        return "yes"
    return "at_times" if "at_times" in (contact, sensed) or sensed == "weak" else "no"


def rubs(turns: str, strong: str) -> str:
    """Say whether a shaft squeals: stiff in its bearing while it turns, or dragged by a rubber that slips on it.

    A rubber that has lost half of its grip creeps and chirps under load before it lets go.
    """
    grip, drag, _ = _grip_and_drag(strong)
    if turns in MOVING and drag in ("stiff", "tight"):
        return "yes"
    return "at_times" if turns in MOVING and grip in ("faint", "poor", "fair") else "no"


# --- what is heard from the tape, and what lets it out ---------------------------------------------------------------


def any_yes(*answers: str) -> str:
    """Say whether any of several answers is yes, or at times: no, yes."""
    return "yes" if "yes" in answers or "at_times" in answers else "no"


def lid_opens(latch: str, head_base: str = "arrives") -> str:
    """Say whether the lid lets the cassette out: opens, flies, stuck; heads that are up hold it."""
    return "stuck" if head_base in ("stays", "part", "at_times") else latch


def either(*answers: str) -> str:
    """Combine answers of which one "yes" is enough."""
    for word in ("yes", "at_times"):
        if word in answers:
            return word
    return "no"


def starts(*runs: str) -> str:
    """Say whether anything starts: yes, at_times, no."""
    if any(run in MOVING and run != "at_times" for run in runs):
        return "yes"
    return "at_times" if "at_times" in runs else "no"


def runs_on(run: str, reported: str) -> str:
    """Say whether a motor goes on after it should have been stopped by a position switch."""
    if run == "still" or reported == "yes":
        return "no"
    return "at_times" if reported == "at_times" else "yes"
