"""The whole way of a guided minute: played, filmed, listened to and watched, and the beliefs asked.

Single faults from the list that was fixed beforehand are put in, one to a machine, the layouts in turn. The minute is
played into a room and through a phone, and three of its steps are filmed. What the detectors make of both files is all
the evidence there is. Where the part at fault does not lead, what a perfect ear and eye would have given is put in the
place of one detector's report after another: that names the detector that lost it. Machines, sound and film are
simulated; no real machine is among them.

What was played and filmed, and what was made of it, is kept in a folder under the fingerprints of all that it comes
from: after a change of the ear only the listening is done anew, after a change of the beliefs nothing but those.
"""

import csv
import math
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchmarks.minute_trials import fingerprint, kept
from benchmarks.reel_films import small_camera, some_look
from tapewright.diagnose.from_film import evidence_of_film
from tapewright.diagnose.from_sound import evidence_of_sound
from tapewright.diagnose.likelihoods import Array, of_observations, of_readings, together
from tapewright.diagnose.network import Network, network, speaking_of
from tapewright.faults.applied import Fault, applied
from tapewright.jobs.guided_minute import Given, Impression, differs, given, impressions
from tapewright.jobs.guided_minute_film import watch_minute
from tapewright.jobs.guided_minute_score import FALSE_ALARMS, HITS, places_of, said_of
from tapewright.jobs.mechanism_heard import listen
from tapewright.machine.library import shipped
from tapewright.machine.minute import minute_steps
from tapewright.machine.parts import Machine
from tapewright.simulate.film import film
from tapewright.simulate.film_course import FilmStep
from tapewright.simulate.minute import play_minute, write_minute
from tapewright.words.evidence import Evidence
from tapewright.words.mechanism_heard import Mark, MechanismHeard
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reels_seen import ReelsSeen

ROOMS: Final = ("case", "bench", "living_room", "workshop", "tiled_room")
PHONES: Final = ("recorder", "phone", "phone_gain", "voice_message")
BESIDE: Final = (("noise",), ("noise", "hum"), ("noise", "speech"))
SNR_DB: Final = (10.0, 30.0)
FILMED_S: Final = {"play": 8.0, "fast_forward": 4.0, "rewind": 4.0}
"""Shorter than the minute's own steps: drawing and watching a film take longer than it lasts."""
STOPPED_S: Final = 1.5
"""So long each is stopped after it, as the minute's own steps have it: reels run down."""
SIDE_S: Final = 400.0
"""How far into the side the tape is: about the middle, as the steps ask for."""

SOUNDING: Final = ("machine/**/*", "faults/**/*.py")
MINUTES: Final = (*SOUNDING, "simulate/minute*.py")
FILMS: Final = (*SOUNDING, "simulate/film*.py")
EAR: Final = (*SOUNDING, "measure/mechanism*.py", "measure/audio.py", "measure/weighted.py", "jobs/mechanism_heard.py")
EYES: Final = (*SOUNDING, "measure/film*.py", "jobs/reels_seen.py", "jobs/guided_minute_film.py")

WHERE: Final = {"play": "", "fast_forward": " in a wind", "rewind": " in a wind"}
DETECTORS: Final[Mapping[str, tuple[str, ...]]] = {
    "which motors run": ("motor_runs_sure",),
    "rates of motors": ("rate_hz|sound",),
    "racing and labouring": ("races", "labours"),
    "squeals": ("squeals", "squeak", "squeal_sure"),
    "knocks and rubbing": ("noise",),
    "giving up by itself": ("stops", "seconds_to_stop", "falls_back", "starts_and_stops"),
    "running on": ("goes_on", "run_on_s"),
    "the head base": ("stays_down", "rises_late", "does_not_drop", "head_base_rise_s"),
    "solenoids": ("no_click",),
    "reels: rates and the tape's speed": ("rate_hz|film", "speed_error_pct", "wind_time_s", "tape_races"),
    "reels: standing, faltering, piling up": (
        "falters", "stands", "tape_still", "weak", "dead", "loop", "overruns", "coasts",
    ),
    "tray and lid": ("stays_out", "stops_short", "goes_late", "returns", "stays_in", "comes_part_way", "comes_late"),
}  # fmt: skip
"""What each detector reports: stems of readings, ends of signs."""


