"""Jobs from a zip that `export` wrote, here or elsewhere; anything may stand in such a file, and nothing is believed.

No name in the zip becomes a path: files go where their checksum says, jobs where their id says. What is too much, too
tight, twice there, or not what it says it is, is refused with a sentence before anything is kept. A job that is here
already gets the steps it lacks, so that importing twice gives nothing twice; one that went two ways is left alone, and
that is said.
"""

import json
import re
import shutil
import stat
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, select, text, update

from tapewright.jobs.store import files
from tapewright.jobs.store.database import lock, writing
from tapewright.jobs.store.exporting import JOB_JSON, SCHEMA
from tapewright.jobs.store.history import Piece, Said, add_step, begin, bring_after
from tapewright.jobs.store.models import CHANGE, JOB
from tapewright.jobs.store.nouns import Brought
from tapewright.jobs.store.rules import SHA256, check
from tapewright.jobs.store.steps import name_files
from tapewright.jobs.store.values import NOUNS, checked
from tapewright.words.problem import InputAtFaultError, Problem

_ID: Final = re.compile(r"[0-9a-f]{16}")
_STEP_ID: Final = re.compile(r"[0-9a-f]{32}")
_TICKET: Final = re.compile(r"(\d{2})-(\d{4,9})")
_OF_A_JOB: Final = re.compile(rf"jobs/[^/]+/{re.escape(JOB_JSON)}")
_UNREADABLE: Final = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, OSError, EOFError, RuntimeError, ValueError)
"""What reading a zip may end in: damaged, cut short, packed or locked in a way that is not known."""
_KINDS: Final = ("done", "undo", "redo", "erased")


@dataclass(frozen=True, slots=True)
class Limits:
    """What a zip may hold.

    Arguments:
        entries: how many files.
        bytes: how much they may be unpacked, all together.
        file_bytes: how much one of them may be.
        json_bytes: how much one job's text may be.
        ratio: how many times larger than packed, for what is larger than `ratio_from_bytes`.
        ratio_from_bytes: below this a file may be packed as tightly as it likes.
    """

    entries: int = 200_000
    bytes: int = 256 * 1024**3
    file_bytes: int = files.MOST_BYTES
    json_bytes: int = 64_000_000
    ratio: float = 200.0
    ratio_from_bytes: int = 1_000_000


@dataclass(frozen=True, slots=True)
class _Step:
    number: int
    said: Said
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class _Coming:
    id: str
    ticket: str
    created: datetime
    erased_at: datetime | None
    steps: tuple[_Step, ...]
    files: Mapping[str, tuple[str, int]]  # checksum -> name in the zip, size


def bring_in(engine: Engine, folder: Path, path: Path, limits: Limits = Limits()) -> Brought:
    """Read jobs out of a zip: all that can be, in one transaction.

    Arguments:
        engine: the database.
        folder: the folder of the store's files.
        path: of the zip.
        limits: what it may hold.

    Raises:
        InputAtFaultError: when the zip is none, or is not one to be believed; nothing is kept then.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = _looked_over(archive, limits)
            room = shutil.disk_usage(folder if folder.is_dir() else folder.parent).free
            if sum(one.file_size for one in entries.values()) > room:
                raise _fault(str(path), "holds more than there is room for.", "Make room on the disk first.")
            jobs = [_job(archive, one, limits) for name, one in entries.items() if _OF_A_JOB.fullmatch(name)]
            _each_once(path, jobs)
            for job in jobs:
                _bring_files(archive, entries, folder, job, limits)
    except _UNREADABLE as error:
        raise _fault(str(path), f"cannot be read as a zip: {error}.", "Give a file that an export wrote.") from error
    with writing(engine) as connection:
        lock(connection, "opening")
        lock(connection, "files", shared=True)
        return _kept(connection, folder, jobs)


def _fault(where: str, found: str, do: str) -> InputAtFaultError:
    return InputAtFaultError(Problem(where, found, do))


# --- the zip ----------------------------------------------------------------------------------------------------------


def _looked_over(archive: zipfile.ZipFile, limits: Limits) -> dict[str, zipfile.ZipInfo]:
    """Look at what the zip says of itself, before anything in it is read.

    Raises:
        InputAtFaultError: with what is not to be believed.
    """
    infos = archive.infolist()
    do = "Give a file that an export wrote."
    if len(infos) > limits.entries:
        raise _fault("the zip", f"holds {len(infos)} files.", f"At most {limits.entries} are read.")
    if sum(info.file_size for info in infos) > limits.bytes:
        raise _fault("the zip", f"would unpack to more than {limits.bytes / 1e9:.4g} GB.", do)
    entries: dict[str, zipfile.ZipInfo] = {}
    for info in infos:
        name = info.filename
        wrong = _wrong_with(info, limits)
        if name in entries:
            wrong = "is there twice"
        if wrong:
            raise _fault(f"the zip, {name[:120]!r}", f"{wrong}.", do)
        entries[name] = info
    return entries


def _wrong_with(info: zipfile.ZipInfo, limits: Limits) -> str:
    pieces = info.filename.replace("\\", "/").split("/")
    mode = info.external_attr >> 16
    if info.filename.startswith(("/", "\\")) or ".." in pieces or ":" in pieces[0] or "\x00" in info.orig_filename:
        return "has a name that leads elsewhere"
    if mode and not (stat.S_ISREG(mode) or stat.S_ISDIR(mode) or stat.S_IFMT(mode) == 0):
        return "is no file"
    if info.flag_bits & 1:
        return "is locked with a password"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "is packed in a way that is not read here"
    if info.file_size > limits.file_bytes:
        return f"is larger than {limits.file_bytes / 1e6:.4g} MB"
    if info.file_size > max(limits.ratio_from_bytes, limits.ratio * info.compress_size):
        return f"is packed more than {limits.ratio:g} times smaller than it is"
    return ""


def _bring_files(
    archive: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo], folder: Path, job: _Coming, limits: Limits
) -> None:
    """Copy a job's files into the store; they count once a row names them."""
    for sha256, (name, size_bytes) in job.files.items():
        where = f"the zip, {name[:120]!r}"
        if name not in entries:
            raise _fault(where, "is named by a job and not there.", "Export the job anew.")
        with archive.open(entries[name]) as source, files.Incoming(folder, where, limits.file_bytes) as incoming:
            for block in files.blocks_of(source):
                incoming.write(block)
            if incoming.size_bytes != size_bytes or incoming.sha256 != sha256:
                raise _fault(where, "is not the file that its checksum says.", "Export the job anew.")
            incoming.keep()


