"""The next question of a conversation, for a terminal."""

from tapewright.machine.parts import Machine
from tapewright.show.columns import paragraph
from tapewright.show.said import name_of, percent, rescue
from tapewright.show.text import check_text
from tapewright.words.record import Record

SHOWN = 3
WORTH_NAMING = 0.02


def question_text(record: Record, machine: Machine) -> str:
    """Put where things stand, and the next question, into a few lines; a tape that is held comes before all of it.

    Arguments:
        record: the findings so far.
        machine: whose they are.
    """
    suspects = [b for b in record.beliefs[:SHOWN] if b.explains_complaint >= WORTH_NAMING]
    told = ", ".join(f"{name_of(machine, b.part)} {percent(b.explains_complaint)}" for b in suspects)
    standing = f"So far: {told}." if told else "So far nothing points to a part."
    held = rescue(record.plan)
    first = f"{paragraph(held.action)}\n\n" if held else ""
    return f"\n{first}{paragraph(standing)}\n\n{check_text(machine, record.next_check)}"