@dataclass(frozen=True, slots=True)
class Tried:
    """One machine, and what came of it.

    Arguments:
        machine, fault: what was tried.
        says: room, phone and noise.
        place: of the part at fault among the suspects, from 1; 0 where there was no evidence.
        ideal: its place with a perfect ear's and eye's evidence instead.
        mended: detectors of which each alone, replaced by the perfect one, puts it first.
        told: for each yes or no that the fault changes, its detector and what it reported: "right", "wrong", "silent".
        astray: what was reported and is not so, and what a perfect ear and eye would have said and nothing reported.
        answers: of each yes or no: its kind, the chance that it is so, and what was reported: "yes", "no", "".
    """

    machine: str
    fault: Fault
    says: str
    place: int
    ideal: int
    mended: tuple[str, ...]
    told: tuple[tuple[str, str], ...]
    astray: tuple[str, ...] = ()
    answers: tuple[tuple[str, float, str], ...] = ()


def sampled(
    table: str, names: Sequence[str], count: int, seed: int, everything: Mapping[str, Sequence[Fault]]
) -> Iterator[tuple[str, Fault]]:
    """Draw single-fault machines, the layouts in turn, each fault alike.

    Arguments:
        table: the list that was fixed, as text.
        names: of the layouts.
        count: how many.
        seed: the same machines each time.
        everything: faults of each layout to draw from instead of the list; empty for the list.
    """
    listed: dict[str, list[Fault]] = {}
    for row in csv.DictReader(table.splitlines()):
        if row["told_apart"] == "1" and row["machine"] in names:
            listed.setdefault(row["machine"], []).append(Fault(row["part"], row["kind"], float(row["degree"])))
    chosen = {name: list(faults) for name, faults in (everything or listed).items()}
    layouts = list(chosen)
    for number in range(count):
        name = layouts[number % len(layouts)]
        own = chosen[name]
        yield name, own[int(np.random.default_rng([seed, number]).integers(len(own)))]


def tried(name: str, fault: Fault, number: int, seed: int, folder: Path) -> Tried:
    """Play, film, listen, watch, and ask the beliefs.

    Arguments:
        name: of the layout.
        fault: what is put in.
        number, seed: which minute it is.
        folder: where what was done is kept.
    """
    machine, random = shipped(name), np.random.default_rng([seed, number, 7])
    called = "-".join((str(seed), str(number), name, fault.part, fault.kind, f"{fault.severity:g}"))
    room, phone = str(random.choice(ROOMS)), str(random.choice(PHONES))
    snr_db, beside = float(random.uniform(*SNR_DB)), BESIDE[int(random.integers(len(BESIDE)))]
    sound_seed, film_seed = int(random.integers(1 << 30)), int(random.integers(1 << 20))
    camera = small_camera(random)
    look = some_look(random)

    def played(path: Path) -> tuple[Mark, ...]:
        worn = applied(machine, [fault])
        minute = play_minute(
            worn, minute_steps(machine), sound_seed, room=room, phone=phone, snr_db=snr_db, background=beside,
            faults=[fault],
        )  # fmt: skip
        write_minute(minute, path)
        return minute.truth.marks

    def filmed(path: Path) -> tuple[Mark, ...]:
        steps, at_s = [], 0.0
        for mode, lasts_s in FILMED_S.items():
            if mode in machine.modes:
                steps += [FilmStep(mode, at_s, lasts_s), FilmStep("stop", at_s + lasts_s, STOPPED_S)]
                at_s += lasts_s + STOPPED_S
        film(machine, [fault], path, steps, seed=film_seed, position_s=SIDE_S, camera=camera, look=look)
        return (*(Mark(step.mode, step.at_s) for step in steps), Mark("off", at_s))

    heard = _listened(machine, _made(folder / f"{called}-{fingerprint(*MINUTES)}.wav", played))
    seen = _watched(machine, _made(folder / f"{called}-{fingerprint(*FILMS)}.mp4", filmed))
    watched = [evidence_of_film(machine, one, mode).evidence for mode, one in seen.items()]
    evidence = _both(evidence_of_sound(machine, heard).evidence, *watched)
    says = f"{room}, {phone}, {snr_db:.0f} dB, {'+'.join(beside)}, {', '.join(seen) or 'nothing'} watched"
    return _judged(machine, fault, evidence, random, says)