# --- a job's text -----------------------------------------------------------------------------------------------------


def _job(archive: zipfile.ZipFile, info: zipfile.ZipInfo, limits: Limits) -> _Coming:
    where = f"the zip, {info.filename[:120]!r}"
    if info.file_size > limits.json_bytes:
        raise _fault(where, f"is larger than {limits.json_bytes / 1e6:.4g} MB.", "Give a file that an export wrote.")
    try:
        found = json.loads(archive.read(info).decode("utf-8"), parse_constant=_no_number)
        return _coming(found)
    except InputAtFaultError as error:
        raise InputAtFaultError(
            [Problem(f"{where}, {one.where}", one.found, one.do) for one in error.problems]
        ) from None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, OverflowError) as error:
        said = f"lacks something or holds something else: {type(error).__name__} {str(error)[:120]}."
        raise _fault(where, said, "Give a file that an export wrote.") from None


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no number")


def _coming(found: dict[str, Any]) -> _Coming:
    if found["schema"] != SCHEMA:
        raise _fault("schema", f"is {found['schema']!r}.", f"This version reads schema {SCHEMA}.")
    job_id = _like(_ID, found["id"])
    steps = tuple(_step(job_id, number, row) for number, row in enumerate(found["steps"], 1))
    first = steps[0]
    if first.said.kind != "done" or ("job", "add") not in {(piece.entity, piece.does) for piece in first.pieces}:
        raise ValueError("the first step begins no job")
    inside = {
        _like(SHA256, row["sha256"]): (_words(row["in_zip"], 1000), _whole(row["size_bytes"])) for row in found["files"]
    }
    for fields in (piece.fields for step in steps for piece in step.pieces if piece.entity == "file" and piece.fields):
        if "sha256" in fields and inside.get(fields["sha256"], ("", -1))[1] != fields["size_bytes"]:
            raise ValueError("a file of the history is not among the files")
    erased = found.get("erased_at")
    at = None if erased is None else _moment(erased)
    return _Coming(job_id, _words(found["ticket"], 32), _moment(found["created"]), at, steps, inside)


def _step(job_id: str, number: int, row: dict[str, Any]) -> _Step:
    kind, of = row["kind"], row["of"]
    if row["number"] != number or kind not in _KINDS or (kind in ("undo", "redo")) != (of is not None):
        raise ValueError(f"step {number} is none")
    if of is not None and not 1 < _whole(of) < number:
        raise ValueError(f"step {number} undoes what is not before it")
    said = Said(
        who=_words(row["who"], 1000),
        how=_words(row["how"], 1000),
        at=_moment(row["at"]),
        kind=kind,
        of=of,
        id=_like(_STEP_ID, row["id"]),
    )
    return _Step(number, said, tuple(_piece(job_id, each) for each in row["pieces"]))


