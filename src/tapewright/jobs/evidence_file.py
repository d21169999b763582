"""What was noticed and measured, read from and written to a JSON file: every mistake at once, every write whole."""

import difflib
import json
import math
from pathlib import Path
from typing import Any, Final

from tapewright.words.evidence import Evidence, Observation
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.whole_file import write_whole

KEYS: Final = ("signs", "readings", "age_years")
SIGN_KEYS: Final = ("id", "present", "sure", "when", "cassette", "after")
LARGEST_BYTES: Final = 5_000_000


def read_evidence(path: Path) -> Evidence:
    """Read an evidence file.

    Arguments:
        path: a JSON file as `docs/evidence.md` describes it.

    Raises:
        InputAtFaultError: a Problem for each mistake: key path, what was found, what to do.
    """
    where = str(path)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise InputAtFaultError(Problem(where, "is larger than 5 MB.", "Give an evidence file, not a recording."))
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputAtFaultError(Problem(where, "is not there.", "Check the name, or leave --evidence out.")) from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputAtFaultError(Problem(where, f"cannot be read: {error}.", "Give a JSON file in UTF-8.")) from None
    return parse_evidence(text, where)


def parse_evidence(text: str, where: str) -> Evidence:
    """Read evidence from JSON text; `where` names it in messages.

    >>> parse_evidence('{"signs": [{"id": "play_loop", "present": true}]}', "example").signs[0].present
    True
    """
    try:
        found = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        at = f", line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        said = error.msg if isinstance(error, json.JSONDecodeError) else "too deeply nested"
        raise InputAtFaultError(Problem(where + at, f"is not JSON: {said}.", "Mend the file there.")) from None
    problems: list[Problem] = []
    if not isinstance(found, dict):
        raise InputAtFaultError(Problem(where, "holds no JSON object.", 'Write {"signs": [...]}.'))
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
        if not isinstance(row, dict):
            problems.append(Problem(key, f"is {row!r}.", 'Write {"value": 0.3, "unit": "%", "doubt": 0.1}.'))
        elif row.get("value") is None:
            readings[name] = Reading(None, str(row.get("unit", "%")), why_not=str(row.get("why_not", "not said")))
        elif all(_finite(row.get(k)) for k in ("value", "doubt") if row.get(k) is not None):
            doubt = None if row.get("doubt") is None else float(row["doubt"])
            readings[name] = Reading(float(row["value"]), str(row.get("unit", "%")), doubt)
        else:
            problems.append(Problem(key, f"is {row!r}.", "Give value and doubt as numbers."))
    return readings


def _finite(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _unknown(row: dict[str, Any], known: tuple[str, ...], where: str, key: str, problems: list[Problem]) -> None:
    for name in row:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            do = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(known)}."
            problems.append(Problem(f"{where}, {key}{name}", "is not a known key.", do))
