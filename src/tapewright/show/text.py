"""The report for a terminal, and its parts."""

from collections.abc import Iterable, Sequence
from typing import Final

from tapewright.machine.parts import Machine
from tapewright.show.acceptance_rows import acceptance_text
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.lines_said import ONCE, event_rows, left_said, share_said
from tapewright.show.lines_said import whose_line as whose_line
from tapewright.show.provenance import provenance
from tapewright.show.said import (
    EXPLAINS,
    against_limit,
    answer_said,
    cost_said,
    minutes_said,
    mode_said,
    name_of,
    out_of_order_as,
    percent,
    reading_name,
    reading_said,
    rescue,
    tone_said,
    with_doubt,
)
from tapewright.words.findings import Belief, BudgetItem, ChangeOfMind, Check, Clash, PlanStep, Shift
from tapewright.words.one_pass import summed_up
from tapewright.words.record import Answered, Heard, Record
from tapewright.words.signal import Line, SpeedEvent

SUSPECTS: Final = 5
"""How many parts the reasons are given for."""
WORTH_SHOWING: Final = 0.01
"""A part below this share is left out of the short table unless it is among the first few."""
PRICES: Final = "Prices are rough and in no currency: take them against each other."


def text_report(record: Record, machine: Machine) -> str:
    """Write a record for a terminal, at most 100 characters wide.

    Arguments:
        record: the examination.
        machine: the one it is of.
    """
    pieces = [
        _top(record),
        _rescue(record.plan),
        _noticed(record.answered),
        beliefs_text(machine, record.beliefs, record.none_of_these if record.answered or record.heard else None),
        check_text(machine, record.next_check),
        change_text(machine, record.change_of_mind),
        plan_text(machine, record.plan),
        clash_text(record.clash),
        heard_text(record.heard, machine),
        heads_text(record.heard),
        _notes(record, machine),
    ]
    return "\n\n".join(piece for piece in pieces if piece) + "\n"


def _top(record: Record) -> str:
    pieces = [heading("Examination of a tape transport"), paragraph(record.title)]
    if record.invented:
        pieces.append(paragraph("This machine is invented."))
    pieces.append(paragraph(f"Complaint: {record.complaint}" if record.complaint else "No complaint was written down."))
    return "\n".join(pieces)


def _rescue(plan: Iterable[PlanStep]) -> str:
    step = rescue(plan)
    if step is None:
        return ""
    lines = [heading("First of all, the tape"), paragraph(step.action), *(_caution(said) for said in step.cautions)]
    return "\n".join(lines)


def _caution(said: str, indent: str = "") -> str:
    return paragraph(said, indent + "  ", indent + "! ")


def _noticed(answered: Sequence[Answered]) -> str:
    if not answered:
        return heading("What was noticed") + "\nNothing was noted down yet."
    rows = [[f"{one.says}.", mode_said(one.mode), answer_said(one.present)] for one in answered]
    return heading("What was noticed") + "\n" + table(["sign", "when", "answer"], rows)


# --- what explains it -------------------------------------------------------------------------------------------------


def beliefs_text(machine: Machine, beliefs: Sequence[Belief], none: float | None = None) -> str:
    """Set out what explains the complaint, and the reasons for the first few.

    Arguments:
        machine: whose they are.
        beliefs: the best explanation first.
        none: share that nothing described explains; None before there is any evidence.
    """
    if not beliefs:
        return heading("What explains it") + "\nNothing has been worked out."
    shown = [b for i, b in enumerate(beliefs) if i < SUSPECTS or b.explains_complaint >= WORTH_SHOWING]
    rows = [
        [name_of(machine, b.part), out_of_order_as(machine, b.part, b.kind), percent(b.explains_complaint),
         percent(b.out_of_order), percent(b.before)]
        for b in shown
    ]  # fmt: skip
    headings = ["part", "likeliest way it is out of order", "explains", "out of order", "before"]
    pieces = [heading("What explains it"), table(headings, rows, right=[2, 3, 4])]
    if none is not None:
        pieces.append(f"Left to none of these: {percent(none)}.")
    pieces.append(paragraph("“Explains” is how much of what was noticed would go away if the part were sound; “out of "
                            "order” is how likely it is so, whatever the complaint; “before” is the same before "
                            "anything was noticed."))  # fmt: skip
    pieces += [_reasons(machine, b) for b in shown[:SUSPECTS] if b.reasons]
    return "\n".join(pieces)


