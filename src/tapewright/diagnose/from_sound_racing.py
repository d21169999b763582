"""What a motor's rate tells of its load: it races where nothing hangs on it any more, it labours where it gives way.

One that labours because it is weak turns unsteadily and, where its rate is described, far below it. One that only has
more to drag does not: by the printed droop of governed motors two g·cm more cost it 0.5 %, and motors alike differ by
more. So a steady motor is not said not to labour.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from tapewright.diagnose.expected import expected
from tapewright.diagnose.from_sound_spells import LEAST_S, Said, Spell, after_a_change, within
from tapewright.diagnose.measured import asked
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, shaft, sound, spoken
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import MechanismHeard, StretchHeard
from tapewright.words.problem import Problem

FASTER: Final = 0.03
FASTER_SPREAD: Final = 0.4
"""How much faster a small motor runs unloaded: the middle and the spread of its logarithm, so 1.4 to 6.5 %; trade
judgement, from memory: governed ones droop by 1 to 2 % under their load, plain ones by more."""
TELLS_MOST: Final = 0.02
"""Where motors alike stand further from each other (standard deviation, relative), a rate tells nothing of racing."""
UNSTEADY: Final = 0.003
"""A motor wavers from so much on (root mean square of its rate, relative): of 530 stretches of sound motors in tuning
minutes one in a hundred reached 0.001, of 20 of weak ones all but one 0.0045; so do most that run only at times."""
FAR_BELOW: Final = 0.08
"""No motor set wrong or fed a little low turns so far below its described rate: in tuning minutes these stood 2 to 6 %
below, weak ones 18 %."""
TOO_FAR: Final = 0.35
"""What turns so much more slowly still is another motor, or another mode's rate."""
SHORT_SURE: Final = 0.7
"""Where the stretch is too short to tell whether the rate wavers; judged."""
LABOURS_SURE: Final = 0.85
"""All 17 such stretches whose rate is described were of weak motors; held lower, since they are simulated."""
WAVERS_SURE: Final = 0.5
"""Where no rate is described, one that wavers labours, runs only at times or is uneven."""
SUREST: Final = 0.9
LEAST_SURE: Final = 0.2


def racing(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say of each motor whose rate is heard in a mode whether it races."""
    machine = net.machine
    for motor in machine.modes[spell.mode].motors:
        sign = net.signs.get(f"{spell.mode}_{motor}_races")
        there = _plain(heard, spell, motor)
        described = None if sign is None else _described(net, motor, spell.mode)
        if sign is None or described is None or not there:
            continue
        one = _longest(there, spell)
        rate, (right, spread) = one.rate_hz.value or 0.0, described
        for_it = evidence_of_racing(
            math.log(rate / right), math.hypot(spread, (one.rate_hz.doubt or 0.0) / rate / 1.96)
        )
        chance = for_it / (1.0 + for_it)
        races = chance > 0.5
        sure = min(abs(2.0 * chance - 1.0), SUREST)
        if sure >= LEAST_SURE:
            off_pct = round(100.0 * (rate / right - 1.0), 1)
            beside = f"{off_pct:+.1f} % from what is described" if off_pct else "as described"
            why = (
                f"The {spoken(machine, motor)} turns {beside} {SPOKEN_MODES[spell.mode]}: "
                f"{'as one that nothing hangs on' if races else 'it does not race'}."
            )
            yield sign.id, Observation(sign.id, races, sure), why


def labouring(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Say of each motor that turns far below its described rate in a mode, or has none and wavers, that it labours."""
    machine = net.machine
    for motor in machine.modes[spell.mode].motors:
        sign = net.signs.get(f"{spell.mode}_{motor}_labours")
        there = _plain(heard, spell, motor)
        if sign is None or not there:
            continue
        wavers, one, described = wavering(there), _longest(there, spell), _described(net, motor, spell.mode)
        # In a short stretch nobody can tell whether a rate wavers.
        short = not one.unsteady_pct.value
        off = 0.0 if described is None else (one.rate_hz.value or 0.0) / described[0] - 1.0
        if described is None and wavers >= UNSTEADY:
            sure, how = WAVERS_SURE, f"wavers by {100.0 * wavers:.1f} %"
        elif described is not None and -TOO_FAR < off < -FAR_BELOW and (short or wavers >= UNSTEADY):
            sure, how = LABOURS_SURE, f"turns {-100.0 * off:.0f} % more slowly than is described, and not steadily"
            if wavers < UNSTEADY:
                sure, how = SHORT_SURE, how.removesuffix(", and not steadily")
        else:
            continue
        why = f"The {spoken(machine, motor)} {how} {SPOKEN_MODES[spell.mode]}: as one that has too much to move."
        yield sign.id, Observation(sign.id, True, sure), why


def wavering(there: Sequence[StretchHeard]) -> float:
    """Give how far a motor's rate wavers, relative, root mean square: within its longest stretch or between them.

    >>> wavering(())
    0.0
    """
    if not there:
        return 0.0
    longest = max(there, key=lambda one: one.end_s - one.start_s)
    within_one = (longest.unsteady_pct.value or 0.0) / 100.0
    return max(within_one, float(np.std([math.log(one.rate_hz.value or 1.0) for one in there])))


def _plain(heard: MechanismHeard, spell: Spell, motor: str) -> list[StretchHeard]:
    """Give the stretches in which a motor is heard plainly enough to go by its rate."""
    return [
        one for one in within(heard, spell, motor)
        if one.rate_hz.value is not None and one.sure >= 0.8 and one.end_s - one.start_s > LEAST_S
        and not after_a_change(heard, one, spell)
    ]  # fmt: skip


def _longest(there: Sequence[StretchHeard], spell: Spell) -> StretchHeard:
    return max(there, key=lambda one: min(one.end_s, spell.end_s) - max(one.start_s, spell.start_s))


def evidence_of_racing(above: float, spread: float) -> float:
    """Give how much likelier a rate is of a motor that races than of one that does not.

    Arguments:
        above: logarithm of the rate against the described one.
        spread: standard deviation of that between motors alike, the measuring included.

    >>> evidence_of_racing(0.03, 0.006) > 100.0, evidence_of_racing(0.0, 0.006) < 0.01
    (True, True)
    """
    z = np.linspace(-4.0, 4.0, 161)
    faster = FASTER * np.exp(FASTER_SPREAD * z)
    weight = np.exp(-0.5 * z**2)
    races = float(np.sum(weight * np.exp(-0.5 * ((above - faster) / spread) ** 2)) / np.sum(weight))
    # Beyond what motors alike do, another cause of a wrong rate is never excluded.
    return (races + 1e-3) / (math.exp(-0.5 * (above / spread) ** 2) + 1e-3)


def _described(net: Network, motor: str, mode: str) -> tuple[float, float] | None:
    """Give the described rate of a motor and how far motors alike stand from it; None where that tells nothing."""
    machine = sound(net.machine)
    what = asked(machine, f"rate_hz:{motor}@{mode}")
    hangs_on = None if isinstance(what, Problem) else expected(machine, what)
    if hangs_on is None or shaft(machine, motor) in {machine.modes[mode].takes_up, machine.modes[mode].gives}:
        return None
    right = hangs_on.value(machine)
    if not math.isfinite(right) or right <= 0.0 or hangs_on.spread > TELLS_MOST:
        return None
    return right, hangs_on.spread
