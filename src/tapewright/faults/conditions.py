"""One part's imperfections -> what the rest of the mechanism feels of it, in a few ordered words.

Each condition depends on one part alone, so that parts stay independent causes. How well a part holds is worked out by
the same statics that serve the ideal machine: the torque its coupling can pass with only this part imperfect, against
the torque with nothing imperfect. What tape and heads feel is asked in `head_conditions`.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from tapewright.faults.applied import warmed, with_imperfections
from tapewright.machine.forces import Margin, mode_margins
from tapewright.machine.parts import Coupling, Imperfections, Machine, part, sound

GRIPS: Final = ("none", "faint", "poor", "fair", "full", "excess", "lumpy")
"""How much of its torque a coupling still passes; "lumpy" passes it unsteadily, "excess" far more than it should."""
GRIP_SHARE: Final = {"none": 0.0, "faint": 0.06, "poor": 0.2, "fair": 0.45, "full": 1.0, "excess": 2.2, "lumpy": 1.0}
_GRIP_EDGES: Final = (0.02, 0.11, 0.3, 0.7, 1.6)

DRAGS: Final = ("free", "stiff", "tight", "seized")
DRAG_FACTOR: Final = {"free": 1.0, "stiff": 2.2, "tight": 6.0, "seized": 60.0}
_DRAG_EDGES: Final = (1.6, 3.6, 15.0)

LUMP_FELT: Final = 0.002
"""Once-per-turn unsteadiness from which a drive counts as lumpy: 0.2 % peak is where wow is heard at all (threshold of
0.1 to 0.15 % weighted in published lecture notes; the limit in DIN 45500-4 is 0.2 %)."""


RUNS_AWAY_FROM: Final = 1.3
"""A motor this much too fast is not set wrongly: nothing regulates it. From memory."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A question put to one part's imperfections.

    Arguments:
        part: the part's name.
        about: what the question is about: "hold", "drag", "motor", "contact" and so on, one function below for each.
        read: gives the answer, one of a few words, for any machine of this description.
    """

    part: str
    about: str
    read: Callable[[Machine], str]

    @property
    def name(self) -> str:
        """Give the node's name in the graph."""
        return f"{self.about}:{self.part}"


def grip_word(share: float) -> str:
    """Put a share of the sound torque into a word.

    >>> grip_word(0.0), grip_word(0.25), grip_word(1.0)
    ('none', 'poor', 'full')
    """
    return GRIPS[bisect_right(_GRIP_EDGES, share)]


def hold(name: str, couplings: tuple[str, ...]) -> Condition:
    """How well a part passes torque on in its couplings: the worst of them counts."""

    def read(machine: Machine) -> str:
        imperfect = part(machine, name).imperfections
        if not imperfect.present:
            return "none"
        ideal = sound(machine)
        alone = with_imperfections(ideal, name, imperfect)
        shares = [_capacity_nm(alone, coupling) / _capacity_nm(ideal, coupling) for coupling in couplings]
        word = grip_word(min(shares))
        if imperfect.lump >= LUMP_FELT and word in ("fair", "full"):
            return "lumpy"
        return word

    return Condition(name, "hold", read)


def _capacity_nm(machine: Machine, coupling: str) -> float:
    """Give the torque a coupling can pass, in the first mode in which it is at work; 1 where it never is."""
    for mode in machine.modes:
        found = sound_margins(machine, mode)
        if coupling in found:
            return found[coupling].capacity_nm
    return 1.0


@lru_cache(maxsize=128)  # of one machine every mode is asked again and again, for each of its couplings
def sound_margins(machine: Machine, mode: str) -> Mapping[str, Margin]:
    """Give the margins of all couplings at work in a mode, by name, doubts left out."""
    return {found.coupling: found for found in mode_margins(machine, mode, exact=True)}


def _words(edges: tuple[float, ...], words: tuple[str, ...], value: float) -> str:
    return words[bisect_right(edges, value)]


def told_by(name: str, about: str, word: Callable[[Imperfections], str]) -> Condition:
    """Make a condition that is read off the part's own imperfections."""
    return Condition(name, about, lambda machine: word(part(machine, name).imperfections))


