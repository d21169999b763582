"""Pieces of SVG as text: escaped, without style elements, coloured by the page they stand in.

Colours are custom properties with a fallback, said in presentation attributes: a page sets `--show-ink` and the rest
for light and dark; a picture that stands alone is drawn on light paper. Nothing needs a script or an inline style.
"""

from typing import Final
from xml.sax.saxutils import escape, quoteattr

NAMESPACE: Final = ' xmlns="http://www.w3.org/2000/svg"'
INK: Final = "var(--show-ink, #1f2a2e)"
PAPER: Final = "var(--show-paper, #fcfbf7)"
MUTED: Final = "var(--show-muted, #566369)"
FAINT: Final = "var(--show-faint, #dfe4df)"
SUSPECT: Final = "var(--show-suspect, #9b3416)"
TAPE: Final = "var(--show-tape, #75541f)"
SECOND: Final = "var(--show-second, #23687a)"
FONT: Final = "system-ui, sans-serif"


def text(words: str) -> str:
    """Escape words for the inside of an element; what XML cannot hold is left out.

    >>> text("a<b & c")
    'a&lt;b &amp; c'
    """
    return escape("".join(c for c in words if c in "\t\n" or c >= " "), {'"': "&quot;"})


def element(name: str, *inside: str, **attributes: str | float | None) -> str:
    r"""Write one element; `inside` is SVG already, attributes are escaped here.

    A trailing underscore is dropped from an attribute's name, other underscores become hyphens; None leaves it out.

    >>> element("circle", r=2.0, data_part='"')
    '<circle r="2" data-part=\'"\'/>'
    """
    said = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(value if isinstance(value, str) else number(value))}"
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{said}>{''.join(inside)}</{name}>" if inside else f"<{name}{said}/>"


def number(value: float) -> str:
    """Write a coordinate: six decimals at most, no trailing noughts.

    >>> number(2.50000004), number(-0.0)
    ('2.5', '0')
    """
    shown = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def picture(
    title: str,
    describes: str,
    box: tuple[float, float, float, float],
    key: str,
    *inside: str,
    kind: str = "picture",
    leads: bool = False,
) -> str:
    """Write a whole picture: it scales with its page and says what it shows.

    Arguments:
        title: its name.
        describes: what it shows, for people who do not see it.
        box: left, top, width, height of what is shown.
        key: makes the ids of its title and description differ from those of other pictures on the page.
        inside: SVG.
        kind: class of the outer element.
        leads: whether parts of it lead elsewhere; then it is a group of them, and not one image, to a screen reader.
    """
    viewed = " ".join(number(value) for value in box)
    role = "group" if leads else "img"
    head = f'<svg{NAMESPACE} class="{kind}" viewBox="{viewed}" role="{role}" aria-labelledby="{key}-t {key}-d"'
    named = element("title", text(title), id=f"{key}-t") + element("desc", text(describes), id=f"{key}-d")
    return f'{head} preserveAspectRatio="xMidYMid meet" font-family="{FONT}">{named}{"".join(inside)}</svg>'


def inlined(svg: str) -> str:
    """Take the namespace off a picture that stands inside HTML, where it is not needed."""
    return svg.replace(NAMESPACE, "", 1)
