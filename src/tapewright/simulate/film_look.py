"""What stands before the camera, drawn flat: the shell with what can be seen through it, and what turns behind it.

Lengths are in millimetres here, from the middle between the hubs, x to the right and y up. Brightness is 0 black to 1
white. The shell's size and the distance of the axes are those of `standards.iec_60094`; tooth, spindle and
window sizes are from memory.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tapewright.simulate.pack import Samples
from tapewright.standards.iec_60094 import REEL_AXIS_SPACING_M, SHELL_M

Picture = NDArray[np.float32]

AXES_MM: Final = 1000.0 * REEL_AXIS_SPACING_M.value
SHELL_MM: Final = (1000.0 * SHELL_M[0], 1000.0 * SHELL_M[1])
OPENING_MM: Final = 5.6
RING_MM: Final = 5.2
TOOTH_MM: Final = (1.7, 1.5)
"""A tooth's length inward, and its width."""
SPINDLE_MM: Final = (2.5, 3.3)
"""The spindle's body, and the tips of its fins."""
WINDOW_MM: Final = (13.0, 7.0)
"""Half of the window's width and height."""
FIELD_MM: Final = (68.0, 50.0)
"""Half of the field that is drawn; what lies beyond is taken from its edge."""
ANGLES: Final = 2048
"""Directions in which what turns is drawn."""
DISC_MM: Final = 27.0


@dataclass(frozen=True, slots=True)
class Look:
    """What the cassette looks like.

    Arguments:
        shell: "window" hides all but the hubs' openings and a window between them; "clear" shows the packs.
        teeth: of each hub.
        fins: of each spindle.
        hub, shell_light, pack: brightness.
        mark: how far one side of a hub differs from the others: 0 not at all.
        streaks: of the packs, which turn with them.
        texture: roughness of all that stands still.
        glare: of a lamp's reflection on the window.
        gradient: of the light over the picture, share.
        cassette: False for an empty well with the spindles alone.
    """

    shell: Literal["window", "clear"] = "window"
    teeth: int = 6
    fins: int = 6
    hub: float = 0.8
    shell_light: float = 0.4
    pack: float = 0.2
    mark: float = 0.0
    streaks: float = 0.02
    texture: float = 0.03
    glare: float = 0.0
    gradient: float = 0.2
    cassette: bool = True

    @property
    def symmetry(self) -> int:
        """Give how many times a hub looks the same in one turn, a weak mark and streaks aside."""
        return int(np.gcd(self.teeth, self.fins)) if self.cassette else self.fins


@dataclass(frozen=True, slots=True)
class Disc:
    """Something that turns behind the shell.

    Arguments:
        name: "left", "right", or what it is.
        centre_mm: of its axis.
        reach_mm: how far out it is drawn.
        table: brightness by radius and direction, shape (radii, `ANGLES`); direction 0 is to the right, rising
            anticlockwise.
        per_mm: radii per millimetre.
        turns_at: turns, anticlockwise, at any times.
        pack_mm: radius of the pack at a time; beyond it `inside` shows. None where there is no pack.
        inside: brightness there.
    """

    name: str
    centre_mm: tuple[float, float]
    reach_mm: float
    table: Picture
    per_mm: float
    turns_at: Callable[[Samples], Samples]
    pack_mm: Callable[[float], float] | None = None
    inside: float = 0.45


