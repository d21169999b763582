"""Write docs/symptom-chart.md from symptom_chart.csv. Run: python -m tests.faults.chart_page."""

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

CHART = Path(__file__).with_name("symptom_chart.csv")
PAGE = Path(__file__).resolve().parents[2] / "docs" / "symptom-chart.md"

REASONS = {
    "cold and warm": "What warmth does to grease, bearings and motors is worked out; what rest does to a belt is not.",
    "not described": "The description has no such part, or no such property of it, yet.",
}
"""Why a row has no sign: the short word in the chart, and the whole reason."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the trade's symptom chart, and which of our faults and signs it speaks of.

    Arguments:
        fault_part: the part in the chart's words.
        fault_kind: what is wrong with it, the same.
        observation: what is noticed, in our own words.
        mode: when.
        strength: "almost always" or "often".
        source: what kind of source says so.
        machines: shipped machines it is tried on.
        faults: ours, PART=KIND or PART=KIND:SEVERITY; each of them has to show the signs.
        signs: ids of ours; "!" before one that must not show, "speed:" and "line:" for what is measured.
        left_out: what of the observation does not follow though the signs do.
        reason: why there are no signs.
    """

    fault_part: str
    fault_kind: str
    observation: str
    mode: str
    strength: str
    source: str
    machines: tuple[str, ...]
    faults: tuple[str, ...]
    signs: tuple[str, ...]
    left_out: str
    reason: str


def chart() -> tuple[Row, ...]:
    """Read the chart."""
    with CHART.open(encoding="utf-8", newline="") as file:
        return tuple(
            Row(**{key: tuple(cell.split()) if key in ("machines", "faults", "signs") else cell
                   for key, cell in row.items()})  # type: ignore[arg-type]
            for row in csv.DictReader(file)
        )  # fmt: skip


def page(rows: Sequence[Row]) -> str:
    """Give the page of the manual."""
    missed = [row for row in rows if row.reason]
    partly = sum(bool(row.left_out) for row in rows)
    by_reason = Counter(row.reason for row in missed)
    lines = [
        "# The trade's symptom chart",
        "",
        "What technicians almost always or often notice when a part has failed, gathered from service manuals, trade",
        "pages and memory, held against what the tool works out from its shipped machines. The chart is a test: no",
        "file of the tool pairs a fault with a sign, so each row that follows does so from a description. A row can",
        "follow and still be coarse: only the sign named here is proved.",
        "",
        f"{len(rows)} rows; {len(rows) - len(missed)} follow, {partly} of them in part; {len(missed)} do not.",
        "",
        "## Rows that do not follow",
        "",
        *(f"- {reason}: {count}. {REASONS[reason]}" for reason, count in by_reason.items()),
        "",
        "| part | what is wrong | what is noticed | how often | reason |",
        "| --- | --- | --- | --- | --- |",
        *(f"| {_spoken(r.fault_part)} | {_spoken(r.fault_kind)} | {r.observation} | {r.strength} | {r.reason} |"
          for r in missed),
        "",
        "## Rows that follow",
        "",
        "Signs after `!` must stay away; `speed:` and `line:` stand for what is measured.",
        "",
        "| part | what is wrong | what is noticed | how often | source | fault here | signs here | on | left out |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
        *(f"| {_spoken(r.fault_part)} | {_spoken(r.fault_kind)} | {r.observation} | {r.strength} | {r.source} | "
          f"{_coded(r.faults)} | {_coded(r.signs)} | {_coded(r.machines)} | {r.left_out} |"
          for r in rows if not r.reason),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _spoken(word: str) -> str:
    return word.replace("_", " ")


def _coded(words: Sequence[str]) -> str:
    return " ".join(f"`{word}`" for word in words)


if __name__ == "__main__":
    PAGE.write_text(page(chart()), encoding="utf-8", newline="\n")
