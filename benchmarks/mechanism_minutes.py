"""How well a guided minute is listened to: invented minutes of every layout, in rooms, through phones, in noise.

A fifth of the minutes each: nothing wrong, a cam motor that runs on, a capstan motor that is silent, a squeal, a
take-up that slips. Which faults bring that about is worked out per machine, and what really happened in a minute is
read from its truth: a squeal that comes at times and did not come is no squeal. Everything here is invented; it
measures the listening, and nothing about real machines.

Run: python -m benchmarks.mechanism_minutes [--minutes N] [--workers 1|2] [--seed N] [--misses]
"""

import argparse
import contextlib
import itertools
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import modes_told
from tapewright.jobs.mechanism_heard import expected_rates, listen
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.simulate.minute import play_minute, write_minute
from tapewright.simulate.minute_truth import MinuteTruth, TrueStretch
from tapewright.words.mechanism_heard import Mark, MechanismHeard, StretchHeard

MACHINES = tuple(name for name in shipped_ids() if not name.endswith("_starter"))
KINDS = ("nothing", "runs_on", "silent", "squeal", "slip")
ROOMS = ("case", "bench", "living_room", "workshop", "tiled_room")
PHONES = ("recorder", "phone", "phone_gain", "voice_message", "phone_call")
SNRS_DB = (5.0, 10.0, 15.0, 20.0, 30.0)
BESIDE = (("noise",), ("noise", "hum"), ("noise", "speech"), ("noise", "hum", "speech"))
RATE_HZ = 48000
SURE = 0.5
"""What is surer than this counts as heard."""
SQUEAL_S = 0.3
"""A squeal shorter than this need not be found."""
LEAST_S, LEAST_HZ = 1.0, 5.0
"""Stretches shorter or slower than this need not be found."""
SLIPS = (0.2, 0.85)
"""Share of its right rate at which a reel in a wind counts as slipping."""
CUT_S = 2.0
"""A motor that ends so long before the hand ends its mode was stopped by the machine."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One minute to be played: machine, faults, where and how it is heard."""

    number: int
    machine: str
    wanted: str
    faults: tuple[Fault, ...]
    room: str
    phone: str
    snr_db: float
    beside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Result:
    """What became of it."""

    trial: Trial
    true: frozenset[str]
    heard: frozenset[str]
    errors: tuple[float, ...] = ()
    held: tuple[bool, ...] = ()
    found: int = 0
    sought: int = 0
    starts_s: tuple[float, ...] = ()
    invented: int = 0
    disturbances: tuple[str, ...] = field(default=())
    listened_s: float = 0.0
    lasts_s: float = 0.0
    off: tuple[str, ...] = ()


# --- which minutes ----------------------------------------------------------------------------------------------------