def _reasons(machine: Machine, belief: Belief) -> str:
    return "\n" + paragraph(f"The {name_of(machine, belief.part)}:") + "\n" + bullets(belief.reasons, "  ")


# --- what to do -------------------------------------------------------------------------------------------------------


def check_text(machine: Machine, check: Check | None) -> str:
    """Set out the next check: how, how long, what to mind, and what each answer would do."""
    if check is None:
        return heading("Next check") + "\n" + paragraph("None: mending now saves more than asking on.")
    opens = "the case must be opened" if check.opens_case else "the case stays shut"
    pieces = [
        heading("Next check"),
        paragraph(f"{check.says}?"),
        *(_caution(said) for said in check.cautions),
        paragraph(f"How: {check.how}"),
        paragraph(f"{_capital(mode_said(check.mode))}; {opens}; {minutes_said(check.minutes)}. Sign: {check.id}."),
        paragraph(f"Why this one: {check.why}"),
    ]
    if check.if_yes or check.if_no:
        pieces.append(_shifts(machine, check.if_yes, check.if_no))
    return "\n".join(pieces)


def _shifts(machine: Machine, yes: Sequence[Shift], no: Sequence[Shift]) -> str:
    after = [{shift.part: shift.explains_complaint for shift in shifts} for shifts in (yes, no)]
    parts = list(dict.fromkeys(shift.part for pair in zip(yes, no, strict=False) for shift in pair))
    rows = [[name_of(machine, p), *(percent(one[p]) if p in one else "less" for one in after)] for p in parts]
    return table(["what would explain it", "after yes", "after no"], rows, right=[1, 2])


def change_text(machine: Machine, changes: Sequence[ChangeOfMind]) -> str:
    """Say which answers would change the tool's mind about its leading suspect; nothing when none is named."""
    if not changes:
        return ""
    said = []
    for change in changes:
        then = name_of(machine, change.then_leading)
        turn = "which would still lead" if change.then_leading == change.part else f"and the {then} would lead"
        case = ", case open" if change.opens_case else ""
        said.append(
            f"“{change.says}”: {answer_said(change.present)} ({percent(change.likely)} likely{case}; sign: "
            f"{change.sign}) leaves {percent(change.explains_complaint)} to the {name_of(machine, change.part)}, "
            f"{turn}."
        )
    return heading("What would change this") + "\n" + bullets(said)


def plan_text(machine: Machine, plan: Sequence[PlanStep]) -> str:
    """Set out the work in its order: parts with sizes, minutes, costs, what to mind and what to measure again."""
    if not plan:
        return heading("Plan") + "\nNothing to mend as far as is known."
    pieces = [heading("Plan")]
    for number, step in enumerate(plan, 1):
        pieces.append(paragraph(f"{step.action}", "    ", f"{number:2}. "))
        pieces += [_caution(said, "    ") for said in step.cautions]
        cures = f", {percent(step.probability_it_cures)}" if step.why == EXPLAINS else ""
        facts = [f"Why: {step.why}{cures}.", f"{_capital(minutes_said(step.minutes))}; cost: {cost_said(step)}."]
        if step.size:
            facts.append(f"Order: {step.size}")
        if step.remeasure:
            facts.append(f"Afterwards measure again: {_listed(step.remeasure)}.")
        if step.may_show:
            facts.append(f"May then show, hidden until now: {'; '.join(f'“{said}”' for said in step.may_show)}.")
        pieces += [paragraph(fact, "    ") for fact in facts]
    minutes = sum(step.minutes for step in plan)
    low, high = sum(step.cost_low for step in plan), sum(step.cost_high for step in plan)
    pieces.append(paragraph(f"All together {minutes_said(minutes)}, parts for {low:.0f} to {high:.0f}. {PRICES}"))
    return "\n".join(pieces)