def _made(path: Path, make: Callable[[Path], tuple[Mark, ...]]) -> tuple[Path, tuple[Mark, ...]]:
    """Give a sound or film and its marks, made only where it is not in the folder yet."""

    def whole() -> tuple[Mark, ...]:
        half = path.with_name(f"half-{path.name}")
        marks = make(half)
        shutil.move(half, path)
        return marks

    return path, kept(path.with_suffix(".marks"), whole)


def _listened(machine: Machine, minute: tuple[Path, tuple[Mark, ...]]) -> MechanismHeard:
    path, marks = minute
    return kept(path.with_suffix(f".heard-{fingerprint(*EAR)}"), lambda: listen(path, machine, marks))


def _watched(machine: Machine, minute: tuple[Path, tuple[Mark, ...]]) -> dict[str, ReelsSeen]:
    path, marks = minute

    def work() -> dict[str, ReelsSeen]:
        try:
            pieces = watch_minute(path, machine, marks)
        except InputAtFaultError:
            return {}
        return {one.mode: one.watched.seen for one in pieces if one.watched is not None}

    return kept(path.with_suffix(f".seen-{fingerprint(*EYES)}"), work)


def _both(*each: Evidence) -> Evidence:
    """Put the senses' findings together: each answers for the time it was there, and a reading counts once."""
    readings = {name: reading for one in reversed(each) for name, reading in one.readings.items()}
    return Evidence(tuple(sign for one in each for sign in one.signs), readings)


# --- what came of it --------------------------------------------------------------------------------------------------


def _judged(machine: Machine, fault: Fault, evidence: Evidence, random: np.random.Generator, says: str) -> Tried:
    wanted = impressions(machine)
    now, usual = given(applied(machine, [fault]), wanted), given(machine, wanted)
    ids = {sign.id for sign in evidence.signs} | {one.name for one in wanted if one.sign is not None}
    net = speaking_of(network(machine), sorted(ids))
    perfect = {
        called: _rows(said_of(net, own, [[now[i] for i in where]], random, HITS, FALSE_ALARMS))
        for called, own, where in _by_detector(wanted)
    }
    real = {called: _said(net, _only(machine, evidence, called)) for called in DETECTORS}
    place = _place(net, list(real.values()), fault.part)
    ideal = _place(net, list(perfect.values()), fault.part)
    mended: tuple[str, ...] = ()
    if place != 1:
        swapped = {one: [perfect[one] if one == called else real[called] for called in real] for one in perfect}
        mended = tuple(one for one, parts in swapped.items() if _place(net, parts, fault.part) == 1)
    told = tuple(
        (called, _reported(one, evidence, this.chance > was.chance))
        for one, this, was in zip(wanted, now, usual, strict=True)
        if one.reading is None and abs(this.chance - was.chance) >= 0.4
        for called in (_detector(one.name, one.sense),)
    )
    astray = tuple(_astray(wanted, now, usual, evidence))
    answers = tuple(_answers(wanted, now, evidence))
    return Tried(machine.id, fault, says, place, ideal, mended, told, astray, answers)


def _answers(
    wanted: Sequence[Impression], now: Sequence[Given], evidence: Evidence
) -> Iterator[tuple[str, float, str]]:
    """Give each sign's kind, the chance that it is so, and what was reported of it."""
    said = {sign.id: "yes" if sign.present else "no" for sign in evidence.signs if sign.present is not None}
    for one, this in zip(wanted, now, strict=True):
        if one.sign is not None:
            where = (
                " in a wind" if one.mode in ("fast_forward", "rewind") else "" if one.mode == "play" else " elsewhere"
            )
            stem = one.node.partition("@")[0].partition(":")[0]
            yield f"{stem}, {one.sign.id.split('_')[-1]}{where}", this.chance, said.get(one.name, "")


