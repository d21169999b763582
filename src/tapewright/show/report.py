"""The report as one file of HTML that needs nothing beside it, and the folder that holds it."""

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from tapewright.machine.parts import Machine, part_names
from tapewright.show import said
from tapewright.show.chain import chain_drawing
from tapewright.show.channels_beside import beside, fullest_first
from tapewright.show.charts import beliefs_chart, spectrum_chart, speed_chart
from tapewright.show.drawing import drawing
from tapewright.show.lines_said import ONCE, event_rows, left_said, order_rows, orders_shown, share_said, whose_line
from tapewright.show.one_pass_shown import pass_sections
from tapewright.show.order_chart import order_chart
from tapewright.show.paper import inline, template
from tapewright.show.provenance import invented_said, provenance
from tapewright.show.text import PRICES, SUSPECTS, WORTH_SHOWING, text_report
from tapewright.words.findings import Belief, BudgetItem, Chain, Check, PlanStep
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.record import Heard, Record
from tapewright.words.signal import Trace

WORTH_MARKING: Final = 0.04
"""A part that explains less is not marked in the drawing; the plan leaves the same ones out."""
CHAINS_DRAWN: Final = 3
"""For so many suspects the way from the fault to a sign is drawn; for the others it is said."""
STRETCHES: Final = 12
"""Rows of the table that stands in for the chart of speed over time."""
Row = Mapping[str, Any]


def html_report(record: Record, machine: Machine) -> str:
    """Write a record as one HTML file: no script, no network, light and dark, for screen and paper.

    Arguments:
        record: the examination.
        machine: the one it is of.
    """
    return template("report.html.j2").render(
        record=record,
        machine=machine,
        invented=invented_said(record),
        rescue=said.rescue(record.plan),
        noticed=[_noticed(one.says, one.mode, one.present) for one in record.answered],
        picture=inline(_picture(record, machine)),
        suspects=_suspects(record),
        beliefs=[_belief(machine, belief, drawn=i < CHAINS_DRAWN) for i, belief in enumerate(_shown(record.beliefs))],
        beliefs_picture=inline(beliefs_chart(record.beliefs, machine, _none(record))),
        left=None if (none := _none(record)) is None else said.percent(none),
        check=_check(machine, record.next_check),
        plan=[_step(step) for step in record.plan],
        total=_total(record.plan),
        heard=[_recording(*each, machine) for each in fullest_first(record.heard)],
        heads=[
            section
            for one in record.heard
            if one.one_pass is not None
            for section in pass_sections(one.one_pass, f"Test sequence in {one.file}")
        ],
        provenance=provenance(record, machine),
        inline=inline,
        prices=PRICES,
    )