def _listed(names: Iterable[str]) -> str:
    return ", ".join(reading_name(name) for name in names)


def clash_text(clashes: Sequence[Clash]) -> str:
    """Say what cannot hold together; nothing when all of it can."""
    if not clashes:
        return ""
    return heading("What cannot hold together") + "\n" + bullets([clash.says for clash in clashes])


# --- what was measured ------------------------------------------------------------------------------------------------


def heard_text(heard: Sequence[Heard], machine: Machine | None = None) -> str:
    """Set out what the recordings say, channel by channel; nothing when there are none."""
    return "\n\n".join(_channel(one, machine) for one in heard)


def _channel(heard: Heard, machine: Machine | None) -> str:
    pieces = [heading(f"Recording {heard.file}, channel {heard.channel}"), paragraph(tone_said(heard))]
    rows = [
        [reading_name(name), reading_said(name, reading), against_limit(heard.verdicts.get(name)),
         "; ".join(filter(None, (reading.method, reading.conditions)))]
        for name, reading in heard.readings.items()
    ]  # fmt: skip
    if rows:
        pieces.append(table(["reading", "value", "limit", "how it was taken"], rows))
    if heard.budget:
        pieces += ["", budget_text(heard.budget, machine, heard.unexplained_pct, heard.in_no_line)]
    elif heard.lines:
        pieces += ["", lines_text(heard.lines)]
    if heard.events:
        pieces += ["", events_text(heard.events)]
    pieces += [paragraph(note) for note in heard.notes]
    return "\n".join(pieces)


def heads_text(heard: Sequence[Heard]) -> str:
    """Set out what a test sequence in a recording comes to; nothing where none holds one."""
    found = [(one.file, one.one_pass) for one in heard if one.one_pass is not None]
    return "\n\n".join(
        f"{heading(f'Test sequence in {file}: {said.sequence}')}\n"
        f"{acceptance_text(said.acceptance, summed_up(said.acceptance))}"
        for file, said in found
    )


def budget_text(
    budget: Sequence[BudgetItem],
    machine: Machine | None,
    unexplained_pct: float | None = None,
    in_no_line: float | None = None,
) -> str:
    """Set out which part makes which line of the flutter, and what share of the weighted reading that is."""
    rows = [
        [f"{item.frequency_hz:.2f}", with_doubt(item.peak_pct, item.doubt_pct, ""), whose_line(item, machine),
         percent(item.probability) if item.probability > 0 else "", share_said(item)]
        for item in sorted(budget, key=lambda item: -item.peak_pct)
    ]  # fmt: skip
    lines = [table(["line, Hz", "peak, %", "what makes it", "how sure", "share"], rows, right=[0, 1, 3, 4])]
    if unexplained_pct is not None:
        lines.append(f"Lines that no part explains come to {unexplained_pct:.2g} % together.")
    return "\n".join([*lines, *filter(None, [left_said(in_no_line)])])


def events_text(events: Sequence[SpeedEvent]) -> str:
    """Set out what happened to the speed once, and that it is no line."""
    found = table(["at", "lasts", "how far", "kind"], [list(row) for row in event_rows(events)], right=[0, 1, 2])
    return f"{found}\n{paragraph(ONCE)}"


def lines_text(lines: Sequence[Line]) -> str:
    """Set out steady lines of the speed, when no machine is there to explain them."""
    rows = [
        [with_doubt(one.frequency_hz, one.frequency_doubt_hz, ""), with_doubt(one.peak_pct, one.doubt_pct, ""),
         f"{one.false_alarm:.1g}"]
        for one in lines
    ]  # fmt: skip
    return table(["line, Hz", "peak, %", "chance that noise made it"], rows, right=[0, 1, 2])


# --- the end ----------------------------------------------------------------------------------------------------------


def _notes(record: Record, machine: Machine) -> str:
    pieces = [heading("Notes")]
    if record.notes:
        pieces.append(bullets(record.notes))
    pieces += [paragraph(f"{what}: {said}") for what, said in provenance(record, machine)]
    return "\n".join(pieces)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
