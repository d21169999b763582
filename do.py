#!/usr/bin/env python3
"""Set everything up and run it: `python do.py demo`, `python do.py test`.

Standard library only; the same on Linux, macOS and Windows. The environment is made once, in `.venv` beside this file,
with the exact versions in constraints.txt. A stamp remembers what it was made from, so a second call starts at once; a
set-up that was cut short has no stamp and is made again.
"""

from __future__ import annotations  # so that a Python which is too old can still read far enough to be told so

import hashlib
import importlib.util
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
STAMP = ENVIRONMENT / "set-up.stamp"
PINS = HERE / "constraints.txt"
OLDEST = (3, 11)
MOST_HANDS = 4
"""Tests run side by side on at most so many processors."""

USAGE = """\
python do.py demo [ARGS]    set up, then the main job on an invented machine (ARGS go to `tapewright demo`)
python do.py test           set up, then style, types and every test that is not slow
python do.py test --slow    the slow ones too, as CI does
python do.py test --quick   neither slow ones nor those that drive a browser
                            (anything more goes to pytest: python do.py test -k belts)
python do.py run ARGS       set up, then `tapewright ARGS`
python do.py setup          set up and stop there
python do.py format         lay the source out as `test` wants it
python do.py wheel          build the wheel and try it in an environment of its own
python do.py pins           write constraints.txt anew, with the newest versions that pyproject.toml allows
"""

PINS_HEADER = """\
# The exact versions that Tapewright is tested with; pyproject.toml says which ranges it accepts.
# Write it anew with `python do.py pins`, run `python do.py test --slow`, and commit both or neither.
# Names and versions only, for Python 3.11 and later on every system: what only one system needs is here too.
"""
ONE_SYSTEM_ONLY = ("colorama==0.4.6",)  # the test runner colours its output through this on Windows


class CannotError(Exception):
    """What stands in the way, and what to do about it, in sentences."""


def say(text: str) -> None:
    """Tell the person at the keyboard; standard output belongs to the command that is run."""
    print(text, file=sys.stderr, flush=True)


def python_of(environment: Path) -> Path:
    """Give the interpreter inside an environment."""
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def stamp_lines() -> list[str]:
    """Say what an environment is made from: the interpreter and the place, then the description and the pins."""
    interpreter = f"{sys.version} {sys.base_prefix} {HERE}"
    contents = b"\0".join(path.read_bytes() for path in (HERE / "pyproject.toml", PINS))
    return [hashlib.sha256(piece).hexdigest() for piece in (interpreter.encode(), contents)]


def check_python() -> None:
    """Refuse an interpreter that cannot work, before anything is written."""
    if sys.version_info < OLDEST:
        have = ".".join(map(str, sys.version_info[:3]))
        raise CannotError(
            f"This is Python {have}; Tapewright needs {OLDEST[0]}.{OLDEST[1]} or newer.\n"
            f"Install a newer Python and call it by name, for instance: python3.{OLDEST[1]} do.py demo"
        )
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if missing:
        raise CannotError(
            f"This Python cannot make an environment: its {' and '.join(missing)} module is not installed.\n"
            "On Debian and Ubuntu: apt-get install python3-venv. Elsewhere: install Python with its standard library."
        )


def why_pip_failed(output: str) -> str:
    """Turn what pip printed into a sentence about what to do.

    >>> why_pip_failed("OSError: [Errno 28] No space left on device").split(".")[0]
    'The disk is full'
    """
    unreachable = "NewConnectionError|NameResolution|getaddrinfo|is unreachable|Timeout|ProxyError|SSLError"
    if re.search(unreachable, output):
        return "The package index cannot be reached. Check the network (or pip's proxy setting) and try again."
    if "No space left" in output:
        return "The disk is full. About one gigabyte is needed; make room and try again."
    if "No matching distribution" in output or "Could not find a version" in output:
        return (
            "One of the packages has no version for this Python on this system: the lines above name it.\n"
            "Try the newest Python 3.11 to 3.14."
        )
    return "The lines above say what pip stopped at. Once that is put right, run the same command again."


def pip(environment: Path, *arguments: str) -> None:
    """Run an environment's pip quietly; show what it said only when it fails."""
    command = [str(python_of(environment)), "-m", "pip", "--disable-pip-version-check", "--no-input", *arguments]
    pipe, nothing, both = subprocess.PIPE, subprocess.DEVNULL, subprocess.STDOUT
    done = subprocess.run(command, cwd=HERE, stdin=nothing, stdout=pipe, stderr=both, check=False)
    if done.returncode != 0:
        output = done.stdout.decode(errors="replace")
        say("\n".join(output.strip().splitlines()[-30:]))
        raise CannotError(why_pip_failed(output))


def make_environment(place: Path) -> None:
    """Make an empty environment, in place of whatever stood there."""
    if Path(sys.prefix).resolve() == place.resolve():
        raise CannotError("The environment must be made again, and not by its own Python. Call do.py with another one.")
    command = [sys.executable, "-m", "venv", "--clear", str(place)]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        say((done.stdout + done.stderr).strip())
        raise CannotError(f"Python could not make an environment in {place}; the lines above say why.")


