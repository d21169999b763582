"""A program that works on a store until it is killed, and says what was acknowledged; made to be killed many times.

Run by the tests as `python killed.py HOME DATABASE`: it loads everything once and then, for each line `SEED` on its
input, makes a copy of itself that opens the store and works on it. The copy writes `pid N`, then `open`, then a line of
JSON after everything the store acknowledged.
"""

import io
import json
import os
import random
import sys
from pathlib import Path

from tapewright.jobs.store.nouns import Attached, FileKind, Note, PartUsed
from tapewright.jobs.store.opened import Store, open_store


def say(words: str) -> None:
    """Write a line in one go: whoever kills this reads it whole or not at all."""
    os.write(1, f"{words}\n".encode())


def work(store: Store, draw: random.Random, job_id: str, mark: int) -> None:
    """Do one thing: its pieces lie in several tables and have to appear together or not at all."""
    what = draw.choice(["pieces", "pieces", "file", "file", "undo", "redo"])
    if what == "pieces":
        with store.changing(job_id) as step:
            step.set(condition=f"mark {mark}")
            step.set_owner(name=f"mark {mark}")
            for each in "ab":
                step.add(Note(f"mark {mark} {each}"))
            step.add(PartUsed(f"mark {mark}"))
    elif what == "file":
        stored = store.put_file(io.BytesIO(draw.randbytes(draw.choice([10, 40_000, 400_000]))), "x.wav")
        store.add(job_id, Attached(stored.sha256, stored.size_bytes, "x.wav", FileKind.RECORDING), Note(stored.sha256))
    elif what == "undo":
        store.undo(job_id)
    else:
        store.redo(job_id)
    sheet = store.job(job_id)
    say(json.dumps([job_id, sheet.revision, [entry.what.text for entry in sheet.notes]]))


def live(home: Path, database: str | None, seed: int) -> None:
    """Work until killed, or for a hundred doings."""
    say(f"pid {os.getpid()}")
    draw = random.Random(seed)
    store = open_store(home, database)
    say("open")
    lines = store.jobs(per_page=5).lines
    jobs = [store.begin().id] + [draw.choice(lines).id for _ in range(1) if lines]
    for n in range(100):
        work(store, draw, draw.choice(jobs), 1000 * seed + n)


def main(home: Path, database: str | None) -> None:
    """Make a copy for each line, and say when it is dead."""
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            try:
                live(home, database, int(line))
            except BaseException as error:
                say(f"broken {type(error).__name__} {error}".replace("\n", " "))
            os._exit(0)
        os.waitpid(pid, 0)
        say("dead")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2] or None)
