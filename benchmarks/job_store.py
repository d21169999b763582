"""What the job store costs beside the database alone, with many jobs: every figure beside the plainest statement.

The jobs are invented: each with an owner, a machine, a complaint of some forty words, and eight entries; a tenth of
them with twenty steps more. The plain SELECT reads the same columns of fifty rows by the index, through SQLite's own
library.

Run: python benchmarks/job_store.py [JOBS] [DATABASE]
"""

import random
import secrets
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import text

from tapewright.jobs.store.database import reading, writing
from tapewright.jobs.store.history import Piece, Said, add_step, begin
from tapewright.jobs.store.nouns import Answer, Item, Money, Note, Owner, Particulars, PartUsed, Status, Work
from tapewright.jobs.store.opened import Store, open_store
from tapewright.jobs.store.steps import Steps, next_ticket
from tapewright.jobs.store.values import checked, plain_of

JOBS = 10_000
RUNS = 40
FIRST = "Invented Madeup Fancied Imagined Pretended Assumed Supposed Dreamt Feigned Mocked".split()  # noqa: SIM905
LAST = "Person Owner Customer Somebody Another Everyman Nobody Visitor Stranger Neighbour".split()  # noqa: SIM905
WORDS = "squeals eats the tape slow at start one side quiet hum keys stick warm cold rewind play wow".split()  # noqa: SIM905
PLAIN = (
    "SELECT id, ticket, machine_id, described_in, serial, complaint, due, created, changed, status "
    "FROM job ORDER BY changed DESC, id LIMIT 50"
)


def fill(store: Store, count: int) -> None:
    """Put jobs in, a hundred in one transaction: the store itself takes one for each, as at a counter."""
    draw = random.Random(1)
    start = datetime(2020, 1, 1, tzinfo=UTC)
    for first in range(0, count, 100):
        with writing(store.engine) as connection:
            for n in range(first, min(first + 100, count)):
                job_id, at = secrets.token_hex(8), start + timedelta(hours=5 * n)
                said = Particulars(
                    machine_id="four_track",
                    serial=f"S{n:06d}",
                    complaint=" ".join(draw.choices(WORDS, k=40)),
                    status=draw.choice(list(Status)[:-1]),
                    due=date(2020, 1, 1) + timedelta(days=n // 5),
                )
                owner = Owner(secrets.token_hex(8), f"{draw.choice(FIRST)} {draw.choice(LAST)}", f"0{n:07d}")
                items: list[Item] = [Answer(draw.choice(WORDS), draw.random() < 0.5) for _ in range(4)]
                items += [Note("rang"), PartUsed("belt", cost=Money(450, "EUR")), Work("belt", 12.0), Note("soaked")]
                steps = Steps(job_id)
                for item in items:
                    steps.add(item)
                begin(connection, job_id, next_ticket(connection, at.year), at)
                whole = [Piece("job", job_id, "add", checked("job", plain_of(said)))]
                whole += [Piece("owner", job_id, "add", checked("owner", plain_of(owner))), *steps.pieces]
                add_step(connection, job_id, whole, Said("A", "counter", at))
                for k in range(20 if n % 10 == 0 else 0):
                    later = [Piece("job", job_id, "set", {"condition": f"step {k}"})]
                    add_step(connection, job_id, later, Said("A", "bench", at + timedelta(minutes=k + 1)))


def taken_ms(do: Callable[[], object], runs: int = RUNS) -> tuple[float, float]:
    """Give the median and the longest of many runs, in milliseconds."""
    do()
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        do()
        taken.append(1e3 * (time.perf_counter() - begun))
    return statistics.median(taken), max(taken)


def plain_select(store: Store) -> Callable[[], object]:
    """Give the plainest statement: through SQLite's own library, or as text through the server's connection."""
    if store.database is not None:
        connection = sqlite3.connect(store.database)
        return lambda: connection.execute(PLAIN).fetchall()

    def ask() -> object:
        with reading(store.engine) as connection:
            return connection.execute(text(PLAIN)).all()

    return ask


def main(count: int, database: str | None) -> None:
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder), database) as store:
        begun = time.perf_counter()
        fill(store, count)
        print(f"{count} jobs put in within {time.perf_counter() - begun:.0f} s", flush=True)
        if store.database is not None:
            print(f"the database has {store.database.stat().st_size / 1e6:.0f} MB")
        lines = store.jobs(per_page=50).lines
        middle, job_id = max(1, count // 100), lines[len(lines) // 2].id
        doings: dict[str, Callable[[], object]] = {
            "plain SELECT of 50 rows": plain_select(store),
            "first page": store.jobs,
            "page in the middle": lambda: store.jobs(page=middle),
            "last page": lambda: store.jobs(page=10**9),
            "by due date": lambda: store.jobs(order="due"),
            "ready to collect": lambda: store.jobs(statuses=[Status.READY]),
            "counts by status": store.counts,
            "search, one word, few": lambda: store.jobs("s004321"),
            "search, one word, many": lambda: store.jobs("squeals"),
            "search, owner and word": lambda: store.jobs("imagined stranger squeals"),
            "search, nothing found": lambda: store.jobs("flugelhorn"),
            "owners as one types": lambda: store.owners("fei"),
            "one job": lambda: store.job(job_id),
            "its history": lambda: store.history(job_id),
            "an answer kept": lambda: store.add(job_id, Answer(secrets.token_hex(4), True)),
            "a copy for the day": lambda: store.back_up(anew=True),
            "opening": lambda: open_store(store.home, database).close(),
        }
        plain, _ = taken_ms(doings["plain SELECT of 50 rows"])
        print(f"{'':26s} {'median ms':>9s} {'longest':>9s} {'times plain':>12s}")
        for name, do in doings.items():
            median, longest = taken_ms(do, 5 if "copy" in name else RUNS)
            print(f"{name:26s} {median:9.2f} {longest:9.2f} {median / plain:12.1f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else JOBS, sys.argv[2] if len(sys.argv) > 2 else None)
