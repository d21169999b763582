"""The two hubs of a cassette in a film: what turns about a point of its own, by the film alone.

A hub that stands is found by its likeness to the one that turns. What does not turn is refused, and so is one thing
that turns alone: it may be a fan. Where somebody points at the hubs, they are taken as they are, set right where they
turn.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tapewright.measure.film_polar import Place, harmonics, looked_up, ring_points, symmetry_of
from tapewright.measure.film_reading import FilmFrame
from tapewright.measure.film_runs import Runs, laid_over
from tapewright.measure.film_turners import (
    LOOK_ANGLES,
    LOOK_HARMONICS,
    RINGS,
    WIDEST,
    Turner,
    apart,
    could_be_two,
    fitted,
    turners,
)
from tapewright.words.reels_seen import HubName, HubSeen

Floats = NDArray[np.float64]

LEAST_LIKENESS: Final = 0.75
"""Of a hub that stands to the one that turns, ring by ring; own choice."""


def find_hubs(bursts: Sequence[Sequence[FilmFrame]]) -> tuple[HubSeen, ...]:
    """Find the two hubs; none where nothing turns, or one thing alone that may be a fan as well.

    Arguments:
        bursts: short runs of frames, from `film_bursts`.

    Returns:
        From left to right, in pixels of the film as it is watched.
    """
    if sum(len(burst) for burst in bursts) < 4:
        return ()
    runs = laid_over(bursts)
    turning = turners(runs)
    if not turning:
        return ()
    first = turning[0]
    second = next((one for one in turning[1:] if could_be_two(first.place, one.place)), None)
    hubs = [_seen(runs, first)]
    if second is not None:
        hubs.append(_seen(runs, second))
    else:
        hubs += [one for one in [_standing(runs, first)] if one is not None]
    hubs.sort(key=lambda hub: hub.centre_x)
    if len(hubs) == 1:
        return ()
    return (replace(hubs[0], name="left"), replace(hubs[1], name="right"))


def hubs_pointed_at(bursts: Sequence[Sequence[FilmFrame]], hubs: Sequence[HubSeen]) -> tuple[HubSeen, ...]:
    """Give hubs that somebody pointed at, set right where they turn; where they stand, as they were pointed at.

    Arguments:
        bursts: short runs of frames, from `film_bursts`.
        hubs: centre and radius, roughly; a symmetry of 0 is found.

    Returns:
        From left to right.
    """
    runs = laid_over(bursts)
    off = 0.5 * (runs.by - 1)
    picture = np.median(runs.frames, axis=0).astype(np.float64)
    found = []
    for hub in hubs:
        place = Place(
            (hub.centre_x - off) / runs.by, (hub.centre_y - off) / runs.by, hub.radius_px / runs.by, hub.stretch
        )
        turner = fitted(runs, place)
        if turner.counts and apart(turner.place, place) < 0.5 * place.radius:
            found.append(_seen(runs, turner))
            continue
        spectra = harmonics(looked_up(picture, *ring_points(place, RINGS, LOOK_ANGLES)), LOOK_HARMONICS)
        symmetry = hub.symmetry or symmetry_of(np.sum(np.abs(spectra) ** 2, axis=0, dtype=np.float64))[0]
        found.append(replace(hub, symmetry=symmetry))
    found.sort(key=lambda hub: hub.centre_x)
    names: tuple[HubName, ...] = ("left", "right")
    if len(found) == 1:
        return (replace(found[0], name=hubs[0].name),)
    return tuple(replace(hub, name=name) for hub, name in zip(found, names, strict=False))


def _seen(runs: Runs, turner: Turner) -> HubSeen:
    sure = float(np.clip((turner.alike - 0.4) / 0.45, 0.05, 0.99))
    return _in_film(turner.place, runs.by, turner.symmetry, sure)


def _in_film(place: Place, by: int, symmetry: int, sure: float) -> HubSeen:
    # A small pixel is the mean of a block: its centre lies half a block in.
    off = 0.5 * (by - 1)
    return HubSeen("left", place.x * by + off, place.y * by + off, place.radius * by, symmetry, sure, place.stretch)


def _standing(runs: Runs, turner: Turner) -> HubSeen | None:
    """Find a hub that stands by its likeness to the one that turns: brightness ring by ring, whatever its angle."""
    picture = np.median(runs.frames, axis=0).astype(np.float64)
    place = turner.place
    reach = int(np.ceil(1.1 * place.radius)) + 2
    shares = np.linspace(0.1, 1.15, 12)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float)
    e, g = place.stretch
    whole = (1.0 - e * e) - g * g
    r = np.hypot(((1.0 - e) * x - g * y) / whole, ((1.0 + e) * y - g * x) / whole) / place.radius
    rings = [np.exp(-(((r - share) / 0.07) ** 2)) for share in shares]
    means = np.stack([_convolved(picture, ring / ring.sum()) for ring in rings])
    at_y, at_x = (
        int(np.clip(round(v), 0, size - 1)) for v, size in zip((place.y, place.x), picture.shape, strict=True)
    )
    own = means[:, at_y, at_x]
    own = own - own.mean()
    centred = means - means.mean(axis=0)
    spread = np.maximum(np.sqrt((centred**2).sum(axis=0)), 0.25 * float(np.linalg.norm(own)))
    like = np.tensordot(own / np.linalg.norm(own), centred, axes=1) / spread
    rows, columns = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]]
    away = np.hypot(columns - place.x, rows - place.y) / place.radius
    edge = (np.minimum(rows, picture.shape[0] - 1 - rows) < 0.7 * place.radius) | (
        np.minimum(columns, picture.shape[1] - 1 - columns) < 0.7 * place.radius
    )
    like[(away < WIDEST[0]) | (away > WIDEST[1]) | edge] = -1.0
    best = np.unravel_index(int(np.argmax(like)), like.shape)
    likeness = float(like[best])
    if likeness < LEAST_LIKENESS:
        return None
    there, share = _centred(
        picture, Place(float(best[1]), float(best[0]), place.radius, place.stretch), turner.symmetry
    )
    if turner.symmetry > 1 and share < 0.5:
        return None
    return _in_film(there, runs.by, turner.symmetry, float(np.clip((likeness - 0.6) / 0.4, 0.05, 0.9)))


def _centred(picture: Floats, place: Place, symmetry: int) -> tuple[Place, float]:
    """Move a place until what is alike in a turn is most of its contrast; gives that share too."""
    if symmetry == 1:
        return place, 1.0
    best = (0.0, place)
    for reach in (0.08, 0.02):
        about = best[1]
        for down in range(-3, 4):
            for across in range(-3, 4):
                step = reach * place.radius
                tried = replace(about, x=about.x + across * step, y=about.y + down * step)
                spectra = harmonics(looked_up(picture, *ring_points(tried, RINGS, LOOK_ANGLES)), LOOK_HARMONICS)
                power = np.asarray(np.sum(np.abs(spectra) ** 2, axis=0, dtype=np.float64))
                share = float(power[symmetry - 1 :: symmetry].sum() / max(float(power.sum()), 1e-12))
                if share > best[0]:
                    best = share, tried
    return best[1], best[0]


def _convolved(picture: Floats, kernel: Floats) -> Floats:
    reach = kernel.shape[0] // 2
    return np.asarray(signal.fftconvolve(np.pad(picture, reach, mode="edge"), kernel, mode="valid"), dtype=np.float64)


__all__ = ["find_hubs", "hubs_pointed_at"]
