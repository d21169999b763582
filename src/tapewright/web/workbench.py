"""Jobs in hand: one change at a time, recordings measured beside the page, findings worked out once and kept.

A page never waits for a recording: it shows what is known so far and how far the measuring is. While somebody looks at
a check, what "yes" and what "no" would lead to is worked out already, so that the next page comes at once.
"""

import contextlib
import threading
from collections import OrderedDict
from collections.abc import Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Final

from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.bench_job import Job, KeptRecording, answered, evidence_of, machine_of, skipped_in
from tapewright.jobs.examine import examine, hear_all
from tapewright.jobs.machine_history import to_write_down
from tapewright.jobs.store.nouns import Attached, Entry, FileKind, NoSuchJobError, Sheet, Stage
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job
from tapewright.jobs.test_tapes import measured_with
from tapewright.machine.library import shipped_ids
from tapewright.machine.parts import Machine, part_names
from tapewright.show.drawing import drawing
from tapewright.web.drawn import Drawn, drawn_mode, marked, recording_charts
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.record import Heard, Record

KEPT_FINDINGS: Final = 48
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
        sheet: all that is kept of it.
        job: the same in the shape that findings are worked out from.
        machine: None when it no longer reads; `problems` says why.
        record: the findings; None when there can be none; `problems` says why.
        measured: of each recording, in the job's order.
        problems: what keeps the job from being examined.
    """

    sheet: Sheet
    job: Job
    machine: Machine | None
    record: Record | None
    measured: tuple[Measured, ...]
    problems: tuple[Problem, ...] = ()

    def heard_at(self, *stages: Stage) -> list[tuple[KeptRecording, Measured]]:
        """Give the recordings of some stages, each with what it says."""
        wanted = {one.what.sha256 for one in recordings_of(self.sheet) if one.what.stage in stages}
        pairs = zip(self.job.recordings, self.measured, strict=True)
        return [(recording, state) for recording, state in pairs if recording.file in wanted]


def recordings_of(sheet: Sheet) -> list[Entry[Attached]]:
    """List the recordings of a job, in the order they were added."""
    return [entry for entry in sheet.files if entry.what.kind is FileKind.RECORDING]


def readings_of(sheet: Sheet) -> dict[str, Reading]:
    """Give what was read off instruments before the repair, by name, of each the latest; no recording's readings."""
    return {
        one.what.name: Reading(
            one.what.value,
            one.what.unit,
            one.what.doubt,
            one.what.why_not or None,
            one.what.method,
            one.what.conditions,
            by=one.what.by,
        )
        for one in sheet.readings
        if one.what.stage is not Stage.AFTER and one.what.value is not None and not one.what.sha256
    }


@lru_cache(maxsize=32)
def signs_by_id(machine: Machine) -> dict[str, Sign]:
    """Give every sign of a machine by its id."""
    return {sign.id: sign for sign in signs(mechanism(machine))}


