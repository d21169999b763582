"""What a film of the hubs told, as pictures: rates over time with what happened, and a frame with the hubs marked."""

import io
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.show.plotting import DRAWN_AS, plotted, thinned
from tapewright.show.reels_text import event_says
from tapewright.show.svg import INK, MUTED, SECOND, SUSPECT
from tapewright.words.reels_seen import HubSeen, ReelsSeen

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARK: Final = {"left": (255, 200, 0), "right": (0, 220, 255)}
"""Two colours that stand out on gray and from each other for all kinds of colour sight."""


def reels_chart(seen: ReelsSeen) -> str:
    """Draw both hubs' rates over time as SVG, with what happened shaded.

    Arguments:
        seen: what the film told.
    """
    said = " ".join(event_says(event) for event in seen.events) or "Both turn evenly from end to end."

    def draw(axes: "Axes") -> None:
        for rate, colour, line in zip(seen.rates, (INK, SECOND), ("-", "--"), strict=False):
            times, values = thinned(np.array(rate.times_s), np.array(rate.rates_hz))
            axes.plot(times, values, line, color=DRAWN_AS[colour], linewidth=1.2, label=f"{rate.name} hub")
        for event in seen.events:
            if event.end_s > event.start_s:
                axes.axvspan(event.start_s, event.end_s, color=DRAWN_AS[SUSPECT], alpha=0.2, linewidth=0)
            else:
                axes.axvline(event.start_s, color=DRAWN_AS[MUTED], linewidth=1.0, linestyle=":")
        axes.set_xlabel("seconds of the film")
        axes.set_ylabel("turns a second")
        axes.legend(frameon=False, loc="best")

    return plotted("How the hubs turn", f"Turns a second of both hubs over time. {said}", draw, 2.8)


def marked_frame(still: NDArray[np.uint8], hubs: tuple[HubSeen, ...]) -> bytes:
    """Give a frame as PNG with a ring about each hub and a cross at its centre.

    Arguments:
        still: brightness, shape (height, width).
        hubs: where they are.
    """
    from matplotlib.image import imsave

    picture = np.repeat(still[:, :, None], 3, axis=2)
    thick = max(1, min(still.shape) // 300)
    turn = np.linspace(0.0, 2.0 * np.pi, 2000)
    for hub in hubs:
        e, g = hub.stretch
        across, down = hub.radius_px * np.cos(turn), hub.radius_px * np.sin(turn)
        arm = np.linspace(-0.2, 0.2, 200) * hub.radius_px
        x = np.concatenate(
            [hub.centre_x + (1.0 + e) * across + g * down, hub.centre_x + arm, np.full(200, hub.centre_x)]
        )
        y = np.concatenate(
            [hub.centre_y + g * across + (1.0 - e) * down, np.full(200, hub.centre_y), hub.centre_y + arm]
        )
        for right in range(-thick, thick + 1):
            for below in range(-thick, thick + 1):
                column, row = np.rint(x).astype(int) + right, np.rint(y).astype(int) + below
                inside = (column >= 0) & (column < still.shape[1]) & (row >= 0) & (row < still.shape[0])
                picture[row[inside], column[inside]] = MARK[hub.name]
    written = io.BytesIO()
    imsave(written, picture, format="png")
    return written.getvalue()


__all__ = ["marked_frame", "reels_chart"]
