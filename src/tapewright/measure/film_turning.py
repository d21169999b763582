"""How a hub's angle changes from frame to frame: the film is gone through once, and nothing of a frame is kept.

Each frame is unrolled about the hub and set against a picture of the hub that is carried along (its frames, turned back
and averaged). What stands still before it, a reflection or the edge of a window, is told from what turns and taken out.
Of N like teeth the angle is known up to a step of 1/N turn: how well each of the N steps fits is kept with it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tapewright.measure.film_polar import (
    HARMONICS,
    Place,
    correlation,
    harmonics,
    looked_up,
    refined,
    ring_points,
)
from tapewright.measure.film_reading import film_frames
from tapewright.measure.film_shake import Camera
from tapewright.words.reels_seen import HubName, HubSeen

Floats = NDArray[np.float64]

SHARES: Final = np.linspace(0.22, 1.0, 20)
LEARNS: Final = 0.01
"""How much a new frame counts in the picture of the hub once that is full grown. A picture that learns faster takes on
the small lag of each frame's angle and creeps away: at 0.04 by 0.3 degrees in eight seconds of 60 frames."""
TURNS_RAD: Final = 0.01
"""A smaller step does not tell what turns from what stands."""


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """One hub's angle, frame by frame.

    Arguments:
        name: of the hub.
        symmetry: N: the angle is sure up to 1/N turn.
        times_s: of the frames, shape (n,).
        angle_rad: anticlockwise as one sees it, shape (n,); the likeliest of the N.
        sigma_rad: standard deviation of each by its own noise, shape (n,).
        fits: correlation with the hub for each of the N angles from that one on, shape (n, N), 1 at best.
    """

    name: HubName
    symmetry: int
    times_s: Floats
    angle_rad: Floats
    sigma_rad: Floats
    fits: Floats


class _Follower:
    """One hub: its picture so far, what stands before it, and the angles found."""

    def __init__(self, hub: HubSeen) -> None:
        self.hub = hub
        place = Place(hub.centre_x, hub.centre_y, hub.radius_px, hub.stretch)
        self.points = ring_points(place, SHARES)
        self.order = np.arange(1, HARMONICS + 1)
        self.alike = (self.order % hub.symmetry == 0).astype(np.float64)
        self.own: NDArray[np.complex128] | None = None
        self.before = np.zeros((len(SHARES), HARMONICS), dtype=np.complex128)
        self.count = 0
        self.angles: list[float] = []
        self.sigmas: list[float] = []
        self.fits: list[Floats] = []

    def take(self, luma: NDArray[Any], camera: Camera) -> None:
        """Find the angle in a frame, and learn from it."""
        rings = looked_up(luma, *camera.placed(*self.points))
        level = max(float(rings.mean()), 1e-6)
        raw = harmonics(rings / level).astype(np.complex128)
        if self.own is None:
            self.own = raw.copy()
        seen = raw - self.before
        cross = np.sum(np.conj(self.own) * seen, axis=0)
        angle, bend = self._angle(cross)
        turned = np.exp(1j * self.order * angle)
        expected = self.own * np.conj(turned)
        gain = float(np.sum((np.conj(expected) * seen).real) / max(float(np.sum(np.abs(expected) ** 2)), 1e-12))
        left = seen - gain * expected
        variance = float(np.sum(np.abs(left) ** 2)) / (2 * left.size)
        energy = float(np.sqrt(np.sum(np.abs(self.own) ** 2) * np.sum(np.abs(seen) ** 2)))
        steps = angle + 2.0 * np.pi * np.arange(self.hub.symmetry) / self.hub.symmetry
        fits = (np.exp(1j * np.outer(steps, self.order)) @ cross).real / max(energy, 1e-12)
        self._learn(seen, left, turned, angle)
        self.angles.append(angle)
        self.sigmas.append(float(np.sqrt(variance * max(gain, 0.1) / max(bend, 1e-12))))
        self.fits.append(fits)

    def followed(self, times_s: Floats) -> Followed:
        """Give what was found, at the times of its frames."""
        angles, sigmas = np.array(self.angles), np.array(self.sigmas)
        fits = np.array(self.fits).reshape(len(times_s), self.hub.symmetry)
        return Followed(self.hub.name, self.hub.symmetry, times_s, angles, sigmas, fits)

    def _angle(self, cross: NDArray[np.complex128]) -> tuple[float, float]:
        """Give the angle: which place between two teeth by what all teeth share, which tooth by all that is seen."""
        number = self.hub.symmetry
        over = correlation(cross * self.alike)
        sector = len(over) // number if number > 1 else len(over)
        start = int(np.argmax(over[: sector + 1])) * (2.0 * np.pi / len(over))
        start = refined(cross * self.alike, start)[0]
        steps = start + 2.0 * np.pi * np.arange(number) / number
        best = float(steps[int(np.argmax((np.exp(1j * np.outer(steps, self.order)) @ cross).real))])
        return refined(cross, best)

    def _learn(
        self, seen: NDArray[np.complex128], left: NDArray[np.complex128], turned: NDArray[np.complex128], angle: float
    ) -> None:
        assert self.own is not None
        self.count += 1
        share = max(LEARNS, 1.0 / self.count)
        step = angle - self.angles[-1] if self.angles else 0.0
        sector = 2.0 * np.pi / self.hub.symmetry
        moved = abs((step + 0.5 * sector) % sector - 0.5 * sector)
        if moved > TURNS_RAD:
            self.before += min(share, 0.1) * left
        self.own += share * (seen * turned - self.own)


