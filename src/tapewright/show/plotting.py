"""What matplotlib draws, in the house's form: colours that follow the page, no styles, no metadata, ids of its own.

matplotlib is loaded inside the functions that need it, so that nothing else waits for it.
"""

import hashlib
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.show.svg import FAINT, FONT, INK, MUTED, PAPER, SECOND, SUSPECT, element, picture, text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Points = NDArray[np.float64]

MOST_POINTS: Final = 4000
"""More than this cannot be told apart on a screen, and makes a heavy page."""
STAND_INS: Final = {
    "#010203": INK, "#040506": MUTED, "#070809": FAINT, "#0a0b0c": SUSPECT, "#0d0e0f": SECOND, "#101112": PAPER,
}  # fmt: skip
"""Colours no chart uses, each standing for one of the page's while matplotlib draws."""
DRAWN_AS = {page: stand_in for stand_in, page in STAND_INS.items()}


def thinned(times: Points, values: Points, most: int = MOST_POINTS) -> tuple[Points, Points]:
    """Keep what a plot can show: the lowest and highest of each stretch, in their order; gaps stay gaps.

    Arguments:
        times: shape (n,).
        values: shape (n,), nan where there is none.
        most: points to keep.

    >>> x, y = thinned(np.arange(9.0), np.array([0, 5, 0, 0, -5, 0, 0, 0, 1.0]), 6)
    >>> bool(y.max() == 5 and y.min() == -5), len(x) <= 6
    (True, True)
    """
    if len(values) <= most:
        return times, values
    edges = np.linspace(0, len(values), most // 2 + 1).astype(int)
    kept: list[int] = []
    for first, last in pairwise(edges):
        piece = values[first:last]
        good = np.flatnonzero(np.isfinite(piece))
        if len(good) < len(piece):
            # A stretch with a gap in it keeps one point of the gap, so that the line breaks there.
            gap = first + int(np.flatnonzero(~np.isfinite(piece))[0])
            kept += sorted({gap} | ({first + int(good[np.argmax(np.abs(piece[good]))])} if len(good) else set()))
        else:
            kept += sorted({first + int(np.argmin(piece)), first + int(np.argmax(piece))})
    return times[kept], values[kept]


def plotted(title: str, says: str, draw: Callable[["Axes"], None], tall: float = 2.5) -> str:
    """Let matplotlib draw, and give its picture the house's form.

    Arguments:
        title: the picture's name.
        says: what it shows, for those who cannot see it.
        draw: draws on the axes it is handed, in colours of `DRAWN_AS`.
        tall: height, inches; the width is 5.4.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    ink, muted, faint = DRAWN_AS[INK], DRAWN_AS[MUTED], DRAWN_AS[FAINT]
    settings: dict[Any, Any] = {
        "svg.fonttype": "none", "svg.hashsalt": "tapewright", "font.size": 9.5, "axes.edgecolor": muted,
        "axes.labelcolor": ink, "xtick.color": muted, "ytick.color": muted, "xtick.labelcolor": ink,
        "ytick.labelcolor": ink, "grid.color": faint, "text.color": ink, "path.simplify": True,
    }  # fmt: skip
    with mpl.rc_context(settings):
        figure = Figure(figsize=(5.4, tall), layout="constrained")
        figure.patch.set_visible(False)
        axes = figure.subplots()
        axes.patch.set_visible(False)
        axes.grid(visible=True, linewidth=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        draw(axes)
        written = io.BytesIO()
        figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    return _housed(written.getvalue().decode("utf-8"), title, says)


def _housed(svg: str, title: str, says: str) -> str:
    """Rewrite matplotlib's picture: no styles, no metadata, no outside names; colours of the page; ids of its own."""
    root = ET.fromstring(svg)
    key = "c" + hashlib.sha256(svg.encode()).hexdigest()[:8]
    _, _, width, height = (float(value) for value in root.attrib["viewBox"].split())
    inside = "".join(_element(child, key) for child in root)
    return picture(title, says, (0.0, 0.0, width, height), key, inside, kind="chart")


def _element(node: ET.Element, key: str) -> str:
    name = node.tag.rpartition("}")[2]
    if name in ("metadata", "style", "title"):
        return ""
    attributes: dict[str, str | float | None] = {}
    for full, value in node.attrib.items():
        attribute = full.rpartition("}")[2]
        if attribute == "style":
            attributes |= _styled(value)
        elif attribute == "id":
            attributes["id"] = f"{key}-{value}"
        elif attribute == "href":
            attributes["href"] = f"#{key}-{value.removeprefix('#')}"
        else:
            attributes[attribute] = value
    shown = {one.replace("-", "_"): _coloured(str(value), key) for one, value in attributes.items()}
    if name == "g":
        shown.pop("id", None)
    if name == "defs" and not len(node):
        return ""
    inside = [text(node.text)] if node.text and node.text.strip() else []
    return element(name, *inside, *(_element(child, key) for child in node), **shown)


def _styled(style: str) -> dict[str, str | float | None]:
    """Turn an inline style into attributes that say the same."""
    found: dict[str, str | float | None] = {}
    for piece in style.split(";"):
        name, _, value = (word.strip() for word in piece.partition(":"))
        if name == "font":
            size = re.search(r"([\d.]+)px", value)
            found |= {"font-size": size.group(1) if size else "10", "font-family": FONT}
        elif name == "font-family":
            found[name] = FONT
        elif name:
            found[name] = value
    return found


def _coloured(value: str, key: str) -> str:
    if value.startswith("url(#"):
        return f"url(#{key}-{value[5:]}"
    return STAND_INS.get(value.lower(), value)


def empty(title: str, says: str) -> str:
    """Say in a picture's place why there is none."""
    key = "e" + hashlib.sha256((title + says).encode()).hexdigest()[:8]
    words = element("text", text(says), x=8.0, y=24.0, font_size=12.0, fill=INK)
    return picture(title, says, (0.0, 0.0, 374.0, 40.0), key, words, kind="chart")


def plain_number(value: float, _place: float) -> str:
    """Label a tick as people write numbers."""
    return f"{value:g}"
