"""How well knocks, rubbing and marks are heard: invented minutes of machines in which a part makes a noise of its own.

One machine after another gets one fault that knocks, rubs or thumps; every third minute has none. What each mode is
said to do is held against the outcome of the machine with its fault, and against what was played; and the steps are
looked for by ear alone, after a part of the beginning was cut off. Seeds below 1000 are for tuning.

Run: python -m benchmarks.noises_heard [--minutes N] [--first SEED]
"""

import argparse
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from benchmarks.minute_trials import BESIDE, MACHINES, PHONES, ROOMS
from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.conditions import HEARD_FROM, LUMP_FELT
from tapewright.faults.consequences import outcome
from tapewright.jobs.mechanism_heard import listen, marks_by_ear
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.simulate.minute import play_minute
from tapewright.simulate.minute_truth import MinuteTruth

SNR_DB = (10.0, 30.0)
CUT_S = 3.0
NEAR_S = 0.8
"""A step found this near to where the machine entered it is found right."""


def noisy(machine: Machine) -> list[Fault]:
    """List the faults that make a part knock, rub or thump."""
    found = []
    for one in possible_faults(machine):
        fault = Fault(one.part, one.fault.kind)
        worn = applied(machine, [fault])
        part = worn.rotors.get(fault.part) or worn.couplings.get(fault.part)
        if part is not None and (part.imperfections.noise >= HEARD_FROM or part.imperfections.lump >= LUMP_FELT):
            found.append(fault)
    return found


def one_minute(seed: int, folder: Path) -> Counter[tuple[str, ...]]:
    """Play one minute, listen to it with its marks and without, and count what was said."""
    draws = np.random.default_rng([seed, 91])
    machine = shipped(MACHINES[seed % len(MACHINES)])
    faults = noisy(machine)
    chosen = [faults[int(draws.integers(len(faults)))]] if seed % 3 else []
    room, phone = str(draws.choice(ROOMS)), str(draws.choice(PHONES[:4]))
    snr_db, beside = float(draws.uniform(*SNR_DB)), BESIDE[int(draws.integers(3))]
    minute = play_minute(
        applied(machine, chosen), minute_steps(machine), seed, room=room, phone=phone, snr_db=snr_db, background=beside
    )
    path = folder / "minute.wav"
    soundfile.write(path, minute.samples, minute.rate_hz, subtype="PCM_16")
    counted = _noises(machine, chosen, path, minute.truth)
    cut_s = float(draws.uniform(0.0, CUT_S))
    soundfile.write(path, minute.samples[round(cut_s * minute.rate_hz) :], minute.rate_hz, subtype="PCM_16")
    counted["marks", _marks(machine, path, minute.truth, cut_s)] += 1
    return counted


def _noises(machine: Machine, faults: list[Fault], path: Path, truth: MinuteTruth) -> Counter[tuple[str, ...]]:
    signs = evidence_of_sound(machine, listen(path, machine, truth.marks)).evidence.signs
    said = {sign.id: "yes" if sign.present else "no" for sign in signs}
    values = outcome(applied(machine, faults)).values
    counted: Counter[tuple[str, ...]] = Counter()
    for name, mode in machine.modes.items():
        if f"noise@{name}" in values and any(mark.mode == name for mark in truth.marks):
            sounds = any(one.kind in ("knock", "rub") and one.mode == name for one in truth.noises)
            what = "play" if mode.at_capstan else "wind"
            true = values[f"noise@{name}"] if sounds == (values[f"noise@{name}"] == "yes") else "told or played alone"
            counted[what, true, said.get(f"{name}_noise", "nothing")] += 1
    return counted


def _marks(machine: Machine, path: Path, truth: MinuteTruth, cut_s: float) -> str:
    found = marks_by_ear(path, machine)
    if not found.marks:
        return "not found"
    for mark in found.marks[1:]:
        # A machine that at once leaves a mode by itself was in it all the same.
        at_s = [one.at_s - cut_s for one in (*truth.marks, *truth.entered) if one.mode == mark.mode]
        if not any(abs(mark.at_s - one) < NEAR_S for one in at_s):
            return "wrong"
    return "right"


def main() -> None:
    """Print how often a noise was said where there was one, and how often the marks were found."""
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--minutes", type=int, default=44)
    reader.add_argument("--first", type=int, default=0, help="seed of the first minute")
    given: Any = reader.parse_args()
    total: Counter[tuple[str, ...]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.minutes):
            total += one_minute(seed, Path(folder))
    for what in ("play", "wind"):
        for true in ("yes", "no", "told or played alone"):
            each = ", ".join(f"{said} {total[what, true, said]}" for said in ("yes", "no", "nothing"))
            print(f"a noise in {what}: {true}; said: {each}")
    print("steps found by ear: " + ", ".join(f"{how} {total['marks', how]}" for how in ("right", "wrong", "not found")))


if __name__ == "__main__":
    main()
