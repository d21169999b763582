"""Plain data into HTML: every value is escaped, and only pictures drawn by `show` go in as they are."""

import json
import re
from collections.abc import Sequence
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, JSONResponse, Response

from tapewright.faults.cautions import cautions
from tapewright.jobs.bench_job import Job
from tapewright.jobs.store.nouns import FileKind, Status, Step
from tapewright.jobs.store.sums import comes_to, minutes_of, past_limit
from tapewright.show.one_pass_shown import pass_sections
from tapewright.show.said import (
    TAPE,
    against_limit,
    cost_said,
    minutes_said,
    mode_said,
    name_of,
    percent,
    reading_name,
    reading_said,
    rescue,
    tone_said,
)
from tapewright.show.sections import Section
from tapewright.show.svg import inlined
from tapewright.show.text import PRICES, whose_line
from tapewright.web import views
from tapewright.web.asking import new_token
from tapewright.web.drawn import drawn_mode, has_evidence
from tapewright.web.present import present
from tapewright.web.uploads import MOST_RECORDING_BYTES
from tapewright.web.workbench import Look
from tapewright.words.findings import Belief, BudgetItem
from tapewright.words.problem import Problem
from tapewright.words.record import Heard
from tapewright.words.visits import Visit

AT_FAULT: Final = 422
ANSWERS: Final = {"yes": True, "no": False, "unsure": None}


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("tapewright.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    said = (percent, minutes_said, mode_said, reading_name, cost_said, tone_said)
    environment.filters |= {one.__name__: one for one in said}
    environment.filters |= {"local_time": views.local_time, "capital": _capital}
    environment.globals |= {
        "name_of": name_of, "reading_said": reading_said, "against_limit": against_limit, "whose_line": whose_line,
        "UNSAID": views.UNSAID, "new_token": new_token, "PRICES": PRICES, "MOST_BYTES": MOST_RECORDING_BYTES,
        "present": present, "pass_sections": pass_sections,
    }  # fmt: skip
    return environment


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


_PAGES: Final = _environment()


def page(template: str, status: int = 200, **said: Any) -> HTMLResponse:
    """Fill in a page."""
    return HTMLResponse(_PAGES.get_template(template).render(**said), status)


def job_told(look: Look, here: str, refused: Sequence[Problem] = ()) -> dict[str, Any]:
    """Give what every page of a job shows.

    Arguments:
        look: the job with its findings.
        here: which of its pages this is.
        refused: what was wrong with the last thing asked for.
    """
    return {
        "job": look.job,
        "home": f"/jobs/{look.job.id}",
        "sheet": look.sheet,
        "said": look.sheet.particulars,
        "machine": look.machine,
        "record": look.record,
        "here": here,
        "problems": list(dict.fromkeys([*refused, *look.problems])),
        "rescue": rescue(look.record.plan) if look.record else None,
        "known": bool(look.record and has_evidence(look.record)),
    }


def status_of(refused: Sequence[Problem]) -> int:
    """Give the status of a page that says what was wrong, or that nothing was."""
    return AT_FAULT if refused else 200


def checks_page(look: Look, asked: views.Asked, refused: Sequence[Problem] = ()) -> HTMLResponse:
    """Give the checks: the next one, what was noticed, the suspects on the drawing.

    Arguments:
        look: the job with its findings.
        asked: what the address asks for.
        refused: what was wrong with the last thing asked for.
    """
    record, machine = look.record, look.machine
    check = record.next_check if record else None
    named, others = views.suspects(record, machine) if record and machine else ([], [])
    answers = views.said_so_far(look)
    return page(
        "checks.html.j2",
        status_of(refused),
        **job_told(look, "checks", refused),
        noticed=any(one.present for one in answers),
        just_noticed=bool(answers) and answers[0].present is True,
        hints=views.hints(look),
        picks=views.by_mode(look),
        on_part=views.seen_on(look, asked.part),
        part=asked.part,
        check=check,
        shifts=views.shifts(machine, check) if machine and check else [],
        named=named,
        others=others,
        mode=drawn_mode(machine, asked.mode, check) if machine else "",
        words=asked.words,
        found=views.searched(look.job, machine, asked.words) if machine and asked.words else [],
        answers=answers,
    )


def recordings_page(look: Look, refused: Sequence[Problem] = ()) -> HTMLResponse:
    """Give the recordings and what they say."""
    kept = {entry.what.sha256: entry.what for entry in look.sheet.files}
    recordings = [
        views.RecordingView(recording, state, kept[recording.file].stage, kept[recording.file].note)
        for recording, state in zip(look.job.recordings, look.measured, strict=True)
    ]
    waiting = any(one.waiting for one in recordings)
    return page(
        "recordings.html.j2", status_of(refused), **job_told(look, "recordings", refused),
        recordings=recordings, waiting=waiting, live_cautions=cautions(("tone", "tape")),
    )  # fmt: skip


def findings_page(look: Look, refused: Sequence[Problem] = ()) -> HTMLResponse:
    """Give the suspects with what speaks for and against each, and the budget."""
    record, machine = look.record, look.machine
    named, _ = views.suspects(record, machine) if record and machine else ([], [])
    return page(
        "findings.html.j2", status_of(refused), **job_told(look, "findings", refused),
        named=named, mode=drawn_mode(machine, "", record.next_check if record else None) if machine else "",
    )  # fmt: skip


def plan_page(look: Look, refused: Sequence[Problem] = ()) -> HTMLResponse:
    """Give the repairs in their order, and what to order for them."""
    explaining, on_the_way = views.repairs(look.record) if look.record else ([], [])
    return page(
        "plan.html.j2", status_of(refused), **job_told(look, "plan", refused),
        explaining=explaining, on_the_way=on_the_way, orders=views.order_list(look.record) if look.record else [],
    )  # fmt: skip


def proof_page(
    look: Look,
    before: Sequence[Heard],
    after: Sequence[Heard],
    channels: Sequence[dict[str, Any]],
    says: str,
    heads: Sequence[Section] = (),
    refused: Sequence[Problem] = (),
) -> HTMLResponse:
    """Give before and after, and whether the change is more than doubt."""
    drawn = any(one.trace is not None for one in before) and any(one.trace is not None for one in after)
    return page(
        "proof.html.j2", status_of(refused), **job_told(look, "proof", refused),
        before=before, after=after, channels=channels, says=says, drawn=drawn, heads=heads,
    )  # fmt: skip


def sheet_page(look: Look, history: Sequence[Step], refused: Sequence[Problem] = ()) -> HTMLResponse:
    """Give all that is kept of a job: particulars, parts and work, photos, history."""
    return page(
        "sheet.html.j2", status_of(refused), **job_told(look, "sheet", refused),
        history=views.told(look, history), statuses=list(Status), totals=comes_to(look.sheet),
        minutes=minutes_of(look.sheet), past_limit=past_limit(look.sheet),
        photos=[entry for entry in look.sheet.files if entry.what.kind is FileKind.PHOTO],
        spoken_parts=[(step.part, name_of(look.machine, step.part)) for step in look.record.plan if step.part != TAPE]
        if look.record else [],
    )  # fmt: skip


def years_page(look: Look, made: Sequence[Visit], rows: Sequence[Sequence[str]], due: Sequence[Belief]) -> HTMLResponse:
    """Give a machine over the years: visits, trends, what is likely due."""
    return page(
        "years.html.j2", **job_told(look, "sheet"), visits=made, rows=rows, due=due,
        read=[name for name in ("speed_error_pct", "weighted_peak_pct", "weighted_rms_pct")
              if any(name in visit.readings for visit in made)],
    )  # fmt: skip


def refused_page(look: Look, address: str, problems: Sequence[Problem]) -> HTMLResponse:
    """Give the page again that something wrong was typed into."""
    place = address.rpartition("/")[2]
    if "/recordings" in address:
        return recordings_page(look, problems)
    if place in ("sheet", "add", "take-out", "step", "photos", "erase", "export.zip"):
        return sheet_page(look, (), problems)
    return checks_page(look, views.Asked(), problems)


def found_fragment(look_job: Job, found: Sequence[views.SignView], words: str) -> HTMLResponse:
    """Give the signs found, to stand inside the job page."""
    return page("found.html.j2", job=look_job, found=found, words=words)


def picture_fragment(*svg: str) -> HTMLResponse:
    """Give pictures, to stand inside the job page."""
    return HTMLResponse("\n".join(inlined(one) for one in svg))  # drawn and escaped by `show`


def message_page(title: str, sentences: Sequence[str], status: int, problems: Sequence[Problem] = ()) -> HTMLResponse:
    """Give a page that says something and leads back."""
    return page("message.html.j2", status, title=title, sentences=sentences, problems=problems)


def problems_json(problems: Sequence[Problem]) -> JSONResponse:
    """Say what was wrong to the page's own script."""
    return JSONResponse({"problems": [{"where": p.where, "found": p.found, "do": p.do} for p in problems]}, AT_FAULT)


def download(data: dict[str, Any], filename: str) -> Response:
    """Give data to keep, as a JSON file."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2) + "\n"
    return Response(text, media_type="application/json", headers={"content-disposition": to_keep(filename)})


def to_keep(filename: str) -> str:
    """Give the header that makes a browser keep a file, under a name of plain letters only.

    >>> to_keep('job-26"-1.zip')
    'attachment; filename="job-26_-1.zip"'
    """
    return f'attachment; filename="{re.sub("[^A-Za-z0-9._-]", "_", filename)[:80]}"'


def largest_lines(budget: Sequence[BudgetItem], most: int = 6) -> list[BudgetItem]:
    """Give the largest lines of a budget."""
    return sorted(budget, key=lambda item: -item.peak_pct)[:most]


_PAGES.filters["largest_lines"] = largest_lines
