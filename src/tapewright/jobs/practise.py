"""Train an ear: pairs of invented minutes of one machine, one of each with a fault, and what is told afterwards.

Which faults are worth listening for is worked out, not listed: those with which the minute of this machine does
anything otherwise that can be heard.
"""

import itertools
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from tapewright.diagnose.explain import reasons
from tapewright.diagnose.network import network
from tapewright.faults.applied import Fault, applied, fault_kind
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import signs_shown
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.practise_told import differences
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine, spoken
from tapewright.simulate.minute import Minute, minute_bytes, minute_truth, play_minute
from tapewright.simulate.minute_truth import SAYS
from tapewright.words.clock import clock
from tapewright.words.evidence import Observation
from tapewright.words.plain import plain
from tapewright.words.practise import Exercise, Offered, Practice
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import write_whole

HEARD_AT: Final = ("sounds", "cut", "runs_on", "starts", "rubs", "squeal", "noise", "stops", "head_base")
"""Functions of a machine that an ear beside it can tell, by the stem of their nodes."""
MOST_OFFERED, MOST_RIGHT = 6, 3
MOST_TOLD: Final = 6
MOST_MINUTES: Final = 40
PLACES: Final = (
    ("case", "recorder", 40.0, ("noise",)),
    ("bench", "recorder", 25.0, ("noise",)),
    ("living_room", "phone", 20.0, ("noise", "hum")),
    ("workshop", "phone_gain", 12.0, ("noise", "hum", "speech")),
    ("tiled_room", "voice_message", 8.0, ("noise", "speech")),
)
"""Where, with what, how far above the background and beside what: the longer one practises, the harder."""
WHERE: Final = {
    "case": "on the case", "bench": "on a bench", "living_room": "in a living room", "workshop": "in a workshop",
    "tiled_room": "in a tiled room",
}  # fmt: skip
THROUGH: Final = {
    "recorder": "a recorder", "phone": "a phone", "phone_gain": "a phone with automatic gain",
    "voice_message": "a voice message", "phone_call": "a phone call",
}  # fmt: skip
RATE_HZ: Final = 24000
ENDINGS: Final = (".m4a", ".ogg")
"""Both forms of every sound: some browsers play the one, some the other."""


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A fault that can be heard, and what it does otherwise."""

    fault: Fault
    differs: tuple[str, ...]


def practise(
    machine: Machine, out: Path, count: int = 4, seed: int = 1, progress: Callable[[float], None] | None = None
) -> Practice:
    """Write the sounds of some exercises into a folder, with the truth of each beside it, and give the page's content.

    Arguments:
        machine: as described.
        out: the folder; its file `truth.json` says which minute has which fault.
        count: how many exercises.
        seed: the same seed gives the same ones.
        progress: is told how much is done, 0 to 1.

    Raises:
        InputAtFaultError: for a count that makes no sense, a folder that holds other things, or a place that cannot be
            written.
    """
    if not 1 <= count <= MOST_MINUTES:
        raise InputAtFaultError(Problem("--minutes", f"is {count}.", f"Give 1 to {MOST_MINUTES}."))
    if out.exists() and (not out.is_dir() or (any(out.iterdir()) and not (out / "truth.json").exists())):
        raise InputAtFaultError(Problem(str(out), "is there and holds something else.", "Give a new folder."))
    steps = minute_steps(machine)
    exercises, truths = [], []
    drawn = itertools.islice(_worth_hearing(machine, seed), count)
    for number, one in enumerate(drawn, start=1):
        place = PLACES[min(len(PLACES) - 1, (number - 1) * len(PLACES) // max(count, len(PLACES)))]
        faulty = "AB"[int(np.random.default_rng([seed, 51, number]).integers(2))]
        exercises.append(_exercise(machine, number, faulty, one, place))
        for letter in "AB":
            faults = (one.fault,) if letter == faulty else ()
            minute = _play(machine, faults, number, seed, place)
            stem = f"{number}-{letter.lower()}"
            for ending in ENDINGS:
                write_whole(out / f"{stem}{ending}", minute_bytes(minute, ending, 48000))
            truths.append({"sound": stem, **plain(minute.truth)})
            if progress is not None:
                progress((2 * number - ("AB".index(letter) == 0)) / (2 * count))
    write_whole(out / "truth.json", json.dumps({"simulated": True, "says": SAYS, "minutes": truths}, indent=1) + "\n")
    listed = tuple((clock(step.at_s), step.says) for step in steps)
    return Practice(machine.title, SAYS, listed, tuple(exercises))


def _play(
    machine: Machine, faults: tuple[Fault, ...], number: int, seed: int, place: tuple[str, str, float, tuple[str, ...]]
) -> Minute:
    room, phone, snr_db, beside = place
    worn = applied(machine, list(faults))
    return play_minute(
        worn, minute_steps(worn), _seed(seed, number), room=room, phone=phone, snr_db=snr_db, background=beside,
        sample_rate_hz=RATE_HZ, faults=faults,
    )  # fmt: skip


def _seed(seed: int, number: int) -> int:
    return 1000 * seed + number


def _worth_hearing(machine: Machine, seed: int) -> Iterator[_Drawn]:
    """Give faults that can be heard, one of a part and another of another as long as there are any."""
    rng = np.random.default_rng([seed, 50])
    every = possible_faults(machine)
    by_part: dict[str, list[str]] = {}
    for at in rng.permutation(len(every)):
        by_part.setdefault(every[at].part, []).append(every[at].fault.kind)
    number = 1
    for kinds in itertools.zip_longest(*by_part.values()):
        for part, kind in zip(by_part, kinds, strict=True):
            if kind is None:
                continue
            fault = Fault(part, kind)
            differs = _differs(machine, fault, _seed(seed, number))
            if differs:
                yield _Drawn(fault, differs)
                number += 1


def _differs(machine: Machine, fault: Fault, seed: int) -> tuple[str, ...]:
    steps = minute_steps(machine)
    worn = minute_truth(applied(machine, [fault]), steps, seed)
    return differences(machine, minute_truth(machine, steps, seed), worn)


# --- one exercise -----------------------------------------------------------------------------------------------------


def _exercise(
    machine: Machine, number: int, faulty: str, one: _Drawn, place: tuple[str, str, float, tuple[str, ...]]
) -> Exercise:
    fault, net = one.fault, network(machine)
    usual = {sign.id for sign in signs_shown(machine)}
    shown = [sign for sign in signs_shown(applied(machine, [fault])) if sign.id not in usual and not sign.opens_case]
    heard = [sign for sign in shown if _by_ear(sign)] or shown
    told = [Observation(sign.id, True) for sign in heard[:MOST_RIGHT]]
    kind = fault_kind(machine, fault.part, fault.kind)
    says = f"The {spoken(machine, fault.part)} {'' if kind.says.startswith('gives ') else 'is '}{kind.says}."
    room, phone, snr_db, beside = (
        str(part) for part in (place[0], place[1], f"{place[2]:.0f}", " and ".join(place[3]))
    )
    return Exercise(
        number=number,
        stem=str(number),
        faulty=faulty,
        heard_in=f"Heard {WHERE[room]}, through {THROUGH[phone]}, {snr_db} dB above {beside}.",
        offered=_offered(machine, heard[:MOST_RIGHT], {sign.id for sign in shown} | usual, number),
        fault=says,
        differs=one.differs[:MOST_TOLD],
        why=reasons(net, fault.part, fault.kind, told),
    )


def _by_ear(sign: Sign) -> bool:
    return sign.node.partition(":")[0].partition("@")[0] in HEARD_AT


def _offered(machine: Machine, right: list[Sign], there: set[str], number: int) -> tuple[Offered, ...]:
    """Mix what is there with what is not, in an order that tells nothing."""
    rng = np.random.default_rng([number, 52])
    others = [
        sign for sign in signs(mechanism(machine)) if _by_ear(sign) and sign.id not in there and not sign.opens_case
    ]
    wrong = [others[at] for at in rng.permutation(len(others))[: MOST_OFFERED - len(right)]]
    mixed = [Offered(sign.says, True) for sign in right] + [Offered(sign.says, False) for sign in wrong]
    return tuple(mixed[at] for at in rng.permutation(len(mixed)))
