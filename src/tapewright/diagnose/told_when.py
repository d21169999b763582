"""What is told of a moment: from cold or warm, at the start or the end of a tape.

Signs speak of a machine from cold and towards the end of a side, where most is asked of it. What was noticed at the
other moment does not count there; what differs between the two moments is a sign of its own.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from tapewright.faults.signs import Sign
from tapewright.words.evidence import Observation

COLD, WARM, START, END = "cold", "warm", "start", "end"
SAID: Final[dict[str, str]] = {
    "cold": COLD, "from cold": COLD, "at first": COLD,
    "warm": WARM, "when warm": WARM, "after minutes": WARM, "after ten minutes": WARM, "later": WARM,
    "start of tape": START, "start of side": START, "start": START,
    "end of tape": END, "end of side": END, "end": END,
}  # fmt: skip
"""Words for a moment; any others are kept with the answer and change nothing."""
OTHER_MOMENTS: Final = frozenset({WARM, START})
DIFFERENCES: Final = (
    (COLD, WARM, "right_when_warm"),
    (WARM, COLD, "fails_when_warm"),
    (END, START, "only_late"),
)
"""There, and not there at the other moment: the sign of that, in its mode."""


def by_moment(signs: Mapping[str, Sign], observations: Sequence[Observation]) -> tuple[Observation, ...]:
    """Give what was noticed as signs can take it.

    Arguments:
        signs: of the machine, by id.
        observations: as they were told; `when` in any words.

    Returns:
        Those that hold from cold and towards the end of a side, and a sign for each thing that was noticed at one
        moment and looked for in vain at the other.
    """
    kept = [one for one in observations if _moment(one) not in OTHER_MOMENTS]
    told = {one.id for one in observations}
    return (*kept, *(one for one in _differences(signs, observations) if one.id not in told))


def _moment(observation: Observation) -> str:
    return SAID.get(observation.when.strip().lower(), "")


def _named(sign: Sign, difference: str) -> str:
    lifts = sign.node.startswith("head_base@") and difference == "right_when_warm"
    return f"{sign.mode}_{'lifts_when_warm' if lifts else difference}"


def _differences(signs: Mapping[str, Sign], observations: Iterable[Observation]) -> list[Observation]:
    answers = {(one.id, _moment(one), one.after): one for one in observations if _moment(one)}
    found: dict[tuple[str, tuple[str, ...]], Observation] = {}
    for (sign, moment, after), there in answers.items():
        for at, not_at, difference in DIFFERENCES:
            missed = answers.get((sign, not_at, after))
            name = _named(signs[sign], difference) if sign in signs else ""
            if moment == at and there.present and missed and missed.present is False and name in signs:
                sure = min(there.sure, missed.sure)
                found.setdefault((name, after), replace(there, id=name, sure=sure, when=""))
    return list(found.values())
