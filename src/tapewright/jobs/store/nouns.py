"""What a job holds, as small frozen values: what is said once of it, and what is added to it piece by piece."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Final, Generic, TypeVar

from tapewright.words.problem import InputAtFaultError, Problem

_CURRENCY: Final = re.compile(r"[A-Z]{3}")


class NoSuchJobError(LookupError):
    """There is no job of this id, or no step of this number in it."""


class Status(StrEnum):
    """Where a job stands, in the words that a page shows."""

    ARRIVED = "arrived"
    LOOKED_AT = "being looked at"
    OWNER_ASKED = "waiting for the owner"
    PARTS = "waiting for parts"
    REPAIRED = "being repaired"
    SOAK = "on soak test"
    READY = "ready to collect"
    HANDED_OVER = "handed over"
    RETURNED = "returned unrepaired"
    AWAY = "put away"


class FileKind(StrEnum):
    """What a file of a job is."""

    RECORDING = "recording"
    PHOTO = "photo"
    FILM = "film"
    DOCUMENT = "document"


class Stage(StrEnum):
    """When in the course of a job something was measured or photographed."""

    UNSAID = ""
    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in the smallest unit of its currency.

    Arguments:
        amount: cents, pence, yen: whatever is not divided further.
        currency: three capital letters (ISO 4217).

    Raises:
        InputAtFaultError: for what is no whole number or no currency.

    >>> str(Money(1250, "EUR")), str(Money(1250, "JPY"))
    ('12.50 EUR', '1250 JPY')
    """

    amount: int
    currency: str

    def __post_init__(self) -> None:
        if isinstance(self.amount, bool) or not isinstance(self.amount, int) or abs(self.amount) >= 2**53:
            raise InputAtFaultError(Problem("money", f"is {self.amount!r}.", "Give a whole number of cents or pence."))
        if not isinstance(self.currency, str) or not _CURRENCY.fullmatch(self.currency):
            do = "Give three capital letters, as EUR or GBP."
            raise InputAtFaultError(Problem("currency", f"is {self.currency!r}.", do))

    def __str__(self) -> str:
        digits = DECIMALS.get(self.currency, 2)
        sign, whole = "-" if self.amount < 0 else "", abs(self.amount)
        shown = f"{whole // 10**digits}.{whole % 10**digits:0{digits}d}" if digits else str(whole)
        return f"{sign}{shown} {self.currency}"


DECIMALS: Final[Mapping[str, int]] = dict.fromkeys(("CLP", "ISK", "JPY", "KRW", "PYG", "UGX", "VND", "XAF", "XOF"), 0) \
    | dict.fromkeys(("BHD", "JOD", "KWD", "OMR", "TND"), 3)  # fmt: skip
"""Currencies whose smallest unit is not a hundredth (ISO 4217, list one, from memory)."""


@dataclass(frozen=True, slots=True)
class Particulars:
    """What is said once of a job; each may be said anew.

    Arguments:
        machine_id: a shipped machine; "" when `description` is given.
        description: the text of a description of the shop's own.
        described_in: the name of the file that text came from, as words.
        serial: the machine's serial number.
        accessories: what came with it.
        condition: how it looked when it came.
        complaint: the owner's words.
        tape_inside: whether a tape is held in the machine; None when nobody looked.
        age_years: age of rubber and grease; None when unknown.
        status: where the job stands.
        due: the day it was promised for.
        estimate_low, estimate_high: the range told to the owner.
        approved: whether the owner agreed; None while nothing was said.
        approved_limit: up to what the owner agreed.
        approved_at: when.
        approved_how: "by telephone", "at the counter", in the shop's words.
        handed_over_at: when it left.
        paid: what was paid.
        hand_over_note: what was said when it left.
    """

    machine_id: str = ""
    description: str = ""
    described_in: str = ""
    serial: str = ""
    accessories: tuple[str, ...] = ()
    condition: str = ""
    complaint: str = ""
    tape_inside: bool | None = None
    age_years: float | None = None
    status: Status = Status.ARRIVED
    due: date | None = None
    estimate_low: Money | None = None
    estimate_high: Money | None = None
    approved: bool | None = None
    approved_limit: Money | None = None
    approved_at: datetime | None = None
    approved_how: str = ""
    handed_over_at: datetime | None = None
    paid: Money | None = None
    hand_over_note: str = ""