def drag(name: str) -> Condition:
    """How freely a part turns or slides."""
    return told_by(name, "drag", _drag_word)


def _drag_word(wrong: Imperfections) -> str:
    return _words(_DRAG_EDGES, DRAGS, wrong.drag)


def hold_back(name: str) -> Condition:
    """How hard a drag holds back."""
    return told_by(name, "hold_back", lambda wrong: _words((0.3, 2.5), ("slack", "right", "hard"), wrong.passes))


def felt(name: str) -> Condition:
    """How hard a drag rubs on the pulley of a back-tension belt."""
    return replace(hold_back(name), about="felt")


def motor(name: str) -> Condition:
    """How a motor answers when it is fed."""
    return told_by(name, "motor", _motor_word)


def _motor_word(wrong: Imperfections) -> str:
    if not wrong.works or not wrong.present:
        return "dead"
    if wrong.contact < 0.9:
        return "at_times"
    if wrong.pull < 0.7:
        return "weak"
    if wrong.rate >= RUNS_AWAY_FROM:
        return "runs_away"
    if abs(wrong.rate - 1.0) > 0.005:
        return "fast" if wrong.rate > 1.0 else "slow"
    return "uneven" if wrong.lump >= LUMP_FELT else "good"


def solenoid(name: str) -> Condition:
    """How a solenoid answers when it is fed."""
    return told_by(name, "solenoid", _solenoid_word)


def _solenoid_word(wrong: Imperfections) -> str:
    if not wrong.works or not wrong.present:
        return "dead"
    if wrong.contact < 0.9:
        return "at_times"
    return "weak" if wrong.pull < 0.7 else "good"


def lever(name: str) -> Condition:
    """How a lever hands motion on: as freely as its pivot turns, or not at all when it is snapped or unhooked."""
    return told_by(name, "lever", lambda wrong: _drag_word(wrong) if wrong.present else "gone")


def brake(name: str) -> Condition:
    """How a brake holds when it is on."""
    return told_by(name, "brake", _brake_word)


def _brake_word(wrong: Imperfections) -> str:
    strength = wrong.grip * wrong.tension * wrong.passes * float(wrong.present)
    return "holds" if strength >= BRAKE_HOLDS_FROM else "slack"


BRAKE_HOLDS_FROM: Final = 0.5
"""Share of its torque from which a brake still stops a reel before tape is thrown; from memory."""


def contact(name: str) -> Condition:
    """How truly a switch or sensor reports."""
    return told_by(name, "contact", lambda wrong: _words((0.1, 0.9), ("dead", "at_times", "good"), wrong.contact))


def feed(name: str) -> Condition:
    """What the supply gives."""
    return told_by(name, "feed", _feed_word)


def _feed_word(wrong: Imperfections) -> str:
    if not wrong.works or wrong.pull < 0.1:
        return "none"
    if wrong.contact < 0.9:
        return "at_times"
    return "low" if wrong.pull < 0.8 else "good"


def lamps(name: str) -> Condition:
    """Whether lamps and display light; they may while nothing reaches the motors."""
    return told_by(name, "lamps", lambda wrong: "lit" if wrong.works else "dark")


def chirps(name: str) -> Condition:
    """Whether a rubber rim squeaks under load: it does so at times as it goes hard, before it lets go."""
    return told_by(name, "chirps", lambda wrong: "at_times" if wrong.grip < CHIRPS_BELOW else "no")


CHIRPS_BELOW: Final = 0.8
"""Share of its friction below which a rim creeps audibly; from memory."""


def warm(condition: Condition) -> Condition:
    """Put the same question to the part after ten minutes of running."""

    def read(machine: Machine) -> str:
        return condition.read(warmed(machine, condition.part))

    return Condition(condition.part, f"{condition.about}_warm", read)


def swing(name: str) -> Condition:
    """Whether an idler that the friction of its own arm swings arrives: yes, at_times, no."""
    return told_by(name, "swing", lambda wrong: _words((0.1, 0.9), ("no", "at_times", "yes"), wrong.swing))


