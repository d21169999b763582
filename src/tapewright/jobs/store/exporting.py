"""Jobs into a zip that a person can read: a page to look at, each job as a text file, its files under their own names.

`job.json` holds the job as it stands, for a reader, and every step of its history, which is what an import goes by.
"""

import contextlib
import html
import json
import os
import re
import secrets
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final
from urllib.parse import quote

from sqlalchemy import Connection, Engine, select

from tapewright.jobs.store.database import reading
from tapewright.jobs.store.files import place_of
from tapewright.jobs.store.history import pieces_with_values, values_of
from tapewright.jobs.store.models import CHANGE, JOB, PIECE
from tapewright.jobs.store.nouns import PLACE_OF, Sheet
from tapewright.jobs.store.reading import read_sheet, read_steps
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem

SCHEMA: Final = 1
INDEX: Final = "index.html"
JOB_JSON: Final = "job.json"
EARLIEST: Final = (1980, 1, 1, 0, 0, 0)
"""What the zip says of every file's time: the same jobs give the same bytes."""
STYLE: Final = (
    "body{font:1em/1.5 sans-serif;max-width:60em;margin:2em auto;padding:0 1em}"
    "table{border-collapse:collapse}th,td{text-align:left;vertical-align:top;padding:.2em 1em .2em 0}"
    "h2{margin-top:2.5em;border-top:1px solid}"
)


def export(engine: Engine, folder: Path, path: Path, job_ids: Sequence[str] | None, *, owners: bool = True) -> int:
    """Write jobs into a zip, whole or not at all; gives how many.

    Arguments:
        engine: the database.
        folder: the folder of the store's files.
        path: where the zip goes.
        job_ids: which jobs; None for all.
        owners: whether the owners' data go along.

    Raises:
        NoSuchJobError: for an id that there is not.
        InputAtFaultError: when it cannot be written there.
    """
    with reading(engine) as connection:
        ids = list(connection.execute(select(JOB.c.id).order_by(JOB.c.created, JOB.c.id)).scalars())
    ids = ids if job_ids is None else list(dict.fromkeys(job_ids))
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as file:
            part.chmod(0o600)
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                _write(archive, engine, folder, ids, owners)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        do = "Make room there, or name another place."
        raise InputAtFaultError(Problem(str(path), f"cannot be written: {error.strerror or error}.", do)) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return len(ids)


def _write(archive: zipfile.ZipFile, engine: Engine, folder: Path, ids: Sequence[str], owners: bool) -> None:
    pages = []
    for job_id in ids:
        with reading(engine) as connection:
            sheet = read_sheet(connection, job_id)
            told = read_steps(connection, job_id)
            steps = list(_steps_of(connection, job_id, owners=owners))
        place = f"jobs/{_plain_name(sheet.ticket)} {job_id}"
        inside = _write_files(archive, folder, place, steps)
        stands = plain(sheet)
        if not owners:
            stands["owner"] = {}
        head = {"schema": SCHEMA, "id": job_id, "ticket": sheet.ticket, "created": _iso(sheet.created)}
        head |= {"erased_at": None if sheet.erased_at is None else _iso(sheet.erased_at)}
        whole = head | {"as_it_stands": stands, "steps": steps, "files": inside}
        _add(archive, f"{place}/{JOB_JSON}", json.dumps(whole, ensure_ascii=False, indent=1, default=_iso) + "\n")
        history = [(step.number, _iso(step.at)[:16], step.who, step.says) for step in told]
        pages.append(_section(sheet, stands, inside, history))
    _add(archive, INDEX, _page(pages))


def _steps_of(connection: Connection, job_id: str, *, owners: bool) -> Iterable[dict[str, Any]]:
    """Give a job's history as plain data; what was erased has no fields."""
    by_step: dict[int, list[dict[str, Any]]] = {}
    for row in connection.execute(pieces_with_values().where(PIECE.c.job_id == job_id)):
        fields = values_of(row) if owners or row.entity != "owner" else None
        piece = {"entity": row.entity, "entity_id": row.entity_id, "does": row.does, "fields": fields}
        by_step.setdefault(row.number, []).append(piece)
    for row in connection.execute(select(CHANGE).where(CHANGE.c.job_id == job_id).order_by(CHANGE.c.number)):
        said = {"number": row.number, "id": row.id, "kind": row.kind, "of": row.of}
        yield said | {"who": row.who, "at": _iso(row.at), "how": row.how, "pieces": by_step.get(row.number, [])}


