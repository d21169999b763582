"""Guided minutes being listened to and looked at, beside the page; and what each says, ready for the job."""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from tapewright.diagnose.measured import BY_STEM, split
from tapewright.jobs.guided_minute_marks import is_film, marks_in
from tapewright.jobs.store.nouns import Answer, Attached, Measured
from tapewright.jobs.store.opened import Store
from tapewright.machine.parts import SPOKEN_MODES, Machine
from tapewright.show.said import name_of, percent, reading_name, reading_said
from tapewright.web.workbench import renamed, signs_by_id
from tapewright.words.mechanism_heard import EvidenceHeard, Mark
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading

KEPT: Final = 24
METHOD: Final = "guided minute"


@dataclass(frozen=True, slots=True)
class Sensed:
    """What a sound or a film says of a machine.

    Arguments:
        heard: as evidence, with the reasons.
        pictures: as SVG.
        notes: sentences: what it cannot tell, and what disturbed it.
    """

    heard: EvidenceHeard
    pictures: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


Sense = Callable[[Path, Machine, Sequence[Mark]], Sensed]
"""Listens to, or looks at, a file: given where it lies, the machine, and the marks."""


@dataclass(frozen=True, slots=True)
class State:
    """How far a file is.

    Arguments:
        share: 0 while it is worked on, 1 when that is done.
        sensed: what it says, once it is done.
        problems: why it says nothing.
    """

    share: float
    sensed: Sensed | None = None
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a minute says, as the page shows it.

    Arguments:
        name: id of the sign or name of the reading.
        says: in words.
        sure: in words: how sure, or the doubt.
        why: what in the sound or film says so.
        item: what goes into the job.
        kind: "noticed"; "missing" for what was looked for and is not there; "reading".
    """

    name: str
    says: str
    sure: str
    why: str
    item: Answer | Measured
    kind: Literal["noticed", "missing", "reading"] = "reading"


class MinuteDesk:
    """Where minutes are listened to and looked at, one after another.

    Arguments:
        store: where jobs are kept.
        listen: to a sound.
        watch: a film.
    """

    def __init__(self, store: Store, listen: Sense, watch: Sense) -> None:
        self.store, self._listen, self._watch = store, listen, watch
        self._lock = threading.Lock()
        self._known: dict[tuple[Machine, str, str], State] = {}
        self._worker = ThreadPoolExecutor(1, "minutes")

    def close(self) -> None:
        """Give up what is waiting."""
        self._worker.shutdown(wait=True, cancel_futures=True)

    def state(self, machine: Machine, kept: Attached) -> State:
        """Tell how far a file is; begin with it when nobody has."""
        key = (machine, kept.sha256, kept.note)
        with self._lock:
            if key not in self._known:
                while len(self._known) >= KEPT:
                    self._known.pop(next(iter(self._known)))
                self._known[key] = State(0.0)
                self._worker.submit(self._work, key, machine, kept)
            return self._known[key]

    def forget(self, kept: Attached) -> None:
        """Forget what a file said, so that it is listened to anew."""
        with self._lock:
            for key in [one for one in self._known if one[1] == kept.sha256]:
                del self._known[key]

    def _work(self, key: tuple[Machine, str, str], machine: Machine, kept: Attached) -> None:
        sense = self._watch if is_film(kept.note) else self._listen
        path = Path(kept.sha256)
        try:
            path = self.store.file_path(kept.sha256)
            done = State(1.0, sense(path, machine, marks_in(kept.note)[0]))
        except InputAtFaultError as error:
            done = State(1.0, problems=renamed(error, path, kept.called).problems)
        except Exception as error:
            found = f"stopped it: {type(error).__name__}, a fault of this program and not of the file."
            done = State(1.0, problems=(Problem(kept.called, found, "Please report it with the file."),))
        with self._lock:
            self._known[key] = done


def findings(machine: Machine, sensed: Sensed, called: str) -> list[Finding]:
    """Put what a file says into words, each ready for the job: signs first, then readings.

    Arguments:
        machine: as described.
        sensed: what it says.
        called: what the user calls the file.
    """
    why = dict(sensed.heard.reasons)
    known = signs_by_id(machine)
    found = []
    for one in sensed.heard.evidence.signs:
        if one.id in known and one.present is not None:
            says = known[one.id].says if one.present else f"Not so: {known[one.id].says}"
            answer = Answer(one.id, one.present, round(one.sure, 2))
            kind: Literal["noticed", "missing"] = "noticed" if one.present else "missing"
            found.append(Finding(one.id, says, f"{percent(one.sure)} sure", why.get(one.id, ""), answer, kind))
    for name, reading in sensed.heard.evidence.readings.items():
        if reading.value is not None:
            item = Measured(
                name, reading.value, reading.unit, reading.doubt, method=METHOD, conditions=called, by=reading.by
            )
            says, sure = _reading_says(machine, name, reading)
            found.append(Finding(name, says, sure, why.get(name, ""), item))
    return found


def _reading_says(machine: Machine, name: str, reading: Reading) -> tuple[str, str]:
    """Say what a reading is of, and its value; of a chance whether it leans to yes, and how far."""
    stem, part, mode = split(name)
    of, when = name_of(machine, part) if part else "", f" {SPOKEN_MODES[mode]}" if mode in SPOKEN_MODES else ""
    verbs = CHANCES.get(stem)
    if verbs is None:
        quantity = BY_STEM[stem].says if stem in BY_STEM else reading_name(name)
        says = f"{quantity}{f': {of}' if of else ''}{when}"
        return says[:1].upper() + says[1:], reading_said(name, reading)
    value = reading.value or 0.0
    says = f"The {of} {verbs[value < EVEN]}{when}"
    return says, f"{percent(max(value, 1.0 - value))} sure"


EVEN: Final = 0.5
CHANCES: Final = {"motor_runs_sure": ("runs", "does not run"), "squeal_sure": ("squeals", "does not squeal")}
"""How a reading that is a chance is said: what a yes is, and a no."""
