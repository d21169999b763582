"""What was noticed and measured, read from and written to a JSON file: every mistake at once, every write whole."""

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from tapewright.diagnose.measured import BY_STEM, Quantity, name_problem, split, unit_factor
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.reading import SENSES, Reading
from tapewright.words.whole_file import read_text, write_whole

KEYS: Final = ("signs", "readings", "age_years")
SIGN_KEYS: Final = ("id", "present", "sure", "when", "cassette", "after")
READING_KEYS: Final = ("value", "unit", "doubt", "why_not", "method", "conditions", "interval", "by")
LARGEST_MB: Final = 5


def read_evidence(path: Path) -> Evidence:
    """Read an evidence file.

    Arguments:
        path: a JSON file as `docs/evidence.md` describes it.

    Raises:
        InputAtFaultError: a Problem for each mistake: key path, what was found, what to do.
    """
    text = read_text(
        path,
        largest_mb=LARGEST_MB,
        instead="Give an evidence file, not a recording.",
        absent="Check the name, or leave --evidence out.",
        kind="JSON",
    )
    return parse_evidence(text, str(path))


def parse_evidence(text: str, where: str) -> Evidence:
    """Read evidence from JSON text; `where` names it in messages.

    >>> parse_evidence('{"signs": [{"id": "play_loop", "present": true}]}', "example").signs[0].present
    True
    """
    try:
        found = json.loads(text, object_pairs_hook=_once)
    except (json.JSONDecodeError, RecursionError) as error:
        at = f", line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        said = error.msg if isinstance(error, json.JSONDecodeError) else "too deeply nested"
        raise InputAtFaultError(Problem(where + at, f"is not JSON: {said}.", "Mend the file there.")) from None
    problems: list[Problem] = []
    if not isinstance(found, dict):
        raise InputAtFaultError(Problem(where, "holds no JSON object.", 'Write {"signs": [...]}.'))
    _written_twice(found, where, "", problems)
    _unknown(found, KEYS, where, "", problems)
    signs = [_sign(row, f"signs[{i}]", where, problems) for i, row in enumerate(_list(found, where, problems))]
    readings = _readings(found.get("readings", {}), where, problems)
    age = _number(found, "age_years", f"{where}, age_years", problems, low=0.0, high=200.0)
    if problems:
        raise InputAtFaultError(problems)
    return Evidence(tuple(sign for sign in signs if sign is not None), readings, age)


def evidence_json(evidence: Evidence) -> dict[str, Any]:
    """Give evidence as the plain data of its file; what was not said is left out."""
    signs = []
    for one in evidence.signs:
        row: dict[str, Any] = {"id": one.id, "present": one.present}
        row |= {"sure": one.sure} if one.sure != 1.0 else {}
        row |= {key: plain(value) for key in ("when", "cassette", "after") if (value := getattr(one, key))}
        signs.append(row)
    found: dict[str, Any] = {"signs": signs}
    if evidence.readings:
        found["readings"] = plain(evidence.readings)
    if evidence.age_years is not None:
        found["age_years"] = evidence.age_years
    return found


def write_evidence(path: Path, evidence: Evidence) -> None:
    """Write an evidence file, whole or not at all.

    Raises:
        InputAtFaultError: when it cannot be written there.
    """
    write_whole(path, json.dumps(evidence_json(evidence), ensure_ascii=False, indent=2) + "\n")


def _list(found: dict[str, Any], where: str, problems: list[Problem]) -> list[Any]:
    rows = found.get("signs", [])
    if isinstance(rows, list):
        return rows
    problems.append(Problem(f"{where}, signs", f"is {rows!r}.", "Give a list of observations."))
    return []


def _sign(row: Any, key: str, where: str, problems: list[Problem]) -> Observation | None:
    if not isinstance(row, dict):
        problems.append(Problem(f"{where}, {key}", f"is {row!r}.", 'Write {"id": "...", "present": true}.'))
        return None
    before = len(problems)
    _unknown(row, SIGN_KEYS, where, f"{key}.", problems)
    if not isinstance(row.get("id"), str):
        problems.append(Problem(f"{where}, {key}.id", f"is {row.get('id')!r}.", "Give the id that `signs` prints."))
    if (
        "present" not in row
        or row["present"] not in (True, False, None)
        or isinstance(row["present"], (int, float)) != (isinstance(row["present"], bool))
    ):
        do = "Give true (noticed), false (looked for in vain) or null (cannot tell)."
        problems.append(Problem(f"{where}, {key}.present", f"is {row.get('present', 'missing')!r}.", do))
    sure = _number(row, "sure", f"{where}, {key}.sure", problems, low=0.0, high=1.0)
    words = [_text(row, name, f"{where}, {key}.{name}", problems) for name in ("when", "cassette")]
    after = row.get("after", [])
    if not isinstance(after, list) or not all(isinstance(name, str) for name in after):
        problems.append(Problem(f"{where}, {key}.after", f"is {after!r}.", "Give a list of part names."))
    if len(problems) > before:
        return None
    return Observation(row["id"], row["present"], 1.0 if sure is None else sure, words[0], words[1], tuple(after))


def _text(row: dict[str, Any], name: str, where: str, problems: list[Problem]) -> str:
    value = row.get(name, "")
    if isinstance(value, str):
        return value
    problems.append(Problem(where, f"is {value!r}.", "Give words in quotes."))
    return ""


def _number(
    row: dict[str, Any], name: str, where: str, problems: list[Problem], *, low: float, high: float
) -> float | None:
    value = row.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        problems.append(Problem(where, f"is {value!r}.", f"Give a number from {low:g} to {high:g}."))
        return None
    return float(value)


