"""How well motors, squeals and run-on are heard in simulated guided minutes; the simulator shares no code with the ear.

Each minute has one machine, sound or with one of four faults, in a room, through a phone, with noise from 30 down to
5 dB and sometimes somebody speaking. Printed: how often each fault is heard and how often it is heard where it is not,
how far rates and moments are off, how often the 95 % interval of a rate holds, and how fast listening is.

Run: python -m benchmarks.mechanism_sound [MINUTES]
"""

import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from random import Random

import numpy as np

from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.faults.applied import Fault, applied
from tapewright.jobs.mechanism_heard import expected_rates
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.measure.mechanism import hear_sound
from tapewright.measure.mechanism_frames import Sound
from tapewright.simulate.minute import Minute, play_minute
from tapewright.words.mechanism_heard import EvidenceHeard, MechanismHeard

LAYOUTS = (
    "four_track", "two_motor_deck", "direct_reels_deck", "flywheel_cam_deck", "one_motor_portable",
    "belt_reels_portable", "auto_reverse_deck", "tray_deck",
)  # fmt: skip
MINUTES = 40
SPOKEN = 0.3


@dataclass
class Tally:
    """What was counted."""

    there: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    absent: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    rate_off_pct: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    start_off_s: list[float] = field(default_factory=list)
    listened_s: float = 0.0
    took_s: float = 0.0


def faults_for(machine: Machine, random: Random) -> list[Fault]:
    """Draw one of the four faults that this machine can have, or none."""
    can: list[Fault | None] = [None, Fault("capstan_motor", "dead")]
    cam_belt = next((name for name in machine.couplings if name == "cam_belt"), None)
    can += [Fault(cam_belt, "missing")] * (cam_belt is not None)
    can += [Fault("pinch_roller", "stiff"), Fault("takeup_reel", "dry_spindle")]
    drawn = random.choice(can)
    return [] if drawn is None else [drawn]


def one(seed: int, tally: Tally) -> str:
    """Play and hear one minute."""
    random = Random(seed)
    name = LAYOUTS[seed % len(LAYOUTS)]
    machine = shipped(name)
    faults = faults_for(machine, random)
    snr = random.choice([30.0, 20.0, 10.0, 5.0])
    rooms, phones = ("bench",), ("recorder", "phone")
    background = ("noise", "speech") if random.random() < SPOKEN else ("noise",)
    try:
        minute = play_minute(
            applied(machine, faults), minute_steps(machine), seed, room=random.choice(rooms),
            phone=random.choice(phones), snr_db=snr, background=background, faults=tuple(faults),
        )  # fmt: skip
    except Exception as error:
        return f"{name} {faults}: {error}"
    began = time.perf_counter()
    sound = Sound(np.asarray(minute.samples, dtype=np.float32), float(minute.rate_hz))
    heard = hear_sound(sound, minute.truth.marks, expected_rates(machine))
    tally.took_s += time.perf_counter() - began
    tally.listened_s += heard.duration_s
    told = evidence_of_sound(machine, heard)
    missed = count(machine, minute, heard, told, tally)
    fault = f"{faults[0].part}={faults[0].kind}" if faults else "sound"
    return f"{seed:4d} {name:22s} {fault:28s} {snr:4.0f} dB {'+'.join(background):13s} {minute.truth.phone} {missed}"


