"""Guided minutes for the tests: a sound, a film, and senses that say what they are told to say."""

import wave
from collections.abc import Sequence
from pathlib import Path

import av
import numpy as np

from tapewright.machine.parts import Machine
from tapewright.web.minute_desk import MinuteDesk, Sensed
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.mechanism_heard import EvidenceHeard, Mark
from tapewright.words.reading import Reading

PICTURE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10" role="img"><title>Heard</title></svg>'


def sound_file(path: Path, seconds: float = 3.0, rate_hz: int = 8000) -> Path:
    """Write noise with a hum: sound of no machine at all."""
    times = np.arange(int(seconds * rate_hz)) / rate_hz
    samples = 0.1 * np.sin(2 * np.pi * 120.0 * times) + 0.01 * np.random.default_rng(3).standard_normal(len(times))
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes((samples * 32767).astype("<i2").tobytes())
    return path


def film_file(path: Path, frames: int = 30) -> Path:
    """Write a film of nothing but grey."""
    with av.open(str(path), "w") as film:
        stream = film.add_stream("mpeg4", rate=15)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for i in range(frames):
            picture = np.full((48, 64, 3), 90 + i, dtype=np.uint8)
            for packet in stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")):
                film.mux(packet)
        for packet in stream.encode():
            film.mux(packet)
    return path


class Senses:
    """An ear and an eye that say one sign and two readings, and remember what they were given."""

    def __init__(self) -> None:
        self.given: list[tuple[str, Machine, tuple[Mark, ...]]] = []

    def listen(self, path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
        self.given.append(("sound", machine, tuple(marks)))
        assert path.read_bytes()
        motor = next(one.name for one in machine.rotors.values() if one.kind == "motor")
        readings = {
            f"motor_runs_sure:{motor}@play": Reading(0.97, "1", 0.02),
            f"rate_hz:{motor}@play": Reading(40.1, "Hz", 0.2),
        }
        evidence = Evidence((Observation("play_tape_races", True, 0.9),), readings)
        reasons = (("play_tape_races", "<b>the reels</b> whirr from 20.0 s on"), (f"rate_hz:{motor}@play", "a comb"))
        return Sensed(EvidenceHeard(evidence, reasons), (PICTURE,), ("Somebody speaks at 12 s.",))

    def watch(self, path: Path, machine: Machine, marks: Sequence[Mark]) -> Sensed:
        self.given.append(("film", machine, tuple(marks)))
        assert path.read_bytes()
        return Sensed(EvidenceHeard(Evidence((Observation("play_loop", False, 0.95),)), (("play_loop", "both go"),)))

    def desk(self, old: MinuteDesk) -> MinuteDesk:
        """Give a desk with these senses in place of another's."""
        old.close()
        return MinuteDesk(old.store, self.listen, self.watch)
