"""Killed at two hundred random moments, while it writes and while files arrive: what was acknowledged is there, whole.

Oracle: each step's pieces carry one mark in several tables, so that half a step would be seen without asking how steps
are kept; a file is compared with its own checksum. The database says for itself whether it is whole.
"""

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tapewright.jobs.store import files
from tapewright.jobs.store.nouns import Sheet, Status
from tapewright.jobs.store.old_folders import JOB_FILE
from tapewright.jobs.store.opened import Store, open_store
from tests.jobs.store import killed
from tests.jobs.store.old_folders import begun, keep_job

ROUNDS = 200

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork: the program cannot be copied"),
]


@dataclass
class Told:
    """What a killed copy said: the last that was acknowledged of each job, and how far it came."""

    last: dict[str, tuple[int, list[str]]] = field(default_factory=dict)
    acknowledged: int = 0
    opened: bool = False


def one_round(program: subprocess.Popen[str], seed: int, draw: random.Random) -> Told:
    """Let a copy live for a random while, kill it, and read what it had said."""
    assert program.stdin is not None
    assert program.stdout is not None
    program.stdin.write(f"{seed}\n")
    program.stdin.flush()
    pid = int(program.stdout.readline().split()[1])
    told = Told()
    if draw.random() < 0.9:  # else it is killed somewhere in the opening
        assert program.stdout.readline() == "open\n"
        told.opened = True
    doings, took_s = draw.randrange(6) if told.opened else 0, 0.05
    for _ in range(doings):
        begun_s = time.monotonic()
        _hear(program.stdout.readline(), told)
        took_s = time.monotonic() - begun_s
    time.sleep(
        draw.uniform(0.0, 1.5 * took_s)
    )  # somewhere in the next doing or the one after, however fast this machine is
    os.kill(pid, signal.SIGKILL)
    for line in program.stdout:
        if line == "dead\n":
            return told
        if line != "open\n":
            _hear(line, told)
    raise AssertionError("the program ended")


def _hear(line: str, told: Told) -> None:
    assert not line.startswith("broken"), line
    job_id, revision, notes = json.loads(line)
    told.last[job_id] = (revision, notes)
    told.acknowledged += 1


def look(store: Store, sheet: Sheet) -> None:
    """See that nothing of a job is half there."""
    notes = Counter(entry.what.text for entry in sheet.notes)
    marks = [entry.what.what for entry in sheet.parts]
    for mark in marks:
        assert notes.pop(f"{mark} a") == notes.pop(f"{mark} b") == 1
    for entry in sheet.files:
        content = store.file_path(entry.what.sha256).read_bytes()
        assert hashlib.sha256(content).hexdigest() == entry.what.sha256
        if entry.what.called != JOB_FILE:  # that one came with a job taken over, and no note goes with it
            notes[entry.what.sha256] -= 1
    assert set(notes.values()) <= {0}
    last = marks[-1] if marks else ""
    assert sheet.particulars.condition == sheet.owner.name == last
    assert [step.number for step in store.history(sheet.id)] == list(range(1, sheet.revision + 1))


def test_killed_two_hundred_times(tmp_path: Path, database: str | None) -> None:
    home, draw = tmp_path / "home", random.Random(6)
    known: dict[str, int] = {}
    earlier: list[str] = []
    acknowledged = one_more = 0
    call = [sys.executable, killed.__file__, str(home), database or ""]
    with subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as program:
        for seed in range(ROUNDS):
            if seed % 10 == 0:  # something for the opening to take over
                earlier.append(keep_job(home, begun("four_track")).id)
            told = one_round(program, seed, draw)
            acknowledged += told.acknowledged
            with open_store(home, database) as store:
                assert store.remarks == ()
                for job_id, (revision, notes) in told.last.items():
                    sheet = store.job(job_id)
                    assert sheet.revision in (revision, revision + 1)
                    if sheet.revision == revision:
                        assert [entry.what.text for entry in sheet.notes] == notes
                    one_more += sheet.revision > revision
                    look(store, sheet)
                    known[job_id] = sheet.revision
        assert program.stdin is not None
        program.stdin.close()
    with open_store(home, database) as store:
        lines = store.jobs(statuses=tuple(Status), per_page=500).lines
        assert set(known) | set(earlier) <= {line.id for line in lines}
        assert len({line.ticket for line in lines}) == len(lines)
        for line in lines:
            if line.id not in earlier:
                look(store, store.job(line.id))
        for path in store.files.glob("[0-9a-f][0-9a-f]/*"):
            assert hashlib.sha256(path.read_bytes()).hexdigest() == path.name
        left = len(list((store.files / files.INCOMING).iterdir()))
        if database is None:
            with store.engine.connect() as connection:
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    print(f"{ROUNDS} kills, {acknowledged} acknowledged, {one_more} kept and not acknowledged, {left} files cut short")
    assert acknowledged > 2 * ROUNDS, "hardly anything was done: the kills prove little"
    assert left > 0, "no kill fell into the storing of a file: the kills prove little"