@dataclass(frozen=True, slots=True)
class Owner:
    """Whose machine it is; all of it personal, and kept in a table of its own.

    Arguments:
        owner_id: the same for the same person's later jobs; drawn at random when left out.
        name: as the owner gives it.
        phone, email, address: how to reach the owner.
        collected_by: who fetched the machine, when it was another person.
    """

    owner_id: str = ""
    name: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""
    collected_by: str = ""


# --- what is added piece by piece ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer about one sign, or a check that was passed over.

    Arguments:
        sign: the sign's id.
        present: True, False, or None for "cannot tell".
        sure: 0 to 1.
        when: "cold", "warm", in the user's words.
        cassette: which cassette.
        after: parts renewed before this was noticed.
        skipped: passed over, not to be proposed again.
    """

    sign: str
    present: bool | None = None
    sure: float = 1.0
    when: str = ""
    cassette: str = ""
    after: tuple[str, ...] = ()
    skipped: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """One reading: a value in its unit, or the reason why there is none.

    Arguments:
        name: `speed_error_pct` and so on, as in an evidence file.
        value: in `unit`.
        unit: a bench unit.
        doubt: half-width of the 95 % interval, same unit.
        why_not: the reason, when there is no value.
        method: how it was taken.
        conditions: the stretch, the band, the settings.
        stage: before or after the repair.
        sha256: of the recording it was read from; "" for an instrument.
        by: the sense that took it; "" for an instrument, a hand, or a recording of a tape.
    """

    name: str
    value: float | None = None
    unit: str = ""
    doubt: float | None = None
    why_not: str = ""
    method: str = ""
    conditions: str = ""
    stage: Stage = Stage.UNSAID
    sha256: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Attached:
    """A file of the job; its bytes lie in the store under their own checksum and never change.

    Arguments:
        sha256: of the bytes, 64 hexadecimal digits.
        size_bytes: how many there are.
        called: what the user calls it; words, never a path.
        kind: what it is.
        tone_hz: of a recording, the frequency on the test tape; None for the usual one that is nearest.
        stage: before or after the repair.
        note: what it shows.
        personal: whether it goes when the owner's data are erased.
    """

    sha256: str
    size_bytes: int
    called: str
    kind: FileKind = FileKind.DOCUMENT
    tone_hz: float | None = None
    stage: Stage = Stage.UNSAID
    note: str = ""
    personal: bool = False


@dataclass(frozen=True, slots=True)
class PartUsed:
    """A part that went into the machine.

    Arguments:
        what: what it is, in the shop's words.
        part: its name in the description; "" for one that has none.
        size: as ordered.
        quantity: how many.
        cost: of all of them together.
    """

    what: str
    part: str = ""
    size: str = ""
    quantity: int = 1
    cost: Money | None = None


@dataclass(frozen=True, slots=True)
class Work:
    """Something done, and how long it took."""

    what: str
    minutes: float = 0.0
    cost: Money | None = None


@dataclass(frozen=True, slots=True)
class Cost:
    """Something to be paid that is neither a part nor time: postage, a test tape's share."""

    what: str
    cost: Money