def _astray(
    wanted: Sequence[Impression], now: Sequence[Given], usual: Sequence[Given], evidence: Evidence
) -> Iterator[str]:
    """Say of each impression how what was reported differs from what a perfect ear and eye would have said."""
    signs = {sign.id: sign for sign in evidence.signs}
    for one, this, was in zip(wanted, now, usual, strict=True):
        changed = differs(one, this, was)
        if one.reading is not None:
            reading = evidence.readings.get(one.name)
            value = None if reading is None else reading.value
            due, of = ("none" if math.isnan(this.value) else f"{this.value:.4g}"), f"{was.value:.4g} when sound"
            said = "nothing" if reading is None or value is None else f"{value:.4g} ± {reading.doubt or 0.0:.2g}"
            off = value is None or differs(one, Given(value=value), this)
            if off and (changed or value is not None):
                yield f"{one.name}: {said} said, {due} is so, {of}"
            continue
        if one.sign is None:
            reading = evidence.readings.get(one.name)
            chance = None if reading is None else reading.value
        else:
            sign = signs.get(one.name)
            # A sign that is sure to nothing says nothing either way.
            way = 0.0 if sign is None or sign.present is None else 0.5 if sign.present else -0.5
            chance = None if sign is None or not way else 0.5 + way * sign.sure
        wrong = chance is not None and abs(chance - this.chance) > 0.5
        if wrong or (changed and chance is None):
            said = "nothing" if chance is None else f"{chance:.2f}"
            yield f"{one.name}: {said} said, {this.chance:.2f} is so, {was.chance:.2f} when sound"


def _place(net: Network, said: Sequence[Mapping[str, Array]], part: str) -> int:
    whole = together(*said)
    return int(places_of(net, {name: np.atleast_2d(one) for name, one in whole.items()}, [part])[0]) if whole else 0


def _rows(said: Mapping[str, Array]) -> dict[str, Array]:
    return {name: one[0] for name, one in said.items()}


def _said(net: Network, evidence: Evidence) -> dict[str, Array]:
    return together(of_observations(net, evidence.signs), of_readings(net, evidence.readings))


def _only(machine: Machine, evidence: Evidence, detector: str) -> Evidence:
    signs = tuple(sign for sign in evidence.signs if _detector(sign.id, "") == detector)
    own = {name for name in evidence.readings if _detector(name, _sense(machine, name)) == detector}
    return Evidence(signs, {name: one for name, one in evidence.readings.items() if name in own})


def _sense(machine: Machine, name: str) -> str:
    """Say which sense a rate comes from: a motor's is heard, a reel's is seen."""
    part = name.partition("@")[0].partition(":")[2]
    return "sound" if part in machine.rotors and machine.rotors[part].kind == "motor" else "film"


def _by_detector(wanted: Sequence[Impression]) -> Iterator[tuple[str, list[Impression], list[int]]]:
    for called in DETECTORS:
        where = [i for i, one in enumerate(wanted) if _detector(one.name, one.sense) == called]
        yield called, [wanted[i] for i in where], where


def _detector(name: str, sense: str) -> str:
    """Name the detector that an impression or a finding comes from."""
    stem = name.partition("@")[0].partition(":")[0]
    for called, ends in DETECTORS.items():
        for end in ends:
            own, _, of = end.partition("|")
            if (stem == own and of in ("", sense)) or (not of and name.endswith(f"_{own}")):
                return called
    raise ValueError(f"no detector reports {name}")


def _reported(one: Impression, evidence: Evidence, more: bool) -> str:
    """Say whether a yes or no that the fault changes was reported as it is."""
    if one.sign is None:
        reading = evidence.readings.get(one.name)
        value = None if reading is None else reading.value
        return "silent" if value is None or abs(value - 0.5) < 0.1 else "right" if (value > 0.5) == more else "wrong"
    found = [sign.present for sign in evidence.signs if sign.id == one.name]
    return "silent" if not found or found[0] is None else "right" if found[0] == more else "wrong"