def count(machine: Machine, minute: Minute, heard: MechanismHeard, told: EvidenceHeard, tally: Tally) -> str:
    """Hold what was heard against the truth."""
    said: list[str] = []
    truth = minute.truth
    squealing = [one for one in truth.noises if one.kind == "squeal"]
    _hold("squeal", bool(squealing), bool(heard.squeals), tally, said)
    readings = told.evidence.readings
    for mode in dict.fromkeys(mark.mode for mark in truth.marks if mark.mode in machine.modes):
        for motor in machine.modes[mode].motors:
            reading = readings.get(f"motor_runs_sure:{motor}@{mode}")
            ran = any(s.name == motor and s.mode == mode and s.end_s - s.start_s > 0.6 for s in truth.motors)
            ran = ran or any(_spans(minute, s.start_s, s.end_s, mode) for s in truth.motors if s.name == motor)
            if reading is not None and reading.value is not None:
                _hold("motor silent", not ran, reading.value < 0.2, tally, said, f" {motor}@{mode}")
    for motor in {s.ends for s in machine.sensors.values() if s.ends}:
        on = [s for s in truth.motors if s.name == motor and s.mode == "play"]
        reading = readings.get(f"run_on_s:{motor}")
        if on and "play" in machine.modes:
            waits = next(s.timeout_s for s in machine.sensors.values() if s.ends == motor) or 3.0
            really = max(s.end_s - s.start_s for s in on) > 0.85 * waits
            _hold("run-on", really, reading is not None and (reading.value or 0.0) > 0.85 * waits, tally, said)
    stopped = any(stop.sensor in machine.sensors and not machine.sensors[stop.sensor].ends for stop in truth.stops)
    _hold("stop by itself", stopped, any(name.startswith("seconds_to_stop") for name in readings), tally, said)
    for stretch in heard.stretches:
        same = [
            s
            for s in truth.motors
            if s.name == stretch.name and min(s.end_s, stretch.end_s) - max(s.start_s, stretch.start_s) > 0.5
        ]
        if not same or stretch.rate_hz.value is None or stretch.rate_hz.doubt is None:
            continue
        pairs = np.array([p for s in same for p in zip(s.times_s, s.rates_hz, strict=True)])
        inside = (pairs[:, 0] > stretch.start_s + 0.4) & (pairs[:, 0] < stretch.end_s - 0.4)
        if np.count_nonzero(inside) >= 2:
            true = float(np.mean(pairs[inside, 1]))
            off = abs(stretch.rate_hz.value - true)
            tally.rate_off_pct.append(100.0 * off / true)
            tally.held.append(off <= stretch.rate_hz.doubt)
            tally.start_off_s.append(min(abs(s.start_s - stretch.start_s) for s in same))
            if off > 0.005 * true:
                said.append(f"rate {stretch.name}@{stretch.mode} {stretch.rate_hz.value:.2f} for {true:.2f}")
    return "; ".join(said)


def _spans(minute: Minute, start_s: float, end_s: float, mode: str) -> bool:
    marks = [*minute.truth.marks]
    ends = [*(mark.at_s for mark in marks[1:]), minute.truth.duration_s]
    return any(
        mark.mode == mode and min(end_s, end) - max(start_s, mark.at_s) > 0.6
        for mark, end in zip(marks, ends, strict=True)
    )


def _hold(what: str, really: bool, heard: bool, tally: Tally, said: list[str], where: str = "") -> None:
    (tally.there if really else tally.absent)[what] += 1
    if really and heard:
        tally.found[what] += 1
    if heard and not really:
        tally.false[what] += 1
    if really != heard:
        said.append(("missed " if really else "false ") + what + where)


def main() -> None:
    """Print one line for each minute, and then the sums."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else MINUTES
    tally = Tally()
    for seed in range(1, minutes + 1):
        print(one(seed, tally), flush=True)
    for what in ("motor silent", "run-on", "squeal", "stop by itself"):
        print(
            f"{what}: heard {tally.found[what]} of {tally.there[what]}; where there was none "
            f"{tally.false[what]} of {tally.absent[what]}"
        )
    off = np.array(tally.rate_off_pct)
    print(f"rates: {len(off)}, off by {np.median(off):.3f} % (median), {100 * np.mean(off < 0.5):.1f} % within 0.5 %")
    print(f"95 % interval of the rate holds in {100 * np.mean(tally.held):.1f} %")
    starts = np.array(tally.start_off_s)
    early, late = 100 * np.mean(starts < 0.1), 100 * np.mean(starts < 0.3)
    print(f"beginnings within 0.1 s: {early:.1f} %, within 0.3 s: {late:.1f} %")
    print(f"listening takes {tally.took_s / tally.listened_s:.3f} of the sound's length")


if __name__ == "__main__":
    main()