@dataclass(frozen=True, slots=True)
class SoakTest:
    """A long run of the repaired machine, and how it ended; `passed` is None while it runs."""

    minutes: float = 0.0
    begun: datetime | None = None
    passed: bool | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else: a telephone call, a mark on the case."""

    text: str


Item = Answer | Measured | Attached | PartUsed | Work | Cost | SoakTest | Note
ITEMS: Final[Mapping[str, type[Item]]] = {
    "answer": Answer,
    "reading": Measured,
    "file": Attached,
    "part": PartUsed,
    "work": Work,
    "cost": Cost,
    "soak": SoakTest,
    "note": Note,
}
"""What can be added to a job, by the word that its history and its table use."""
KIND_OF: Final = {noun: kind for kind, noun in ITEMS.items()}

T = TypeVar("T", bound=Item)


@dataclass(frozen=True, slots=True)
class Entry(Generic[T]):
    """Something that was added to a job: what, and who added it when and how.

    Arguments:
        id: names it within the job.
        what: the thing itself.
        who: who added it.
        at: when, UTC.
        how: through which door: "bench", "counter", "recording" and so on.
        step: number of the change that added it.
    """

    id: str
    what: T
    who: str
    at: datetime
    how: str
    step: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """A job as it stands: all that is kept of one machine's visit.

    Arguments:
        id: drawn at random.
        ticket: the number on the ticket, as "26-0417": year and running number.
        created, changed: UTC.
        revision: number of the last change; grows with every one.
        erased_at: when the owner's data were erased; None while they are there.
        particulars: what is said once.
        owner: whose it is; empty once erased.
        answers, readings, files, parts, work, costs, soaks, notes: what was added, in that order.
    """

    id: str
    ticket: str
    created: datetime
    changed: datetime
    revision: int
    erased_at: datetime | None
    particulars: Particulars
    owner: Owner
    answers: tuple[Entry[Answer], ...] = ()
    readings: tuple[Entry[Measured], ...] = ()
    files: tuple[Entry[Attached], ...] = ()
    parts: tuple[Entry[PartUsed], ...] = ()
    work: tuple[Entry[Work], ...] = ()
    costs: tuple[Entry[Cost], ...] = ()
    soaks: tuple[Entry[SoakTest], ...] = ()
    notes: tuple[Entry[Note], ...] = ()


PLACE_OF: Final = {
    "answer": "answers", "reading": "readings", "file": "files", "part": "parts",
    "work": "work", "cost": "costs", "soak": "soaks", "note": "notes",
}  # fmt: skip
"""Where on a sheet each kind of entry stands."""


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a job's history.

    Arguments:
        number: from 1, without gaps.
        kind: "done", "undo", "redo" or "erased".
        says: what it did, in words, without personal data.
        who, at, how: who did it when, and through which door.
        of: for "undo" and "redo", the number of the step meant.
        undone: whether it does not count at present.
    """

    number: int
    kind: str
    says: str
    who: str
    at: datetime
    how: str
    of: int | None = None
    undone: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A job as one line of the list."""

    id: str
    ticket: str
    status: Status
    machine_id: str
    described_in: str
    serial: str
    complaint: str
    owner_name: str
    due: date | None
    created: datetime
    changed: datetime


@dataclass(frozen=True, slots=True)
class Page:
    """Some lines of the list of jobs.

    Arguments:
        lines: of this page.
        page: its number, from 1.
        pages: how many there are, at least 1.
        total: how many jobs fit.
    """

    lines: tuple[Line, ...]
    page: int
    pages: int
    total: int


@dataclass(frozen=True, slots=True)
class Stored:
    """A file that lies in the store: its checksum and its length."""

    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Brought:
    """What an import did, by job id.

    Arguments:
        added: jobs that were not here.
        continued: jobs that were here and got the later steps.
        already_here: jobs of which nothing was new.
        problems: jobs left alone, and why.
    """

    added: tuple[str, ...] = ()
    continued: tuple[str, ...] = ()
    already_here: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Erased:
    """What an erasure did.

    Arguments:
        jobs: ids of the jobs it touched.
        files: how many files were deleted from the disk.
        look_at: sentences about what a person has to look at: what this program cannot erase by itself.
    """

    jobs: tuple[str, ...]
    files: int = 0
    look_at: tuple[str, ...] = field(default=())
