"""Nothing in the repository depends on one machine, names a registry's host, or leaves work for later."""

import re
import subprocess
from pathlib import Path

import pytest

# A tilde stands inside each word and is taken out before use, so that this file passes its own test.
KEPT_OUT = {
    what: pattern.replace("~", "")
    for what, pattern in {
        "a path of one machine": r"(?<![\w.])/(?:w~ork|h~ome|r~oot|U~sers)/\w|(?<![\w.])/t~mp\b|\b[A-Z]:\\U~sers",
        "work left for later": r"\b(?:T~ODO|F~IXME|X~XX|H~ACK)\b|NotI~mplementedError",
        "a registry's host": r"p~ypi\.org|pythonh~osted|n~pmjs\.|deb\.d~ebian|proxy\.g~olang|u~npkg\.com|jsd~elivr",
        "where the project came from": r"seed d~ocument|shared/(?:d~esign|s~tyle|r~eference)",
    }.items()
}
OTHERS_WORK = {"LICENSE"}  # licence texts and vendored scripts are passed on as they are
LINE_LIMIT = 2000  # a longer line is minified, so not ours


def tracked(repository: Path) -> list[Path]:
    """Give every file that git knows, or every file that a source distribution would hold when there is no git."""
    done = subprocess.run(["git", "ls-files", "-z"], cwd=repository, capture_output=True, check=False)
    if done.returncode == 0:
        return [repository / name for name in done.stdout.decode().split("\0") if name]
    skipped = (".venv", "__pycache__", ".git", "_cache")
    return [path for path in repository.rglob("*") if path.is_file() and not any(s in str(path) for s in skipped)]


def found_in(text: str) -> list[tuple[int, str, str]]:
    """Give line number, what is wrong, and the words, for everything that ought not to stand in a text."""
    return [
        (number, what, match.group())
        for number, line in enumerate(text.splitlines(), 1)
        if len(line) < LINE_LIMIT
        for what, pattern in KEPT_OUT.items()
        if (match := re.search(pattern, line))
    ]


def text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (UnicodeDecodeError, FileNotFoundError):  # a sound or a picture; or deleted and not yet committed
        return ""


def test_nothing_is_left_in_tracked_files(repository: Path) -> None:
    files = [path for path in tracked(repository) if path.name not in OTHERS_WORK and "vendor" not in path.parts]
    assert len(files) > 10, "the test looks in the wrong place"
    said = [
        f"{path.relative_to(repository)}:{number}: {what}: {words}"
        for path in files
        for number, what, words in [*found_in(str(path.relative_to(repository))), *found_in(text_of(path))]
    ]
    assert said == []


@pytest.mark.parametrize(
    "text",
    [
        "open('/w~ork/main/x')",
        "see /t~mp/notes",
        "/h~ome/someone/deck.toml",
        "C:\\U~sers\\someone",
        "# T~ODO: finish",
        "raise NotI~mplementedError",
        "https://p~ypi.org/simple",
        "https://registry.n~pmjs.org/htmx",
        "as the seed d~ocument says",
    ],
)
def test_each_would_be_seen(text: str) -> None:
    assert len(found_in(f"first line\n{text.replace('~', '')}\n")) == 1


@pytest.mark.parametrize(
    "text", ["work/flow", "a hacksaw", "and/or", "../shared/data", "frame/rootless", "/usr/bin/chromium"]
)
def test_ordinary_text_passes(text: str) -> None:
    assert found_in(text) == []
