"""Orders over the tape as a picture: time along the bottom, order upward, dark where the speed swings."""

import hashlib
from typing import Final

import numpy as np

from tapewright.machine.parts import Machine
from tapewright.show.plotting import empty
from tapewright.show.said import name_of
from tapewright.show.svg import FAINT, INK, MUTED, SECOND, element, picture, text
from tapewright.words.signal import OrderPicture

WIDE: Final = 374.0
TALL: Final = 200.0
LEFT: Final = 40.0
TOP: Final = 26.0
SPAN: Final = 322.0
RISE: Final = 126.0
KEY_ENDS: Final = 328.0
SHADES: Final = 6
"""Steps of darkness; more could not be told apart, and neighbours of one shade are one rectangle."""
RANGE: Final = 30.0
"""What is so many times smaller than the largest is left white."""
TOLD: Final = 4


def order_chart(found: OrderPicture, machine: Machine | None, title: str = "Speed over the turns of a part") -> str:
    """Draw how large the speed deviation is at each order of a part, over the tape; darker is larger, to a log scale.

    Arguments:
        found: the numbers.
        machine: whose part it is.
        title: the picture's name.
    """
    sizes = found.peak_pct
    finite = sizes[np.isfinite(sizes)]
    if not len(finite) or float(finite.max()) <= 0.0:
        return empty(title, "Nothing was left of the recording.")
    largest = float(finite.max())
    key = "o" + hashlib.sha256(repr((title, found.part, sizes.tobytes())).encode()).hexdigest()[:8]
    drawn = "".join(_column(found, k, largest) for k in range(len(found.times_s)))
    pieces = (_frame(), drawn, _orders(found), _times(found), _legend(largest), _names(found, machine))
    return picture(title, _says(found, machine), (0.0, 0.0, WIDE, TALL), key, *pieces, kind="chart")


def _says(found: OrderPicture, machine: Machine | None) -> str:
    mean = np.sqrt(np.nanmean(found.peak_pct**2, axis=0))
    strongest = sorted(np.argsort(-mean)[:TOLD].tolist(), key=lambda k: -mean[k])
    told = "; ".join(f"{found.orders[k]:g} a turn {mean[k]:.2g} %" for k in strongest)
    return (
        f"Over {found.turns[-1]:.0f} turns of the {name_of(machine, found.part)}, {found.turns_per_s:.3g} a second, "
        f"the speed swings most at these orders, peak in the mean: {told}. Whole orders are its own."
    )


def _edges(found: OrderPicture) -> tuple[float, float]:
    times = found.times_s
    half = (float(times[1]) - float(times[0])) / 2.0 if len(times) > 1 else 1.0
    return float(times[0]) - half, float(times[-1]) + half


def _x(found: OrderPicture, time_s: float) -> float:
    first, last = _edges(found)
    return LEFT + SPAN * (time_s - first) / (last - first)


def _y(found: OrderPicture, order: float) -> float:
    step = float(found.orders[1] - found.orders[0]) if len(found.orders) > 1 else 1.0
    lowest, highest = float(found.orders[0]), float(found.orders[-1])
    return TOP + RISE * (1.0 - (order - lowest + step / 2) / (highest - lowest + step))


def _shade(size: float, largest: float) -> int:
    if not np.isfinite(size) or size <= largest / RANGE:
        return 0
    return int(np.ceil(SHADES * (1.0 - np.log(largest / size) / np.log(RANGE))))


def _column(found: OrderPicture, k: int, largest: float) -> str:
    """Draw one stretch: neighbours of one shade as one rectangle; a stretch that was left out as a dashed line."""
    times = found.times_s
    half = (float(times[1]) - float(times[0])) / 2.0 if len(times) > 1 else 1.0
    begin, end = (_x(found, float(times[k]) + side * half) for side in (-1.0, 1.0))
    if not np.isfinite(found.peak_pct[k]).any():
        middle = (begin + end) / 2
        return element("line", x1=middle, y1=TOP, x2=middle, y2=TOP + RISE, stroke=MUTED, stroke_dasharray="3 3",
                       stroke_width=0.8)  # fmt: skip
    shades = [_shade(float(size), largest) for size in found.peak_pct[k]]
    step = float(found.orders[1] - found.orders[0]) if len(found.orders) > 1 else 1.0
    pieces, first = [], 0
    for at in range(1, len(shades) + 1):
        if at < len(shades) and shades[at] == shades[first]:
            continue
        if shades[first]:
            high, low = _y(found, found.orders[at - 1] + step / 2), _y(found, found.orders[first] - step / 2)
            across, tall = round(end - begin + 0.2, 2), round(low - high, 2)
            pieces.append(element("rect", x=round(begin, 2), y=round(high, 2), width=across, height=tall, fill=INK,
                                  fill_opacity=shades[first] / SHADES))  # fmt: skip
        first = at
    return "".join(pieces)


def _frame() -> str:
    return element("rect", x=LEFT, y=TOP, width=SPAN, height=RISE, fill="none", stroke=FAINT, stroke_width=1.0)


def _orders(found: OrderPicture) -> str:
    pieces = []
    for order in range(1, int(found.orders[-1]) + 1):
        y = _y(found, order)
        pieces.append(element("line", x1=LEFT - 4.0, y1=y, x2=LEFT, y2=y, stroke=SECOND, stroke_width=0.9))
        pieces.append(element("text", str(order), x=LEFT - 7.0, y=y + 3.0, font_size=9.0, fill=INK, text_anchor="end"))
    return "".join(pieces)


def _times(found: OrderPicture) -> str:
    pieces = []
    for share in (0.0, 0.25, 0.5, 0.75, 1.0) if len(found.times_s) > 1 else (0.5,):
        time = float(found.times_s[0] + share * (found.times_s[-1] - found.times_s[0]))
        x = _x(found, time)
        turns = float(np.interp(time, found.times_s, found.turns))
        pieces.append(element("line", x1=x, y1=TOP + RISE, x2=x, y2=TOP + RISE + 4.0, stroke=MUTED, stroke_width=0.9))
        tape = f"{float(np.interp(time, found.times_s, found.tape_m)):.2f} m" if len(found.tape_m) else ""
        for line, said in enumerate(filter(None, (f"{time:.0f} s", f"{turns:.0f} turns", tape))):
            pieces.append(element("text", said, x=x, y=TOP + RISE + 14.0 + 11.0 * line, font_size=9.0,
                                  fill=MUTED if line else INK, text_anchor="middle"))  # fmt: skip
    return "".join(pieces)


def _legend(largest: float) -> str:
    pieces = []
    for shade in range(1, SHADES + 1):
        x = KEY_ENDS - 14.0 * (SHADES + 1 - shade)
        pieces.append(element("rect", x=x, y=8.0, width=14.0, height=8.0, fill=INK, fill_opacity=shade / SHADES))
    ends = ((KEY_ENDS - 14.0 * SHADES - 4.0, f"{largest / RANGE:.1g} %", "end"),
            (KEY_ENDS + 3.0, f"{largest:.2g} %", "start"))  # fmt: skip
    pieces += [element("text", said, x=x, y=15.5, font_size=9.0, fill=INK, text_anchor=how) for x, said, how in ends]
    return "".join(pieces)


def _names(found: OrderPicture, machine: Machine | None) -> str:
    says = f"how often per turn of the {name_of(machine, found.part)}" if found.part else "how often per turn"
    return element("text", text(says), x=4.0, y=15.5, font_size=9.5, fill=INK)
