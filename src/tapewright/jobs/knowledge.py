"""The shop's knowledge as one text file: closed jobs and older tallies, to be read, edited, copied and merged.

A file of one job is the closed job by itself. Everything learnt is worked out from the jobs whenever it is wanted, so
that taking a job out of the file is forgetting it.
"""

import json
import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from tapewright.diagnose.closed_jobs import (
    NOT_LOOKED_AT,
    AnswerGiven,
    ClosedJob,
    Knowledge,
    PartFound,
    Tally,
    is_plain,
)
from tapewright.jobs.evidence_file import evidence_json, parse_evidence
from tapewright.jobs.home import bench_home
from tapewright.words.evidence import Evidence
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import read_text, write_whole

SCHEMA: Final = 1
KNOWLEDGE_FILE: Final = "knowledge.toml"
LARGEST_MB: Final = 200
HEAD: Final = """\
# What a shop has seen: one [[job]] for each closed job, one [[tally]] for what was counted before on paper.
# `tapewright close` adds jobs, `tapewright knowledge` shows what follows from them. You may edit this file: take a job
# out and it is forgotten; put `found` right and it is learnt anew. A part without `found`, or not named, was not
# looked at: that is not the same as sound. `speaks` says how many times likelier the evidence is with a part bad so
# than sound.
"""
PRESENT: Final = {True: "yes", False: "no", None: "cannot tell"}
JOB_TEXTS: Final = ("id", "layout", "machine", "closed", "name", "leading")
PART_KEYS: Final = ("part", "part_kind", "found", "said", "course", "before", "speaks")
TALLY_KEYS: Final = ("id", "part_kind", "found", "sound", "layout", "part")


def knowledge_place() -> Path:
    """Give where the shop's own knowledge lies: in the folder that the bench page's jobs lie in."""
    return bench_home() / KNOWLEDGE_FILE


def knowledge_in_use(given: Path | None) -> tuple[Knowledge | None, Path | None]:
    """Give the knowledge to go by, and the file it came from.

    Arguments:
        given: the file asked for; None for the shop's own, where there is one; the word "none" for the catalogue alone.

    Raises:
        InputAtFaultError: when the file cannot be used.
    """
    if given is not None and str(given) == "none":
        return None, None
    path = given or knowledge_place()
    if given is None and not path.exists():
        return None, None
    return read_knowledge(path), path


# --- writing ----------------------------------------------------------------------------------------------------------


def write_knowledge(path: Path, knowledge: Knowledge) -> None:
    """Write knowledge, whole or not at all.

    Raises:
        InputAtFaultError: when it cannot be written there.
    """
    write_whole(path, knowledge_text(knowledge))


def knowledge_text(knowledge: Knowledge) -> str:
    """Give knowledge as the text of its file."""
    pieces = [HEAD + f"schema = {SCHEMA}"]
    pieces += [_table("tally", _tally_rows(tally)) for tally in knowledge.tallies]
    pieces += [_table("job", _job_rows(job)) for job in knowledge.jobs]
    return "\n\n".join(pieces) + "\n"


def _table(name: str, rows: Mapping[str, Any]) -> str:
    return "\n".join([f"[[{name}]]", *(f"{key} = {_toml(value)}" for key, value in rows.items())])


def _tally_rows(tally: Tally) -> dict[str, Any]:
    rows: dict[str, Any] = {"id": tally.id, "part_kind": tally.part_kind, "found": dict(tally.found)}
    rows |= {"sound": tally.sound}
    return rows | {key: value for key in ("layout", "part") if (value := getattr(tally, key))}


def _job_rows(job: ClosedJob) -> dict[str, Any]:
    rows: dict[str, Any] = {key: value for key in JOB_TEXTS if (value := getattr(job, key))}
    if job.leading:
        rows["leading_share"] = job.leading_share
    if job.cured:
        rows["cured"] = list(job.cured)
    evidence = evidence_json(job.evidence)
    answers = iter(job.answers)
    signs = []
    for row, one in zip(evidence["signs"], job.evidence.signs, strict=True):
        row = row | {"present": PRESENT[row["present"]]}
        if is_plain(one) and (answer := next(answers, None)) is not None:
            row |= {"sense": answer.sense, "said": answer.said}
            row |= {} if answer.shows is None else {"shows": answer.shows}
        signs.append(row)
    rows |= {"age_years": evidence["age_years"]} if "age_years" in evidence else {}
    rows |= {"readings": _without_none(evidence["readings"])} if "readings" in evidence else {}
    return rows | {"answers": signs, "parts": [_part_row(one) for one in job.parts]}


def _without_none(found: Any) -> Any:
    """Leave out what is None, which this kind of file cannot hold; a reading without a value has no `value` then."""
    if isinstance(found, dict):
        return {key: _without_none(value) for key, value in found.items() if value is not None}
    return found


