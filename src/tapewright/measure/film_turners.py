"""What turns about a point of its own in short runs of a film's frames.

Where brightness changes, something moves; a spot that moves turns only if its
frames, unrolled about its centre, are turned copies of each other. Centre, size and foreshortening are those for
which that holds best.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from tapewright.measure.film_polar import Place, correlation, harmonics, ring_points, symmetry_of
from tapewright.measure.film_runs import Pictures, Runs

Floats = NDArray[np.float64]

LEAST_RADIUS: Final = 5.0
"""Of a spot that moves, pixels of the small picture; own choice."""
MOST_SPOTS: Final = 10
RINGS: Final = np.linspace(0.25, 1.0, 10)
LOOK_ANGLES: Final = 128
LOOK_HARMONICS: Final = 32
LEAST_ALIKE: Final = 0.55
"""Correlation of turned frames below which nothing turns there; own choice, by films with and without reels."""
LEAST_TURNED: Final = 0.04
"""How much better turned frames agree than unturned ones; less, and nothing moves."""
LEAST_MOVING: Final = 0.12
"""Share of a spot's contrast that moves: a shaken picture's edges move by less."""
LEAST_CLOSED: Final = 0.6
"""Two steps must make the double step: mean cosine of what is left."""
MOST_STRETCH: Final = 0.33
"""A circle seen twice as long as wide; what is seen from the side more than this cannot be read."""
WIDEST: Final = (1.6, 14.0)
"""Distance of two hubs over the radius of what turns: two axes stand 42.5 mm apart, and a hub has 3 to 11 mm."""


@dataclass(frozen=True, slots=True)
class Turner:
    """Something that turns.

    Arguments:
        place: where, in pixels of the small picture.
        alike: correlation of its frames, turned to fit, 0 to 1.
        turned: how much of that is owed to turning.
        moving: share of its contrast that moves.
        closes: how well two steps make the double step, up to 1.
        strength: contrast that moves, over the whole of it.
        symmetry: how many times it looks the same in a turn.
    """

    place: Place
    alike: float
    turned: float
    moving: float
    closes: float
    strength: float
    symmetry: int

    @property
    def counts(self) -> bool:
        """Say whether it turns, and is no shaking edge or waving hand."""
        turns = self.alike > LEAST_ALIKE and self.turned > LEAST_TURNED
        return turns and self.moving > LEAST_MOVING and self.closes > LEAST_CLOSED

    @property
    def weight(self) -> float:
        """Give how much it is worth beside others."""
        return self.alike * self.strength


def _moving(runs: Runs) -> Floats:
    """Give how much brightness changes within the runs, pixel by pixel."""
    each = [runs.frames[runs.run == number].std(axis=0) for number in np.unique(runs.run)]
    return np.asarray(np.mean(each, axis=0), dtype=np.float64)


def _spots(moving: Floats) -> list[Place]:
    """Give round spots that move more than what is around them: whole ones first, then by strength."""
    smooth = ndimage.gaussian_filter(moving, 1.0)
    floor, top = float(np.median(smooth)), float(np.quantile(smooth, 0.998))
    found: list[tuple[float, Place]] = []
    for share in (0.15, 0.3, 0.5):
        above = smooth > floor + share * (top - floor)
        for reach in (2, 5, 9):
            found += _rounds(above, reach, smooth - floor)
    found.sort(key=lambda pair: -pair[0])
    kept: list[Place] = []
    for _, place in found:
        if all(apart(one, place) > 0.3 * one.radius or not 0.7 < place.radius / one.radius < 1.4 for one in kept):
            kept.append(place)
    return kept[:MOST_SPOTS]


def _rounds(above: NDArray[np.bool_], reach: int, moves: Floats) -> list[tuple[float, Place]]:
    """Give what is about as high as wide once gaps up to `reach` are closed, with how much it moves in all."""
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    padded = np.pad(above, reach)
    closed = ndimage.binary_closing(padded, x * x + y * y <= reach * reach)[reach:-reach, reach:-reach]
    labels, count = ndimage.label(ndimage.binary_fill_holes(closed))
    found = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        high, wide = (side.stop - side.start for side in box)
        inside = labels[box] == number
        radius = float(np.sqrt(inside.sum() / np.pi))
        filled = inside.sum() / (0.25 * np.pi * high * wide)
        if count > 400 or radius < LEAST_RADIUS or not 0.45 < high / wide < 2.2 or filled < 0.6:
            continue
        down, across = ndimage.center_of_mass(inside)
        place = Place(box[1].start + float(across), box[0].start + float(down), radius)
        found.append((float((moves[box] * inside).sum()), place))
    return found


def _unrolled(frames: Pictures, place: Place, shares: Floats = RINGS) -> NDArray[np.complex64]:
    """Give the harmonics of every frame about a place, shape (frames, rings, harmonics)."""
    x, y = ring_points(place, shares, LOOK_ANGLES)
    height, width = frames.shape[1:]
    x, y = np.clip(x, 0.0, width - 1.001), np.clip(y, 0.0, height - 1.001)
    left, top = x.astype(np.intp), y.astype(np.intp)
    fx, fy = (x - left).astype(np.float32), (y - top).astype(np.float32)
    flat = frames.reshape(len(frames), -1)
    at = top * width + left
    upper = flat[:, at] * (1.0 - fx) + flat[:, at + 1] * fx
    lower = flat[:, at + width] * (1.0 - fx) + flat[:, at + width + 1] * fx
    return harmonics(upper * (1.0 - fy) + lower * fy, LOOK_HARMONICS)


def _movings(frames: Pictures, place: Place, shares: Floats = RINGS) -> NDArray[np.complex64]:
    """Give the same without what stands in all frames."""
    spectra = _unrolled(frames, place, shares)
    return np.asarray(spectra - spectra.mean(axis=0), dtype=np.complex64)


def _pairs(run: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Give pairs of frames of the same run, one, two and four apart."""
    first, second = [], []
    for apart in (1, 2, 4):
        at = np.flatnonzero(run[apart:] == run[:-apart]) if len(run) > apart else np.empty(0, dtype=np.intp)
        first.append(at)
        second.append(at + apart)
    return np.concatenate(first), np.concatenate(second)


