"""The same machine switched to another of its speeds."""

from dataclasses import replace

from tapewright.machine.couplings import tied
from tapewright.machine.parts import Machine, nips_at_work, shaft
from tapewright.words.estimate import Estimate


def speeds_m_per_s(machine: Machine) -> tuple[float, ...]:
    """List every speed a machine can be switched to, the one its sizes are told at first, metres per second.

    >>> from tapewright.machine.library import shipped
    >>> speeds_m_per_s(shipped("direct_drive_deck"))
    (0.047625, 0.09525)
    """
    return (machine.tape.speed_m_per_s, *machine.tape.other_speeds_m_per_s)


def at_speed(machine: Machine, speed_m_per_s: float) -> Machine:
    """Give the machine switched to another speed: the motors behind its capstans turn in proportion, others as before.

    Arguments:
        machine: as described.
        speed_m_per_s: any speed; those of the description are in `speeds_m_per_s`.

    >>> from tapewright.machine.library import shipped
    >>> fast = at_speed(shipped("direct_drive_deck"), 0.09525)
    >>> round(fast.rotors["capstan_motor"].turns_per_s.value * 60, 1)
    603.2
    """
    share = speed_m_per_s / machine.tape.speed_m_per_s
    others = tuple(one for one in speeds_m_per_s(machine) if one != speed_m_per_s)
    rotors = dict(machine.rotors)
    for name in _capstan_motors(machine):
        if (turns := rotors[name].turns_per_s) is not None:
            rotors[name] = replace(rotors[name], turns_per_s=Estimate(turns.value * share, turns.doubt * share))
    tape = replace(machine.tape, speed_m_per_s=speed_m_per_s, other_speeds_m_per_s=others)
    return replace(machine, tape=tape, rotors=rotors)


def _capstan_motors(machine: Machine) -> frozenset[str]:
    found = set()
    for mode in machine.modes.values():
        if mode.at_capstan:
            pressed = {shaft(machine, end) for nip in nips_at_work(machine, mode) for end in nip.path}
            found |= {motor for motor in mode.motors if tied(machine, mode.name, motor) & pressed}
    return frozenset(found)
