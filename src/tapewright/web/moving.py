"""Jobs out of this shop and into it: all of them as one zip that a person can read, or those of such a zip."""

import tempfile
from pathlib import Path
from typing import Final

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from tapewright.jobs.bench_job import called_plainly
from tapewright.jobs.store.files import Incoming
from tapewright.jobs.store.nouns import Brought
from tapewright.web import pages
from tapewright.web.asking import store_of, typed_in
from tapewright.words.problem import InputAtFaultError, Problem

MOST_ZIP_BYTES: Final = 20 * 1024**3


def show(_request: Request) -> Response:
    """Show how jobs are taken out and brought in."""
    return pages.page("moving.html.j2", problems=(), brought=None)


def everything(request: Request) -> Response:
    """Give all jobs as one zip."""
    folder = tempfile.TemporaryDirectory(prefix="tapewright-export-")
    path = Path(folder.name) / "jobs.zip"
    try:
        store_of(request).export(path)
    except BaseException:
        folder.cleanup()
        raise
    headers = {"content-disposition": 'attachment; filename="jobs.zip"'}
    return FileResponse(path, media_type="application/zip", headers=headers, background=BackgroundTask(folder.cleanup))


async def bring_in(request: Request) -> Response:
    """Take the jobs of a zip in; what is here already is not taken twice."""
    store = store_of(request)
    coming: list[Incoming] = []

    def sink(_name: str, filename: str) -> Incoming:
        coming.append(store.incoming(called_plainly(filename), MOST_ZIP_BYTES))
        return coming[-1]

    try:
        await typed_in(request, sink)
        if len(coming) != 1:
            raise InputAtFaultError(Problem("zip", "No file was chosen.", "Choose a zip that an export wrote."))
        coming[0].flush()
        brought = await run_in_threadpool(store.bring_in, coming[0].path)
    except InputAtFaultError as error:
        return pages.page("moving.html.j2", pages.AT_FAULT, problems=error.problems, brought=None)
    finally:
        for one in coming:
            one.__exit__()
    return pages.page("moving.html.j2", problems=brought.problems, brought=_counted(brought))


def _counted(brought: Brought) -> dict[str, int]:
    return {
        "new here": len(brought.added),
        "known, and now up to date": len(brought.continued),
        "known, and nothing new": len(brought.already_here),
    }
