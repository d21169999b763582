"""The main job as a conversation: one check at a time, each answer kept at once."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from tapewright.diagnose.closed_jobs import Knowledge
from tapewright.faults.mechanism import mechanism
from tapewright.faults.search import found_signs
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.evidence_file import write_evidence
from tapewright.jobs.examine import examine
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.record import Record

ANSWERS: Final = {
    "yes": True, "y": True, "no": False, "n": False, "can't tell": None, "cant tell": None, "?": None, "c": None,
}  # fmt: skip
HELP: Final = (
    "yes · no · can't tell · why · undo · stop; or `find WORDS` to look a sign up and `seen ID` or `not ID` to say "
    "that it was noticed, or looked for in vain."
)


@dataclass(slots=True)
class Conversation:
    """Where a conversation stands: the one thing in the house that changes, since it is a conversation.

    Arguments:
        machine: the machine on the bench.
        evidence: all that has been said.
        complaint: the owner's words.
        equal_rate: as for `examine`.
        keep: called with the evidence after every change.
        record: the findings, once asked for; None after a change.
        knowledge: as for `examine`.
    """

    machine: Machine
    evidence: Evidence
    complaint: str = ""
    equal_rate: float | None = None
    keep: Callable[[Evidence], None] = field(default=lambda evidence: None)
    record: Record | None = None
    knowledge: Knowledge | None = None

    def now(self) -> Record:
        """Give the findings as they stand."""
        if self.record is None:
            self.record = examine(
                self.machine,
                self.evidence,
                complaint=self.complaint,
                equal_rate=self.equal_rate,
                knowledge=self.knowledge,
            )
        return self.record

    def say(self, sign: str, present: bool | None) -> None:
        """Take an answer, and keep it."""
        after = self.evidence.signs[-1].after if self.evidence.signs else ()
        self._change((*self.evidence.signs, Observation(sign, present, after=after)))

    def undo(self) -> Observation | None:
        """Take the last answer back; None when there is none."""
        if not self.evidence.signs:
            return None
        last = self.evidence.signs[-1]
        self._change(self.evidence.signs[:-1])
        return last

    def _change(self, said: tuple[Observation, ...]) -> None:
        self.evidence = replace(self.evidence, signs=said)
        self.record = None
        self.keep(self.evidence)


def kept_in(path: Path | None) -> Callable[[Evidence], None]:
    """Keep evidence in a file, or nowhere."""
    return (lambda evidence: write_evidence(path, evidence)) if path is not None else (lambda evidence: None)


def converse(
    conversation: Conversation, answers: Iterator[str], tell: Callable[[str], None], show: Callable[[Record], str]
) -> Record:
    """Ask and listen until told to stop, or until mending saves more than asking on.

    Arguments:
        conversation: where to begin.
        answers: what the person types, a line at a time; the end of it stops.
        tell: shows a text.
        show: puts the next question and where things stand into words.
    """
    known = {sign.id: sign for sign in signs(mechanism(conversation.machine))}
    tell(HELP)
    tell(show(conversation.now()))
    while conversation.now().next_check is not None:
        line = next(answers, None)
        if line is None or line.strip().lower() in ("stop", "q", "quit"):
            break
        if _act(conversation, line.strip(), known, tell):
            tell(show(conversation.now()))
    return conversation.now()


def _act(conversation: Conversation, line: str, known: dict[str, Sign], tell: Callable[[str], None]) -> bool:
    """Do what was typed; tell whether the findings may have changed."""
    check = conversation.now().next_check
    word, _, rest = line.lower().replace("’", "'").partition(" ")
    if line.lower().replace("’", "'") in ANSWERS and check is not None:
        conversation.say(check.id, ANSWERS[line.lower().replace("’", "'")])
        return True
    if word == "why" and check is not None:
        tell(check.why)
    elif word == "undo":
        last = conversation.undo()
        tell("Nothing to take back." if last is None else f"Taken back: {known[last.id].says}.")
        return last is not None
    elif word == "find":
        hits = found_signs(known.values(), rest)
        tell("\n".join(f"  {sign.id}: {sign.says}" for sign in hits) or "No sign of this machine fits these words.")
    elif word in ("seen", "not") and rest in known:
        conversation.say(rest, word == "seen")
        return True
    elif line:
        tell(f"“{line}” is not understood. {HELP}")
    return False
