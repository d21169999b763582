"""The browser's audio input read for one step of setting up: the same wire as for listening, other readings.

The first message says what comes, as in `live`, and with "tracks" which track each channel carries. {"keep": true}
between blocks keeps the level that stands as the reference. Each answer is one JSON document of moments.
"""

import contextlib
import json
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from tapewright.jobs.bench_job import machine_of
from tapewright.jobs.setting_up import centres_m, set_up_plan
from tapewright.jobs.setting_up_kept import passes_of
from tapewright.jobs.setting_up_live import best_of, followed
from tapewright.jobs.setting_up_stop import standing
from tapewright.jobs.store.nouns import NoSuchJobError
from tapewright.jobs.store.opened import Store
from tapewright.jobs.store.sums import as_bench_job
from tapewright.measure.live import LiveMeter
from tapewright.measure.live_pair import PairMeter, PairMoment
from tapewright.measure.live_trend import Course
from tapewright.show.setting_up_live import (
    Line,
    azimuth_lines,
    level_lines,
    reading_said,
    response_lines,
    strongest_tone,
)
from tapewright.web.live import MEANT, MOST_WORDS, UNREADABLE, Opening, block_of, opening_of
from tapewright.web.workbench import Workbench
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading
from tapewright.words.setting_up import SetUpStep

SHOWN_EVERY: Final = 2
"""Moments between two that are shown: five a second."""
MOST_TRACK: Final = 16


def tracks_in(text: str, channels: int) -> tuple[int | None, ...]:
    """Read which track each channel carries; channels that are not named carry none.

    >>> tracks_in('{"tracks": [1, 4]}', 3)
    (1, 4, None)

    Raises:
        ValueError: for anything that cannot be meant, with a sentence.
    """
    said = json.loads(text).get("tracks", [])
    whole = isinstance(said, list) and all(isinstance(one, int) and not isinstance(one, bool) for one in said)
    if not whole or not all(1 <= one <= MOST_TRACK for one in said) or len(set(said)) < len(said):
        raise ValueError("Tracks must be a list of different numbers from 1.")
    return tuple((*said, *[None] * channels)[:channels])


