"""Gather what a hand-over says, from the job's sheet, its findings and its recordings."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from tapewright import __version__
from tapewright.faults.applied import fault_kind
from tapewright.jobs.compare import compared, heads_compared, said_in_all
from tapewright.jobs.store.nouns import PartUsed, Sheet, SoakTest, Step
from tapewright.jobs.store.sums import comes_to
from tapewright.machine.parts import Machine, spoken
from tapewright.words.findings import Belief
from tapewright.words.hand_over import HandOver, Suspected
from tapewright.words.reading import Reading
from tapewright.words.record import Heard, Record

HEARD_CENTS: Final = 5.0
"""A change of pitch that a practised ear may notice beside a reference; common practice of tuners, no source."""
SUSPECTED: Final = 5
DUE: Final = 0.5
"""A part more likely bad than this, whatever the complaint, is due."""


def hand_over(
    sheet: Sheet,
    machine: Machine,
    record: Record | None,
    before: Sequence[Heard] = (),
    after: Sequence[Heard] = (),
    history: Sequence[Step] = (),
) -> HandOver:
    """Gather what a hand-over says.

    Arguments:
        sheet: the job.
        machine: its machine.
        record: its findings; None when there can be none.
        before: the last recording from before the repair, channel by channel.
        after: the last from after it.
        history: the job's steps.
    """
    said = sheet.particulars
    changes = tuple(compared(before, after)) if before and after else ()
    heads = tuple(heads_compared(before, after))
    beliefs = {belief.part: belief for belief in record.beliefs} if record else {}
    return HandOver(
        ticket=sheet.ticket,
        came_in=sheet.created.astimezone().date().isoformat(),
        left="" if said.handed_over_at is None else said.handed_over_at.astimezone().date().isoformat(),
        title=machine.title,
        serial=said.serial,
        invented=machine.invented,
        owner=sheet.owner.name,
        complaint=said.complaint,
        found=tuple(_found(sheet, machine, beliefs, record)),
        done=tuple(_done(sheet)),
        costs=tuple(_costs(sheet)),
        total=" + ".join(str(money) for money in comes_to(sheet)),
        proof=said_in_all(changes, heads) if changes else "",
        changes=changes,
        heads=heads,
        before=tuple(before),
        after=tuple(after),
        expect=tuple(_expect(sheet, machine, record)),
        tapes=tuple(tapes_advice(_speed(before), _speed(after))),
        suspected=tuple(
            Suspected(spoken(machine, belief.part), belief.explains_complaint, belief.reasons)
            for belief in (record.beliefs[:SUSPECTED] if record else ())
            if belief.explains_complaint > 0.01
        ),
        history=tuple((step.at.isoformat(timespec="minutes"), step.says) for step in history),
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        version=__version__,
        notes=record.notes if record else (),
    )


def _found(sheet: Sheet, machine: Machine, beliefs: dict[str, Belief], record: Record | None) -> list[str]:
    """Say of each part that was renewed or worked on how it was out of order; before that, what is suspected."""
    renewed = [entry.what for entry in sheet.parts if entry.what.part]
    found = [_how_bad(machine, part, beliefs.get(part)) for part in dict.fromkeys(one.part for one in renewed)]
    if found or record is None:
        return found
    leading = [b for b in record.beliefs if b.explains_complaint >= 0.1][:2]
    return [f"Suspected so far: {_lower(_how_bad(machine, b.part, b))}" for b in leading]


def _how_bad(machine: Machine, part: str, belief: Belief | None) -> str:
    name = spoken(machine, part)
    if belief is None or not belief.kind:
        return f"The {name} was out of order."
    return f"The {name}, most likely {fault_kind(machine, part, belief.kind).says}."


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _done(sheet: Sheet) -> list[str]:
    done = [_part_said(entry.what) for entry in sheet.parts]
    done += [_ended(entry.what.what) for entry in sheet.work]
    return done + [_soak_said(entry.what) for entry in sheet.soaks]


def _part_said(used: PartUsed) -> str:
    times = "" if used.quantity == 1 else f" ({used.quantity} of them)"
    return _ended(f"{used.what}{times}")


def _ended(text: str) -> str:
    return text if text.rstrip().endswith((".", "!", "?")) else f"{text}."


def _soak_said(soak: SoakTest) -> str:
    ended = {True: "passed", False: "failed", None: "still running"}[soak.passed]
    length = f" of {soak.minutes:g} minutes" if soak.minutes else ""
    return f"Soak test{length}: {ended}{'. ' + _ended(soak.note) if soak.note else '.'}"


def _costs(sheet: Sheet) -> list[tuple[str, str]]:
    priced = [(entry.what.what, entry.what.cost) for entry in sheet.parts]
    priced += [(entry.what.what, entry.what.cost) for entry in sheet.work]
    priced += [(entry.what.what, entry.what.cost) for entry in sheet.costs]
    return [(what, str(cost)) for what, cost in priced if cost is not None]


def _expect(sheet: Sheet, machine: Machine, record: Record | None) -> list[str]:
    """Say what may come next: what was not renewed and is likely bad by its age, and what the repair may show."""
    if record is None:
        return []
    renewed = {entry.what.part for entry in sheet.parts}
    due = [spoken(machine, belief.part) for belief in due_next(sheet, record)]
    shown = [sign for step in record.plan if step.part in renewed for sign in step.may_show]
    said = [f"At their age these may be next: {', '.join(due[:4])}."] if due else []
    return said + [f"It may show now, having been hidden before: {sign}." for sign in dict.fromkeys(shown)]


def due_next(sheet: Sheet, record: Record | None) -> list[Belief]:
    """Give the parts that are likely bad, whatever the complaint, and were not renewed; the likeliest first.

    Arguments:
        sheet: the job.
        record: its findings; None when there can be none.
    """
    renewed = {entry.what.part for entry in sheet.parts} | {"cassette"}
    likely = [one for one in (record.beliefs if record else ()) if one.out_of_order > DUE and one.part not in renewed]
    return sorted(likely, key=lambda belief: -belief.out_of_order)


def _speed(heard: Sequence[Heard]) -> Reading | None:
    for one in heard:
        reading = one.readings.get("speed_error_pct")
        if reading is not None and reading.value is not None:
            return reading
    return None


def tapes_advice(before: Reading | None, after: Reading | None) -> list[str]:
    """Say what a changed speed does to tapes that the machine itself recorded.

    A tape recorded at speed a and played at speed b sounds b/a as fast: 1200 log2(b/a) cents.

    Arguments:
        before: speed error before the repair; None when it was not measured.
        after: the same after it.

    >>> tapes_advice(Reading(3.0, "%", 0.01), Reading(0.0, "%", 0.01))[0][:52]
    'Tapes that were recorded on this machine while it ra'
    """
    general = ["Keep a tape that matters away from the machine until a tape that does not has run through it twice."]
    if before is None or after is None or before.value is None or after.value is None:
        return [
            "Tapes that were recorded on this machine while it ran at another speed will now play at another pitch; "
            "how far was not measured.",
            *general,
        ]
    ratio = (1.0 + after.value / 100.0) / (1.0 + before.value / 100.0)
    cents = 1200.0 * math.log2(ratio)
    if abs(cents) < HEARD_CENTS:
        return ["Tapes that were recorded on this machine before will play at the pitch they had.", *general]
    way = "higher" if cents > 0 else "lower"
    return [
        f"Tapes that were recorded on this machine while it ran {before.value:+.1f} % from its right speed will now "
        f"play {abs(100.0 * (ratio - 1.0)):.1f} % {'faster' if cents > 0 else 'slower'}: {abs(cents):.0f} cents {way} "
        f"(a hundred cents are a semitone). Tapes made elsewhere play as they should.",
        *general,
    ]