def _agreement(spectra: NDArray[np.complex64], run: NDArray[np.intp]) -> tuple[float, float]:
    """Give how well frames agree once turned to fit, and how much better than unturned."""
    one, other = _pairs(run)
    if not len(one):
        return 0.0, 0.0
    cross = np.asarray(np.sum(np.conj(spectra[one]) * spectra[other], axis=1, dtype=np.complex128))
    energy = np.asarray(np.sum(np.abs(spectra) ** 2, axis=(1, 2), dtype=np.float64))
    over = correlation(cross, 256)
    norm = np.sqrt(energy[one] * energy[other])
    whole = max(float(norm.sum()), 1e-12)
    return float(over.max(axis=1).sum()) / whole, float((over.max(axis=1) - over[:, 0]).sum()) / whole


def _closes(spectra: NDArray[np.complex64], run: NDArray[np.intp], symmetry: int) -> float:
    """Give how well two steps make the double step, -1 to 1: what turns does, what wobbles does not."""
    at = np.flatnonzero(run[2:] == run[:-2]) if len(run) > 2 else np.empty(0, dtype=np.intp)
    if not len(at):
        return 0.0
    steps = []
    for one, other in ((0, 1), (1, 2), (0, 2)):
        cross = np.asarray(np.sum(np.conj(spectra[at + one]) * spectra[at + other], axis=1, dtype=np.complex128))
        steps.append(correlation(cross, 512).argmax(axis=1) * (2.0 * np.pi / 512))
    return float(np.mean(np.cos(symmetry * (steps[0] + steps[1] - steps[2]))))


def fitted(runs: Runs, place: Place) -> Turner:
    """Move, size and foreshorten a place until its frames are turned copies of each other, as far as they are.

    Arguments:
        runs: short runs of frames.
        place: about where, in pixels of the small picture.
    """
    few = _few(runs)

    def misses(values: Floats) -> float:
        tried = _moved(place, np.concatenate([values, np.zeros(4 - len(values))]))
        steep = max(0.0, float(np.hypot(*tried.stretch)) - MOST_STRETCH)
        return 1.0 - _agreement(_movings(few.frames, tried), few.run)[0] + 10.0 * steep

    step = np.vstack([np.zeros(4), np.diag([0.3, 0.3, 0.12, 0.12])])
    for evaluations, number in ((45, 2), (100, 4)):
        start = step[: number + 1, :number]
        best = optimize.minimize(
            misses, start[0], method="Nelder-Mead",
            options={"initial_simplex": start, "maxfev": evaluations, "xatol": 0.004, "fatol": 1e-5},
        )  # fmt: skip
        place = _moved(place, np.concatenate([best.x, np.zeros(4 - number)]))
        if 1.0 - best.fun < LEAST_ALIKE - 0.15:
            break
    place = replace(place, radius=place.radius * _rim(runs, place))
    whole = _unrolled(runs.frames, place)
    spectra = np.asarray(whole - whole.mean(axis=0), dtype=np.complex64)
    alike, turned = _agreement(spectra, runs.run)
    energy = float(np.sum(np.abs(spectra) ** 2))
    symmetry = symmetry_of(np.sum(np.abs(spectra) ** 2, axis=(0, 1), dtype=np.float64))[0]
    return Turner(
        place, alike, turned,
        moving=energy / max(float(np.sum(np.abs(whole) ** 2)), 1e-12),
        closes=_closes(spectra, runs.run, symmetry),
        strength=float(np.sqrt(energy / len(whole)) * place.radius),
        symmetry=symmetry,
    )  # fmt: skip


