"""Plain data into HTML: every value is escaped, and only pictures drawn by `show` go in as they are."""

import json
from collections.abc import Sequence
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, JSONResponse, Response

from tapewright.jobs.bench_job import Job, Unreadable
from tapewright.show.said import (
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
from tapewright.show.svg import inlined
from tapewright.show.text import PRICES, whose_line
from tapewright.web import views
from tapewright.web.uploads import MOST_RECORDING_BYTES
from tapewright.web.workbench import Look
from tapewright.words.findings import BudgetItem
from tapewright.words.problem import Problem

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
        "UNSAID": views.UNSAID, "PRICES": PRICES, "MOST_BYTES": MOST_RECORDING_BYTES,
    }  # fmt: skip
    return environment


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


_PAGES: Final = _environment()


def page(template: str, status: int = 200, **said: Any) -> HTMLResponse:
    """Fill in a page."""
    return HTMLResponse(_PAGES.get_template(template).render(**said), status)


def start_page(
    jobs: Sequence[Job | Unreadable], problems: Sequence[Problem] = (), typed: dict[str, str] | None = None
) -> HTMLResponse:
    """Give the first page: jobs that are open, and a form for the next.

    Arguments:
        jobs: as kept.
        problems: what was wrong with the form.
        typed: what had been typed into it, so that nothing is lost.
    """
    given = dict.fromkeys(("machine", "complaint", "age"), "") | (typed or {})
    readable = [job for job in jobs if isinstance(job, Job)]
    groups = views.machine_choices()
    titles = {machine.id: machine.title for _, machines in groups for machine in machines}
    return page(
        "start.html.j2",
        AT_FAULT if problems else 200,
        open_jobs=[job for job in readable if not job.away],
        away_jobs=[job for job in readable if job.away],
        unreadable=[job for job in jobs if isinstance(job, Unreadable)],
        titles=titles,
        groups=groups,
        problems=problems,
        typed=given,
    )


def job_page(look: Look, words: str = "", mode: str = "", refused: Sequence[Problem] | None = None) -> HTMLResponse:
    """Give the bench: one job as it stands.

    Arguments:
        look: the job with its findings.
        words: typed into the search for signs.
        mode: asked for in the drawing.
        refused: what was wrong with the last thing asked for; None when nothing was.
    """
    record, machine = look.record, look.machine
    check = record.next_check if record else None
    named, others = views.suspects(record, machine) if record and machine else ([], [])
    explaining, on_the_way = views.repairs(record) if record else ([], [])
    answers = views.said_so_far(look)
    recordings = [
        views.RecordingView(*pair) for pair in zip(look.job.recordings, look.measured, strict=True)
    ]  # fmt: skip
    return page(
        "job.html.j2",
        200 if refused is None else AT_FAULT,
        job=look.job,
        machine=machine,
        record=record,
        problems=list(dict.fromkeys([*(refused or ()), *look.problems])),
        rescue=rescue(record.plan) if record else None,
        known=bool(record and views.has_evidence(record)),
        noticed=any(one.present for one in answers),
        just_noticed=bool(answers) and answers[0].present is True,
        hints=views.hints(look),
        check=check,
        shifts=views.shifts(machine, check) if machine and check else [],
        named=named,
        others=others,
        mode=views.drawn_mode(machine, mode, check) if machine else "",
        words=words,
        found=views.searched(look.job, machine, words) if machine and words else [],
        answers=answers,
        recordings=recordings,
        waiting=any(one.waiting for one in recordings),
        explaining=explaining,
        on_the_way=on_the_way,
    )


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
    headers = {"content-disposition": f'attachment; filename="{filename}"'}
    return Response(text, media_type="application/json", headers=headers)


def largest_lines(budget: Sequence[BudgetItem], most: int = 6) -> list[BudgetItem]:
    """Give the largest lines of a budget."""
    return sorted(budget, key=lambda item: -item.peak_pct)[:most]


_PAGES.filters["largest_lines"] = largest_lines
