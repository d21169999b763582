"""Jobs in hand: one change at a time, recordings measured beside the page, findings worked out once and kept.

A page never waits for a recording: it shows what is known so far and how far the measuring is. While somebody looks at
a check, what "yes" and what "no" would lead to is worked out already, so that the next page comes at once.
"""

import contextlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Final

from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.bench_job import (
    Job,
    KeptRecording,
    answered,
    evidence_of,
    findings,
    keep_job,
    kept_jobs,
    machine_of,
    read_job,
    recording_path,
    skipped_in,
)
from tapewright.jobs.examine import hear_all
from tapewright.machine.library import shipped_ids
from tapewright.machine.parts import Machine
from tapewright.show.drawing import drawing
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.record import Heard, Record

KEPT_FINDINGS: Final = 48
KEPT_PICTURES: Final = 64
KEPT_MEASURED: Final = 16


class _Stopped(Exception):  # noqa: N818 - no error: the bench is being closed
    """Measuring was given up, since the bench is being closed."""


@dataclass(frozen=True, slots=True)
class Measured:
    """How far a recording is.

    Arguments:
        share: 0 to 1; 1 when it is done, one way or the other.
        heard: channel by channel, once it is done.
        problems: why it could not be measured.
    """

    share: float
    heard: tuple[Heard, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Look:
    """A job as it stands.

    Arguments:
        job: as kept.
        machine: None when it no longer reads; `problems` says why.
        record: the findings; None when there can be none; `problems` says why.
        measured: of each recording, in the job's order.
        problems: what keeps the job from being examined.
    """

    job: Job
    machine: Machine | None
    record: Record | None
    measured: tuple[Measured, ...]
    problems: tuple[Problem, ...] = ()


@lru_cache(maxsize=32)
def signs_by_id(machine: Machine) -> dict[str, Sign]:
    """Give every sign of a machine by its id."""
    return {sign.id: sign for sign in signs(mechanism(machine))}


class Workbench:
    """The jobs in hand.

    Arguments:
        home: the folder jobs lie in.
        ahead: whether to work out the next answers while somebody is looking.
    """

    def __init__(self, home: Path, *, ahead: bool = True) -> None:
        self.home = home
        self._ahead = ahead
        self._one_change = threading.Lock()
        self._lock = threading.Lock()
        self._measured: dict[tuple[str, str], Measured] = {}
        self._kept: OrderedDict[Hashable, Future[Record]] = OrderedDict()
        self._pictures: OrderedDict[Hashable, str] = OrderedDict()
        self._measurer = ThreadPoolExecutor(1, "measuring")
        self._thinker = ThreadPoolExecutor(1, "thinking ahead")
        self._waiting: list[Future[None]] = []
        self._closing = threading.Event()

    def close(self) -> None:
        """Give up what is being worked out; what is kept on the disk is whole at every moment."""
        self._closing.set()
        for pool in (self._measurer, self._thinker):
            pool.shutdown(wait=True, cancel_futures=True)

    def warm(self) -> None:
        """Make ready for the job that was last in hand, or for the first machine, while the browser is opening."""
        if self._ahead:
            self._thinker.submit(self._warm)

    def _warm(self) -> None:
        latest = next((job for job in kept_jobs(self.home) if isinstance(job, Job)), Job("", shipped_ids()[0]))
        with contextlib.suppress(InputAtFaultError):
            machine = machine_of(latest)
            self._findings(replace(latest, recordings=()), machine, ())

    # --- the job -----------------------------------------------------------------------------------------------------

    def change(self, job_id: str, do: Callable[[Job], Job]) -> Job:
        """Read a job, change it and keep it, while nobody else changes one.

        Raises:
            NoSuchJobError: when there is no such job.
            InputAtFaultError: when it cannot be read or written, or the change refuses.
        """
        with self._one_change:
            before = read_job(self.home, job_id)
            after = do(before)
            return keep_job(self.home, after) if after != before else before

    def change_files(self, job_id: str, do: Callable[[Path, Job], Job]) -> Job:
        """Do the same with a change that keeps the job itself, since it moves files too."""
        with self._one_change:
            return do(self.home, read_job(self.home, job_id))

    def look(self, job_id: str) -> Look:
        """Give a job with its findings; a recording not measured yet is begun.

        Raises:
            NoSuchJobError: when there is no such job.
            InputAtFaultError: when its file cannot be read.
        """
        job = read_job(self.home, job_id)
        try:
            machine = machine_of(job)
        except InputAtFaultError as error:
            return Look(job, None, None, tuple(Measured(1.0) for _ in job.recordings), error.problems)
        measured = tuple(self._state(job, machine, one) for one in job.recordings)
        try:
            record = self._findings(job, machine, measured)
        except InputAtFaultError as error:
            return Look(job, machine, None, measured, error.problems)
        self._think_ahead(job, machine, measured, record)
        return Look(job, machine, record, measured)

    def shares(self, job_id: str) -> list[float]:
        """Tell how far the recordings of a job are, 0 to 1."""
        job = read_job(self.home, job_id)
        with self._lock:
            return [
                state.share
                for one in job.recordings
                if (state := self._measured.get((job.id, one.file))) is not None
            ]  # fmt: skip

    # --- findings ----------------------------------------------------------------------------------------------------

    def _findings(self, job: Job, machine: Machine, measured: tuple[Measured, ...]) -> Record:
        done = tuple(one.file for one, state in zip(job.recordings, measured, strict=True) if state.heard)
        evidence = evidence_of(job)
        key = (job.id, machine, evidence.signs, evidence.age_years, skipped_in(job), job.complaint, done)
        with self._lock:
            future = self._kept.get(key)
            mine = future is None
            if future is None:
                future = self._kept[key] = Future()
                if len(self._kept) > KEPT_FINDINGS:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
        if mine:
            try:
                future.set_result(findings(job, machine, [one for state in measured for one in state.heard]))
            except BaseException as error:
                with self._lock:
                    self._kept.pop(key, None)
                future.set_exception(error)
        return future.result()

    def _think_ahead(self, job: Job, machine: Machine, measured: tuple[Measured, ...], record: Record) -> None:
        check = record.next_check
        if not self._ahead or check is None or self._closing.is_set():
            return

        def think(present: bool) -> None:
            if not self._closing.is_set():
                with contextlib.suppress(InputAtFaultError):
                    self._findings(answered(job, check.id, present), machine, measured)

        with self._lock:
            for older in self._waiting:
                older.cancel()
            self._waiting = [self._thinker.submit(think, present) for present in (True, False)]

    def picture(self, machine: Machine, mode: str, suspects: dict[str, float]) -> str:
        """Draw the mechanism, or give the drawing made before."""
        shares = {part: round(share, 2) for part, share in suspects.items()}
        key = (machine, mode, tuple(shares.items()))
        with self._lock:
            if key in self._pictures:
                self._pictures.move_to_end(key)
                return self._pictures[key]
        drawn = drawing(machine, mode, shares, link=lambda part: f"#part-{part}")
        with self._lock:
            self._pictures[key] = drawn
            if len(self._pictures) > KEPT_PICTURES:
                self._pictures.popitem(last=False)
        return drawn

    # --- measuring ---------------------------------------------------------------------------------------------------

    def _state(self, job: Job, machine: Machine, recording: KeptRecording) -> Measured:
        """Tell how far a recording is; begin with it when nobody has."""
        key = (job.id, recording.file)
        with self._lock:
            if key not in self._measured:
                self._measured[key] = Measured(0.0)
                if not self._closing.is_set():
                    self._measurer.submit(self._measure, key, job, machine, recording)
            return self._measured[key]

    def _measure(self, key: tuple[str, str], job: Job, machine: Machine, recording: KeptRecording) -> None:
        path = recording_path(self.home, job, recording)

        def tell(share: float) -> None:
            if self._closing.is_set():
                raise _Stopped
            self._set(key, Measured(min(share, 0.99)))

        try:
            found = hear_all(machine, [path], recording.tone_hz, tell)
            done = Measured(1.0, tuple(replace(one, file=recording.called) for one in found))
        except _Stopped:
            return
        except InputAtFaultError as error:
            done = Measured(1.0, problems=renamed(error, path, recording.called).problems)
        except Exception as error:
            found_there = f"stopped the measuring: {type(error).__name__}, a fault of this program and not of the file."
            done = Measured(1.0, problems=(Problem(recording.called, found_there, "Please report it with the file."),))
            self._set(key, done)
            raise
        self._set(key, done)

    def _set(self, key: tuple[str, str], state: Measured) -> None:
        with self._lock:
            self._measured[key] = state
            # An hour of four channels takes tens of megabytes: those of other jobs are measured again when asked for.
            others = [one for one, of in self._measured.items() if one[0] != key[0] and of.share == 1.0]
            for one in others[: max(0, len(self._measured) - KEPT_MEASURED)]:
                del self._measured[one]

    def forget(self, job_id: str, file: str) -> None:
        """Forget what a recording said."""
        with self._lock:
            self._measured.pop((job_id, file), None)


def renamed(error: InputAtFaultError, path: Path, called: str) -> InputAtFaultError:
    """Say a user's own name for a file where a mistake names the place it lies in."""
    return InputAtFaultError(
        [
            Problem(*(said.replace(str(path), called).replace(path.name, called) for said in (p.where, p.found, p.do)))
            for p in error.problems
        ]
    )
