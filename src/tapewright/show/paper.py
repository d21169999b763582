"""Pages that need nothing beside them: one style sheet, no script, no network, for screen and paper."""

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from tapewright.show.svg import inlined

if TYPE_CHECKING:
    from jinja2 import Environment, Template


def template(name: str) -> "Template":
    """Give a page to fill in; everything filled in is escaped but what `inline` gives.

    Arguments:
        name: of a file in `templates`.
    """
    return _environment().get_template(name)


@cache
def _environment() -> "Environment":
    """Make ready to read pages; the template library is loaded only when one is written."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    def source(name: str) -> str:
        return (files(__package__) / "templates" / name).read_text(encoding="utf-8")

    page = Environment(
        loader=FunctionLoader(source), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    page.globals["css"] = trusted(source("report.css"))
    return page


def inline(svg: str) -> str:
    """Make a picture of our own ready to stand in a page."""
    return trusted(inlined(svg))


def trusted(markup: str) -> str:
    """Mark text as markup of our own; what people wrote was escaped when it was made."""
    from markupsafe import Markup

    return Markup(markup)
