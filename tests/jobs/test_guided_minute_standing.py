"""Reels that stand are not found by their turning: where the other steps of the minute saw them says where they are."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from tapewright.diagnose.from_film import evidence_of_film
from tapewright.jobs import guided_minute_film
from tapewright.jobs.guided_minute_film import evidence_of_minute, watch_minute
from tapewright.jobs.reels_seen import FilmWatched
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.mechanism_heard import Mark
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import HubName, HubSeen, ReelRate, ReelsSeen

MACHINE = shipped("two_motor_deck")
NONE = Reading(None, "m", why_not="not in this test")
HUBS = (HubSeen("left", 100.0, 100.0, 40.0, 6, 0.95), HubSeen("right", 300.0, 100.0, 40.0, 6, 0.95))
MARKS = [Mark("off", 0.0), Mark("play", 1.0), Mark("stop", 9.0), Mark("rewind", 10.0), Mark("stop", 15.0)]


def seen(rate_hz: float) -> ReelsSeen:
    times = tuple(0.1 * number for number in range(80))
    sides: tuple[HubName, ...] = ("left", "right")
    courses = tuple(ReelRate(name, times, (rate_hz,) * 80, (1e-3,) * 80) for name in sides)
    means: dict[str, Reading] = {name: Reading(rate_hz, "Hz", 1e-3) for name in sides}
    return ReelsSeen(8.0, 30.0, HUBS, courses, means, NONE, {}, NONE, NONE, NONE, (), (), ())


@pytest.mark.parametrize(("in_play_hz", "believed"), [(0.0, True), (0.4, False)])
def test_a_step_without_a_hub_is_looked_at_again_where_the_others_saw_it(
    in_play_hz: float, believed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def watch(path: Path, machine: Machine, mode: str, hubs: Sequence[HubSeen] = ()) -> FilmWatched:
        if mode == "play" and not hubs:
            raise InputAtFaultError(Problem(path.name, "shows nothing that turns.", "Film both hubs."))
        assert hubs in ((), HUBS)
        told = seen(-8.0 if mode == "rewind" else in_play_hz)
        return FilmWatched(told, evidence_of_film(machine, told, mode), mode, np.zeros((1, 1), dtype=np.uint8))

    def written(path: Path, stretches: Sequence[tuple[float, float]], files: Sequence[Path]) -> None:
        for file in files:
            file.write_bytes(b"")

    monkeypatch.setattr(guided_minute_film, "watch_film", watch)
    monkeypatch.setattr(guided_minute_film, "cut", written)
    pieces = watch_minute(Path("minute.mp4"), MACHINE, MARKS)
    present = {sign.id: sign.present for sign in evidence_of_minute(pieces).evidence.signs}
    # A hub that turned would have been found: only one that stands is believed on the second look.
    assert (pieces[0].watched is not None) is believed
    assert present.get("play_tape_still") is (True if believed else None)
    assert present.get("play_takeup_reel_stands") is (True if believed else None)
    assert present["rewind_dead"] is False