def _readings(found: Any, where: str, problems: list[Problem]) -> dict[str, Reading]:
    if not isinstance(found, dict):
        problems.append(Problem(f"{where}, readings", f"is {found!r}.", 'Write {"speed_error_pct": {"value": ...}}.'))
        return {}
    readings = {}
    for name, row in found.items():
        key = f"{where}, readings.{name}"
        reading = _reading(name, row, key, problems)
        if reading is not None:
            readings[name] = reading
    return readings


def _reading(name: str, row: Any, key: str, problems: list[Problem]) -> Reading | None:
    """Read one reading into the unit of its name; every mistake in it is a Problem."""
    wrong = name_problem(name, key)
    if wrong is not None:
        problems.append(wrong)
        return None
    if not isinstance(row, dict):
        problems.append(Problem(key, f"is {row!r}.", 'Write {"value": 0.3, "unit": "%", "doubt": 0.1}.'))
        return None
    before = len(problems)
    quantity = BY_STEM[split(name)[0]]
    _unknown(row, READING_KEYS, key, "", problems)
    value, doubt = (_measured(row, what, f"{key}.{what}", problems) for what in ("value", "doubt"))
    words = ("unit", "why_not", "method", "conditions", "by")
    texts = {what: _text(row, what, f"{key}.{what}", problems) for what in words if row.get(what) is not None}
    factor = 1.0
    if "unit" in texts:
        known = unit_factor(quantity, texts["unit"])
        if known is None:
            do = f"Write one of: {', '.join(quantity.units)}."
            problems.append(Problem(f"{key}.unit", f"{texts['unit']!r} is no unit of this reading.", do))
        factor = known or 1.0
    elif value is not None:
        problems.append(Problem(key, "has no unit.", f'Write "unit": "{quantity.unit}".'))
    _contradictions(quantity, value, doubt, texts, key, problems)
    ends = _interval(row, f"{key}.interval", problems)
    if len(problems) > before:
        return None
    interval = None if ends is None else (ends[0] * factor, ends[1] * factor)
    said = Reading(None, quantity.unit, why_not=texts.get("why_not") or "not said", interval=interval)
    if value is not None:
        said = replace(said, value=value * factor, doubt=None if doubt is None else doubt * factor, why_not=None)
    method, conditions, by = (texts.get(name, "") for name in ("method", "conditions", "by"))
    return replace(said, method=method, conditions=conditions, by=by)


def _interval(row: dict[str, Any], key: str, problems: list[Problem]) -> tuple[float, float] | None:
    ends = row.get("interval")
    if ends is None:
        return None
    if isinstance(ends, list) and len(ends) == 2 and all(map(_finite, ends)) and ends[0] <= ends[1]:
        return float(ends[0]), float(ends[1])
    problems.append(Problem(key, f"is {ends!r}.", "Give its lower and its upper end, [0.1, 0.4], or leave it out."))
    return None


def _measured(row: dict[str, Any], what: str, key: str, problems: list[Problem]) -> float | None:
    value = row.get(what)
    if value is None:
        return None
    if not _finite(value):
        problems.append(Problem(key, f"is {value!r}.", "Give a number, or null where there is none."))
        return None
    return float(value)


def _contradictions(
    quantity: Quantity, value: float | None, doubt: float | None, texts: dict[str, str], key: str,
    problems: list[Problem],
) -> None:  # fmt: skip
    """Say what of one reading cannot be true together."""
    if texts.get("by", "") not in ("", *SENSES):
        do = f"Write one of: {', '.join(SENSES)}; or leave it out for an instrument or a hand."
        problems.append(Problem(f"{key}.by", f"{texts['by']!r} is no sense that takes readings.", do))
    if value is not None and texts.get("why_not"):
        do = "Leave one of them out: a reading is a number, or the reason why there is none."
        problems.append(Problem(key, "has a value and a reason why there is none.", do))
    if value is not None and value < 0 and not quantity.signed:
        problems.append(Problem(f"{key}.value", f"is {value:g}.", "This cannot be below nothing."))
    if doubt is not None and doubt < 0:
        problems.append(Problem(f"{key}.doubt", f"is {doubt:g}.", "Give the half-width of the 95 % interval."))
    if doubt is not None and value is None:
        problems.append(Problem(f"{key}.doubt", "is given without a value.", "Give the value too, or neither."))


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Keep note of keys that are written twice, of which JSON would keep the last without a word."""
    found = dict(pairs)
    names = [name for name, _ in pairs]
    twice = sorted({name for name in names if names.count(name) > 1})
    return found | ({_TWICE: twice} if twice else {})


def _written_twice(found: Any, where: str, key: str, problems: list[Problem]) -> None:
    if isinstance(found, dict):
        twice = found.pop(_TWICE, ())
        problems += [Problem(f"{where}, {key}{name}", "is written twice.", "Keep one of the two.") for name in twice]
        for name, inner in found.items():
            _written_twice(inner, where, f"{key}{name}.", problems)
    elif isinstance(found, list):
        for i, inner in enumerate(found):
            _written_twice(inner, where, f"{key.removesuffix('.')}[{i}].", problems)


_TWICE: Final = "\x00twice"


def _finite(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _unknown(row: dict[str, Any], known: tuple[str, ...], where: str, key: str, problems: list[Problem]) -> None:
    for name in row:
        if name not in known:
            do = nearest(name, known, otherwise="Known here")
            problems.append(Problem(f"{where}, {key}{name}", "is not a known key.", do))