def swing_back(name: str) -> Condition:
    """The same for swinging away from the side where play needs it: an arm that is stuck stays where it last was."""
    read = lambda wrong: _words((0.1, 0.9), ("no", "at_times", "yes"), min(wrong.swing, wrong.swing_back))  # noqa: E731
    return told_by(name, "swing_back", read)


def broke(name: str) -> Condition:
    """Whether what is wrong with a part came from one moment to the next."""
    return _came_on(name, "sudden", "break")


def rested(name: str) -> Condition:
    """Whether what is wrong with a part came of lying unused."""
    return _came_on(name, "rested", "rest")


def handled(name: str) -> Condition:
    """Whether what is wrong with a part came with a repair, a knock or a move."""
    return _came_on(name, "handled", "handling")


def _came_on(name: str, about: str, way: str) -> Condition:
    return told_by(name, about, lambda wrong: "yes" if wrong.came_on == way else "no")


def apart(name: str) -> Condition:
    """Whether a spring, felt or piece of a part lies loose in the machine."""
    return told_by(name, "apart", lambda wrong: "yes" if wrong.comes_apart else "no")


def noise(name: str) -> Condition:
    """Whether a part adds a noise of its own: rubbing, clicking, hissing."""
    return told_by(name, "noise", lambda wrong: "yes" if wrong.noise >= HEARD_FROM else "no")


HEARD_FROM: Final = 0.5
"""Noise or hiss from which an ear notices it, against one that is plain to hear; from memory."""


def step(name: str) -> Condition:
    """Whether a cam stands in step with what it moves."""
    return told_by(name, "step", lambda wrong: "in" if wrong.in_step else "out")


def spring(name: str) -> Condition:
    """Whether the spring that brings a part home is there."""
    return told_by(name, "spring", lambda wrong: "gone" if wrong.tension < 0.3 else "there")


def latch(name: str) -> Condition:
    """How a lid answers its key or latch: opens, flies (nothing damps it), stuck."""
    return told_by(name, "latch", _latch_word)


def _latch_word(wrong: Imperfections) -> str:
    if not wrong.present or wrong.drag >= _DRAG_EDGES[1]:
        return "stuck"
    return "flies" if wrong.tension < 0.5 else "opens"


def surface(name: str) -> Condition:
    """What a part looks and feels like when one can see and touch it."""
    return Condition(name, "surface", lambda machine: _surface_word(machine, name))


def _surface_word(machine: Machine, name: str) -> str:
    thing = part(machine, name)
    imperfect = thing.imperfections
    if not imperfect.present:
        return "gone"
    if imperfect.tacky >= 0.5:
        return "sticky"
    if isinstance(thing, Coupling) and imperfect.tension < 0.5:
        return "slack"
    if imperfect.tension < 0.5:
        return "light" if imperfect.tension > OFF_BELOW else "off"
    if imperfect.grip < 0.6 and imperfect.lump >= LUMP_FELT:
        return "flat"
    if imperfect.grip < 0.6:
        return "shiny"
    if abs(imperfect.rate - 1.0) > 0.005 or imperfect.tacky >= 0.2:
        return "crusted"
    return "uneven" if imperfect.lump >= LUMP_FELT else "fine"


OFF_BELOW: Final = 0.01
"""Share of its spring force below which a roller is not tired but not pressed on at all; from memory."""


def wobble(name: str) -> Condition:
    """Whether a part is seen to run out of true."""
    return told_by(name, "wobble", lambda wrong: "yes" if wrong.lump >= WOBBLES_FROM else "no")


WOBBLES_FROM: Final = 0.008
"""Unsteadiness from which the eye sees a rim wander: about 0.2 mm on a 50 mm wheel; from memory."""


def trimmed(name: str) -> Condition:
    """Whether residue on a running surface has changed its effective diameter, and so the speed."""
    return told_by(name, "size", lambda wrong: _words((0.995, 1.005), ("small", "right", "large"), wrong.rate))


def steady(name: str) -> Condition:
    """Whether a part puts a line of its own on the tape's speed."""
    return told_by(name, "steady", _steady_word)


def _steady_word(wrong: Imperfections) -> str:
    return "lumpy" if wrong.present and wrong.lump >= LUMP_FELT else "steady"
