"""A guided minute as it happens: the browser's sound block by block, and the marks of what is done when, into the job.

The blocks are those of `live`. Between them the page sends one JSON document for each mark, {"mark": mode}, for what
the machine did not do, {"failed": true}, and at the end {"done": true} or {"abort": true}. A mark stands at the sound
that has come so far: its blocks are the clock. A page may say {"mark": mode, "at_s": seconds} where its own clock of
the sound knows better. What was recorded up to a broken connection is kept with its marks.
"""

import contextlib
import json
import math
from datetime import datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from tapewright.jobs.bench_job import machine_of
from tapewright.jobs.guided_minute_marks import LONGEST_S, MOST_MARKS, checked_marks, note_of
from tapewright.jobs.store.nouns import Attached, FileKind, NoSuchJobError, Stage
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job
from tapewright.machine.parts import Machine
from tapewright.web.live import MEANT, MOST_WORDS, UNREADABLE, Opening, Take, block_of, opening_of
from tapewright.web.workbench import Workbench
from tapewright.words.problem import InputAtFaultError

NEAR_S = 5.0
"""A mark whose time is said may miss the sound that has come so far by so much: blocks are on their way."""


class MinuteTake:
    """A guided minute in the making.

    Arguments:
        opening: from the first message.
        machine: whose steps are gone through.
    """

    def __init__(self, opening: Opening, machine: Machine) -> None:
        self.opening, self._machine = opening, machine
        self.sound = Take(opening)
        self._next = 0
        self.marks: list[tuple[str, float]] = []
        self.failed: set[int] = set()

    @property
    def now_s(self) -> float:
        """Give how long the file is by now, seconds."""
        return self.sound.frames / self.opening.rate_hz

    def add(self, message: bytes) -> None:
        """Take one block; what was lost before it is kept as silence, so that marks and sound stay together.

        Raises:
            ValueError: for what is no block, and for a minute that does not end.
        """
        number, lost, samples = block_of(message, self.opening.channels)
        if number != self._next or lost:
            self.sound.spoilt = True
            self.sound.silence(lost)
        self._next = (number + 1) % 2**32
        self.sound.write(samples)
        if self.now_s > LONGEST_S:
            raise ValueError(f"A guided minute of more than {LONGEST_S / 60.0:.0f} minutes is none.")

    def told(self, said: dict[str, Any]) -> None:
        """Take a mark, or that the machine did not do the last one.

        Raises:
            ValueError: for anything else, and for marks that cannot be meant.
        """
        if said.get("failed") is True and self.marks:
            self.failed.add(len(self.marks) - 1)
            return
        mode, at_s = said.get("mark"), said.get("at_s", self.now_s)
        if not isinstance(mode, str) or isinstance(at_s, bool) or not isinstance(at_s, (int, float)):
            raise ValueError("A mark names a mode.")
        if not math.isfinite(at_s) or abs(at_s - self.now_s) > NEAR_S:
            raise ValueError("A mark does not stand where the sound is.")
        if len(self.marks) >= MOST_MARKS:
            raise ValueError("There are too many marks.")
        marks = [*self.marks, (mode, max(0.0, float(at_s)))]
        try:
            checked_marks(self._machine, marks)
        except InputAtFaultError as error:
            raise ValueError(str(error.problems[0])) from None
        self.marks = marks  # what cannot be meant never spoils those before it

    @property
    def note(self) -> str:
        """Write the marks as they stand beside the file."""
        return note_of(checked_marks(self._machine, self.marks), self.failed)


def keep_minute(store: Store, job_id: str, take: MinuteTake, who: str) -> dict[str, str]:
    """Put a guided minute into the job; gives what it is called, and its name there.

    Raises:
        InputAtFaultError: when it cannot be kept.
    """
    take.sound.close()
    lost = ", sound was lost" if take.sound.spoilt else ""
    called = f"guided minute {datetime.now().astimezone():%Y-%m-%d %H.%M.%S}{lost}.wav"
    with take.sound.path.open("rb") as file:
        stored = store.put_file(file, called)
    stage = Stage.AFTER if store.job(job_id).parts else Stage.BEFORE
    kept = Attached(
        stored.sha256, stored.size_bytes, called, FileKind.DOCUMENT, stage=stage, note=take.note, personal=True
    )
    store.add(job_id, kept, who=who, how="guided minute")
    return {"kept": called, "file": stored.sha256}


async def minute_live(socket: WebSocket) -> None:
    """Serve one guided minute."""
    bench = socket.app.state.bench
    assert isinstance(bench, Workbench)
    job_id, who = str(socket.path_params["job_id"]), str(getattr(socket.state, "who", ""))
    try:
        machine = await run_in_threadpool(lambda: machine_of(as_bench_job(bench.store.job(job_id))))
    except (NoSuchJobError, InputAtFaultError):
        await socket.close(MEANT, "There is no such job, or its machine cannot be read.")
        return
    await socket.accept()
    take: MinuteTake | None = None
    try:
        take = MinuteTake(opening_of(await socket.receive_text()), machine)
        while await _one(socket, take):
            pass
        await socket.send_json(await run_in_threadpool(_ended, bench.store, job_id, take, who))
        take = None
        await socket.close()
    except _AbortedError:
        take.sound.forget() if take else None
        take = None
        await socket.close()
    except WebSocketDisconnect:
        pass
    except (ValueError, KeyError, RecursionError) as error:
        with contextlib.suppress(RuntimeError):
            await socket.close(UNREADABLE, str(error)[:100])
    finally:
        if take is not None:  # what was recorded up to a broken connection is kept too
            await run_in_threadpool(_ended, bench.store, job_id, take, who)


class _AbortedError(Exception):
    """Somebody broke the minute off, and nothing is to be kept."""


async def _one(socket: WebSocket, take: MinuteTake) -> bool:
    """Take one message; tell whether more is to come."""
    message = await socket.receive()
    if message["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(message.get("code", 1000))
    data = message.get("bytes")
    if data is not None:
        await run_in_threadpool(take.add, data)
        return True
    text = message.get("text") or ""
    said = json.loads(text) if len(text) <= MOST_WORDS else None
    if not isinstance(said, dict):
        raise ValueError("Words between blocks are marks, or say that it is over.")
    if said.get("abort") is True:
        raise _AbortedError
    if said.get("done") is True:
        return False
    take.told(said)
    return True


def _ended(store: Store, job_id: str, take: MinuteTake, who: str) -> dict[str, str]:
    try:
        if take.sound.frames == 0 or not take.marks:
            return {"problem": "Nothing had come in yet."}
        return keep_minute(store, job_id, take, who)
    except InputAtFaultError as error:
        return {"problem": str(error.problems[0])}
    except NoSuchJobError:
        return {"problem": "The job was erased meanwhile."}
    finally:
        take.sound.forget()
