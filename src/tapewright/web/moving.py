"""Jobs out of this shop and into it: all of them as one zip that a person can read, or those of such a zip."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from tapewright.jobs.store.nouns import Brought
from tapewright.jobs.store.opened import Store
from tapewright.web import pages
from tapewright.web.asking import arriving, store_of
from tapewright.web.workbench import renamed
from tapewright.words.problem import InputAtFaultError, Problem

MOST_ZIP_BYTES: Final = 20 * 1024**3


def show(_request: Request) -> Response:
    """Show how jobs are taken out and brought in."""
    return pages.page("moving.html.j2", problems=(), brought=None)


def everything(request: Request) -> Response:
    """Give all jobs as one zip."""
    return zip_of(store_of(request), None, "jobs.zip")


def zip_of(store: Store, job_ids: Sequence[str] | None, called: str) -> Response:
    """Give jobs as a zip that a person can read; it is deleted here once it is sent.

    Arguments:
        store: where they are kept.
        job_ids: which; None for all.
        called: what the browser calls it.
    """
    folder = tempfile.TemporaryDirectory(prefix="tapewright-export-")
    path = Path(folder.name) / "jobs.zip"
    try:
        store.export(path, job_ids)
    except BaseException:
        folder.cleanup()
        raise
    headers = {"content-disposition": pages.to_keep(called)}
    return FileResponse(path, media_type="application/zip", headers=headers, background=BackgroundTask(folder.cleanup))


async def bring_in(request: Request) -> Response:
    """Take the jobs of a zip in; what is here already is not taken twice."""
    try:
        async with arriving(request, MOST_ZIP_BYTES) as (_, coming):
            if len(coming) != 1:
                raise InputAtFaultError(Problem("zip", "No file was chosen.", "Choose a zip that an export wrote."))
            ((zipped, called),) = coming
            zipped.flush()
            try:
                brought = await run_in_threadpool(store_of(request).bring_in, zipped.path)
            except InputAtFaultError as error:
                raise renamed(error, zipped.path, called) from None
    except InputAtFaultError as error:
        return pages.page("moving.html.j2", pages.AT_FAULT, problems=error.problems, brought=None)
    return pages.page("moving.html.j2", problems=brought.problems, brought=_counted(brought))


def _counted(brought: Brought) -> dict[str, int]:
    return {
        "new here": len(brought.added),
        "known, and now up to date": len(brought.continued),
        "known, and nothing new": len(brought.already_here),
    }