def _few(runs: Runs) -> Runs:
    """Take at most so many runs that a fit stays quick."""
    numbers = np.unique(runs.run)
    kept = np.isin(runs.run, numbers[:: max(1, len(numbers) // 5)])
    return Runs(runs.frames[kept], runs.run[kept], runs.by)


def _moved(place: Place, values: Floats) -> Place:
    e, g = place.stretch
    return Place(
        place.x + place.radius * float(values[0]),
        place.y + place.radius * float(values[1]),
        place.radius,
        (float(np.clip(e + values[2], -0.45, 0.45)), float(np.clip(g + values[3], -0.45, 0.45))),
    )


def _rim(runs: Runs, place: Place) -> float:
    """Give the radius of the outermost ring that turns with the others, over the place's own."""
    shares = np.linspace(0.15, 2.4, 24)
    spectra = _movings(runs.frames, place, shares)
    one, other = _pairs(runs.run)
    cross = np.conj(spectra[one]) * spectra[other]
    inner = shares <= 1.0
    at = correlation(np.sum(cross[:, inner], axis=1, dtype=np.complex128), 256).argmax(axis=1) * (2.0 * np.pi / 256)
    order = np.arange(1, LOOK_HARMONICS + 1)
    turned = cross * np.exp(1j * at[:, None] * order)[:, None, :]
    with_it = np.maximum(turned.real.sum(axis=(0, 2)), 0.0)
    energy = np.abs(spectra[one]) ** 2
    own = energy.sum(axis=(0, 2))
    good = (with_it > 0.1 * with_it.max()) & (with_it > 0.4 * own)
    return float(shares[np.flatnonzero(good)[-1]]) if good.any() else 1.0


def turners(runs: Runs) -> list[Turner]:
    """Give all that turns, the surest first; of two that lie over each other only the surer.

    Once two are found that can be the hubs of one cassette, and surely turn, no further spot is tried.

    Arguments:
        runs: short runs of frames.
    """
    kept: list[Turner] = []
    for place in _spots(_moving(runs)):
        if any(apart(place, other.place) < 0.5 * other.place.radius for other in kept):
            continue
        one = fitted(runs, place)
        if not one.counts or not _inside(one.place, runs.frames.shape[1:]):
            continue
        over = [other for other in kept if apart(one.place, other.place) < max(one.place.radius, other.place.radius)]
        if any(other.weight >= one.weight for other in over):
            continue
        kept = [other for other in kept if other not in over] + [one]
        good = [other.place for other in kept if other.alike > 0.8]
        if any(could_be_two(a, b) for number, a in enumerate(good) for b in good[:number]):
            break
    return sorted(kept, key=lambda one: -one.weight)


def _inside(place: Place, shape: tuple[int, ...]) -> bool:
    """Say whether most of a place lies in the picture."""
    height, width = shape
    reach = 0.7 * place.radius
    return reach < place.x < width - reach and reach < place.y < height - reach


def apart(one: Place, other: Place) -> float:
    """Give how far two places are apart, pixels."""
    return float(np.hypot(one.x - other.x, one.y - other.y))


def could_be_two(one: Place, other: Place) -> bool:
    """Say whether two places may be the two hubs of one cassette: sizes alike, as far apart as axes stand."""
    mean = 0.5 * (one.radius + other.radius)
    like = max(one.radius, other.radius) / min(one.radius, other.radius) < 2.2
    return like and WIDEST[0] < apart(one, other) / mean < WIDEST[1]


__all__ = [
    "LOOK_ANGLES",
    "LOOK_HARMONICS",
    "RINGS",
    "WIDEST",
    "Turner",
    "apart",
    "could_be_two",
    "fitted",
    "turners",
]
