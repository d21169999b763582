"""The examples of the page about sizes run as they stand there."""

import doctest
from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "docs" / "sizes.md"


def test_every_example_of_the_page_runs() -> None:
    text = PAGE.read_text(encoding="utf-8")
    found = doctest.DocTestParser().get_doctest(text, {}, PAGE.name, str(PAGE), 0)
    assert len(found.examples) > 15
    said: list[str] = []
    result = doctest.DocTestRunner().run(found, out=said.append)
    assert result.failed == 0, "".join(said)
