"""Ask the command line for its own help, the way a person would."""

import os
import re
import subprocess
import sys
from pathlib import Path


def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run `tapewright` with these arguments in a process of its own, with nothing on its standard input."""
    wide = os.environ | {"COLUMNS": "200", "NO_COLOR": "1"}
    command = [sys.executable, "-m", "tapewright", *arguments]
    nothing = subprocess.DEVNULL
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, env=wide, stdin=nothing)


def commands() -> list[str]:
    """Give the commands that `tapewright --help` names, in its order."""
    found = re.search(r"\{([a-z][a-z,-]+)\}", run("--help").stdout)
    return found.group(1).split(",") if found else []
