"""What every test may lean on: where things are, draws that repeat, no screen."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

import tapewright  # noqa: F401  # before numpy: it asks the linear algebra library for one thread

ROOT = Path(__file__).resolve().parent.parent

os.environ.setdefault("MPLBACKEND", "Agg")  # before anything loads the plotting library: a test has no screen
os.environ["TAPEWRIGHT_DATA"] = str(ROOT / "no such shop")  # a test goes by the catalogue alone
if "PYTEST_XDIST_WORKER" not in os.environ:  # else whoever shares the tests out has set it
    os.environ["TAPEWRIGHT_CACHE"] = tempfile.mkdtemp(prefix="tapewright-cache-")
    atexit.register(shutil.rmtree, os.environ["TAPEWRIGHT_CACHE"], ignore_errors=True)

# The same examples on every run and every machine: a failure here is a failure there. A property is not a race either.
settings.register_profile("house", derandomize=True, deadline=None, database=None)
settings.load_profile("house")


LATER = frozenset({"belt_reels_portable", "rim_drive_recorder", "tray_deck"})
"""Layouts beyond the first eight: what takes long with every machine takes them only when the slow ones run."""
LONG_ROOMS = frozenset({"show", "diagnose"})


@pytest.hookimpl(tryfirst=True)  # before those that are not wanted are taken out
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the rooms that draw and infer take the later layouts with the slow tests only."""
    for item in items:
        given = item.callspec.params.values() if isinstance(item, pytest.Function) and hasattr(item, "callspec") else ()
        later = any(isinstance(one, str) and one.removesuffix("_starter") in LATER for one in given)
        if later and item.path.parent.name in LONG_ROOMS:
            item.add_marker(pytest.mark.slow)


@pytest.fixture(scope="session")
def repository() -> Path:
    """The folder that holds pyproject.toml."""
    return ROOT


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Real recordings and broken files, which live outside the repository; skips where they are absent."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the folder of real recordings, ../shared/data, is not on this machine")
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium to drive; skips where there is none."""
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium on this machine")
    return found
