"""What a person can notice of a mechanism: read off what it does, never off what is wrong with it.

Each sign belongs to one node of the graph (what a rotor, the head base, the tape does, in a mode) or to one condition
(what a part looks or feels like). Its `notice` says how likely a person who looks reports it, for each word that node
can take. A machine has the signs that its own rotors, modes and couplings give rise to.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from tapewright.faults.catalogue import own_kind
from tapewright.faults.complaint_texts import COMPLAINED
from tapewright.faults.conditions import Condition
from tapewright.faults.graph import Node
from tapewright.faults.looking_texts import BY_HAND, ON_LOOKING, Wording
from tapewright.faults.mechanism import Mechanism
from tapewright.faults.sign_texts import IN_MODE, Template
from tapewright.machine.parts import (
    SPOKEN_MODES,
    Coupling,
    Lever,
    Machine,
    Rotor,
    Solenoid,
    nips_at_work,
    part,
    shaft,
    spoken,
)

SENSES: Final = {
    "plain": (0.95, 0.006),
    "see": (0.93, 0.03),
    "hear": (0.88, 0.05),
    "feel": (0.9, 0.05),
    "meter": (0.97, 0.02),
    "told": (0.75, 0.15),
}
"""How often a thing is noticed when it is there, and reported when it is not, by sense; "plain" is what nobody
mistakes: reels that race, tape that stands; "told" is what people remember of how it came. Trade judgement, from
memory: no counted figures were found."""


@dataclass(frozen=True, slots=True)
class Sign:
    """Something one can notice or measure, in a mode, and how to look for it.

    Arguments:
        id: stable name: what, of which part, in which mode.
        says: what one notices, a sentence.
        mode: the mode it is noticed in; "off" with the machine unplugged.
        how: how to look, step by step.
        opens_case: whether the case must be opened.
        minutes: hands-on time.
        hazards: what the hand meets there.
        node: the node or condition it is read from.
        notice: chance that it is reported, for each word the node can take; words not named have the false rate.
        false_rate: chance that it is reported though it is not there.
        part: the part it is seen on; "" for the tape or the whole machine.
        risk_minutes: harm it may do to machine or tape, in minutes of work.
        aside: True where it joins so much of the machine that it is taken when told of, and not proposed as a check.
    """

    id: str
    says: str
    mode: str
    how: str
    opens_case: bool
    minutes: float
    hazards: tuple[str, ...]
    node: str
    notice: Mapping[str, float]
    false_rate: float
    part: str = ""
    risk_minutes: float = 0.0
    aside: bool = False

    def chance(self, word: str) -> float:
        """Give the chance that it is reported when the node has this word."""
        return self.notice.get(word, self.false_rate)


def signs(mechanism: Mechanism) -> tuple[Sign, ...]:
    """List every sign a machine can show, in the order of its modes."""
    found: dict[str, Sign] = {}
    for sign in (*_from_nodes(mechanism), *_from_conditions(mechanism)):
        found.setdefault(sign.id, sign)
    return tuple(sorted(found.values(), key=lambda sign: (_order(mechanism.machine, sign.mode), sign.opens_case)))


def _order(machine: Machine, mode: str) -> int:
    modes = [*machine.modes, *(m for m in SPOKEN_MODES if m not in machine.modes)]
    return modes.index(mode)


def _from_nodes(mechanism: Mechanism) -> Iterator[Sign]:
    machine = mechanism.machine
    for node in mechanism.nodes:
        stem, _, mode = node.name.partition("@")
        if mode not in (*machine.modes, "off"):
            continue
        about, _, subject = stem.partition(":")
        for template in (*IN_MODE, *COMPLAINED):
            if template.about == about and _applies(machine, template, subject, mode):
                yield _sign(machine, template, subject, mode, node.name)


def _applies(machine: Machine, template: Template, subject: str, mode: str) -> bool:
    if template.modes and mode not in template.modes:
        return False
    if template.winding is not None and template.winding != _winds(machine, mode):
        return False
    if not subject:
        return True
    if template.about == "pulls":
        return subject in machine.solenoids
    if subject not in machine.rotors:
        return False
    if "flywheel" in template.kinds and not _holds_tape(machine, subject, mode):
        return False
    on_shaft = _kinds_on_shaft(machine, subject)
    if template.kinds and not on_shaft & set(template.kinds):
        return False
    return template.role in ("", _role(machine, subject, mode))


def _holds_tape(machine: Machine, subject: str, mode: str) -> bool:
    """Tell whether a shaft carries a capstan that is pressed, where the mode presses one at all."""
    nips = nips_at_work(machine, machine.modes[mode]) if machine.modes[mode].at_capstan else ()
    return not nips or subject in {shaft(machine, end) for nip in nips for end in nip.path}


def _kinds_on_shaft(machine: Machine, subject: str) -> set[str]:
    return {r.kind for r in machine.rotors.values() if shaft(machine, r.name) == subject}


def _role(machine: Machine, subject: str, mode: str) -> str:
    entered = machine.modes[mode]
    reels = {"takes_up": entered.takes_up, "gives": entered.gives}
    return next((role for role, reel in reels.items() if reel and shaft(machine, reel) == subject), "")


def _winds(machine: Machine, mode: str) -> bool:
    entered = machine.modes[mode]
    return bool(entered.takes_up) and not entered.at_capstan


def _sign(machine: Machine, template: Template, subject: str, mode: str, node: str) -> Sign:
    named = template.named_for(machine, subject) or subject
    noticed, mistaken = SENSES[template.sense]
    inside = template.inside or (bool(named) and template.needs_sight and _sight(machine, named) == "inside")
    words = {"part": spoken(machine, named) if named else "", "mode": SPOKEN_MODES[mode], "key": KEYS.get(mode, "")}
    return Sign(
        id="_".join(filter(None, (mode, named if template.names_part else "", template.id))),
        says=_sentence(template.says, words),
        mode=mode,
        how=_sentence(template.how, words) + (" The case must be open." if inside and template.needs_sight else ""),
        opens_case=inside,
        minutes=template.minutes,
        hazards=_hazards(template, inside=inside),
        node=node,
        notice={word: mistaken + share * (noticed - mistaken) for word, share in template.words.items()},
        false_rate=mistaken,
        part=named,
        risk_minutes=template.risk_minutes,
        aside=template.about in JOINING,
    )


JOINING: Final = frozenset({
    "late", "warming", "warming_base", "waver", "noise", "squeal", "eaten", "cut", "later_stops", "later_tape",
    "helped_on", "tries", "outer", "stiff", "sudden", "rested", "handled", "loose_piece",
})  # fmt: skip
"""What hangs on nearly every part at once, or on one mode at two moments."""

KEYS: Final = {
    "play": "play", "reverse_play": "reverse play", "record": "record", "fast_forward": "fast forward",
    "rewind": "rewind", "cue": "cue", "review": "review", "pause": "pause", "stop": "stop",
}  # fmt: skip


def _sentence(text: str, words: Mapping[str, str]) -> str:
    filled = text.format(**words)
    return filled[:1].upper() + filled[1:]


def _hazards(template: Template | Wording, *, inside: bool) -> tuple[str, ...]:
    extra = ("opening",) if inside else ()
    return tuple(dict.fromkeys((*template.hazards, *extra)))


def _sight(machine: Machine, name: str) -> str:
    thing = part(machine, name)
    return thing.sight if isinstance(thing, (Rotor, Coupling, Solenoid, Lever)) else "inside"


def _from_conditions(mechanism: Mechanism) -> Iterator[Sign]:
    drawn = frozenset(node.name for node in mechanism.nodes)
    for condition in mechanism.conditions:
        for wording in (*ON_LOOKING, *BY_HAND):
            if wording.about == condition.about and wording.fits(own_kind(part(mechanism.machine, condition.part))):
                yield _looking(mechanism.machine, wording, condition, drawn)


def _looking(machine: Machine, wording: Wording, condition: Condition, drawn: frozenset[str]) -> Sign:
    noticed, mistaken = SENSES[wording.sense]
    inside = wording.inside if wording.inside is not None else _sight(machine, condition.part) == "inside"
    said_open = "open" in wording.how or "qualified person" in wording.how
    words = {"part": spoken(machine, condition.part)}
    node = wording.read_at.format(shaft=shaft(machine, condition.part) if condition.part in machine.rotors else "")
    return Sign(
        id=f"{condition.part}_{wording.id}",
        says=_sentence(wording.says, words),
        mode=wording.mode,
        how=_sentence(wording.how, words) + (" The case must be open." if inside and not said_open else ""),
        opens_case=inside,
        minutes=wording.minutes,
        hazards=_hazards(wording, inside=inside),
        node=node if node in drawn else condition.name,
        notice={word: mistaken + share * (noticed - mistaken) for word, share in wording.words.items()},
        false_rate=mistaken,
        part=condition.part,
        aside=wording.aside,
    )


def topics(nodes: tuple[Node, ...]) -> dict[str, str]:
    """Give each node's topic by its name."""
    return {node.name: node.topic for node in nodes}