def write_report(record: Record, machine: Machine, folder: Path) -> tuple[Path, ...]:
    """Write report.html, report.txt and record.json into a folder, each whole or not at all.

    Arguments:
        record: the examination.
        machine: the one it is of.
        folder: made when it is not there; files of these names in it are replaced.

    Returns:
        The files, in that order.

    Raises:
        InputAtFaultError: when the folder cannot be made or written to.
    """
    texts = {
        "report.html": html_report(record, machine),
        "report.txt": text_report(record, machine),
        "record.json": json.dumps(plain(record), ensure_ascii=False, allow_nan=False) + "\n",
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return tuple(_write(folder / name, text) for name, text in texts.items())
    except OSError as wrong:
        found = f"cannot be written to: {wrong.strerror or wrong}."
        raise InputAtFaultError(Problem(str(folder), found, "Choose another folder, or free this one.")) from wrong


def _write(path: Path, text: str) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path


# --- what the page needs, as plain data -------------------------------------------------------------------------------


def _none(record: Record) -> float | None:
    """Before any evidence there is nothing to explain."""
    return record.none_of_these if record.answered or record.heard else None


def _suspects(record: Record) -> dict[str, float]:
    if _none(record) is None:
        return {}
    return {b.part: b.explains_complaint for b in record.beliefs[:SUSPECTS] if b.explains_complaint >= WORTH_MARKING}


def _picture(record: Record, machine: Machine) -> str:
    known = set(part_names(machine))
    suspects = {name: share for name, share in _suspects(record).items() if name in known}
    return drawing(machine, _shown_mode(record, machine), suspects)


def _shown_mode(record: Record, machine: Machine) -> str:
    """Draw play, unless what was noticed is all about other modes."""
    told = [one.mode for one in record.answered if one.present and one.mode in machine.modes]
    moving = [mode for mode in told if machine.modes[mode].motors]
    usual = [mode for mode in ("play",) if mode in machine.modes]
    return next(iter([*(mode for mode in usual if mode in moving or not moving), *moving, *usual, *machine.modes]))


def _shown(beliefs: Sequence[Belief]) -> list[Belief]:
    return [b for i, b in enumerate(beliefs) if i < SUSPECTS or b.explains_complaint >= WORTH_SHOWING]


def _noticed(says: str, mode: str, present: bool | None) -> Row:
    return {"says": says, "when": said.mode_said(mode), "answer": said.answer_said(present)}


def _belief(machine: Machine, belief: Belief, *, drawn: bool) -> Row:
    chain = _longest(belief) if drawn else None
    return {
        "part": said.name_of(machine, belief.part),
        "how": said.out_of_order_as(machine, belief.part, belief.kind),
        "explains": said.percent(belief.explains_complaint),
        "out_of_order": said.percent(belief.out_of_order),
        "before": said.percent(belief.before),
        "reasons": belief.reasons,
        "chain": None if chain is None else inline(chain_drawing(machine, chain)),
    }


def _longest(belief: Belief) -> Chain | None:
    """Choose the chain that has most to show, if any has more than the fault itself."""
    chain = max(belief.chains, key=lambda one: len(one.links), default=None)
    return chain if chain is not None and len(chain.links) > 1 else None


def _check(machine: Machine, check: Check | None) -> Row | None:
    if check is None:
        return None
    after = [{s.part: s.explains_complaint for s in shifts} for shifts in (check.if_yes, check.if_no)]
    parts = list(dict.fromkeys(s.part for s in (*check.if_yes[:4], *check.if_no[:4])))
    return {
        "it": check,
        "when": said.mode_said(check.mode),
        "minutes": said.minutes_said(check.minutes),
        "shifts": [
            (said.name_of(machine, p), *(said.percent(one[p]) if p in one else "less" for one in after)) for p in parts
        ],
    }


def _step(step: PlanStep) -> Row:
    return {
        "it": step,
        "minutes": said.minutes_said(step.minutes),
        "cost": said.cost_said(step),
        "cures": said.percent(step.probability_it_cures) if step.why == said.EXPLAINS else "",
        "remeasure": ", ".join(said.reading_name(name) for name in step.remeasure),
    }


def _total(plan: Sequence[PlanStep]) -> Row:
    low, high = sum(step.cost_low for step in plan), sum(step.cost_high for step in plan)
    return {"minutes": said.minutes_said(sum(step.minutes for step in plan)), "cost": f"{low:.0f} to {high:.0f}"}


def _recording(fullest: Heard, others: Sequence[Heard], machine: Machine) -> Row:
    """Set out the channel with the clearest tone in full, with pictures; the others beside it in one short table."""
    section = beside(f"{fullest.file}, the other channels", fullest, others) if others else None
    return {**_heard(fullest, machine), "others": section}


def _heard(heard: Heard, machine: Machine) -> Row:
    title = f"{heard.file}, channel {heard.channel}"
    spectrum = ""
    if heard.spectrum_hz:
        named = spectrum_chart(
            heard.spectrum_hz, heard.spectrum_pct, heard.budget, machine, title=f"Spectrum of the flutter of {title}"
        )
        spectrum = inline(named)
    return {
        "it": heard,
        "tone": said.tone_said(heard),
        "readings": [
            {
                "name": said.reading_name(name),
                "value": said.reading_said(name, reading),
                "limit": said.against_limit(heard.verdicts.get(name)),
                "how": "; ".join(filter(None, (reading.method, reading.conditions))),
                "taken": reading.value is not None,
            }
            for name, reading in heard.readings.items()
        ],
        "lines": _lines(heard, machine),
        "unexplained": None if heard.unexplained_pct is None else f"{heard.unexplained_pct:.2g} %",
        "trace": "" if heard.trace is None else inline(speed_chart(heard.trace, f"Speed of {title}")),
        "stretches": [] if heard.trace is None else _stretches(heard.trace),
        "spectrum": spectrum,
        "left": left_said(heard.in_no_line),
        "events": event_rows(heard.events),
        "once": ONCE,
        "orders": _orders(heard, machine, title),
    }


def _orders(heard: Heard, machine: Machine, title: str) -> Row | None:
    found = heard.in_angle
    if found is None:
        return None
    return {
        "part": said.name_of(machine, found.part),
        "picture": inline(order_chart(found, machine, f"Speed over the turns of one part, {title}")),
        "orders": [f"{order:g}" for order in orders_shown(found)],
        "rows": order_rows(found),
    }


def _lines(heard: Heard, machine: Machine) -> list[tuple[str, str, str, str, str]]:
    """List the lines with what makes them; without a budget, by themselves."""
    if heard.budget:
        ranked = sorted(heard.budget, key=lambda item: -item.peak_pct)
        return [
            (f"{item.frequency_hz:.2f} Hz", said.with_doubt(item.peak_pct, item.doubt_pct, "%"),
             whose_line(item, machine), _sure(item), share_said(item))
            for item in ranked
        ]  # fmt: skip
    return [
        (said.with_doubt(one.frequency_hz, one.frequency_doubt_hz, "Hz"),
         said.with_doubt(one.peak_pct, one.doubt_pct, "%"), "not looked for", "", "")
        for one in heard.lines
    ]  # fmt: skip


def _sure(item: BudgetItem) -> str:
    return said.percent(item.probability) if item.probability > 0 else ""


def _stretches(trace: Trace) -> list[tuple[str, str, str, str]]:
    """Give what the chart of speed shows as a short table: mean, lowest and highest of each stretch, percent."""
    rows = []
    for piece in np.array_split(np.arange(len(trace.values)), min(STRETCHES, max(1, len(trace.values)))):
        if not len(piece):
            continue
        times, values = trace.times_s[piece], 100.0 * trace.values[piece]
        good = values[np.isfinite(values)]
        figures = [f"{f(good):+.3f}" for f in (np.mean, np.min, np.max)] if len(good) else ["left out"] * 3
        rows.append((f"{times[0]:.1f} to {times[-1]:.1f}", *figures))
    return rows  # type: ignore[return-value]
