"""A recording of a mechanism as a picture: loudness over time and frequency, with what was heard marked on it."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from tapewright.machine.parts import Machine
from tapewright.show.plotting import DRAWN_AS, empty, plain_number, plotted
from tapewright.show.said import name_of
from tapewright.show.svg import INK, MUTED, SECOND, SUSPECT
from tapewright.words.mechanism_heard import MechanismHeard, SoundPicture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STYLES: Final = ("-", "--", "-.", ":")
"""Motors are told apart by line and by name, not by colour."""
ORDERS: Final = (1.0, 2.0, 3.0)
SHADES: Final = 6
RANGE_DB: Final = 36.0


def mechanism_chart(
    heard: MechanismHeard, sound: SoundPicture, machine: Machine | None, title: str = "What the mechanism sounds like"
) -> str:
    """Draw loudness over time and frequency, the first lines of each motor's comb, and squeals, clicks and marks.

    Arguments:
        heard: what was heard.
        sound: how loud it is where.
        machine: whose mechanism it is; None where nobody said.
        title: the picture's name.
    """
    if len(sound.times_s) < 2:
        return empty(title, "The recording is too short to be drawn.")
    names = list(dict.fromkeys(one.name for one in heard.stretches))
    style = {name: STYLES[k % len(STYLES)] for k, name in enumerate(names)}

    def draw(axes: "Axes") -> None:
        _loudness(axes, sound)
        _combs(axes, heard, style, machine)
        _events(axes, heard)
        axes.set_yscale("log")
        axes.set_ylim(float(sound.frequency_hz[0]), float(sound.frequency_hz[-1]))
        axes.set_xlim(0.0, heard.duration_s)
        axes.yaxis.set_major_formatter(plain_number)
        axes.set_xlabel("time, s")
        axes.set_ylabel("frequency, Hz")

    return plotted(title, _says(heard, machine), draw, tall=3.4)


def _loudness(axes: "Axes", sound: SoundPicture) -> None:
    # Each band against its own quiet: a room is loud where frequencies are low, and nothing is learnt from that.
    above = sound.level_db - np.quantile(sound.level_db, 0.1, axis=0)
    levels = np.linspace(6.0, RANGE_DB, SHADES)
    for level in levels:
        axes.contourf(
            sound.times_s, sound.frequency_hz, above.T, levels=[level, 1e3], colors=[DRAWN_AS[MUTED]], alpha=0.13
        )


def _combs(axes: "Axes", heard: MechanismHeard, style: Mapping[str, str], machine: Machine | None) -> None:
    said: set[str] = set()
    for one in heard.stretches:
        rate = one.rate_hz.value
        if rate is None:
            continue
        for order in ORDERS:
            axes.plot(
                [one.start_s, one.end_s], [order * rate, order * rate], style[one.name], color=DRAWN_AS[INK],
                linewidth=1.4 if order == 1.0 else 0.8,
            )  # fmt: skip
        if one.name not in said:
            called = name_of(machine, one.name) if one.name else "something steady"
            axes.plot([], [], style[one.name], color=DRAWN_AS[INK], linewidth=1.4, label=called)
        said.add(one.name)
    if said:
        # Below the picture: the lines of two motors lie too close to each other for names beside them.
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.17), ncols=4, fontsize=8, frameon=False, handlelength=3.6)


def _events(axes: "Axes", heard: MechanismHeard) -> None:
    for squeal in heard.squeals:
        pitch = squeal.frequency_hz.value or 0.0
        axes.plot([squeal.start_s, squeal.end_s], [pitch, pitch], color=DRAWN_AS[SUSPECT], linewidth=2.5)
        axes.text(squeal.start_s, 1.1 * pitch, squeal.kind, fontsize=8, color=DRAWN_AS[SUSPECT])
    for knock in heard.knocks:
        axes.text(knock.start_s, 9000.0, f"ticks {knock.rate_hz.value or 0.0:.1f}/s", fontsize=8)
    for click in heard.clicks:
        axes.plot([click.at_s], [12000.0], marker="v", color=DRAWN_AS[SECOND], markersize=5)
    for mark in heard.marks:
        axes.axvline(mark.at_s, color=DRAWN_AS[MUTED], linewidth=0.7, linestyle=(0, (1, 2)))
        axes.text(
            mark.at_s, 1.01, mark.mode.replace("_", " "), rotation=55, fontsize=7, transform=axes.get_xaxis_transform()
        )


def _says(heard: MechanismHeard, machine: Machine | None) -> str:
    turned = [
        f"{name_of(machine, one.name) if one.name else 'something steady'} from {one.start_s:.1f} to {one.end_s:.1f} s"
        for one in heard.stretches
    ]
    squealed = [f"a {one.kind} from {one.start_s:.1f} to {one.end_s:.1f} s" for one in heard.squeals]
    return "Heard: " + ("; ".join([*turned, *squealed]) or "no motor and no squeal") + "."