def _piece(job_id: str, row: dict[str, Any]) -> Piece:
    entity, does, fields = row["entity"], row["does"], row["fields"]
    if entity not in NOUNS or does not in ("add", "set", "remove"):
        raise ValueError(f"{entity!r}, {does!r} is nothing that can be done")
    entity_id = _like(_ID, row["entity_id"])
    if entity in ("job", "owner") and (entity_id != job_id or does == "remove"):
        raise ValueError("a step is about another job")
    if fields is None or does == "remove":
        return Piece(entity, entity_id, does)
    plainly = checked(entity, fields)
    if does == "add" and entity not in ("job", "owner"):
        check(entity, plainly, plainly)
    elif entity == "file" and plainly.keys() & {"sha256", "size_bytes"}:
        raise ValueError("a file became another")
    return Piece(entity, entity_id, does, plainly)


def _like(pattern: re.Pattern[str], value: Any) -> str:
    if not isinstance(value, str) or not pattern.fullmatch(value):
        raise ValueError(f"{str(value)[:80]!r} is no name of that kind")
    return value


def _words(value: Any, longest: int) -> str:
    words: str = checked("note", {"text": value})["text"]
    if len(words) > longest:
        raise ValueError(f"{words[:40]!r}… is too long")
    return words


def _whole(value: Any) -> int:
    number: int = checked("file", {"size_bytes": value})["size_bytes"]
    return number


def _moment(value: Any) -> datetime:
    return datetime.fromisoformat(checked("soak", {"begun": value})["begun"])


def _each_once(path: Path, jobs: Sequence[_Coming]) -> None:
    ids = [job.id for job in jobs]
    if not ids:
        raise _fault(str(path), "holds no job.", "Give a file that an export wrote.")
    if len(set(ids)) < len(ids):
        raise _fault(str(path), "holds a job twice.", "Give a file that an export wrote.")


# --- into the database ------------------------------------------------------------------------------------------------


def _kept(connection: Connection, folder: Path, jobs: Sequence[_Coming]) -> Brought:
    added, continued, here, problems = list[str](), list[str](), list[str](), list[Problem]()
    for job in jobs:
        asked = select(CHANGE.c.id).where(CHANGE.c.job_id == job.id).order_by(CHANGE.c.number)
        ours, theirs = list(connection.execute(asked).scalars()), [step.said.id for step in job.steps]
        if ours[: len(theirs)] == theirs:
            here.append(job.id)
        elif ours != theirs[: len(ours)]:
            do = "It is left as it is here. Look at both, and write down by hand what is missing."
            problems.append(Problem(f"job {job.ticket}", "was changed here and elsewhere since they parted.", do))
        elif taken := _steps_elsewhere(connection, theirs[len(ours) :]):
            problems.append(Problem(f"job {job.ticket}", f"holds the step {taken} of another job.", "Export it anew."))
        else:
            if not ours:
                begin(connection, job.id, job.ticket, job.created)
                _count_past(connection, job.ticket)
            _lay(connection, folder, job, job.steps[len(ours) :])
            (continued if ours else added).append(job.id)
    return Brought(tuple(added), tuple(continued), tuple(here), tuple(problems))


def _steps_elsewhere(connection: Connection, ids: Sequence[str]) -> str:
    for i in range(0, len(ids), 500):
        found = connection.execute(select(CHANGE.c.id).where(CHANGE.c.id.in_(ids[i : i + 500]))).scalar()
        if found is not None:
            return str(found)
    return ""


def _lay(connection: Connection, folder: Path, job: _Coming, steps: Sequence[_Step]) -> None:
    touched: dict[tuple[str, str], None] = {}
    for step in steps:
        name_files(connection, folder, job.id, step.pieces)
        add_step(connection, job.id, step.pieces, step.said, bring=False)
        touched |= dict.fromkeys((piece.entity, piece.entity_id) for piece in step.pieces)
    meant = {step.said.of for step in steps if step.said.of is not None}
    for step in job.steps:
        if step.number in meant:
            touched |= dict.fromkeys((piece.entity, piece.entity_id) for piece in step.pieces)
    for entity, entity_id in touched:
        bring_after(connection, job.id, entity, entity_id)
    if job.erased_at is not None:
        connection.execute(update(JOB).where(JOB.c.id == job.id).values(erased_at=job.erased_at))


def _count_past(connection: Connection, ticket: str) -> None:
    """See that the shop's own next number is past the one that came."""
    match = _TICKET.fullmatch(ticket)
    if match is None:
        return
    connection.execute(
        text(
            "INSERT INTO meta (name, number) VALUES (:name, :number) ON CONFLICT (name) DO UPDATE SET number = "
            "CASE WHEN meta.number < excluded.number THEN excluded.number ELSE meta.number END"
        ),
        {"name": f"ticket 20{match[1]}", "number": int(match[2])},
    )
