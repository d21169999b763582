"""Fault + machine -> a new machine. Nothing is altered, so nothing need ever be undone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tapewright.faults.catalogue import FaultKind, catalogue, homes, possible_faults
from tapewright.machine.parts import SINGLES, SOUND, Imperfections, Machine, part
from tapewright.words.problem import InputAtFaultError, Problem, nearest


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that is wrong with one part.

    Arguments:
        part: the part's name.
        kind: a kind that can live there.
        severity: 0 not at all, 1 as bad as it gets; negative turns a change that has two sides (a speed) the other way.
    """

    part: str
    kind: str
    severity: float = 1.0


def parse_fault(machine: Machine, text: str) -> Fault:
    """Read `PART=KIND` or `PART=KIND:SEVERITY`.

    Raises:
        InputAtFaultError: with what was found and what the machine has instead.
    """
    where = f"--fault {text}"
    name, equals, rest = text.partition("=")
    kind, colon, degree = rest.partition(":")
    if not equals or not name or not kind:
        raise InputAtFaultError(
            Problem(where, "is not PART=KIND.", "Write for instance capstan_belt=slack or capstan_belt=slack:0.8.")
        )
    try:
        severity = float(degree) if colon else 1.0
    except ValueError:
        severity = float("nan")
    if not -1.0 <= severity <= 1.0:
        raise InputAtFaultError(Problem(where, f"has the severity {degree!r}.", "Give a number from 0 to 1."))
    return _known(machine, Fault(name, kind, severity), where)


def _known(machine: Machine, fault: Fault, where: str) -> Fault:
    possible = possible_faults(machine)
    parts = sorted({one.part for one in possible})
    if fault.part not in parts:
        found = f"names the part {fault.part!r}, which cannot fail here."
        raise InputAtFaultError(Problem(where, found, nearest(fault.part, parts)))
    kinds = [one.fault.kind for one in possible if one.part == fault.part]
    if fault.kind not in kinds:
        do = f"{fault.part} can be: {', '.join(kinds)}."
        raise InputAtFaultError(Problem(where, f"names the kind {fault.kind!r}.", do))
    return fault


def fault_kind(machine: Machine, name: str, kind: str) -> FaultKind:
    """Find what the catalogue says of a kind that lives in a part.

    Raises:
        KeyError: when no such kind can live there.
    """
    at_home = homes(machine, name)
    for fault in catalogue():
        if fault.kind == kind and at_home & set(fault.lives_in):
            return fault
    raise KeyError(f"{name}={kind}")


def imperfections_of(fault: FaultKind, severity: float, base: Imperfections = SOUND) -> Imperfections:
    """Give the imperfections a fault kind causes at a severity, on top of those a part has already.

    Ratios grow geometrically with severity from none (1) to the catalogue's value, so that half of a fault is half of
    it in decibels; sizes and chances grow in proportion.
    """
    changed = _changed(fault.changes, severity, base)
    if severity != 0.0:
        changed = replace(changed, came_on=fault.comes_on)
    if not fault.changes_warm and base.warm is None:
        return changed
    from_warm = replace(base.warm or base, warm=None)
    return replace(changed, warm=_changed({**fault.changes, **fault.changes_warm}, severity, from_warm))


def _changed(changes: Mapping[str, float | bool], severity: float, base: Imperfections) -> Imperfections:
    changed: dict[str, float | bool] = {}
    for name, at_full in changes.items():
        neutral, now = getattr(SOUND, name), getattr(base, name)
        if isinstance(at_full, bool):
            changed[name] = at_full if severity > 0 else now
        elif neutral == 1.0 and at_full > 0.0 and name not in ("contact", "swing", "swing_back"):
            changed[name] = now * at_full**severity
        else:
            changed[name] = now + (at_full - neutral) * severity
    return replace(base, **changed)  # type: ignore[arg-type]


def warmed(machine: Machine, name: str) -> Machine:
    """Give the machine as it is after ten minutes of running, as far as one part goes."""
    now = part(machine, name).imperfections
    return machine if now.warm is None else with_imperfections(machine, name, now.warm)


def with_imperfections(machine: Machine, name: str, imperfections: Imperfections) -> Machine:
    """Give a new machine in which one part has these imperfections."""
    changed = replace(part(machine, name), imperfections=imperfections)
    if name in machine.rotors:
        return replace(machine, rotors={**machine.rotors, name: changed})  # type: ignore[dict-item]
    if name in machine.couplings:
        return replace(machine, couplings={**machine.couplings, name: changed})  # type: ignore[dict-item]
    if name in machine.sensors:
        return replace(machine, sensors={**machine.sensors, name: changed})  # type: ignore[dict-item]
    if name in machine.solenoids:
        return replace(machine, solenoids={**machine.solenoids, name: changed})  # type: ignore[dict-item]
    if name in machine.levers:
        return replace(machine, levers={**machine.levers, name: changed})  # type: ignore[dict-item]
    single = next(one for one in SINGLES if getattr(machine, one).name == name)
    return replace(machine, **{single: changed})  # type: ignore[arg-type]


def applied(machine: Machine, faults: Sequence[Fault]) -> Machine:
    """Give a new machine that has these faults; the one handed in stays as it was.

    >>> from tapewright.machine.library import shipped
    >>> worn = applied(shipped("four_track"), [Fault("capstan_belt", "missing")])
    >>> worn.couplings["capstan_belt"].imperfections.present
    False
    """
    for fault in faults:
        kind = fault_kind(machine, fault.part, fault.kind)
        now = part(machine, fault.part).imperfections
        machine = with_imperfections(machine, fault.part, imperfections_of(kind, fault.severity, now))
    return machine
