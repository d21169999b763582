"""Sound from the browser's audio input, read while it plays, and recorded into the job on request.

The page opens a WebSocket. Its first message says in JSON what comes: sample rate, channels, what the browser does to
the sound. Then each block is one binary message: a running number (32 bits, little-endian), how many frames were lost
before it (32 bits), and the samples, 32-bit floats, one frame after the other. Words between blocks are JSON too:
{"record": true} and {"record": false}. Each answer is one JSON document of moments.
"""

import contextlib
import json
import math
import struct
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final, TypeGuard

import numpy as np
import soundfile
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from tapewright.jobs.bench_job import machine_of
from tapewright.jobs.store.nouns import Attached, FileKind, NoSuchJobError, Stage
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job
from tapewright.jobs.verdicts import verdicts
from tapewright.machine.parts import Machine
from tapewright.measure.live import LiveMeter, Moment
from tapewright.web.workbench import Workbench
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError

HEAD: Final = struct.Struct("<II")
MOST_BLOCK_BYTES: Final = 1 << 20
MOST_WORDS: Final = 4000
RATES_HZ: Final = (8000.0, 192_000.0)
MOST_CHANNELS: Final = 8
LONGEST_TAKE_S: Final = 1800.0
OUT_OF_STEP: Final = 0.02
"""Share by which the samples that came may miss the clock on the wall before it is said."""
IN_STEP_AFTER_S: Final = 5.0
MEANT: Final = 1008  # WebSocket close codes of RFC 6455: a policy was broken,
UNREADABLE: Final = 1003  # and data that cannot be accepted


class _Refused(Exception):  # noqa: N818 - an answer, not an error of ours
    """What came cannot be meant; the connection is closed with the reason."""


@dataclass(frozen=True, slots=True)
class Opening:
    """What the page says before the first block.

    Arguments:
        rate_hz: sample rate of the blocks.
        channels: how many.
        tone_hz: what the tone was recorded at; None for the usual one that is nearest.
        altered: what the browser does to the sound though it was asked not to, in its own words.
        device_rate_hz: sample rate of the input itself, where the browser tells; None where it does not.
    """

    rate_hz: float
    channels: int
    tone_hz: float | None
    altered: tuple[str, ...]
    device_rate_hz: float | None


def opening_of(text: str) -> Opening:
    """Read the first message.

    >>> opening_of('{"rate_hz": 48000, "channels": 1}').channels
    1

    Raises:
        ValueError: for anything that cannot be meant, with a sentence.
    """
    if len(text) > MOST_WORDS:
        raise ValueError("The first message is too long.")
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        raise ValueError("The first message is not JSON.") from None
    if not isinstance(said, dict):
        raise ValueError("The first message says nothing of what comes.")
    rate_hz, channels = said.get("rate_hz"), said.get("channels")
    if not _is_number(rate_hz) or not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise ValueError(f"The sample rate must be {RATES_HZ[0]:.0f} to {RATES_HZ[1]:.0f} Hz.")
    if isinstance(channels, bool) or not isinstance(channels, int) or not 1 <= channels <= MOST_CHANNELS:
        raise ValueError(f"There must be 1 to {MOST_CHANNELS} channels.")
    tone_hz, device = said.get("tone_hz"), said.get("device_rate_hz")
    if tone_hz is not None and not (_is_number(tone_hz) and 100.0 <= tone_hz <= 20_000.0):
        raise ValueError("The tone must be 100 to 20000 Hz, or not be said.")
    altered = said.get("altered", [])
    if not isinstance(altered, list) or not all(isinstance(one, str) for one in altered):
        raise ValueError("What the browser alters must be a list of words.")
    known = device if _is_number(device) and device > 0.0 else None
    return Opening(float(rate_hz), channels, tone_hz, tuple(one[:80] for one in altered[:9]), known)


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def block_of(message: bytes, channels: int) -> tuple[int, int, NDArray[np.float32]]:
    """Read one block: its running number, the frames lost before it, its samples, shape (n, channels).

    Raises:
        ValueError: for what is no block of so many channels.
    """
    if not HEAD.size < len(message) <= MOST_BLOCK_BYTES or (len(message) - HEAD.size) % (4 * channels):
        raise ValueError(f"A block of {len(message)} bytes cannot be read.")
    number, lost = HEAD.unpack_from(message)
    samples = np.frombuffer(message, dtype="<f4", offset=HEAD.size).reshape(-1, channels)
    return number, lost, samples.astype(np.float32)


