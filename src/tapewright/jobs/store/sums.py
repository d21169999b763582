"""What follows from a job as it stands: its ticket, what it comes to, and what its findings are worked out from."""

from dataclasses import dataclass
from datetime import date

from tapewright.jobs.bench_job import Job, KeptRecording, Skip
from tapewright.jobs.store.nouns import Answer, FileKind, Money, Sheet, Status
from tapewright.words.evidence import Observation


@dataclass(frozen=True, slots=True)
class Ticket:
    """What is printed and given to the owner when a machine is taken in.

    Arguments:
        number: as "26-0417".
        came_in: the day, in the time of the place.
        machine: a shipped machine's id, or the name of a description's file.
        serial, accessories, condition, complaint: as written down.
        tape_inside: whether a tape is held in the machine.
        owner: the owner's name.
        due: the day it was promised for.
        estimate_low, estimate_high, limit: what was told, and up to what the owner agreed.
    """

    number: str
    came_in: date
    machine: str
    serial: str
    accessories: tuple[str, ...]
    condition: str
    complaint: str
    tape_inside: bool | None
    owner: str
    due: date | None
    estimate_low: Money | None
    estimate_high: Money | None
    limit: Money | None


def ticket_of(sheet: Sheet) -> Ticket:
    """Give what stands on the ticket of a job."""
    said = sheet.particulars
    return Ticket(
        number=sheet.ticket,
        came_in=sheet.created.astimezone().date(),
        machine=said.machine_id or said.described_in,
        serial=said.serial,
        accessories=said.accessories,
        condition=said.condition,
        complaint=said.complaint,
        tape_inside=said.tape_inside,
        owner=sheet.owner.name,
        due=said.due,
        estimate_low=said.estimate_low,
        estimate_high=said.estimate_high,
        limit=said.approved_limit,
    )


def comes_to(sheet: Sheet) -> tuple[Money, ...]:
    """Add up parts, work and costs: one amount for each currency, nothing converted."""
    costs: list[Money | None] = [entry.what.cost for entry in sheet.parts]
    costs += [entry.what.cost for entry in sheet.work]
    costs += [entry.what.cost for entry in sheet.costs]
    sums: dict[str, int] = {}
    for cost in costs:
        if cost is not None:
            sums[cost.currency] = sums.get(cost.currency, 0) + cost.amount
    return tuple(Money(amount, currency) for currency, amount in sorted(sums.items()))


def minutes_of(sheet: Sheet) -> float:
    """Add up the minutes of the work."""
    return sum(entry.what.minutes for entry in sheet.work)


def past_limit(sheet: Sheet) -> bool:
    """Tell whether a job comes to more than the owner agreed to, in the limit's own currency."""
    limit = sheet.particulars.approved_limit
    return limit is not None and any(
        money.currency == limit.currency and money.amount > limit.amount for money in comes_to(sheet)
    )


def as_bench_job(sheet: Sheet) -> Job:
    """Give the job in the shape that the findings are worked out from (`bench_job.evidence_of`, `machine_of`).

    A recording's `file` is its checksum: `store.file_path(recording.file)` gives where it lies.
    """
    said = sheet.particulars
    recordings = [entry.what for entry in sheet.files if entry.what.kind is FileKind.RECORDING]
    return Job(
        id=sheet.id,
        machine_id=said.machine_id,
        description=said.description,
        described_in=said.described_in,
        complaint=said.complaint,
        age_years=said.age_years,
        steps=tuple(_as_step(entry.what) for entry in sheet.answers),
        recordings=tuple(KeptRecording(one.sha256, one.called, one.size_bytes, one.tone_hz) for one in recordings),
        away=said.status is Status.AWAY,
        created=sheet.created.isoformat(timespec="microseconds"),
        changed=sheet.changed.isoformat(timespec="microseconds"),
    )


def _as_step(answer: Answer) -> Observation | Skip:
    if answer.skipped:
        return Skip(answer.sign)
    return Observation(answer.sign, answer.present, answer.sure, answer.when, answer.cassette, answer.after)