def trials(count: int, seed: int) -> Iterator[Trial]:
    rng = np.random.default_rng(seed)
    for number in range(count):
        wanted = KINDS[number % len(KINDS)]
        can = [name for name in MACHINES if wanted != "runs_on" or any(s.ends for s in shipped(name).sensors.values())]
        machine = str(rng.choice(can))
        faults: tuple[Fault, ...] = ()
        if wanted != "nothing":
            choice = bringing_about(machine)[wanted]
            faults = (choice[int(rng.integers(len(choice)))],)
        yield Trial(
            number, machine, wanted, faults, str(rng.choice(ROOMS)), str(rng.choice(PHONES)),
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


# --- what is true, and what was heard ---------------------------------------------------------------------------------


def truly(machine: Machine, truth: MinuteTruth) -> frozenset[str]:
    """Say which of the four happened in a minute."""
    found = set()
    if any(_runs_on(machine, one.name, one.end_s - one.start_s) for one in truth.motors):
        found.add("runs_on")
    if _should_run(machine) and not any(one.name == "capstan_motor" for one in truth.motors):
        found.add("silent")
    if any(one.kind in ("squeal", "chirp") and one.end_s - one.start_s >= SQUEAL_S for one in truth.noises):
        found.add("squeal")
    if any(one.does == "weak" and one.mode in machine.modes for one in truth.reels):
        found.add("slip")
    return frozenset(found)


def heard_of(machine: Machine, heard: MechanismHeard, marks: tuple[Mark, ...]) -> frozenset[str]:
    """Say which of the four can be read off what was heard, by plain rules."""
    found = set()
    sure = [one for one in heard.stretches if one.sure >= SURE]
    if any(_runs_on(machine, one.name, one.end_s - one.start_s) for one in sure):
        found.add("runs_on")
    if _should_run(machine) and not any(one.name == "capstan_motor" for one in sure):
        found.add("silent")
    if any(one.sure >= SURE for one in heard.squeals):
        found.add("squeal")
    if _slips(machine, heard, sure, marks):
        found.add("slip")
    return frozenset(found)


def _should_run(machine: Machine) -> bool:
    """Tell whether a capstan motor should be heard: a slow one whose segments nobody described has no comb to hear."""
    due = expected_rates(machine)
    return any(one.name == "capstan_motor" and one.mode == "play" and one.comb for one in due)


def _runs_on(machine: Machine, motor: str, lasts_s: float) -> bool:
    waits = [sensor.timeout_s for sensor in machine.sensors.values() if sensor.ends == motor and sensor.timeout_s]
    return bool(waits) and lasts_s > max(waits) - 0.5


def _slips(machine: Machine, heard: MechanismHeard, sure: list[StretchHeard], marks: tuple[Mark, ...]) -> bool:
    """A reel that turns too slowly in a wind, or a reel motor that the machine stops again."""
    for mark, following in itertools.pairwise(marks):
        mode = machine.modes.get(mark.mode)
        if mode is None or not mode.takes_up:
            continue
        # A motor that only lifts the head base ends by itself.
        lifting = {sensor.ends for sensor in machine.sensors.values()}
        begun = [one for one in sure if mark.at_s - 0.5 < one.start_s < following.at_s - 1.0]
        inside = [one for one in begun if one.name and one.name not in lifting]
        if any(following.at_s - one.end_s > CUT_S and one.end_s - one.start_s > 0.5 for one in inside):
            return True
        right = rates(machine, mark.mode).get(mode.takes_up)
        if right is None or mode.at_capstan:
            continue
        low, high = (share * right.turns_per_s.value for share in SLIPS)
        for rubbing in heard.rubbings:
            value = rubbing.rate_hz.value
            within = mark.at_s <= rubbing.start_s < following.at_s
            if rubbing.sure >= SURE and within and value is not None and low < value < high:
                return True
    return False


# --- one minute -------------------------------------------------------------------------------------------------------


def run(trial: Trial) -> Result:
    machine = shipped(trial.machine)
    worn = applied(machine, list(trial.faults))
    steps = minute_steps(worn)
    minute = play_minute(
        worn, steps, 10_000 + trial.number, room=trial.room, phone=trial.phone, snr_db=trial.snr_db,
        background=trial.beside, sample_rate_hz=RATE_HZ, faults=trial.faults,
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "minute.wav"
        write_minute(minute, path)
        began = time.perf_counter()
        heard = listen(path, machine, minute.truth.marks)
        took = time.perf_counter() - began
    errors, held, starts, off, found, sought = [], [], [], [], 0, 0
    for one in minute.truth.motors:
        if one.end_s - one.start_s < LEAST_S or one.rate_hz < LEAST_HZ:
            continue
        sought += 1
        match = _matching(one, heard)
        if match is None or match.rate_hz.value is None:
            continue
        found += 1
        true_hz = _true_rate(one, match)
        errors.append(match.rate_hz.value / true_hz - 1.0)
        held.append(abs(match.rate_hz.value - true_hz) <= (match.rate_hz.doubt or 0.0))
        if abs(errors[-1]) > 0.005:
            off.append(f"{one.name} {one.mode} {true_hz:.3f} heard {match.rate_hz.value:.3f} ± {match.rate_hz.doubt}")
        starts.append(match.start_s - one.start_s)
    motors = {name for name, rotor in machine.rotors.items() if rotor.kind == "motor"}
    named = [one for one in heard.stretches if one.name in motors and one.sure >= SURE]
    invented = sum(not any(_overlap(true, one) > 0.2 for true in minute.truth.motors if true.name == one.name)
                   for one in named)  # fmt: skip
    return Result(
        trial, truly(machine, minute.truth), heard_of(machine, heard, minute.truth.marks), tuple(errors), tuple(held),
        found, sought, tuple(starts), invented, tuple(sorted({one.kind for one in heard.disturbances})), took,
        minute.truth.duration_s, tuple(off),
    )  # fmt: skip


def _true_rate(true: TrueStretch, heard: StretchHeard) -> float:
    """Give the true mean over the time that was heard, run-up and run-down left out."""
    times, rate = np.array(true.times_s), np.array(true.rates_hz)
    inside = rate[(times >= heard.start_s) & (times <= heard.end_s)]
    inside = inside[np.abs(inside / true.rate_hz - 1.0) < (0.01 if true.does == "right" else 0.1)]
    return float(inside.mean()) if len(inside) > 2 else true.rate_hz


def _overlap(true: TrueStretch, heard: StretchHeard) -> float:
    """Give the share of the shorter of two stretches that both have."""
    both = min(true.end_s, heard.end_s) - max(true.start_s, heard.start_s)
    return both / max(min(true.end_s - true.start_s, heard.end_s - heard.start_s), 1e-9)


def _matching(true: TrueStretch, heard: MechanismHeard) -> StretchHeard | None:
    near = [one for one in heard.stretches if one.name == true.name and one.sure >= SURE and _overlap(true, one) > 0.5]
    return max(near, key=lambda one: min(one.end_s, true.end_s) - max(one.start_s, true.start_s), default=None)


# --- what came of all -------------------------------------------------------------------------------------------------


def told(results: list[Result], *, misses: bool) -> None:
    print(f"{len(results)} invented minutes of {len({r.trial.machine for r in results})} machines, "
          f"{min(SNRS_DB):.0f} to {max(SNRS_DB):.0f} dB above the background")  # fmt: skip
    print(f"  {'':10s} happened  found   share    not so  alarms   share")
    for kind in KINDS[1:]:
        yes = [r for r in results if kind in r.true]
        no = [r for r in results if kind not in r.true]
        hits, alarms = sum(kind in r.heard for r in yes), sum(kind in r.heard for r in no)
        share = f"{hits / len(yes):7.1%}" if yes else "      -"
        print(f"  {kind:10s} {len(yes):8d} {hits:6d} {share} {len(no):9d} {alarms:7d} {alarms / max(len(no), 1):7.1%}")
    errors = np.array(list(itertools.chain.from_iterable(r.errors for r in results)))
    held = list(itertools.chain.from_iterable(r.held for r in results))
    starts = np.array(list(itertools.chain.from_iterable(r.starts_s for r in results)))
    found, sought = sum(r.found for r in results), sum(r.sought for r in results)
    print(f"stretches of motors found: {found} of {sought} ({found / max(sought, 1):.1%}); "
          f"motors named and not there: {sum(r.invented for r in results)}")  # fmt: skip
    if len(errors):
        within = float(np.mean(np.abs(errors) < 0.005))
        print(f"rates: median error {100 * np.median(np.abs(errors)):.3f} %, 95th percentile "
              f"{100 * np.quantile(np.abs(errors), 0.95):.3f} %, within 0.5 %: {within:.1%}; "
              f"intervals that hold: {np.mean(held):.1%}")  # fmt: skip
        print(f"starts: median {1000 * np.median(starts):+.0f} ms, within 0.1 s: {np.mean(np.abs(starts) < 0.1):.1%}")
    print("by noise, share of stretches found: " + ", ".join(
        f"{snr:.0f} dB {_share([r for r in results if r.trial.snr_db == snr])}" for snr in SNRS_DB))  # fmt: skip
    print("by phone, share of stretches found: " + ", ".join(
        f"{phone} {_share([r for r in results if r.trial.phone == phone])}" for phone in PHONES))  # fmt: skip
    seconds, lasts = sum(r.listened_s for r in results), sum(r.lasts_s for r in results)
    print(f"listening took {seconds / max(lasts, 1e-9):.3f} of the time that was listened to")
    if misses:
        for result in results:
            for one in result.off:
                print(f"  {result.trial.number:3d} {result.trial.machine} {result.trial.phone} "
                      f"{result.trial.snr_db:.0f} dB: {one}")  # fmt: skip
            wrong = {kind for kind in KINDS if (kind in result.true) != (kind in result.heard)}
            if wrong:
                at = result.trial
                faults = ", ".join(f"{fault.part}={fault.kind}" for fault in at.faults) or "nothing"
                print(f"  {at.number:3d} {at.machine} {faults} {at.room} {at.phone} {at.snr_db:.0f} dB "
                      f"{'+'.join(at.beside)}: true {sorted(result.true)}, heard {sorted(result.heard)}")  # fmt: skip
    kinds = Counter(kind for result in results for kind in result.disturbances).most_common()
    print("disturbances reported: " + ", ".join(f"{kind} {count}" for kind, count in kinds))


def _share(results: list[Result]) -> str:
    sought = sum(r.sought for r in results)
    return f"{sum(r.found for r in results) / sought:.0%}" if sought else "-"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--minutes", type=int, default=300)
    reader.add_argument("--workers", type=int, default=2, choices=(1, 2))
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--misses", action="store_true", help="list every minute that was heard wrongly")
    given: Any = reader.parse_args()
    asked = list(trials(given.minutes, given.seed))
    results: list[Result] = []
    # Whoever has waited long enough presses Ctrl-C and is told of those that are done.
    with contextlib.suppress(KeyboardInterrupt):
        if given.workers == 1:
            results += [run(one) for one in asked]
        else:
            with get_context("spawn").Pool(given.workers) as pool:
                for result in pool.imap_unordered(run, asked):
                    results.append(result)
                    print(f"\r{len(results)} of {len(asked)}", end="", file=sys.stderr)
        print(file=sys.stderr)
    told(sorted(results, key=lambda one: one.trial.number), misses=given.misses)


if __name__ == "__main__":
    main()