class Listening:
    """One connection: the meter, the count of blocks, and a take when one is being recorded.

    Arguments:
        opening: from the first message.
        machine: whose limits hold; None for the document's.
        now_s: the time, seconds, of any clock that goes on evenly.
    """

    def __init__(self, opening: Opening, machine: Machine | None, now_s: float) -> None:
        self.opening, self._machine = opening, machine
        self._meter = LiveMeter(opening.rate_hz, opening.channels, opening.tone_hz)
        self._next, self._frames, self._began_s = 0, 0, now_s
        self.lost_frames = 0
        self.take: Take | None = None

    def add(self, message: bytes, now_s: float) -> list[dict[str, Any]]:
        """Take one block; give the moments that it completes.

        Raises:
            ValueError: for what is no block.
        """
        number, lost, samples = block_of(message, self.opening.channels)
        if number != self._next or lost:
            self.lost_frames += lost
            self._meter.lost(lost / self.opening.rate_hz)
            if self.take is not None:
                self.take.spoilt = True
        self._next = (number + 1) % 2**32
        self._frames += len(samples)
        if self.take is not None:
            self.take.write(samples)
        also = self._remarks(now_s)
        return [self._shown(moment, also) for moment in self._meter.add(samples)]

    def _shown(self, moment: Moment, also: Sequence[str]) -> dict[str, Any]:
        readings = {
            "speed_error_pct": moment.mean, "weighted_peak_pct": moment.weighted_peak,
            "weighted_rms_pct": moment.weighted_rms,
        }  # fmt: skip
        return {
            "channel": moment.channel,
            "time_s": round(moment.time_s, 3),
            "found": moment.tone.found,
            "now": plain(moment.now),
            "readings": {name: plain(reading) for name, reading in readings.items()},
            "verdicts": plain(verdicts(self._machine, readings)),
            "level_db": moment.level_db,
            "peak_db": moment.peak_db,
            "curve_pct": [round(one, 4) if math.isfinite(one) else None for one in moment.curve_pct],
            "remarks": [*moment.remarks, *also],
        }

    def _remarks(self, now_s: float) -> list[str]:
        said = [f"The browser alters the sound: {one}. Levels, and flutter with them, are not to be trusted."
                for one in self.opening.altered]  # fmt: skip
        device = self.opening.device_rate_hz
        if device is not None and abs(device - self.opening.rate_hz) > 0.5:
            said.append(
                f"The browser converts the input's {device:.0f} samples a second to {self.opening.rate_hz:.0f}: a "
                "recording made outside the browser is better."
            )
        passed_s = now_s - self._began_s
        if passed_s > IN_STEP_AFTER_S:
            pace = (self._frames + self.lost_frames) / self.opening.rate_hz / passed_s
            if abs(pace - 1.0) > OUT_OF_STEP + 0.5 / passed_s:
                said.append(
                    f"{100.0 * pace:.0f} % of the samples that the clock asks for came: the sample rate is wrong, or "
                    "sound is lost unseen. The speed is not to be trusted."
                )
        return said


class Take:
    """A recording in the making, in a file of its own until it is whole.

    Arguments:
        opening: what comes.
    """

    def __init__(self, opening: Opening) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="tapewright-take-")
        self.path = Path(self._folder.name) / "take.wav"
        self._most = int(LONGEST_TAKE_S * opening.rate_hz)
        self._file = soundfile.SoundFile(
            str(self.path), "w", round(opening.rate_hz), opening.channels, subtype="FLOAT", format="WAV"
        )
        self.frames, self.spoilt = 0, False

    def write(self, samples: NDArray[np.float32]) -> None:
        """Take samples, shape (n, channels)."""
        kept = samples[: max(0, self._most - self.frames)]
        if len(kept):
            self._file.write(kept)
            self.frames += len(kept)

    def silence(self, frames: int) -> None:
        """Write silence for frames that were lost; for no more than a second of them."""
        kept = min(frames, self._file.samplerate)
        self.write(np.zeros((kept, self._file.channels), dtype=np.float32))

    def close(self) -> None:
        """End the file."""
        self._file.close()

    def forget(self) -> None:
        """Delete it."""
        with contextlib.suppress(Exception):
            self._file.close()
        self._folder.cleanup()


