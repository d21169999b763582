"""Where a user's data lie."""

import os
import sys
from collections.abc import Mapping
from pathlib import Path


def bench_home(given: Path | None = None, environment: Mapping[str, str] = os.environ) -> Path:
    """Give the folder that jobs lie in: as given, as TAPEWRIGHT_DATA says, or where this system keeps a user's data.

    >>> bench_home(environment={"TAPEWRIGHT_DATA": "kept here"}).name
    'kept here'
    """
    if given is not None:
        return given
    if environment.get("TAPEWRIGHT_DATA"):
        return Path(environment["TAPEWRIGHT_DATA"])
    if sys.platform == "win32":
        base = Path(environment.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        named = Path(environment.get("XDG_DATA_HOME", ""))
        base = named if named.is_absolute() else Path.home() / ".local" / "share"
    return base / "tapewright"
