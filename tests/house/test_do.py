"""The set-up script: what it refuses, what it says, and that a set-up which was cut short never looks finished."""

import ast
import doctest
import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def do(repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The script as a module, working on a folder of its own."""
    spec = importlib.util.spec_from_file_location("do", repository / "do.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name, place in {"HERE": ".", "ENVIRONMENT": ".venv", "STAMP": ".venv/set-up.stamp", "PINS": "pins.txt"}.items():
        monkeypatch.setattr(module, name, tmp_path / place)
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    (tmp_path / "pins.txt").write_text("numpy==2.4.6\n", encoding="utf-8")
    return module


class Steps:
    """Stands in for the slow steps, and remembers which were taken."""

    def __init__(self, do: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
        self.do = do
        self.taken: list[str] = []
        self.pip_fails = False
        monkeypatch.setattr(do, "make_environment", self.make_environment)
        monkeypatch.setattr(do, "pip", self.pip)

    def make_environment(self, place: Path) -> None:
        self.taken.append("make")
        python = self.do.python_of(place)
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()

    def pip(self, *_arguments: object) -> None:
        self.taken.append("pip")
        if self.pip_fails:
            raise KeyboardInterrupt


@pytest.fixture
def steps(do: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Steps:
    return Steps(do, monkeypatch)


def test_the_second_call_does_nothing(do: ModuleType, steps: Steps) -> None:
    do.set_up()
    assert steps.taken == ["make", "pip"]
    do.set_up()
    assert steps.taken == ["make", "pip"]


@pytest.mark.parametrize("name", ["pyproject.toml", "pins.txt"])
def test_a_changed_file_installs_again_on_top(do: ModuleType, steps: Steps, tmp_path: Path, name: str) -> None:
    do.set_up()
    steps.taken.clear()
    (tmp_path / name).write_text("changed = 1\n", encoding="utf-8")
    do.set_up()
    assert steps.taken == ["pip"]


def test_another_python_starts_anew(do: ModuleType, steps: Steps, monkeypatch: pytest.MonkeyPatch) -> None:
    do.set_up()
    steps.taken.clear()
    monkeypatch.setattr(sys, "version", "3.99.0 (another one)")
    do.set_up()
    assert steps.taken == ["make", "pip"]


def test_a_set_up_that_was_cut_short_is_done_again(do: ModuleType, steps: Steps) -> None:
    steps.pip_fails = True
    with pytest.raises(KeyboardInterrupt):
        do.set_up()
    assert not do.STAMP.exists()
    steps.pip_fails = False
    steps.taken.clear()
    do.set_up()
    assert steps.taken == ["make", "pip"]


def test_an_upgrade_that_was_cut_short_is_done_again(do: ModuleType, steps: Steps, tmp_path: Path) -> None:
    do.set_up()
    (tmp_path / "pins.txt").write_text("numpy==2.4.7\n", encoding="utf-8")
    steps.pip_fails = True
    with pytest.raises(KeyboardInterrupt):
        do.set_up()
    (tmp_path / "pins.txt").write_text("numpy==2.4.6\n", encoding="utf-8")  # back, but the environment is half changed
    steps.pip_fails = False
    steps.taken.clear()
    do.set_up()
    assert steps.taken == ["make", "pip"]


def test_an_old_python_is_told_so(do: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 9, 2))
    with pytest.raises(do.CannotError, match=r"Python 3\.9\.2; Tapewright needs 3\.11 or newer"):
        do.check_python()


@pytest.mark.parametrize("name", ["venv", "ensurepip"])
def test_a_missing_module_is_named(do: ModuleType, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    find = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda asked: None if asked == name else find(asked))
    with pytest.raises(do.CannotError, match=f"(?s){name}.*python3-venv"):
        do.check_python()


@pytest.mark.parametrize(
    ("output", "start"),
    [
        (
            "NewConnectionError: [Errno -3] Temporary failure\nERROR: No matching distribution found for x",
            "The package index",
        ),
        ("ReadTimeoutError: read timed out", "The package index"),
        ("ERROR: No matching distribution found for numpy==2.4.6", "One of the packages has no version"),
        ("OSError: [Errno 28] No space left on device", "The disk is full"),
        ("error: metadata-generation-failed", "The lines above say"),
    ],
)
def test_what_pip_says_becomes_a_sentence(do: ModuleType, output: str, start: str) -> None:
    assert do.why_pip_failed(output).startswith(start)


def test_its_examples_run(do: ModuleType) -> None:
    results = doctest.testmod(do)
    assert results.attempted > 0
    assert results.failed == 0


def test_help_and_an_unknown_word(repository: Path) -> None:
    script = [sys.executable, str(repository / "do.py")]
    helped = subprocess.run([*script, "help"], capture_output=True, text=True, check=False)
    assert helped.returncode == 0
    assert "do.py demo" in helped.stderr
    assert subprocess.run([*script, "dmeo"], capture_output=True, check=False).returncode == 2


def test_a_python_that_is_too_old_can_read_it(repository: Path) -> None:
    """Python 3.8 has to get as far as the refusal; `ast` knows its grammar."""
    ast.parse((repository / "do.py").read_text(encoding="utf-8"), feature_version=(3, 8))