def set_up() -> None:
    """Make the environment stand as pyproject.toml and constraints.txt say; do nothing when it already does."""
    wanted = stamp_lines()
    stamped = STAMP.read_text(encoding="utf-8").split() if STAMP.exists() and python_of(ENVIRONMENT).exists() else []
    if stamped == wanted:
        return
    check_python()
    say(f"Setting up in {ENVIRONMENT}. The first time takes about a minute and needs a network; nothing later does.")
    if stamped[:1] != wanted[:1]:
        make_environment(ENVIRONMENT)
    STAMP.unlink(missing_ok=True)
    pip(ENVIRONMENT, "install", "--retries", "2", "-c", str(PINS), "-e", ".[dev]")
    half_written = STAMP.with_suffix(".new")
    half_written.write_text("\n".join(wanted), encoding="utf-8")
    half_written.replace(STAMP)  # last, and in one step: a set-up that was cut short never looks finished


def run(environment: Path, *arguments: str, cwd: Path | None = None) -> int:
    """Run an environment's Python and wait for it, also when Ctrl-C stops it; give its exit code."""
    with subprocess.Popen([str(python_of(environment)), *arguments], cwd=cwd) as child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:
                continue  # the child got it too, and decides how to end


def test(arguments: list[str]) -> int:
    """Check style, types and behaviour; each of them, even when one fails. Pytest comes last, with its closing line."""
    chosen = {"--slow": "", "--quick": "not slow and not browser"}
    marks = next((chosen[word] for word in arguments if word in chosen), "not slow")
    rest = [word for word in arguments if word not in chosen]
    hands = min(MOST_HANDS, os.cpu_count() or 1)
    # Files are shared out whole: what a file's tests hold in common is then made once.
    shared = ["-n", str(hands), "--dist", "loadfile"] if hands > 1 and "-n" not in rest else []
    steps = {
        "ruff check": ["-m", "ruff", "check", "."],
        "ruff format": ["-m", "ruff", "format", "--check", "--quiet", "."],
        "mypy": ["-m", "mypy"],
        "pytest": ["-m", "pytest", *(["-m", marks] if marks else []), *shared, *rest],
    }
    failed = []
    for name, step in steps.items():
        say(f"--- {name}")
        code = run(ENVIRONMENT, *step, cwd=HERE)
        if code == 130 or code < 0:
            raise KeyboardInterrupt
        if code != 0:
            failed.append(name)
    if failed:
        say(f"Not passed: {', '.join(failed)}.")
        if "ruff format" in failed:
            say("To put the layout right: python do.py format")
    return 1 if failed else 0


def wheel() -> int:
    """Build the wheel, and try it where nothing but its own dependencies is installed."""
    with tempfile.TemporaryDirectory(prefix="tapewright-wheel-") as folder:
        place = Path(folder)
        say("--- wheel: build, install in an environment of its own, import everything, run the demo")
        pip(ENVIRONMENT, "wheel", "--no-deps", "--wheel-dir", folder, str(HERE))
        fresh = place / "environment"
        make_environment(fresh)
        pip(fresh, "install", "-c", str(PINS), *map(str, place.glob("*.whl")))
        every_module = (
            "import importlib, pkgutil, tapewright\n"
            "for found in pkgutil.walk_packages(tapewright.__path__, 'tapewright.'):\n"
            "    found.name.endswith('__main__') or importlib.import_module(found.name)\n"
        )
        steps = (
            ["-W", "error", "-c", every_module],
            ["-m", "tapewright", "--help"],
            ["-m", "tapewright", "demo", "--out", str(place / "demo")],
        )
        for step in steps:
            if run(fresh, *step, cwd=place) != 0:
                raise CannotError(f"The installed wheel failed at: python {' '.join(step)}")
        if not any((place / "demo").iterdir()):
            raise CannotError("The installed wheel's demo wrote nothing.")
    say("The wheel works.")
    return 0


def write_pins() -> int:
    """Install without pins in an environment of its own, and write down what came."""
    with tempfile.TemporaryDirectory(prefix="tapewright-pins-") as folder:
        fresh = Path(folder) / "environment"
        make_environment(fresh)
        say("Installing the newest versions that pyproject.toml allows.")
        pip(fresh, "install", "-e", ".[dev]")
        command = [str(python_of(fresh)), "-m", "pip", "freeze", "--exclude-editable"]
        frozen = subprocess.run(command, capture_output=True, text=True, check=True, cwd=HERE).stdout.splitlines()
    pins = {line for line in frozen if re.fullmatch(r"[\w.-]+==[\w.+!-]+", line)} | set(ONE_SYSTEM_ONLY)
    PINS.write_text(PINS_HEADER + "\n".join(sorted(pins, key=str.lower)) + "\n", encoding="utf-8")
    return 0


def main(arguments: list[str]) -> int:
    """Do what the first word says."""
    verb, rest = (arguments[0], arguments[1:]) if arguments else ("help", [])
    if verb == "pins":
        check_python()
        return write_pins()
    if verb not in ("demo", "test", "run", "setup", "wheel", "format"):
        say(USAGE)
        return 0 if verb in ("help", "-h", "--help") else 2
    set_up()
    if verb == "demo":
        return run(ENVIRONMENT, "-m", "tapewright", "demo", *rest)
    if verb == "run":
        return run(ENVIRONMENT, "-m", "tapewright", *rest)
    if verb == "format":
        return run(ENVIRONMENT, "-m", "ruff", "format", ".", cwd=HERE)
    if verb == "wheel":
        return wheel()
    return test(rest) if verb == "test" else 0


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except CannotError as cannot:
        say(str(cannot))
        sys.exit(1)
    except KeyboardInterrupt:
        say("\nStopped. Whatever was half done is done again the next time.")
        sys.exit(130)