class SetUpListening:
    """Sound read for one step.

    Arguments:
        opening: from the first message.
        tracks: which track each channel carries.
        step: what is being set.
        passes: how far it was off after each time it was set before.
    """

    def __init__(
        self, opening: Opening, tracks: Sequence[int | None], step: SetUpStep, passes: Sequence[float] = ()
    ) -> None:
        self.opening, self.tracks, self._step, self._passes = opening, tuple(tracks), step, tuple(passes)
        where = [centres_m((one,))[0] if one is not None and centres_m((one,)) else None for one in tracks]
        self._pair = PairMeter(opening.rate_hz, where, step.speed_m_per_s)
        speed = step.reading == "speed_error_pct"
        self._speed = LiveMeter(opening.rate_hz, opening.channels, opening.tone_hz) if speed else None
        self._course, self._tone_hz = Course(), 0.0
        self._next, self._count = 0, 0

    def add(self, message: bytes) -> list[dict[str, Any]]:
        """Take one block as it came over the wire; give the moments that are to be shown.

        Raises:
            ValueError: for what is no block.
        """
        number, lost, samples = block_of(message, self.opening.channels)
        if number != self._next or lost:
            seconds = lost / self.opening.rate_hz
            self._pair.lost(seconds)
            if self._speed is not None:
                self._speed.lost(seconds)
        self._next = (number + 1) % 2**32
        return self.hear(samples)

    def hear(self, samples: NDArray[np.float32]) -> list[dict[str, Any]]:
        """Take samples, shape (n, channels); give the moments that are to be shown."""
        moments = self._speeds(samples) if self._speed is not None else self._pairs(samples)
        shown = []
        for time_s, reading, lines, remarks in moments:
            self._count += 1
            told = self._told(time_s, reading, lines, remarks)
            if self._count % SHOWN_EVERY == 0:
                shown.append(told)
        return shown

    def keep(self) -> bool:
        """Keep the level that stands as the reference."""
        return self._pair.keep_reference()

    def _pairs(self, samples: NDArray[np.float32]) -> list[tuple[float, Reading, list[Line], list[str]]]:
        moments = self._pair.add(samples)
        if moments and self._step.reading in ("deviation_db", "level_db"):
            self._same_tone(moments[-1])
        return [(one.time_s, followed(self._step, one), self._lines(one), list(one.remarks)) for one in moments]

    def _same_tone(self, moment: PairMoment) -> None:
        """Begin the trend anew with another tone: one tone is not better than another."""
        tone = strongest_tone(moment)
        if tone is not None and abs(tone.frequency_hz - self._tone_hz) > 0.03 * tone.frequency_hz:
            self._course, self._tone_hz = Course(), tone.frequency_hz

    def _lines(self, moment: PairMoment) -> list[Line]:
        if self._step.reading == "angle_arcmin":
            return azimuth_lines(moment, self.tracks)
        if self._step.reading == "deviation_db":
            return response_lines(moment, self.tracks)
        return level_lines(moment, self.tracks)

    def _speeds(self, samples: NDArray[np.float32]) -> list[tuple[float, Reading, list[Line], list[str]]]:
        assert self._speed is not None
        moments = self._speed.add(samples)
        count = self.opening.channels
        found = []
        for at in range(0, len(moments), count):
            each = moments[at : at + count]
            lines = [(f"channel {one.channel}, now", reading_said(one.now)) for one in each]
            remarks = list(dict.fromkeys(remark for one in each for remark in one.remarks))
            found.append((each[0].time_s, best_of([one.mean for one in each]), lines, remarks))
        return found

    def _told(self, time_s: float, reading: Reading, lines: list[Line], remarks: list[str]) -> dict[str, Any]:
        stands = standing(self._step, reading, self._passes)
        trend = ""
        if stands.off is not None and self._step.target is not None:
            trend = self._course.add(stands.off, reading.doubt or 0.0)
        return {
            "time_s": round(time_s, 2),
            "reading": plain(reading),
            "said": reading_said(reading),
            "standing": plain(stands),
            "trend": trend,
            "lines": [list(one) for one in lines],
            "remarks": [*remarks, *self._altered()],
        }

    def _altered(self) -> list[str]:
        return [f"The browser alters the sound: {one}. No level is to be trusted." for one in self.opening.altered]


async def live_set_up(socket: WebSocket) -> None:
    """Serve one connection."""
    bench = socket.app.state.bench
    assert isinstance(bench, Workbench)
    job_id, step_id = str(socket.path_params["job_id"]), str(socket.path_params["step"])
    try:
        found = await run_in_threadpool(_step, bench.store, job_id, step_id)
    except NoSuchJobError:
        found = None
    if found is None:
        await socket.close(MEANT, "There is no such job, or no such step in it.")
        return
    await socket.accept()
    with contextlib.suppress(WebSocketDisconnect):
        try:
            text = await socket.receive_text()
            opening = opening_of(text)
            listening = SetUpListening(opening, tracks_in(text, opening.channels), *found)
            while True:
                await _one(socket, listening)
        except (ValueError, KeyError, RecursionError) as error:
            with contextlib.suppress(RuntimeError):
                await socket.close(UNREADABLE, str(error)[:100])


def _step(store: Store, job_id: str, step_id: str) -> tuple[SetUpStep, tuple[float, ...]] | None:
    sheet = store.job(job_id)
    try:
        plan = set_up_plan(machine_of(as_bench_job(sheet)))
    except InputAtFaultError:
        return None
    step = next((one for one in plan.steps if one.id == step_id and one.reading), None)
    return None if step is None else (step, passes_of(sheet, step))


async def _one(socket: WebSocket, listening: SetUpListening) -> None:
    """Take one message, and answer it."""
    message = await socket.receive()
    if message["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(message.get("code", 1000))
    data = message.get("bytes")
    if data is not None:
        moments = await run_in_threadpool(listening.add, data)
        if moments:
            await socket.send_json({"moments": moments})
        return
    text = message.get("text") or ""
    asked = json.loads(text) if len(text) <= MOST_WORDS else None
    if not isinstance(asked, dict) or asked.get("keep") is not True:
        raise ValueError("Words between blocks ask to keep a level, and nothing else.")
    await socket.send_json({"kept": await run_in_threadpool(listening.keep)})


__all__ = ["SetUpListening", "live_set_up", "tracks_in"]