def _write_files(
    archive: zipfile.ZipFile, folder: Path, place: str, steps: Iterable[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Put every file that the history names into the zip; gives where each lies there."""
    named: dict[str, dict[str, Any]] = {}
    for step in steps:
        for piece in step["pieces"]:
            fields = piece["fields"] or {}
            if piece["entity"] == "file" and "sha256" in fields:
                named.setdefault(fields["sha256"], fields)
    inside = []
    for number, (sha256, fields) in enumerate(named.items(), 1):
        name = f"{place}/{number:02d} {_plain_name(fields['called'])}"
        info = zipfile.ZipInfo(name, EARLIEST)
        info.compress_type = zipfile.ZIP_STORED  # sound hardly gets smaller, and so no reader takes it for a bomb
        with place_of(folder, sha256).open("rb") as source, archive.open(info, "w", force_zip64=True) as target:
            _copy(source, target)
        inside.append({"sha256": sha256, "size_bytes": fields["size_bytes"], "in_zip": name})
    return inside


def _copy(source: IO[bytes], target: IO[bytes]) -> None:
    while block := source.read(1 << 20):
        target.write(block)


def _add(archive: zipfile.ZipFile, name: str, text: str) -> None:
    info = zipfile.ZipInfo(name, EARLIEST)
    info.compress_type = zipfile.ZIP_DEFLATED
    archive.writestr(info, text.encode("utf-8"))


def _plain_name(called: str) -> str:
    """Give a name that any system can unpack.

    >>> _plain_name("../side: a?.wav")
    'side_ a_.wav'
    """
    return re.sub(r"[^\w .()+-]", "_", called.rsplit("/", 1)[-1].rsplit("\\", 1)[-1]).strip(" .")[-60:] or "file"


def _iso(moment: Any) -> str:
    return moment.astimezone(UTC).isoformat() if isinstance(moment, datetime) else str(moment)


# --- the page ---------------------------------------------------------------------------------------------------------


def _page(sections: Sequence[str]) -> str:
    head = '<!doctype html>\n<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
    return f"{head}<title>Jobs</title><style>{STYLE}</style>\n<h1>{len(sections)} jobs</h1>\n" + "".join(sections)


def _section(
    sheet: Sheet, stands: Mapping[str, Any], inside: Sequence[Mapping[str, Any]], history: Sequence[tuple[Any, ...]]
) -> str:
    rows = [("came in", _iso(sheet.created)[:10]), *_said(stands["particulars"]), *_said(stands["owner"])]
    parts = [f'<h2 id="{html.escape(sheet.id)}">{html.escape(sheet.ticket)}</h2>\n', _table(rows)]
    for place in PLACE_OF.values():
        entries = [(one["at"], one["who"], _in_a_line(one["what"])) for one in stands[place]]
        if entries:
            parts.append(f"<h3>{html.escape(place)}</h3>\n{_table([(_iso(at)[:16], *rest) for at, *rest in entries])}")
    links = [f'<li><a href="{quote(one["in_zip"])}">{html.escape(one["in_zip"])}</a>' for one in inside]
    parts.append(f"<ul>{''.join(links)}</ul>\n" if links else "")
    return "".join(parts) + f"<h3>history</h3>\n{_table(history)}"


def _said(fields: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [(name.replace("_", " "), _shown(value)) for name, value in fields.items() if value not in ("", None, [])]


def _in_a_line(what: Mapping[str, Any]) -> str:
    return ", ".join(f"{name}: {text}" for name, text in _said(what) if name not in ("sha256", "size bytes"))


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"{value.get('amount')} {value.get('currency')}, in its smallest unit"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _table(rows: Iterable[Sequence[Any]]) -> str:
    cells = ("".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) for row in rows)
    return f"<table>{''.join(f'<tr>{row}</tr>' for row in cells)}</table>\n"
