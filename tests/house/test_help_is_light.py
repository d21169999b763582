"""Help comes at once: it loads no numerical library, and costs little more than starting Python does."""

import statistics
import subprocess
import sys
import time

import pytest

from tests.house.commands import commands, run

HEAVY = ("numpy", "scipy", "matplotlib", "soundfile", "starlette", "uvicorn", "jinja2", "sqlalchemy", "alembic")
MOST_TIMES_BARE_PYTHON = 12.0  # decision 9
RUNS = 7

ASK_FOR_HELP = f"""
import sys
from tapewright.cli import main
try:
    main(sys.argv[1:])
except SystemExit as stopped:
    assert not stopped.code, stopped.code
print("loaded:", *[name for name in {HEAVY!r} if name in sys.modules])
"""


def loaded_by(*arguments: str, script: str = ASK_FOR_HELP) -> str:
    """Give what the last line says was loaded."""
    done = subprocess.run([sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1]


def test_help_loads_nothing_heavy() -> None:
    assert loaded_by("--help") == "loaded:"


@pytest.mark.parametrize("command", commands())
def test_help_of_each_command_loads_nothing_heavy_and_says_something(command: str) -> None:
    assert loaded_by(command, "--help") == "loaded:"
    shown = run(command, "--help")
    assert shown.returncode == 0
    assert shown.stderr == ""
    assert f"tapewright {command}" in shown.stdout
    assert len(shown.stdout.splitlines()) > 4


def test_there_are_commands() -> None:
    assert {"demo", "diagnose", "measure", "rates"} <= set(commands())


def test_a_heavy_library_would_be_seen() -> None:
    assert loaded_by("--help", script="import numpy\n" + ASK_FOR_HELP) == "loaded: numpy"


def test_help_takes_at_most_twelve_times_bare_python() -> None:
    """Turn about, so that whatever else the machine is doing slows both alike."""
    taken: dict[str, list[float]] = {"bare": [], "help": []}
    calls = {"bare": ["-c", "pass"], "help": ["-m", "tapewright", "--help"]}
    for _ in range(RUNS):
        for name, call in calls.items():
            begun = time.perf_counter()
            subprocess.run([sys.executable, *call], check=True, stdout=subprocess.DEVNULL)
            taken[name].append(time.perf_counter() - begun)
    bare_s, help_s = (statistics.median(taken[name]) for name in calls)
    assert help_s / bare_s <= MOST_TIMES_BARE_PYTHON, f"help {1e3 * help_s:.0f} ms, bare Python {1e3 * bare_s:.0f} ms"


def test_a_mistyped_command_is_the_users_fault() -> None:
    done = run("diagnoze")
    assert done.returncode == 2
    assert "diagnoze" in done.stderr
    assert done.stdout == ""