@dataclass(frozen=True, slots=True)
class Blob:
    """Something soft that moves about before it all, such as a hand.

    Arguments:
        light: brightness.
        size_mm: half of its length and width.
        at_mm: where its middle is at a time, and how it is turned (radians).
    """

    light: float
    size_mm: tuple[float, float]
    at_mm: Callable[[float], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Scene:
    """All that stands before the camera.

    Arguments:
        still: brightness of what does not move, shape (rows, columns) over `FIELD_MM`, the top first.
        through: how much of what turns is seen through it, same shape, 0 to 1.
        per_mm: columns per millimetre.
        discs: what turns.
        blobs: what moves about.
    """

    still: Picture
    through: Picture
    per_mm: float
    discs: tuple[Disc, ...] = ()
    blobs: tuple[Blob, ...] = ()


def soft(inside_mm: NDArray[np.floating], edge_mm: float) -> Picture:
    """Give 1 inside and 0 outside by the distance to the edge, positive inside, with an edge so wide."""
    return np.asarray(np.clip(inside_mm / edge_mm + 0.5, 0.0, 1.0), dtype=np.float32)


def field(per_mm: float) -> tuple[Picture, Picture]:
    """Give x and y of a raster over `FIELD_MM`: shapes (1, columns) and (rows, 1)."""
    half_x, half_y = FIELD_MM
    x = (np.arange(int(2 * half_x * per_mm)) + 0.5) / per_mm - half_x
    y = half_y - (np.arange(int(2 * half_y * per_mm)) + 0.5) / per_mm
    return np.asarray(x[None, :], dtype=np.float32), np.asarray(y[:, None], dtype=np.float32)


def grain(shape: tuple[int, int], size_px: float, rng: np.random.Generator) -> Picture:
    """Give roughness of unit rms, with spots about so large."""
    step = max(1, int(size_px / 2))  # large spots are drawn coarsely and stretched
    small = (shape[0] // step + 2, shape[1] // step + 2)
    rough = ndimage.gaussian_filter(rng.standard_normal(small, dtype=np.float32), size_px / step, mode="wrap")
    if step > 1:
        rough = ndimage.zoom(rough, step, order=1)
    return np.asarray(rough[: shape[0], : shape[1]] / rough.std(), dtype=np.float32)


def box(
    x: Picture, y: Picture, half: tuple[float, float], edge: float, centre: tuple[float, float] = (0, 0)
) -> Picture:
    """Give 1 inside a rectangle, softly."""
    return soft(np.minimum(half[0] - np.abs(x - centre[0]), half[1] - np.abs(y - centre[1])), edge)


def cassette_still(look: Look, per_mm: float, edge_mm: float, seed: int) -> tuple[Picture, Picture]:
    """Draw the well and the shell: brightness, and what can be seen through, both over `FIELD_MM`."""
    rng = np.random.default_rng([seed, 51])
    x, y = field(per_mm)
    shape = (y.shape[0], x.shape[1])
    still = np.full(shape, 0.12, dtype=np.float32)
    body = box(x, y, (SHELL_MM[0] / 2, SHELL_MM[1] / 2), edge_mm)
    through = np.zeros(shape, dtype=np.float32)
    if look.cassette:
        still += body * (look.shell_light - still)
        still += box(x, y, (43.0, 7.5), edge_mm, (0, 19.5)) * (0.85 - look.shell_light) * body
        for row in (23.0, 19.0, 15.0):  # ruled lines of the label
            still -= 0.25 * box(x, y, (38.0, 0.25), edge_mm, (0, row))
        still -= 0.12 * box(x, y, (33.0, 6.0), edge_mm, (0, -27.0)) * body  # the thicker part by the heads
        for across, up in ((-46, 28), (46, 28), (-46, -28), (46, -28), (0, -27)):
            still -= 0.25 * soft(1.6 - np.hypot(x - across, y - up), edge_mm)
        seen = box(x, y, (46.5, 12.0), edge_mm) if look.shell == "clear" else box(x, y, WINDOW_MM, edge_mm)
        through = np.asarray(0.85 * seen, dtype=np.float32)
        still = still * (1.0 - seen) + 0.06 * seen
    for side in (-1, 1):
        opening = soft((OPENING_MM if look.cassette else 7.0) - np.hypot(x - side * AXES_MM / 2, y), edge_mm)
        through = np.maximum(through, opening)
        still = still * (1.0 - opening)
    rough = look.texture * (0.6 * grain(shape, 0.25 * per_mm, rng) + 0.8 * grain(shape, 3.0 * per_mm, rng))
    still += rough * (1.0 - through)
    if look.glare > 0.0:
        place = rng.uniform(-8, 8), rng.uniform(-3, 3)
        still += look.glare * np.exp(-(((x - place[0]) / 9.0) ** 2 + ((y - place[1]) / 2.5) ** 2))
    return np.asarray(np.clip(still, 0.0, 1.0), dtype=np.float32), np.asarray(through, dtype=np.float32)


def reel_table(look: Look, per_mm: float, edge_mm: float, seed: int) -> Picture:
    """Draw what turns about one axis: spindle, hub with its teeth, pack; shape (radii, `ANGLES`)."""
    rng = np.random.default_rng([seed, 52])
    radius = np.asarray((np.arange(int(DISC_MM * per_mm)) + 0.5) / per_mm, dtype=np.float64)[:, None]
    angle = np.asarray(2 * np.pi * np.arange(ANGLES) / ANGLES, dtype=np.float64)[None, :]
    drawn = np.full((radius.shape[0], ANGLES), 0.07, dtype=np.float32)
    drawn += 0.3 * soft(SPINDLE_MM[0] - radius, edge_mm)
    fins = spokes(radius, angle, look.fins, 1.1, edge_mm) * soft(SPINDLE_MM[1] - radius, edge_mm)
    drawn += (0.55 - drawn) * fins * soft(radius - 0.8, edge_mm)
    if not look.cassette:
        return np.asarray(drawn, dtype=np.float32)
    length, width = TOOTH_MM
    teeth = spokes(radius, angle, look.teeth, width, edge_mm) * soft(radius - (RING_MM - length), edge_mm)
    hub = np.maximum(soft(radius - RING_MM, edge_mm), teeth * soft(RING_MM - radius + 0.3, edge_mm))
    drawn += (look.hub - drawn) * hub
    if look.mark > 0.0:
        for at, wide in ((6.3, 1.2), (9.4, 2.0)):  # a dot on the ring, and the clip that holds the leader
            spot = soft(wide / 2 - np.hypot(radius * np.cos(angle) - at, radius * np.sin(angle)), edge_mm)
            drawn -= look.mark * spot * drawn
        one_side = np.cos(angle / 2) ** 8 * soft(RING_MM - radius, edge_mm) * hub
        drawn -= 0.5 * look.mark * one_side * drawn
    pack = soft(radius - 11.0, edge_mm)
    small = ndimage.gaussian_filter(rng.standard_normal((int(DISC_MM), ANGLES // 16)), 2.0, mode=("nearest", "wrap"))
    stretched: Samples = ndimage.zoom(
        small, (drawn.shape[0] / small.shape[0], 16), order=1, mode="grid-wrap", grid_mode=True
    )
    rough = stretched[: drawn.shape[0]]
    rings = ndimage.gaussian_filter(rng.standard_normal((drawn.shape[0], 1)), (0.15 * per_mm, 0))
    wound = look.pack + look.streaks * (rough / rough.std() + 0.5 * rings / rings.std())
    drawn += (wound - drawn) * pack
    return np.asarray(np.clip(drawn, 0.0, 1.0), dtype=np.float32)


def spokes(radius: Samples, angle: Samples, count: int, width_mm: float, edge_mm: float) -> Picture:
    """Give so many spokes of even width about an axis, the first to the right: 1 on them, softly."""
    pitch = 2 * np.pi / count
    from_middle = np.abs((angle + pitch / 2) % pitch - pitch / 2)
    return soft(width_mm / 2 - radius * np.sin(np.minimum(from_middle, np.pi / 2)), edge_mm)
