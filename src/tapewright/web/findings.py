"""What is found: suspects with what speaks for and against them, the budget, and what leaves the bench as files."""

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from tapewright.jobs.bench_job import evidence_of
from tapewright.jobs.evidence_file import evidence_json
from tapewright.jobs.examine import examination_json
from tapewright.jobs.hand_over import hand_over
from tapewright.jobs.store.sums import as_bench_job
from tapewright.show.chain import chain_drawing
from tapewright.show.handing_over import as_html, as_pdf, bench_page, owners_page
from tapewright.show.report import html_report
from tapewright.web import pages
from tapewright.web.asking import bench_of, job_id_of, look_at, store_of
from tapewright.web.door import REPORT_POLICY
from tapewright.web.proving import pair
from tapewright.web.views import told
from tapewright.words.problem import InputAtFaultError


def show(request: Request) -> Response:
    """Show the suspects, what speaks for and against each, and what would change that."""
    return pages.findings_page(look_at(request))


def chain(request: Request) -> Response:
    """Show the way from a suspected fault to what was noticed, drawn on the mechanism."""
    look = look_at(request)
    for belief in look.record.beliefs if look.record else ():
        longest = max(belief.chains, key=lambda one: len(one.links), default=None)
        if belief.part == request.path_params["part"] and look.machine is not None and longest is not None:
            key, machine = ("chain", look.job.id, belief.part), look.machine
            drawn = bench_of(request).drawn.of(key, (longest,), lambda: [chain_drawing(machine, longest)])  # noqa: B023
            return pages.picture_fragment(*drawn)
    raise HTTPException(404)


def plan(request: Request) -> Response:
    """Show the repairs in their order, with what to order."""
    return pages.plan_page(look_at(request))


def report(request: Request) -> Response:
    """Give the report, one file that prints and can be sent."""
    look = look_at(request)
    if look.machine is None or look.record is None:
        raise InputAtFaultError(look.problems)
    return HTMLResponse(html_report(look.record, look.machine), headers={"content-security-policy": REPORT_POLICY})


def hand_over_page(request: Request) -> Response:
    """Give the hand-over for the owner or for the bench, as a page or on paper."""
    look = look_at(request)
    if look.machine is None:
        raise InputAtFaultError(look.problems)
    whose, form = request.path_params["whose"], request.path_params["form"]
    if whose not in ("owner", "bench") or form not in ("html", "pdf"):
        raise HTTPException(404)
    before, after = pair(look)
    steps = store_of(request).history(look.job.id)
    said = hand_over(look.sheet, look.machine, look.record, before, after, list(reversed(told(look, steps))))
    page = owners_page(said) if whose == "owner" else bench_page(said, look.machine)
    if form == "html":
        return HTMLResponse(as_html(page), headers={"content-security-policy": REPORT_POLICY})
    headers = {"content-disposition": f'inline; filename="{whose}-{look.sheet.ticket}.pdf"'}
    return Response(as_pdf(page), media_type="application/pdf", headers=headers)


def evidence(request: Request) -> Response:
    """Give what was noticed, as the file that the commands read."""
    job = as_bench_job(store_of(request).job(job_id_of(request)))
    return pages.download(evidence_json(evidence_of(job)), f"evidence-{job.id}.json")


def findings(request: Request) -> Response:
    """Give the findings as `tapewright examine --json` prints them."""
    look = look_at(request)
    if look.record is None:
        raise InputAtFaultError(look.problems)
    return pages.download(examination_json(look.record), f"findings-{look.job.id}.json")
