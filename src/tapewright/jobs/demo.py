"""The main job on an invented machine, end to end: a complaint, some answers, a recording, findings.

The machine is the shipped invented four-track. Two of its parts are put out of order; what the "owner" notices and what
the "technician" answers is read off the machine that results, as a person at the bench would read it off a real one.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from tapewright.faults.applied import Fault, applied
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.ask import Conversation
from tapewright.jobs.evidence_file import write_evidence
from tapewright.jobs.examine import examine
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.simulate.recording import simulate
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.plain import plain
from tapewright.words.record import Record

MACHINE: Final = "four_track"
FAULTS: Final = (Fault("idler_tyre", "glazed", 0.7), Fault("pinch_roller", "eccentric", 1.0))
COMPLAINT: Final = (
    "Invented complaint: “Since I took it out of the loft the rewind hardly gets to the end of a tape, and what I play "
    "on it wavers.”"
)
OWNER_NOTICED: Final = ("rewind_weak", "play_tape_uneven")
AGE_YEARS: Final = 38.0
CHECKS: Final = 6
SECONDS: Final = 30.0
SEED: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class Demonstration:
    """What the demonstration gives.

    Arguments:
        machine: as described, without its faults: what the examination was given.
        record: the findings.
        truth: the faults that were put in.
        files: what was written.
    """

    machine: Machine
    record: Record
    truth: list[Any]
    files: tuple[Path, ...]


def demo(
    folder: Path, *, note: Callable[[str], None], progress: Callable[[float], None] | None = None
) -> Demonstration:
    """Do the main job on an invented machine.

    Arguments:
        folder: where the recording and the evidence go; made if need be.
        note: is told what happens.
        progress: is told how far it is, 0 to 1.
    """
    raise_to = progress or (lambda share: None)
    machine = shipped(MACHINE)
    worn = applied(machine, FAULTS)
    shown = {sign.id for sign in signs_shown(worn)}
    note(f"An invented machine, {machine.title}, with {len(FAULTS)} faults put in.")
    note(COMPLAINT)
    talk = Conversation(machine, _complaint(shown), COMPLAINT)
    for number in range(CHECKS):
        check = talk.now().next_check
        if check is None:
            break
        talk.say(check.id, check.id in shown)
        note(f"  {check.says}? {'Yes.' if check.id in shown else 'No.'}")
        raise_to(0.4 * (number + 1) / CHECKS)
    recording = _play(machine, folder, raise_to)
    evidence = folder / "evidence.json"
    write_evidence(evidence, talk.evidence)
    record = examine(
        machine, talk.evidence, [recording], complaint=COMPLAINT, progress=lambda s: raise_to(0.6 + 0.4 * s)
    )
    record = replace(record, notes=("Everything here is invented: machine, owner, answers, recording.", *record.notes))
    return Demonstration(machine, record, plain(list(FAULTS)), (recording, recording.with_suffix(".json"), evidence))


def _complaint(shown: set[str]) -> Evidence:
    """The owner tells what such a machine shows, and nothing else."""
    return Evidence(tuple(Observation(sign, sign in shown) for sign in OWNER_NOTICED), age_years=AGE_YEARS)


def _play(machine: Machine, folder: Path, progress: Callable[[float], None]) -> Path:
    path = folder / "test_tone_before.wav"
    folder.mkdir(parents=True, exist_ok=True)
    simulate(machine, FAULTS, path, duration_s=SECONDS, seed=SEED, progress=lambda s: progress(0.4 + 0.2 * s))
    return path