def follow_hubs(
    path: Path, hubs: Sequence[HubSeen], progress: Callable[[float], None] | None = None
) -> tuple[Followed, ...]:
    """Follow the angle of every hub through a film.

    Arguments:
        path: the film.
        hubs: where they are.
        progress: called with the time of the film that is done, seconds.

    Raises:
        InputAtFaultError: there is no film in the file.
    """
    return follow_pieces(path, hubs, ((0.0, float("inf")),), progress)[0]


def follow_pieces(
    path: Path,
    hubs: Sequence[HubSeen],
    pieces: Sequence[tuple[float, float]],
    progress: Callable[[float], None] | None = None,
) -> tuple[tuple[Followed, ...], ...]:
    """Follow the angle of every hub through pieces of a film, each piece for itself, in one go through the film.

    Arguments:
        path: the film.
        hubs: where they are.
        pieces: beginning and end of each, seconds; they may overlap.
        progress: called with the time of the film that is done, seconds.

    Returns:
        For each piece its hubs, times counted from where the piece begins.

    Raises:
        InputAtFaultError: there is no film in the file.
    """
    followers = [[_Follower(hub) for hub in hubs] for _ in pieces]
    times: list[list[float]] = [[] for _ in pieces]
    camera: Camera | None = None
    shape: tuple[int, ...] = ()
    begins_s = min(start_s for start_s, _ in pieces)
    for number, frame in enumerate(film_frames(path)):
        if frame.time_s < begins_s:
            continue
        if camera is None:
            camera, shape = Camera(frame.luma, hubs), frame.luma.shape
        if frame.luma.shape != shape:
            break
        within = [at for at, (start_s, end_s) in enumerate(pieces) if start_s <= frame.time_s < end_s]
        # Between the pieces a hand sways too, slowly against the frames.
        if within or number % 4 == 0:
            camera.look(frame.luma)
        for at in within:
            for follower in followers[at]:
                follower.take(frame.luma, camera)
            times[at].append(frame.time_s - pieces[at][0])
        if progress is not None and number % 30 == 0:
            progress(frame.time_s)
        if frame.time_s >= max(end_s for _, end_s in pieces):
            break
    return tuple(
        tuple(one.followed(np.array(at_s)) for one in each) for each, at_s in zip(followers, times, strict=True)
    )


__all__ = ["Followed", "follow_hubs", "follow_pieces"]
