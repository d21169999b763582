"""One pass as pictures: response, azimuth over time, crosstalk, dropouts; tracks told apart by shape, not colour."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from tapewright.show.plotting import DRAWN_AS, empty, plain_number, plotted, thinned
from tapewright.show.svg import FAINT, INK, MUTED, SECOND, SUSPECT
from tapewright.words import one_pass as names
from tapewright.words.one_pass import PassSaid

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROOM_FOR_WORDS: Final = 0.35
"""A square smaller than this share of its place would stand behind its figure like a smudge: it is left out."""
SHAPES: Final = ("o", "s", "^", "D")
STROKES: Final = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 1.5, 1, 1.5)))
COLOURS: Final = (INK, SUSPECT, SECOND, MUTED)
AT_HZ: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
LENGTHS_MS: Final = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
LOUDEST_DB, QUIETEST_DB = -10.0, -80.0
"""Crosstalk between these fills a square of the picture, or leaves next to nothing of it."""


def response_chart(said: PassSaid, title: str = "Response") -> str:
    """Draw the response of every track over frequency, with the field that its limit leaves.

    Arguments:
        said: what the pass said.
        title: the picture's name.
    """
    curves = {track: _curve(said, track) for track in said.tracks}
    curves = {track: curve for track, curve in curves.items() if len(curve[0])}
    if not curves:
        return empty(title, "No response was read.")
    middle = _middle(said, list(curves.values()))

    def draw(axes: "Axes") -> None:
        for field in said.response_fields:
            at = middle if field.floats else 0.0
            for edge in (at - field.tall_db / 2.0, at + field.tall_db / 2.0):
                axes.plot([field.low_hz, field.high_hz], [edge, edge], color=DRAWN_AS[MUTED], linewidth=1.6)
            ends = [field.low_hz, field.high_hz]
            axes.fill_between(
                ends, at - field.tall_db / 2.0, at + field.tall_db / 2.0, color=DRAWN_AS[FAINT], alpha=0.5
            )
        for place, (track, (hz, db, doubt)) in enumerate(curves.items()):
            axes.errorbar(
                hz, db, yerr=doubt, label=f"track {track}", color=DRAWN_AS[COLOURS[place % 4]], linewidth=1.1,
                linestyle=STROKES[place % 4], marker=SHAPES[place % 4], markersize=3.6, elinewidth=0.8,
            )  # fmt: skip
        axes.set_xscale("log")
        axes.set_xticks(AT_HZ, [f"{hz:g}" if hz < 1000 else f"{hz / 1000:g}k" for hz in AT_HZ])
        axes.minorticks_off()
        axes.set_xlabel("tone as it was recorded, Hz")
        axes.set_ylabel("against 315 Hz, dB")
        axes.legend(frameon=False, fontsize=8.0, ncols=4, loc="lower left", handlelength=3.2)
        low, high = axes.get_ylim()
        axes.set_ylim(low - 0.16 * (high - low), high)

    ends = [(track, float(np.nanmin(db)), float(np.nanmax(db))) for track, (_, db, _) in curves.items()]
    each = "; ".join(f"track {track} from {low:+.1f} to {high:+.1f} dB" for track, low, high in ends)
    return plotted(title, f"Response against 315 Hz: {each}.", draw, 3.0)


def _curve(said: PassSaid, track: int) -> tuple[list[float], list[float], list[float]]:
    read = [one for one in said.of(names.RESPONSE) if one.track == track and one.reading.value is not None]
    rows = sorted((one.at_hz or 0.0, one.reading.value or 0.0, one.reading.doubt or 0.0) for one in read)
    return [row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows]


def _middle(said: PassSaid, curves: Sequence[tuple[list[float], list[float], list[float]]]) -> float:
    """Give where a field that may be moved up and down fits best: midway between the curves' ends in its narrowest."""
    floating = [field for field in said.response_fields if field.floats]
    if not floating:
        return 0.0
    least = min(floating, key=lambda one: one.tall_db)
    inside = [
        db for hz, values, _ in curves for at, db in zip(hz, values, strict=True) if least.low_hz <= at <= least.high_hz
    ]
    return 0.5 * (min(inside) + max(inside)) if inside else 0.0


def course_chart(said: PassSaid, title: str = "Azimuth over time") -> str:
    """Draw the angle of the azimuth over its finest section, minutes of arc, with its mean.

    Arguments:
        said: what the pass said.
        title: the picture's name.
    """
    mean = next((one.reading.value for one in said.of(names.AZIMUTH)), None)
    if said.course is None or mean is None:
        return empty(title, "No azimuth was read.")
    times, values = thinned(said.course.times_s, said.course.values)
    found = values[np.isfinite(values)]
    if not len(found):
        return empty(title, "Nothing was left of the azimuth tones.")

    def draw(axes: "Axes") -> None:
        axes.axhline(0.0, color=DRAWN_AS[MUTED], linewidth=0.8, linestyle=(0, (4, 3)))
        axes.plot(times, values, color=DRAWN_AS[INK], linewidth=0.8)
        axes.axhline(mean, color=DRAWN_AS[SECOND], linewidth=1.4, linestyle=(0, (1, 1.5)))
        axes.annotate("mean", (1.0, mean), xycoords=("axes fraction", "data"), ha="right", va="bottom", fontsize=8.5)
        low, high = min(0.0, float(found.min())), max(0.0, float(found.max()))
        room = max(0.1 * (high - low), 0.1)
        axes.set_ylim(low - room, high + room)
        axes.set_xlabel("time in the section, s")
        axes.set_ylabel("azimuth, ′")
        axes.margins(x=0.01)

    said_so = (
        f"The angle lies between {found.min():+.2f} and {found.max():+.2f} minutes of arc; its mean is {mean:+.2f}."
    )
    return plotted(title, said_so, draw, 2.2)