def _part_row(one: PartFound) -> dict[str, Any]:
    row: dict[str, Any] = {"part": one.part, "part_kind": one.part_kind}
    row |= {} if one.found == NOT_LOOKED_AT else {"found": one.found}
    row |= {} if one.said is None else {"said": one.said}
    return row | {key: value for key in ("course", "before", "speaks") if (value := getattr(one, key))}


def _toml(value: Any) -> str:
    """Write a value; lists of tables get a line each, so that they can be read."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)} = {_toml(each)}" for key, each in value.items()) + "}"
    if value and all(isinstance(each, Mapping) for each in value):
        return "[\n" + "".join(f"  {_toml(each)},\n" for each in value) + "]"
    return "[" + ", ".join(_toml(each) for each in value) + "]"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)


def _number(value: float) -> str:
    """Write a number to six figures: more is not known, and fewer could not be read."""
    if not math.isfinite(value):
        return "inf" if value > 0 else "-inf" if value < 0 else "nan"
    shown = f"{value:.6g}"
    return shown if any(c in shown for c in ".e") else f"{shown}.0"


def _text(value: str) -> str:
    """Write a text; this kind of file takes what JSON takes, but no lone surrogate and no character 127."""
    clean = value.encode("utf-8", "replace").decode("utf-8")
    return json.dumps(clean, ensure_ascii=False).replace("\x7f", "\\u007f")


# --- reading ----------------------------------------------------------------------------------------------------------


def read_knowledge(path: Path) -> Knowledge:
    """Read a file of knowledge.

    Raises:
        InputAtFaultError: a Problem for each mistake: where, what was found, what to do.
    """
    text = read_text(
        path,
        largest_mb=LARGEST_MB,
        instead="Give a file that `close` has written.",
        absent="`tapewright close` writes it; check the name.",
        kind="TOML",
    )
    return parse_knowledge(text, str(path))


def parse_knowledge(text: str, where: str) -> Knowledge:
    """Read knowledge from its text; `where` names it in messages.

    >>> parse_knowledge('schema = 1', "example")
    Knowledge(jobs=(), tallies=())
    """
    try:
        found = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputAtFaultError(Problem(where, f"is not TOML: {error}.", "Mend the file there.")) from None
    reader = _Reader(where)
    if found.get("schema") != SCHEMA:
        do = f"This version reads schema {SCHEMA}; such a file begins with `schema = {SCHEMA}`."
        raise InputAtFaultError(Problem(f"{where}, schema", f"is {found.get('schema')!r}.", do))
    reader.known(found, ("schema", "job", "tally"), "")
    jobs = [reader.job(row, f"job[{i}]") for i, row in enumerate(reader.tables(found, "job", ""))]
    tallies = [reader.tally(row, f"tally[{i}]") for i, row in enumerate(reader.tables(found, "tally", ""))]
    for what, ids in (("job", [job.id for job in jobs]), ("tally", [tally.id for tally in tallies])):
        for twice in sorted({one for one in ids if ids.count(one) > 1}) if len(set(ids)) < len(ids) else []:
            reader.wrong(what, f"has the id {twice!r} more than once.", "Each is counted once: take one out.")
    if reader.problems:
        raise InputAtFaultError(reader.problems)
    return Knowledge(tuple(jobs), tuple(tallies))


class _Reader:
    """Reads what a file holds and gathers every mistake in it."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.problems: list[Problem] = []

    def wrong(self, key: str, found: str, do: str) -> None:
        self.problems.append(Problem(f"{self.where}, {key}", found, do))

    def known(self, row: Mapping[str, Any], keys: tuple[str, ...], key: str) -> None:
        for name in row:
            if name not in keys:
                self.wrong(f"{key}.{name}".lstrip("."), "is not a known key.", f"Known here: {', '.join(keys)}.")

    def tables(self, row: Mapping[str, Any], name: str, key: str) -> list[dict[str, Any]]:
        found = row.get(name, [])
        if isinstance(found, list) and all(isinstance(each, dict) for each in found):
            return found
        self.wrong(f"{key}.{name}".lstrip("."), f"is {found!r}.", "Give a list of tables.")
        return []

    def text(self, row: Mapping[str, Any], name: str, key: str, *, needed: bool = False) -> str:
        value = row.get(name, "")
        if isinstance(value, str) and (value or not needed):
            return value
        self.wrong(f"{key}.{name}", f"is {value!r}." if name in row else "is missing.", "Give words in quotes.")
        return ""

    def number(self, row: Mapping[str, Any], name: str, key: str, high: float = 1.0) -> float:
        value = row.get(name, 0.0)
        if isinstance(value, (int, float)) and not isinstance(value, bool) and 0.0 <= value <= high:
            return float(value)
        self.wrong(f"{key}.{name}", f"is {value!r}.", f"Give a number from 0 to {high:g}.")
        return 0.0

    def count(self, row: Mapping[str, Any], name: str, key: str) -> int:
        value = row.get(name, 0)
        if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 1_000_000:
            return value
        self.wrong(f"{key}.{name}", f"is {value!r}.", "Give how often, a whole number.")
        return 0

    def several(self, row: Mapping[str, Any], name: str, key: str) -> dict[str, Any]:
        found = row.get(name, {})
        if isinstance(found, dict):
            return found
        self.wrong(f"{key}.{name}", f"is {found!r}.", "Write {glazed = 0.3, ...}.")
        return {}

    def numbers(self, row: Mapping[str, Any], name: str, key: str, high: float) -> dict[str, float]:
        found = self.several(row, name, key)
        return {each: self.number(found, each, f"{key}.{name}", high) for each in found}

    def tally(self, row: dict[str, Any], key: str) -> Tally:
        self.known(row, TALLY_KEYS, key)
        found = self.several(row, "found", key)
        counts = {kind: self.count(found, kind, f"{key}.found") for kind in found}
        names = [self.text(row, name, key, needed=True) for name in ("id", "part_kind")]
        beside = [self.text(row, name, key) for name in ("layout", "part")]
        if any(beside) and not all(beside):
            self.wrong(key, "names a layout or a part, and not both.", "Give both, or neither.")
        return Tally(names[0], names[1], counts, self.count(row, "sound", key), *beside)

    def job(self, row: dict[str, Any], key: str) -> ClosedJob:
        keys = (*JOB_TEXTS, "leading_share", "cured", "age_years", "readings", "answers", "parts")
        self.known(row, keys, key)
        texts = {name: self.text(row, name, key, needed=name in ("id", "layout")) for name in JOB_TEXTS}
        rows = self.tables(row, "answers", key)
        evidence = self.evidence(row, rows, key)
        answers = [
            self.answer(each, bool(one.present), f"{key}.answers[{i}]")
            for i, (each, one) in enumerate(zip(rows, evidence.signs, strict=False))
            if "said" in each and is_plain(one)
        ]
        parts = [self.part(each, f"{key}.parts[{i}]") for i, each in enumerate(self.tables(row, "parts", key))]
        return ClosedJob(
            **texts,
            evidence=evidence,
            cured=self.words(row, "cured", key),
            leading_share=self.number(row, "leading_share", key),
            parts=tuple(parts),
            answers=tuple(answers),
        )

    def words(self, row: Mapping[str, Any], name: str, key: str) -> tuple[str, ...]:
        found = row.get(name, [])
        if isinstance(found, list) and all(isinstance(each, str) for each in found):
            return tuple(found)
        self.wrong(f"{key}.{name}", f"is {found!r}.", "Give a list of names in quotes.")
        return ()

    def evidence(self, row: Mapping[str, Any], rows: list[dict[str, Any]], key: str) -> Evidence:
        """Read evidence as its own file would be read; the answers are in words here, since there is no null."""
        told = {word: present for present, word in PRESENT.items()}
        signs = [
            {name: value for name, value in each.items() if name not in ("sense", "said", "shows")}
            | {"present": told.get(str(each.get("present")), each.get("present"))}
            for each in rows
        ]
        whole = {"signs": signs} | {name: row[name] for name in ("age_years", "readings") if name in row}
        try:
            return parse_evidence(json.dumps(whole, default=str), f"{self.where}, {key}")
        except InputAtFaultError as error:
            self.problems += error.problems
            return Evidence()

    def answer(self, row: Mapping[str, Any], noticed: bool, key: str) -> AnswerGiven:
        shows = self.number(row, "shows", key) if "shows" in row else None
        sense = self.text(row, "sense", key)
        return AnswerGiven(str(row.get("id")), sense, noticed, self.number(row, "said", key), shows)

    def part(self, row: Mapping[str, Any], key: str) -> PartFound:
        self.known(row, PART_KEYS, key)
        course = row.get("course", [])
        steps = {str(i): value for i, value in enumerate(course)} if isinstance(course, list) else {"": course}
        before = self.numbers(row, "before", key, 1.0)
        if sum(before.values()) > 1.0 + 1e-4:
            self.wrong(f"{key}.before", "sums to more than 1.", "They are chances of one part: at most 1 together.")
        return PartFound(
            part=self.text(row, "part", key, needed=True),
            part_kind=self.text(row, "part_kind", key, needed=True),
            found=self.text(row, "found", key),
            before=before,
            speaks=self.numbers(row, "speaks", key, 1e300),
            said=self.number(row, "said", key) if "said" in row else None,
            course=tuple(self.number(steps, i, f"{key}.course") for i in steps),
        )
