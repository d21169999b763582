"""Invented guided minutes for trials: which there are, and playing them once into a folder.

A minute is known by its seed alone: seed N gives one machine, one fault or none, a room, a phone, a background. A
fifth each: nothing wrong, a cam motor that runs on, a capstan motor that is silent, a squeal, a take-up that slips.
Which faults bring that about is worked out per machine. Seeds below 1000 are for tuning, those from 1000 on are held
out.

A played minute is kept as a pair, sound and truth, under the fingerprint of all that it comes from, so that a pair that
is taken from the folder is the one that would be played.
"""

import hashlib
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypeVar

import numpy as np
import soundfile

import tapewright
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import modes_told
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.minute import minute_steps
from tapewright.simulate.minute import play_minute
from tapewright.simulate.minute_truth import MinuteTruth

Found = TypeVar("Found")
HELD_OUT_FROM = 1000
MACHINES = tuple(name for name in shipped_ids() if not name.endswith("_starter"))
KINDS = ("nothing", "runs_on", "silent", "squeal", "slip")
ROOMS = ("case", "bench", "living_room", "workshop", "tiled_room")
PHONES = ("recorder", "phone", "phone_gain", "voice_message", "phone_call")
SNRS_DB = (5.0, 10.0, 15.0, 20.0, 30.0)
BESIDE = (("noise",), ("noise", "hum"), ("noise", "speech"), ("noise", "hum", "speech"))
RATE_HZ = 48000
SOURCES = ("machine/**/*", "faults/**/*.py", "simulate/minute*.py")


@dataclass(frozen=True, slots=True)
class Trial:
    """One minute to be played: machine, faults, where and how it is heard."""

    seed: int
    machine: str
    wanted: str
    faults: tuple[Fault, ...]
    room: str
    phone: str
    snr_db: float
    beside: tuple[str, ...]

    def __str__(self) -> str:
        faults = ", ".join(f"{fault.part}={fault.kind}" for fault in self.faults) or "nothing"
        return (f"{self.seed} {self.machine} {faults} {self.room} {self.phone} {self.snr_db:.0f} dB "
                f"{'+'.join(self.beside)}")  # fmt: skip


def trial(seed: int) -> Trial:
    rng = np.random.default_rng([seed, 77])
    wanted = KINDS[seed % len(KINDS)]
    can = [name for name in MACHINES if wanted != "runs_on" or any(s.ends for s in shipped(name).sensors.values())]
    machine = str(rng.choice(can))
    faults: tuple[Fault, ...] = ()
    if wanted != "nothing":
        choice = bringing_about(machine)[wanted]
        faults = (choice[int(rng.integers(len(choice)))],)
    return Trial(
        seed, machine, wanted, faults, str(rng.choice(ROOMS)), str(rng.choice(PHONES)),
        float(rng.choice(SNRS_DB)), BESIDE[int(rng.integers(len(BESIDE)))],
    )  # fmt: skip


@cache
def bringing_about(name: str) -> Mapping[str, tuple[Fault, ...]]:
    """List the faults of a machine that bring each of the four about, by the outcome of the machine with each."""
    machine = shipped(name)
    found: dict[str, list[Fault]] = {kind: [] for kind in KINDS[1:]}
    for one in possible_faults(machine):
        fault = Fault(one.part, one.fault.kind)
        told = modes_told(applied(machine, [fault]))
        shows = {
            "runs_on": any("yes" in does.runs_on.values() for does in told.values()),
            "silent": told["play"].motors.get("capstan_motor") == "still",
            "squeal": any("yes" in does.squeals.values() for does in told.values()),
            "slip": any(does.reels.get(machine.modes[mode].takes_up) == "weak" for mode, does in told.items()),
        }
        for kind in (kind for kind, there in shows.items() if there):
            found[kind].append(fault)
    return {kind: tuple(faults) for kind, faults in found.items()}


@cache
def fingerprint(*patterns: str) -> str:
    """Give a short name of files of the house, so that what is kept of their work is never out of date."""
    whole = hashlib.sha256()
    house = Path(tapewright.__file__).parent
    for path in sorted({one for pattern in patterns for one in house.glob(pattern) if one.is_file()}):
        whole.update(path.read_bytes())
    return whole.hexdigest()[:10]


def kept(path: Path, work: Callable[[], Found]) -> Found:
    """Give what was found before, or do the work and keep it; written last and moved into place, so never half.

    Arguments:
        path: where it is kept.
        work: what finds it.
    """
    if path.exists():
        before: Found = pickle.loads(path.read_bytes())
        return before
    found = work()
    half = path.with_suffix(".part")
    half.write_bytes(pickle.dumps(found))
    half.replace(path)
    return found


def played(seed: int, folder: Path, *, as_played: bool = False) -> tuple[Path, MinuteTruth]:
    """Give a minute's sound file and truth; played only where it is not in the folder yet.

    Arguments:
        seed: of the minute.
        folder: where pairs are kept.
        as_played: take a pair that an earlier state of the simulator played; it is a whole minute with its truth too.
    """
    truth = folder / f"minute-{seed}-{fingerprint(*SOURCES)}.truth"
    earlier = sorted(folder.glob(f"minute-{seed}-*.truth"))
    if as_played and earlier and not truth.exists():
        truth = earlier[0]
    sound = truth.with_suffix(".wav")

    def play() -> MinuteTruth:
        asked = trial(seed)
        worn = applied(shipped(asked.machine), list(asked.faults))
        minute = play_minute(
            worn, minute_steps(worn), seed, room=asked.room, phone=asked.phone, snr_db=asked.snr_db,
            background=asked.beside, sample_rate_hz=RATE_HZ, faults=asked.faults,
        )  # fmt: skip
        soundfile.write(sound, minute.samples, minute.rate_hz, subtype="PCM_16")
        return minute.truth

    # The truth is written last: a pair that is half there is played again.
    return sound, kept(truth, play)