def crosstalk_chart(said: PassSaid, at_hz: float = 1000.0, title: str = "Crosstalk") -> str:
    """Draw from which track onto which how much is heard: a square that is larger where it is louder, its figure in it.

    Arguments:
        said: what the pass said.
        at_hz: the tone.
        title: the picture's name.
    """
    read = {(one.from_track, one.track): one.reading for one in said.of(names.CROSSTALK) if one.at_hz == at_hz}
    told: dict[tuple[int, int], tuple[float, str]] = {}
    for pair, reading in read.items():
        if reading.value is not None:
            told[pair] = reading.value, f"{reading.value:.0f}"
        elif reading.interval is not None:
            told[pair] = reading.interval[1], f"under {reading.interval[1]:.0f}"
    if not told:
        return empty(title, "No crosstalk was read.")
    tracks = said.tracks

    def draw(axes: "Axes") -> None:
        axes.grid(visible=False)
        for (source, onto), (db, words) in told.items():
            share = float(np.clip((db - QUIETEST_DB) / (LOUDEST_DB - QUIETEST_DB), 0.02, 1.0))
            side = 0.92 * share
            x, y = tracks.index(onto), tracks.index(source)
            axes.text(x, y, words, ha="center", va="center", fontsize=8.5, color=DRAWN_AS[INK])
            if share < ROOM_FOR_WORDS:
                continue
            corners = [x - side / 2, x + side / 2, x + side / 2, x - side / 2], [y - side / 2] * 2 + [y + side / 2] * 2
            axes.fill(*corners, facecolor=DRAWN_AS[FAINT], edgecolor=DRAWN_AS[INK], linewidth=0.8)
        for place in range(len(tracks)):
            axes.text(place, place, "plays", ha="center", va="center", fontsize=8.0, color=DRAWN_AS[MUTED])
        axes.set_xticks(range(len(tracks)), [f"onto {track}" for track in tracks])
        axes.set_yticks(range(len(tracks)), [f"from {track}" for track in tracks])
        axes.set_xlim(-0.5, len(tracks) - 0.5)
        axes.set_ylim(len(tracks) - 0.5, -0.5)
        axes.set_title(f"{at_hz:g} Hz, dB", fontsize=9.5)

    loudest = max(told, key=lambda pair: told[pair][0])
    words = f"At {at_hz:g} Hz most crosses from track {loudest[0]} onto {loudest[1]}: {told[loudest][1]} dB."
    return plotted(title, words, draw, 0.55 * len(tracks) + 0.9)


def dropouts_chart(said: PassSaid, title: str = "Dropouts") -> str:
    """Draw each dropout by its length and its depth, a mark of its own for each track.

    Arguments:
        said: what the pass said.
        title: the picture's name.
    """
    if not said.dropouts:
        return empty(title, "No dropout was counted.")

    def draw(axes: "Axes") -> None:
        for place, track in enumerate(said.tracks):
            mine = [one for one in said.dropouts if one.track == track]
            if mine:
                lengths_ms, depths_db = [1e3 * one.length_s for one in mine], [one.depth_db for one in mine]
                axes.scatter(
                    lengths_ms, depths_db, label=f"track {track}: {len(mine)}", marker=SHAPES[place % 4], s=22.0,
                    facecolors="none", edgecolors=DRAWN_AS[COLOURS[place % 4]], linewidths=1.2,
                )  # fmt: skip
        axes.set_xscale("log")
        lengths = [1e3 * one.length_s for one in said.dropouts]
        axes.set_xticks([at for at in LENGTHS_MS if min(lengths) / 2.5 <= at <= max(lengths) * 2.5])
        axes.xaxis.set_major_formatter(plain_number)
        axes.minorticks_off()
        axes.set_xlabel("length, ms")
        axes.set_ylabel("depth, dB")
        axes.legend(frameon=False, fontsize=8.0, loc="upper left", bbox_to_anchor=(1.0, 1.0))
        axes.margins(0.08)

    deepest = max(said.dropouts, key=lambda one: one.depth_db)
    words = (
        f"{len(said.dropouts)} dropouts; the deepest goes {deepest.depth_db:.0f} dB down for "
        f"{1e3 * deepest.length_s:.0f} ms on track {deepest.track}."
    )
    return plotted(title, words, draw, 2.2)
