"""How well a guided minute is listened to: invented minutes of every layout, in rooms, through phones, in noise.

The minutes are those of `benchmarks.minute_trials`; what really happened in one is read from its truth: a squeal that
comes at times and did not come is no squeal. Everything here is invented; it measures the listening, and nothing about
real machines. Playing and listening are two steps, and both go on where they were broken off.

Run: python -m benchmarks.mechanism_minutes [--minutes N] [--first SEED] [--workers 1|2] [--folder F] [--misses]
"""

import argparse
import contextlib
import itertools
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.minute_trials import HELD_OUT_FROM, KINDS, PHONES, SNRS_DB, Trial, fingerprint, kept, played, trial
from tapewright.diagnose.from_sound_noises import comes_round_slowly
from tapewright.jobs.mechanism_heard import expected_rates, listen
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.machine.rates import rates
from tapewright.simulate.minute_truth import MinuteTruth, TrueStretch
from tapewright.words.mechanism_heard import Mark, MechanismHeard, StretchHeard

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
RIGHT = 0.15
"""A motor whose rate is off by less turned as it should in its mode."""
EAR = ("measure/mechanism*.py", "measure/audio.py", "jobs/mechanism_heard.py", "words/mechanism_heard.py")
OFFERS = ("stop", "chirp", "rustle", "nothing")
"""What a slipping take-up offers to hear: the machine stops by itself, rubber chirps, a reel turns slowly in a wind.
Nothing is silent: no microphone hears a reel in play."""


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one minute."""

    trial: Trial
    true: frozenset[str]
    heard: frozenset[str]
    offers: frozenset[str] = frozenset()
    errors: tuple[float, ...] = ()
    shares: tuple[float, ...] = ()
    found: int = 0
    sought: int = 0
    starts_s: tuple[float, ...] = ()
    ends_s: tuple[float, ...] = ()
    invented: tuple[str, ...] = ()
    sures: tuple[tuple[str, float, bool], ...] = ()
    disturbances: tuple[str, ...] = ()
    listened_s: float = 0.0
    lasts_s: float = 0.0
    off: tuple[str, ...] = ()


# --- what is true, and what was heard ---------------------------------------------------------------------------------


def truly(machine: Machine, truth: MinuteTruth) -> frozenset[str]:
    """Say which of the four happened in a minute."""
    found = set()
    if any(_runs_on(machine, one.name, one.end_s - one.start_s) for one in truth.motors):
        found.add("runs_on")
    if _should_run(machine) and not any(one.name == "capstan_motor" for one in truth.motors):
        found.add("silent")
    if any(_squeals(one.kind, one.start_s, one.end_s) for one in truth.noises):
        found.add("squeal")
    if _weak(machine, truth):
        found.add("slip")
    return frozenset(found)


def _squeals(kind: str, start_s: float, end_s: float) -> bool:
    return kind in ("squeal", "chirp") and end_s - start_s >= SQUEAL_S


def _weak(machine: Machine, truth: MinuteTruth) -> list[TrueStretch]:
    return [
        one for one in truth.reels
        if one.does == "weak" and one.mode in machine.modes and one.name == machine.modes[one.mode].takes_up
    ]  # fmt: skip


def offered(machine: Machine, truth: MinuteTruth) -> frozenset[str]:
    """Say what a slipping take-up offers to hear in a minute; "nothing" where it slips and nothing tells it."""
    weak = _weak(machine, truth)
    found = set()
    for one in weak:
        if any(one.start_s < stop.at_s < one.end_s + 1.0 for stop in truth.stops):
            found.add("stop")
        if any(_squeals(n.kind, n.start_s, n.end_s) and n.mode == one.mode for n in truth.noises):
            found.add("chirp")
        right = rates(machine, one.mode).get(one.name)
        if right and not machine.modes[one.mode].at_capstan and one.rate_hz < SLIPS[1] * right.turns_per_s.value:
            found.add("rustle")
    return frozenset(found or ({"nothing"} if weak else ()))


def heard_of(machine: Machine, heard: MechanismHeard, marks: tuple[Mark, ...]) -> frozenset[str]:
    """Say which of the four can be read off what was heard, by plain rules."""
    found = set()
    sure = [one for one in heard.stretches if one.sure >= SURE]
    if any(_runs_on(machine, one.name, one.end_s - one.start_s) for one in sure):
        found.add("runs_on")
    # Silence tells only where a motor would have been heard.
    missed = [one for one in heard.not_heard if one.name == "capstan_motor" and one.mode == "play" and one.sure >= SURE]
    if _should_run(machine) and missed and not any(one.name == "capstan_motor" for one in sure):
        found.add("silent")
    if any(one.sure >= SURE for one in heard.squeals):
        found.add("squeal")
    if _slips(machine, sure, marks) or _falters(machine, heard) or _comes_round_slowly(machine, heard, marks):
        found.add("slip")
    return frozenset(found)


def _falters(machine: Machine, heard: MechanismHeard) -> bool:
    """Tell whether the rustle of a wind was heard to falter."""
    winds = [name for name, mode in machine.modes.items() if mode.takes_up and not mode.at_capstan]
    return any(one.mode in winds and one.sure >= SURE for one in heard.slips)


def _comes_round_slowly(machine: Machine, heard: MechanismHeard, marks: tuple[Mark, ...]) -> bool:
    """Tell whether what was heard to squeal in a wind came round too slowly: the reel slips."""
    for squeal in (one for one in heard.squeals if one.sure >= SURE):
        before = [mark.mode for mark in marks if mark.at_s < squeal.start_s]
        mode = machine.modes.get(before[-1]) if before else None
        if mode is not None and mode.takes_up and comes_round_slowly(machine, before[-1], squeal.modulation_hz):
            return True
    return False


def _should_run(machine: Machine) -> bool:
    """Tell whether a capstan motor should be heard: a slow one whose segments nobody described has no comb to hear."""
    due = expected_rates(machine)
    return any(one.name == "capstan_motor" and one.mode == "play" and one.comb for one in due)


def _runs_on(machine: Machine, motor: str, lasts_s: float) -> bool:
    waits = [sensor.timeout_s for sensor in machine.sensors.values() if sensor.ends == motor and sensor.timeout_s]
    return bool(waits) and lasts_s > max(waits) - 0.5


def _slips(machine: Machine, sure: list[StretchHeard], marks: tuple[Mark, ...]) -> bool:
    """Tell whether the logic was heard to stop a mode that takes tape up.

    Where a motor is heard to run on there, it is the head base that the machine waited for in vain; where no motor of
    its own tells that, nothing is said: that another mode went on does not help, for what stops one need not slip.
    """
    waits = [sensor.timeout_s or 0.0 for sensor in machine.sensors.values() if sensor.kind == "pulse_sensor"]
    others = [one for one in machine.sensors.values() if one.kind == "position_switch" and one.timeout_s]
    if not waits or any(not one.ends for one in others):
        return False
    return any(
        _given_up(machine, sure, mark, following.at_s, min(waits))
        for mark, following in itertools.pairwise(marks)
        if mark.mode in machine.modes and machine.modes[mark.mode].takes_up
    )


def _given_up(machine: Machine, sure: Sequence[StretchHeard], mark: Mark, until_s: float, waits_s: float) -> bool:
    """Tell whether a mode was given up for its reel.

    Only motors count that a stop changes, and only where one goes back to the rate that it has in stop, or the last of
    them ends, as long after the key as the logic waits for a reel, or longer.
    """
    mode = machine.modes[mark.mode]
    stopped = machine.modes["stop"].motors if "stop" in machine.modes else {}
    # A motor that only lifts the head base ends by itself.
    lifting = {sensor.ends for sensor in machine.sensors.values()}
    due = {(one.name, one.mode): one.rate_hz for one in expected_rates(machine)}
    here = [one for one in sure if one.end_s > mark.at_s + 0.5 and one.start_s < until_s]
    if any(_runs_on(machine, one.name, one.end_s - one.start_s) for one in here):
        return False
    from_s, to_s = mark.at_s + waits_s - 0.5, until_s - CUT_S
    ends = []
    for name in (n for n in mode.motors if n not in lifting and stopped.get(n) != mode.motors[n]):
        own = [one for one in here if one.name == name]
        if name in stopped:
            # It goes on at another rate.
            if any(_near(one, due.get((name, "stop"))) and from_s < one.start_s < to_s for one in own):
                return True
            own = [one for one in own if _near(one, due.get((name, mark.mode)))]
        ends += [max(one.end_s for one in own)] if own else []
    early = [end for end in ends if from_s < end < to_s]
    return bool(early) and len(early) == len(ends)


def _near(one: StretchHeard, right_hz: float | None) -> bool:
    """Tell whether a motor was heard at a rate that is right."""
    rate = one.rate_hz.value
    return rate is not None and right_hz is not None and abs(rate / right_hz - 1.0) < RIGHT


# --- one minute -------------------------------------------------------------------------------------------------------


def run(seed: int, folder: Path, *, as_played: bool = False) -> Result:
    """Listen to one minute, or give what was heard of it before."""

    def work() -> Result:
        path, truth = played(seed, folder, as_played=as_played)
        machine = shipped(trial(seed).machine)
        began = time.perf_counter()
        heard = listen(path, machine, truth.marks)
        return compared(trial(seed), machine, truth, heard, time.perf_counter() - began)

    return kept(folder / f"heard-{seed}-{fingerprint(*EAR)}.result", work)


def compared(asked: Trial, machine: Machine, truth: MinuteTruth, heard: MechanismHeard, took_s: float) -> Result:
    errors, shares, starts, ends, off, found, sought = [], [], [], [], [], 0, 0
    for one in truth.motors:
        if one.end_s - one.start_s < LEAST_S or one.rate_hz < LEAST_HZ:
            continue
        sought += 1
        match = _matching(one, heard)
        if match is None or match.rate_hz.value is None:
            off.append(f"{one.name} {one.mode} {one.start_s:.1f}-{one.end_s:.1f} {one.rate_hz:.2f}: "
                       f"{'no rate' if match else 'not heard'}")  # fmt: skip
            continue
        found += 1
        true_hz = _true_rate(one, match)
        errors.append(match.rate_hz.value / true_hz - 1.0)
        shares.append(abs(match.rate_hz.value - true_hz) / max(match.rate_hz.doubt or 0.0, 1e-9))
        if abs(errors[-1]) > 0.005 or shares[-1] > 1.0:
            off.append(f"{one.name} {one.mode} {one.start_s:.2f}-{one.end_s:.2f} {true_hz:.3f} heard "
                       f"{match.rate_hz.value:.3f} ± {match.rate_hz.doubt:.4f} "
                       f"{match.start_s:.2f}-{match.end_s:.2f}")  # fmt: skip
        if _stood(one.rates_hz[:1], one.rate_hz):
            starts.append(match.start_s - one.start_s)
        if _stood(one.rates_hz[-1:], one.rate_hz):
            ends.append(_beside(match.end_s, _coasts_from(one), one.end_s))
    named = [one for one in heard.stretches if machine.rotors.get(one.name) and _is_motor(machine, one.name)]
    there = [any(_overlap(t, one) > 0.2 for t in truth.motors if t.name == one.name) for one in named]
    invented = [
        f"{one.name} {one.mode} {one.start_s:.1f}-{one.end_s:.1f} {one.rate_hz.value or 0.0:.2f} sure {one.sure:.2f}"
        for one, true in zip(named, there, strict=True) if not true and one.sure >= SURE
    ]  # fmt: skip
    sures = [("motor", one.sure, true) for one, true in zip(named, there, strict=True)]
    sures += [("squeal", one.sure, _truly_squeals(truth, one.start_s, one.end_s)) for one in heard.squeals]
    sures += [
        ("silence", one.sure, not _turned(truth, one.name, one.start_s, one.end_s))
        for one in heard.not_heard if _is_motor(machine, one.name)
    ]  # fmt: skip
    return Result(
        asked, truly(machine, truth), heard_of(machine, heard, truth.marks), offered(machine, truth), tuple(errors),
        tuple(shares), found, sought, tuple(starts), tuple(ends), tuple(invented), tuple(sures),
        tuple(sorted({one.kind for one in heard.disturbances})), took_s, truth.duration_s, tuple(off),
    )  # fmt: skip


def _stood(rates_hz: tuple[float, ...], usual_hz: float) -> bool:
    """Tell whether a stretch begins, or ends, at a standstill and not at another rate."""
    return bool(rates_hz) and rates_hz[0] < 0.3 * usual_hz


def _coasts_from(one: TrueStretch) -> float:
    """Give the moment from which a motor only runs down."""
    at = [t for t, rate in zip(one.times_s, one.rates_hz, strict=True) if rate > 0.97 * one.rate_hz]
    return at[-1] if at else one.end_s


def _beside(at_s: float, from_s: float, to_s: float) -> float:
    """Give how far a moment lies outside a time."""
    return min(at_s - from_s, 0.0) or max(at_s - to_s, 0.0)


def _is_motor(machine: Machine, name: str) -> bool:
    return name in machine.rotors and machine.rotors[name].kind == "motor"


def _truly_squeals(truth: MinuteTruth, start_s: float, end_s: float) -> bool:
    return any(one.kind in ("squeal", "chirp") and one.start_s < end_s and start_s < one.end_s for one in truth.noises)


def _turned(truth: MinuteTruth, name: str, start_s: float, end_s: float) -> bool:
    own = (one for one in truth.motors if one.name == name)
    return any(min(one.end_s, end_s) - max(one.start_s, start_s) > 0.5 for one in own)


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


def told(results: Sequence[Result], *, misses: bool) -> None:
    print(f"{len(results)} invented minutes of {len({r.trial.machine for r in results})} machines, seeds "
          f"{min(r.trial.seed for r in results)} to {max(r.trial.seed for r in results)}, "
          f"{min(SNRS_DB):.0f} to {max(SNRS_DB):.0f} dB above the background")  # fmt: skip
    print(f"  {'':10s} happened  found   share    not so  alarms   share")
    for kind in KINDS[1:]:
        _row(kind, [r for r in results if kind in r.true], [r for r in results if kind not in r.true], kind)
    audible = [r for r in results if r.offers - {"nothing"}]
    silent = sum("nothing" in r.offers for r in results)
    print(f"  of the slips, by what they offer to hear (one may offer several); {silent} of them are silent:")
    _row("audible", audible, [], "slip")
    for offer in OFFERS:
        _row(offer, [r for r in results if offer in r.offers], [], "slip")
    _rates_told(results)
    print("by noise, share of stretches found: " + ", ".join(
        f"{snr:.0f} dB {_share([r for r in results if r.trial.snr_db == snr])}" for snr in SNRS_DB))  # fmt: skip
    print("by phone, share of stretches found: " + ", ".join(
        f"{phone} {_share([r for r in results if r.trial.phone == phone])}" for phone in PHONES))  # fmt: skip
    for kind in ("motor", "silence", "squeal"):
        _reliability(kind, [(sure, true) for r in results for what, sure, true in r.sures if what == kind])
    seconds, lasts = sum(r.listened_s for r in results), sum(r.lasts_s for r in results)
    print(f"listening took {seconds / max(lasts, 1e-9):.3f} of the time that was listened to")
    kinds = Counter(kind for result in results for kind in result.disturbances).most_common()
    print("disturbances reported: " + ", ".join(f"{kind} {count}" for kind, count in kinds))
    if misses:
        for result in results:
            _missed(result)


def _row(name: str, yes: Sequence[Result], no: Sequence[Result], kind: str) -> None:
    hits, alarms = sum(kind in r.heard for r in yes), sum(kind in r.heard for r in no)
    share = f"{hits / len(yes):7.1%}" if yes else "      -"
    others = f"{len(no):9d} {alarms:7d} {alarms / len(no):7.1%}" if no else ""
    print(f"  {name:10s} {len(yes):8d} {hits:6d} {share} {others}")


def _rates_told(results: Sequence[Result]) -> None:
    errors = np.array(list(itertools.chain.from_iterable(r.errors for r in results)))
    shares = np.array(list(itertools.chain.from_iterable(r.shares for r in results)))
    found, sought = sum(r.found for r in results), sum(r.sought for r in results)
    print(f"stretches of motors found with a rate: {found} of {sought} ({found / max(sought, 1):.1%}); "
          f"motors named and not there: {sum(len(r.invented) for r in results)}")  # fmt: skip
    if not len(errors):
        return
    near = np.abs(errors) < 0.005
    print(f"rates: median error {100 * np.median(np.abs(errors)):.3f} %, 95th percentile "
          f"{100 * np.quantile(np.abs(errors), 0.95):.3f} %, within 0.5 %: {near.mean():.1%}; intervals that hold: "
          f"{np.mean(shares <= 1):.1%} of all, {np.mean(shares[near] <= 1):.1%} of those within 0.5 %; half of all "
          f"errors are less than {np.median(shares):.2f} of the doubt")  # fmt: skip
    print("from a standstill, and to one (no error between switching off and standing still):")
    for what, given in (("starts", [r.starts_s for r in results]), ("ends", [r.ends_s for r in results])):
        moved = np.array(list(itertools.chain.from_iterable(given)))
        print(f"{what}: median {1000 * np.median(moved):+.0f} ms, within 0.1 s: {np.mean(np.abs(moved) < 0.1):.1%}, "
              f"within 0.3 s: {np.mean(np.abs(moved) < 0.3):.1%}")  # fmt: skip


def _reliability(kind: str, said: Sequence[tuple[float, bool]]) -> None:
    """Print how often what was said with so much certainty was so."""
    found = []
    for low, high in itertools.pairwise((0.0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.99, 1.01)):
        here = [(sure, true) for sure, true in said if low <= sure < high]
        if here:
            mean, share = np.mean(np.array(here, dtype=float), axis=0)
            found.append(f"{mean:.3f} said {share:.3f} so ({len(here)})")
    # What is said of each by itself lies above 0.6: how much may be said at most follows from all of those.
    so = [true for sure, true in said if sure >= 0.6]
    most = (
        f"; {sum(so)} of {len(so)} from 0.6 on were so: say {(sum(so) + 1) / (len(so) + 2):.3f} at most" if so else ""
    )
    print(f"how sure, {kind}: " + "; ".join(found) + most)


def _missed(result: Result) -> None:
    for one in result.off:
        print(f"  {result.trial.seed} {result.trial.machine} {result.trial.phone} {result.trial.snr_db:.0f} dB: {one}")
    for one in result.invented:
        print(f"  {result.trial.seed} {result.trial.machine} {result.trial.phone}: not there: {one}")
    if any((kind in result.true) != (kind in result.heard) for kind in KINDS):
        print(f"  WRONG {result.trial}: true {sorted(result.true)}, heard {sorted(result.heard)}, "
              f"offers {sorted(result.offers)}")  # fmt: skip


def _share(results: Sequence[Result]) -> str:
    sought = sum(r.sought for r in results)
    return f"{sum(r.found for r in results) / sought:.0%}" if sought else "-"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--minutes", type=int, default=300)
    reader.add_argument("--first", type=int, default=HELD_OUT_FROM, help="seed of the first minute")
    reader.add_argument("--workers", type=int, default=2, choices=(1, 2))
    reader.add_argument("--folder", type=Path, help="where minutes and results are kept, to go on later")
    reader.add_argument("--as-played", action="store_true", help="take minutes that an earlier simulator played")
    reader.add_argument("--only-told", action="store_true", help="listen to none, tell of those that are done")
    reader.add_argument("--misses", action="store_true", help="list every minute that was heard wrongly")
    given: Any = reader.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = given.folder or Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        seeds = list(range(given.first, given.first + given.minutes))
        if given.only_told:
            seeds = [seed for seed in seeds if (folder / f"heard-{seed}-{fingerprint(*EAR)}.result").exists()]
        results: list[Result] = []
        # Whoever has waited long enough presses Ctrl-C and is told of those that are done.
        with contextlib.suppress(KeyboardInterrupt), get_context("spawn").Pool(given.workers) as pool:
            for result in pool.imap_unordered(partial(run, folder=folder, as_played=given.as_played), seeds):
                results.append(result)
                print(f"\r{len(results)} of {len(seeds)}", end="", file=sys.stderr)
        print(file=sys.stderr)
        if results:
            told(sorted(results, key=lambda one: one.trial.seed), misses=given.misses)


if __name__ == "__main__":
    main()
