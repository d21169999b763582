"""The versions in constraints.txt are those of pyproject.toml, exact, and of no particular host."""

import re
import sys
import tomllib
from importlib.metadata import distributions
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

HOST = re.compile(r"https?:|file:|git\+|--(?:extra-)?index|\bfind-links\b|@\s|\b[\w-]+\.(?:org|com|net|io|dev)\b")


@pytest.fixture(scope="module")
def project(repository: Path) -> dict[str, Any]:
    described: dict[str, Any] = tomllib.loads((repository / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return described


@pytest.fixture(scope="module")
def pins(repository: Path) -> dict[str, Version]:
    """Give the pinned version by name; fail on a line that is not exactly NAME==VERSION."""
    lines = (repository / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = [line.split("==") for line in lines if line and not line.startswith("#")]
    assert all(len(pair) == 2 for pair in pinned)
    return {canonicalize_name(name): Version(version) for name, version in pinned}


@pytest.mark.parametrize("name", ["pyproject.toml", "constraints.txt"])
def test_no_host_is_named(repository: Path, name: str) -> None:
    text = (repository / name).read_text(encoding="utf-8")
    assert HOST.findall(text) == []


def test_the_search_for_hosts_can_fail() -> None:
    assert HOST.search("x @ https://somewhere/x.whl")
    assert HOST.search("--index-url files.example.org")
    assert not HOST.search("numpy==2.4.6")


def test_every_dependency_is_pinned_within_its_range(project: dict[str, Any], pins: dict[str, Version]) -> None:
    wanted = [Requirement(text) for text in [*project["dependencies"], *project["optional-dependencies"]["dev"]]]
    assert len(wanted) > 8
    said = [str(each) for each in wanted if pins.get(canonicalize_name(each.name), Version("0")) not in each.specifier]
    assert said == []


def test_what_is_installed_is_what_is_pinned(repository: Path, pins: dict[str, Version]) -> None:
    """Catches a package put in by hand and never written down; what only another system needs may be absent."""
    if Path(sys.prefix).resolve() != (repository / ".venv").resolve():
        pytest.skip("not running in the environment that do.py makes")
    here = {canonicalize_name(each.metadata["Name"]): Version(each.version) for each in distributions()}
    comes_with_python = {"tapewright", "pip", "setuptools"}
    differing = {name: str(version) for name, version in here.items() if pins.get(name) != version}
    assert {name: version for name, version in differing.items() if name not in comes_with_python} == {}