class Workbench:
    """The jobs in hand.

    Arguments:
        store: where jobs are kept.
        ahead: whether to work out the next answers while somebody is looking.
    """

    def __init__(self, store: Store, *, ahead: bool = True) -> None:
        self.store = store
        self._ahead = ahead
        self._lock = threading.Lock()
        self._measured: dict[tuple[str, str], Measured] = {}
        self._kept: OrderedDict[Hashable, Future[Record]] = OrderedDict()
        self.drawn = Drawn()
        self._measurer = ThreadPoolExecutor(1, "measuring")
        self._thinker = ThreadPoolExecutor(1, "thinking ahead")
        self._waiting: list[Future[None]] = []
        self._given_up: set[tuple[str, str]] = set()
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
        with contextlib.suppress(InputAtFaultError):
            latest = self.store.jobs(per_page=1).lines
            job = as_bench_job(self.store.job(latest[0].id)) if latest else Job("", shipped_ids()[0])
            machine = machine_of(job)
            self._findings(replace(job, recordings=()), machine, (), {})

    # --- the job -----------------------------------------------------------------------------------------------------

    def look(self, job_id: str) -> Look:
        """Give a job with its findings; a recording not measured yet is begun.

        Raises:
            NoSuchJobError: when there is no such job.
            InputAtFaultError: when it cannot be read.
        """
        sheet = self.store.job(job_id)
        job = as_bench_job(sheet)
        try:
            machine = machine_of(job)
        except InputAtFaultError as error:
            return Look(sheet, job, None, None, tuple(Measured(1.0) for _ in job.recordings), error.problems)
        measured = tuple(self._state(job, machine, one) for one in job.recordings)
        look = Look(sheet, job, machine, None, measured)
        before = tuple(state for _, state in look.heard_at(Stage.UNSAID, Stage.BEFORE))
        readings = readings_of(sheet)
        try:
            record = self._findings(job, machine, before, readings)
        except InputAtFaultError as error:
            return replace(look, problems=error.problems)
        self._think_ahead(job, machine, before, readings, record)
        return replace(look, record=record)

    def shares(self, job_id: str) -> list[float]:
        """Tell how far the recordings of a job are, 0 to 1."""
        sheet = self.store.job(job_id)
        with self._lock:
            return [
                state.share
                for one in recordings_of(sheet)
                if (state := self._measured.get((job_id, one.what.sha256))) is not None
            ]  # fmt: skip

    # --- findings ----------------------------------------------------------------------------------------------------

    def _findings(
        self, job: Job, machine: Machine, measured: tuple[Measured, ...], readings: dict[str, Reading]
    ) -> Record:
        heard = tuple(one for state in measured for one in state.heard)
        evidence = replace(evidence_of(job), readings=readings)
        said = (evidence.signs, evidence.age_years, skipped_in(job), job.complaint)
        key = (job.id, machine, said, tuple(readings.items()), tuple((one.file, one.channel) for one in heard))
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
                future.set_result(
                    examine(machine, evidence, complaint=job.complaint, skipped=skipped_in(job), heard=heard)
                )
            except BaseException as error:
                with self._lock:
                    self._kept.pop(key, None)
                future.set_exception(error)
        return future.result()

    def _think_ahead(
        self,
        job: Job,
        machine: Machine,
        measured: tuple[Measured, ...],
        readings: dict[str, Reading],
        record: Record,
    ) -> None:
        check = record.next_check
        if not self._ahead or check is None or self._closing.is_set():
            return

        def think(present: bool) -> None:
            if not self._closing.is_set():
                with contextlib.suppress(InputAtFaultError):
                    then = self._findings(answered(job, check.id, present), machine, measured, readings)
                    if not self._closing.is_set():
                        self.picture(machine, "", then)

        with self._lock:
            for older in self._waiting:
                older.cancel()
            self._waiting = [self._thinker.submit(think, present) for present in (True, False)]

    def picture(self, machine: Machine, mode: str, record: Record) -> str:
        """Draw the mechanism with the suspects marked, or give the drawing made before.

        Arguments:
            machine: as described.
            mode: as asked for; "" for the one that the next check is about.
            record: what is found.
        """
        mode, known = drawn_mode(machine, mode, record.next_check), set(part_names(machine))
        shares = {part: round(share, 2) for part, share in marked(record).items() if part in known}
        key = (machine, mode, tuple(shares.items()))
        (drawn,) = self.drawn.of(
            key, (), lambda: [drawing(machine, mode, shares, link=lambda part: f"?part={part}#noticed")]
        )
        return drawn

    def charts(self, job_id: str, file: str, state: Measured, machine: Machine | None) -> tuple[str, ...]:
        """Draw the charts of a recording, or give those drawn before."""
        return self.drawn.of(("charts", job_id, file), (state,), lambda: recording_charts(state.heard, machine))

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
        path = Path(recording.file)

        def tell(share: float) -> None:
            if self._closing.is_set() or key in self._given_up:
                raise _Stopped
            self._set(key, Measured(min(share, 0.99)))

        try:
            path = self.store.file_path(recording.file)
            found = hear_all(machine, [path], recording.tone_hz, tell, made_with=measured_with())
            done = Measured(1.0, tuple(replace(one, file=recording.called) for one in found))
        except _Stopped:
            self._given_up.discard(key)
            return
        except InputAtFaultError as error:
            done = Measured(1.0, problems=renamed(error, path, recording.called).problems)
        except Exception as error:
            found_there = f"stopped the measuring: {type(error).__name__}, a fault of this program and not of the file."
            done = Measured(1.0, problems=(Problem(recording.called, found_there, "Please report it with the file."),))
            self._set(key, done)
            raise
        if key in self._given_up:
            self._given_up.discard(key)
        else:
            self._set(key, done)
            self._write_down(key, done)
            self.charts(job.id, recording.file, done, machine)  # nobody is kept waiting for them then

    def _write_down(self, key: tuple[str, str], done: Measured) -> None:
        """Keep what a recording said with its job, so that the machine's history knows it without measuring anew."""
        job_id, sha256 = key
        with contextlib.suppress(InputAtFaultError, NoSuchJobError):
            sheet = self.store.job(job_id)
            stages = [entry.what.stage for entry in recordings_of(sheet) if entry.what.sha256 == sha256]
            kept = to_write_down(done.heard, stages[0], sha256) if stages else []
            before = [entry for entry in sheet.readings if entry.what.sha256 == sha256]
            if not kept or [entry.what for entry in before] == kept:
                return
            with self.store.changing(job_id, how="measured") as step:
                for entry in before:
                    step.remove(entry.id)
                for one in kept:
                    step.add(one)

    def _set(self, key: tuple[str, str], state: Measured) -> None:
        with self._lock:
            self._measured[key] = state
            # An hour of four channels takes tens of megabytes: those of other jobs are measured again when asked for.
            others = [one for one, of in self._measured.items() if one[0] != key[0] and of.share == 1.0]
            for one in others[: max(0, len(self._measured) - KEPT_MEASURED)]:
                del self._measured[one]

    def give_up(self, job_id: str, file: str, called: str) -> None:
        """Stop measuring a recording; the recording itself stays."""
        key = (job_id, file)
        with self._lock:
            state = self._measured.get(key)
        if state is not None and state.share < 1.0:
            self._given_up.add(key)
            found = "was not measured to its end: that was cancelled."
            self._set(key, Measured(1.0, problems=(Problem(called, found, "Measure it again when there is time."),)))

    def forget(self, job_id: str, file: str) -> None:
        """Forget what a recording said, so that it is measured anew when it is asked for."""
        with self._lock:
            self._measured.pop((job_id, file), None)
            self._given_up.discard((job_id, file))


def renamed(error: InputAtFaultError, path: Path, called: str) -> InputAtFaultError:
    """Say a user's own name for a file where a mistake names the place it lies in."""
    return InputAtFaultError(
        [
            Problem(*(said.replace(str(path), called).replace(path.name, called) for said in (p.where, p.found, p.do)))
            for p in error.problems
        ]
    )
