"""Hubs drawn from a formula, so that every angle is known: six teeth, a mark, a pack; nothing of the package used."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Drawn:
    """One hub: its centre and radius in pixels, its angle in turns over time, how strong its one mark is."""

    centre: tuple[float, float]
    radius: float
    turns: Callable[[float], float]
    mark: float = 0.3
    teeth: int = 6


def picture(
    size: tuple[int, int],
    hubs: Sequence[Drawn],
    turns: Sequence[float],
    squeeze: float = 1.0,
    shift: tuple[float, float] = (0.0, 0.0),
) -> NDArray[np.float64]:
    """Draw a frame, 0 to 1: `squeeze` foreshortens what is seen upright."""
    width, height = size
    y, x = np.mgrid[0:height, 0:width].astype(float)
    x, y = x - shift[0], y - shift[1]
    scene = 0.35 + 0.15 * np.sin(x / 17.0) * np.cos(y / 13.0) + 0.1 * (np.sin(x / 5.0 + y / 9.0) > 0.3)
    for hub, turned in zip(hubs, turns, strict=True):
        across, up = x - hub.centre[0], (hub.centre[1] - y) / squeeze
        r, angle = np.hypot(across, up) / hub.radius, np.arctan2(up, across) - 2.0 * np.pi * turned
        teeth = 1.0 / (1.0 + np.exp(-6.0 * (np.cos(hub.teeth * angle) - 0.3)))
        mark = hub.mark * np.exp(8.0 * (np.cos(angle) - 1.0))
        inside = 0.75 - 0.5 * teeth * (r > 0.35) * (r < 0.7) - mark * (r > 0.72) * (r < 0.95)
        edge = 1.0 / (1.0 + np.exp((r - 1.0) * hub.radius))
        pack = 1.0 / (1.0 + np.exp((r - 1.8) * hub.radius))
        scene = scene * (1.0 - pack) + 0.2 * pack
        scene = scene * (1.0 - edge) + inside * edge
    return np.asarray(scene, dtype=np.float64)


def write_film(
    path: Path,
    hubs: Sequence[Drawn],
    times_s: Sequence[float] | NDArray[np.float64],
    *,
    size: tuple[int, int] = (480, 270),
    noise: float = 0.01,
    squeeze: float = 1.0,
    exposure_s: float = 0.0,
    shake: Callable[[float], tuple[float, float]] | None = None,
    light: Callable[[float], float] = lambda _: 1.0,
    codec: str = "libx264",
    pixels: str = "yuv420p",
    still: bool = False,
) -> Path:
    """Write a film whose frames have just these times."""
    import av

    chance = np.random.default_rng(5)
    with av.open(str(path), "w") as container:
        stream: Any = container.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = size[0], size[1], pixels
        stream.time_base = Fraction(1, 90_000)
        stream.codec_context.time_base = Fraction(1, 90_000)
        stream.options = {"crf": "20", "preset": "ultrafast", "g": "30"}
        for at_s in times_s:
            shift = shake(at_s) if shake else (0.0, 0.0)
            parts = np.linspace(-0.5, 0.5, 5) * exposure_s if exposure_s else [0.0]
            frame: Any = sum(
                picture(size, hubs, [0.0 if still else h.turns(at_s + p) for h in hubs], squeeze, shift) for p in parts
            )
            frame = frame / len(parts) * light(at_s) + noise * chance.standard_normal(frame.shape)
            gray = np.clip(16 + 219 * frame, 0, 255).astype(np.uint8)
            shown = av.VideoFrame.from_ndarray(gray, format="gray").reformat(format=pixels)
            shown.pts, shown.time_base = round(at_s * 90_000), Fraction(1, 90_000)
            container.mux(stream.encode(shown))
        container.mux(stream.encode())
    return path
