"""The place that a simulation is written to: only where nothing stands or another simulation does."""

import json
from pathlib import Path
from typing import Any

from tapewright.words.problem import Problem


def in_the_way(path: Path, what: str) -> list[Problem]:
    """Say whether something stands at a place, or where its truth goes, that is no simulation's.

    Arguments:
        path: where the simulation goes; its truth goes beside it with .json.
        what: "film", "recording": what a file without a truth may really be.

    >>> in_the_way(Path("nowhere") / "played.wav", "recording")
    []
    """
    beside = path.with_suffix(".json")
    truth = _truth(beside) if beside.exists() else {}
    if truth is None:
        return [Problem(str(beside), "is there already and is no truth of a simulation.", "Give another name.")]
    of = str(truth.get("file") or path.name)
    if of != path.name and path.with_name(of).exists():
        return [Problem(str(beside), f"is the truth of {of}, which stands there too.", "Give another name.")]
    if path.exists() and path.stat().st_size and not beside.exists():
        found = f"is there already and has no truth beside it: it may be a real {what}."
        return [Problem(str(path), found, "Rename.")]
    return []


def _truth(path: Path) -> dict[str, Any] | None:
    """Read a simulation's truth; None for anything else, nothing where the file was only begun."""
    try:
        held = json.loads(path.read_text(encoding="utf-8") or "{}")
    except (OSError, ValueError):
        return None
    return held if isinstance(held, dict) and (not held or held.get("simulated") is True) else None