def keep_take(store: Store, job_id: str, take: Take, opening: Opening, who: str) -> str:
    """Put a take into the job; gives what it is called.

    Raises:
        InputAtFaultError: when it cannot be kept.
    """
    take.close()
    called = f"live {datetime.now().astimezone():%Y-%m-%d %H.%M.%S}.wav"
    with take.path.open("rb") as file:
        stored = store.put_file(file, called)
    stage = Stage.AFTER if store.job(job_id).parts else Stage.BEFORE
    note = "sound was lost while it was recorded" if take.spoilt else ""
    kept = Attached(stored.sha256, stored.size_bytes, called, FileKind.RECORDING, opening.tone_hz, stage, note)
    store.add(job_id, kept, who=who, how="live")
    return called


async def live(socket: WebSocket) -> None:
    """Serve one connection."""
    bench = socket.app.state.bench
    assert isinstance(bench, Workbench)
    job_id = str(socket.path_params["job_id"])
    try:
        machine = await run_in_threadpool(_machine, bench.store, job_id)
    except NoSuchJobError:
        await socket.close(MEANT, "There is no such job.")
        return
    await socket.accept()
    listening: Listening | None = None
    try:
        opening = opening_of(await socket.receive_text())
        listening = Listening(opening, machine, time.monotonic())
        while True:
            await _one(socket, bench.store, job_id, listening)
    except WebSocketDisconnect:
        pass
    except (ValueError, KeyError, RecursionError, _Refused) as error:
        with contextlib.suppress(RuntimeError):
            await socket.close(UNREADABLE, str(error)[:100])
    finally:
        if listening is not None and listening.take is not None:
            # What was recorded up to a broken connection is kept too.
            who = str(getattr(socket.state, "who", ""))
            await run_in_threadpool(_end_take, bench.store, job_id, listening, who)


def _machine(store: Store, job_id: str) -> Machine | None:
    job = as_bench_job(store.job(job_id))
    try:
        return machine_of(job)
    except InputAtFaultError:
        return None


async def _one(socket: WebSocket, store: Store, job_id: str, listening: Listening) -> None:
    """Take one message, and answer it."""
    message = await socket.receive()
    if message["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(message.get("code", 1000))
    data = message.get("bytes")
    if data is not None:
        # On a thread of its own, so that a page asked for meanwhile is not kept waiting.
        moments = await run_in_threadpool(listening.add, data, time.monotonic())
        if moments:
            await socket.send_json({"moments": moments})
        return
    text = message.get("text") or ""
    asked = json.loads(text) if len(text) <= MOST_WORDS else None
    if not isinstance(asked, dict) or not isinstance(asked.get("record"), bool):
        raise _Refused("Words between blocks say whether to record, and nothing else.")
    if asked["record"] and listening.take is None:
        listening.take = await run_in_threadpool(Take, listening.opening)
        await socket.send_json({"recording": True})
    elif not asked["record"] and listening.take is not None:
        who = str(getattr(socket.state, "who", ""))
        await socket.send_json(await run_in_threadpool(_end_take, store, job_id, listening, who))


def _end_take(store: Store, job_id: str, listening: Listening, who: str) -> dict[str, Any]:
    take, listening.take = listening.take, None
    assert take is not None
    try:
        if take.frames == 0:
            return {"recording": False, "problem": "Nothing had come in yet."}
        return {"recording": False, "kept": keep_take(store, job_id, take, listening.opening, who)}
    except InputAtFaultError as error:
        return {"recording": False, "problem": str(error.problems[0])}
    finally:
        take.forget()
