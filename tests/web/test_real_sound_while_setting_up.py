"""Real sound through measuring, examining and setting up: what applies is read, the rest refused with a reason."""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tapewright.jobs.examine import examine, hear_all
from tapewright.jobs.setting_up import set_up_plan
from tapewright.jobs.setting_up_stop import INSIDE, STOP, UNREAD
from tapewright.machine.load import read_machine
from tapewright.machine.parts import Machine
from tapewright.measure.askew import ARC_MINUTE, angle_rad
from tapewright.measure.audio import BLOCK_FRAMES, open_recording, sound_blocks
from tapewright.measure.live_pair import PairMeter
from tapewright.web.live import Opening
from tapewright.web.live_set_up import SetUpListening
from tapewright.words.evidence import Evidence

STEREO = (
    "mechanism_sound/cassette_player/rewNoise.wav",
    "mechanism_sound/cassette_player/hiss.wav",
    "programme/sorohanro_-_solo-trumpet-06.hq.ogg",
)
LEADER = "tape_tone/patch_cassette_leader.wav"
WHERE_M = (0.30e-3, 1.20e-3)
SPEED_M_PER_S = 0.047625
LATE_S = 20e-6


@cache
def deck() -> Machine:
    return read_machine("two_motor_deck")


def sound_of(path: Path) -> tuple[NDArray[np.float32], float]:
    recording = open_recording(path)
    return np.concatenate([one.copy() for one in sound_blocks(recording, 0, recording.frames, BLOCK_FRAMES)]), float(
        recording.rate_hz
    )


@pytest.mark.parametrize("name", STEREO)
def test_stereo_without_a_test_tone_is_measured_and_examined_and_accuses_nobody(shared_data: Path, name: str) -> None:
    """No tone lasts, so no speed, no flutter, no sequence: each reading has its reason, in channel after channel."""
    path = shared_data / name
    heard = hear_all(None, [path])
    assert [one.channel for one in heard] == [1, 2]
    for one in heard:
        assert not one.tone["found"]
        assert one.one_pass is None
        assert all(each.value is None and each.why_not for each in one.readings.values())
    record = examine(deck(), Evidence(), [path])
    assert {name for name, one in record.evidence.readings.items() if one.value is not None} == set()
    without = examine(deck(), Evidence())
    assert [(b.part, b.out_of_order) for b in record.beliefs] == [(b.part, b.out_of_order) for b in without.beliefs]
    assert len(record.heard) == 2


@pytest.mark.parametrize("name", STEREO)
def test_stereo_without_a_test_tone_sets_nothing_up(shared_data: Path, name: str) -> None:
    """No step is called done by noise or music, though a held note may give a number; the rest has its reason."""
    sound, rate_hz = sound_of(shared_data / name)
    for step in set_up_plan(deck()).steps:
        if not step.reading:
            continue
        shown = SetUpListening(Opening(rate_hz, 2, None, (), None), (1, 2), step).hear(sound)
        assert len(shown) > 10
        json.dumps(shown, allow_nan=False)
        for one in shown:
            if one["reading"].get("value") is None:
                assert one["reading"]["why_not"]
                assert one["standing"]["word"] == UNREAD
            assert one["standing"]["word"] not in (STOP, INSIDE), step.id
        read = [one for one in shown if one["reading"].get("value") is not None]
        assert not read or "programme" in name, "noise is no tone"
        assert len(read) < 0.2 * len(shown)


def test_a_real_tone_of_tape_is_read_while_setting_up_as_late_as_it_was_made(shared_data: Path) -> None:
    """Oracle: a real cassette's leader tone, and beside it the same later by 20 µs, by the spectrum of it all."""
    sound, rate_hz = sound_of(shared_data / LEADER)
    one = sound[:, 0].astype(np.float64)
    hz = np.fft.rfftfreq(len(one), 1.0 / rate_hz)
    late = np.fft.irfft(np.fft.rfft(one) * np.exp(-2j * np.pi * hz * LATE_S), len(one))
    meter = PairMeter(rate_hz, WHERE_M, SPEED_M_PER_S)
    moments = meter.add(np.stack([one, late], axis=1).astype(np.float32))
    read = [each.angle_arcmin for each in moments if each.angle_arcmin.value is not None]
    assert len(read) > 10
    wanted = angle_rad(LATE_S, WHERE_M[1] - WHERE_M[0], SPEED_M_PER_S) / ARC_MINUTE
    assert all(abs((each.value or 0.0) - wanted) < (each.doubt or 0.0) for each in read)
    assert float(np.median([each.value or 0.0 for each in read])) == pytest.approx(wanted, abs=0.05)
