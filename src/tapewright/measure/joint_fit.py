"""What all partials do in common, each note's own pitch and what notes do by themselves as they begin taken out.

One least-squares fit: a partial's log frequency is its note's pitch, plus the common movement at that time, plus a
glide that all notes share. Repeated pitches stand near one another, as near as they are seen to; that anchors what
would else add up from note to note. Partials that go their own way lose their weight.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse, stats

from tapewright.measure.partials import FRAME_S, HOP_S, Tracks

OWN_SD: Final = 1.5e-4
"""A steady note's own unsteadiness, ratio, one sigma, before the notes at hand say otherwise."""
GLIDE_SD_PER_S: Final = 4e-4
"""What notes may do by themselves while they begin, all the same way: a plucked string falls, a pipe settles."""
GLIDES_S: Final = 1.5
UNMODELLED: Final = 2.0
"""By so much more than the notes' own scatter says the result is off, found in a seeded trial (docs/without-a-tone.md).

Two notes near one pitch glide from one to the other as one dies away, and several partials do so in step.
"""
HEAVY: Final = 4.0
USUAL_STRAY: Final = 1.0
"""Median of a track's stray where all is noise of the size supposed."""
ROUNDS: Final = 3
LEAST_DEGREES: Final = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The common movement.

    Arguments:
        nodes: logarithm of speed at each node, but for a constant, shape (n,).
        pulls: how far each note, and last of all the glide, moves the nodes, shape (notes + 1, n); squares add up to
            their variance.
        modelled: covariance of the nodes if notes do what is supposed of them, shape (n, n): huge where none sounds.
        offsets: each track's own pitch, shape (tracks,).
        strays: how far each track strays from the common movement, in what they usually do, shape (tracks,).
        weight: what each track keeps of its weight, shape (tracks,).
        residual: what is left of each row, its track's own pitch taken out, shape (rows,).
        own: a steady note's own unsteadiness, ratio, one sigma.
    """

    nodes: NDArray[np.float64]
    pulls: NDArray[np.float64]
    modelled: NDArray[np.float64]
    offsets: NDArray[np.float64]
    strays: NDArray[np.float64]
    weight: NDArray[np.float64]
    residual: NDArray[np.float64]
    own: float


@dataclass(frozen=True, slots=True, eq=False)
class HeardTracks:
    """Tracks with their voices and notes, over the stretch that is fitted.

    Arguments:
        tracks: the partials, rows (n,).
        bounds: first row of each track, and the end, shape (tracks + 1,).
        voice: which voice each track may belong to, shape (tracks,).
        note: which note, shape (tracks,).
        share: each row's share of its voice in its frame, shape (n,).
        first: frame of the first node.
        nodes: moments at which the common movement is sought.
        node_s: seconds from one to the next.
    """

    tracks: Tracks
    bounds: NDArray[np.intp]
    voice: NDArray[np.intp]
    note: NDArray[np.intp]
    share: NDArray[np.float64]
    first: int
    nodes: int
    node_s: float

    @property
    def count(self) -> int:
        """Give the number of tracks."""
        return len(self.voice)


def fitted(
    heard: HeardTracks, pitch: NDArray[np.intp], loose: NDArray[np.float64] | None = None, doubted: bool = False
) -> Fit:
    """Fit the common movement, weights and the notes' own unsteadiness found on the way.

    Arguments:
        heard: the tracks.
        pitch: which pitch each track sounds, numbered from 0, shape (tracks,).
        loose: how far each may lie from its pitch, one sigma, ratio, shape (tracks,); None for as far as it likes.
        doubted: whether `pulls` and `modelled` are wanted.

    Source: least squares with random offsets eliminated (Laird and Ware 1982); weights by Student's law.
    """
    weight = np.ones(heard.count)
    own = OWN_SD
    anchor = np.zeros(heard.count) if loose is None else loose**-2
    design = _design(heard, pitch)
    for left in range(ROUNDS - 1, -1, -1):
        fit = _solved(heard, design, anchor, own, weight, doubted and left == 0)
        own *= float(np.sqrt(np.clip(np.median(fit.strays) / USUAL_STRAY, 0.25, 4.0)))
        weight = (HEAVY + 1.0) / (HEAVY + fit.strays)
    return fit


def _design(heard: HeardTracks, pitch: NDArray[np.intp]) -> "sparse.csr_array":
    """Give what each row is made of, shape (rows, nodes + pitches + 1): two nodes, its pitch, the glide of its note."""
    rows, frame = np.arange(len(heard.tracks.track)), heard.tracks.frame
    at = (frame - heard.first) * (HOP_S / heard.node_s)
    low = np.minimum(at.astype(np.intp), heard.nodes - 2)
    glide = np.minimum((frame - frame[heard.bounds[:-1]][heard.tracks.track]) * HOP_S, GLIDES_S)
    size = heard.nodes + int(pitch.max()) + 2
    columns = np.concatenate([low, low + 1, heard.nodes + pitch[heard.tracks.track], np.full(len(rows), size - 1)])
    values = np.concatenate([1.0 - (at - low), at - low, np.ones(len(rows)), glide])
    return sparse.csr_array((values, (np.tile(rows, 4), columns)), shape=(len(rows), size))


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """What went into a fit.

    Arguments:
        design: what each row is made of, shape (rows, size).
        leaned: the same times its weight.
        sums: that summed over each track, shape (tracks, size).
        held: weight of each track, and of what ties it to its pitch, shape (tracks,).
    """

    design: "sparse.csr_array"
    leaned: "sparse.csr_array"
    sums: "sparse.csr_array"
    held: NDArray[np.float64]


def _solved(
    heard: HeardTracks,
    design: "sparse.csr_array",
    anchor: NDArray[np.float64],
    own: float,
    weight: NDArray[np.float64],
    final: bool,
) -> Fit:
    """Solve for nodes, pitches and the notes' common glide, each track's own pitch eliminated."""
    nodes, size = heard.nodes, design.shape[1]
    track, log_hz = heard.tracks.track, heard.tracks.log_hz
    variance = own**2 + heard.tracks.sd**2
    precision = heard.share * weight[track] * (HOP_S / FRAME_S) / variance
    count = np.bincount(track)
    total = np.bincount(track, precision)
    held = total + anchor * weight * np.bincount(track, heard.share) / count
    leaned = sparse.csr_array(design * precision[:, None])
    sums = sparse.csr_array(sparse.csr_array((np.ones(len(track)), (track, np.arange(len(track))))) @ leaned)
    rows = _Rows(design, leaned, sums, held)
    normal = sparse.csr_array(design.T @ leaned - sums.T @ sparse.csr_array(sums / held[:, None])).toarray()
    right = leaned.T @ log_hz - sums.T @ (np.bincount(track, precision * log_hz) / held)
    _tied(normal, nodes)
    factor = linalg.cho_factor(normal, check_finite=False)
    solution = linalg.cho_solve(factor, right)
    residual = log_hz - design @ solution
    off = np.bincount(track, precision * residual) / total
    pitches = np.asarray(design[heard.bounds[:-1], nodes : size - 1] @ solution[nodes : size - 1])
    left = residual - off[track]
    none = np.zeros((0, nodes))
    strays = _strays(track, left, np.bincount(track, variance) / count)
    found = Fit(solution[:nodes], none, none, pitches + off, strays, weight, left, own)
    if not final:
        return found
    inverse = linalg.cho_solve(factor, np.eye(size))
    scores = _without_each(heard, rows, residual, off * total, inverse)
    pulls = np.vstack([scores @ inverse[:, :nodes], inverse[-1, :nodes] / GLIDE_SD_PER_S])
    return replace(found, pulls=pulls, modelled=inverse[:nodes, :nodes])


def _without_each(
    heard: HeardTracks,
    of: _Rows,
    residual: NDArray[np.float64],
    off: NDArray[np.float64],
    inverse: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Give what each note pulls at, as much as the solution would move if it were left out, shape (notes, size).

    Arguments:
        heard: the tracks.
        of: what went into the fit.
        residual: what it left of each row, shape (rows,).
        off: the same summed over each track by its weights, shape (tracks,).
        inverse: of the normal equations, shape (size, size).

    Source: the jackknife by clusters, CR3 of Bell and McCaffrey (2002).
    """
    scores = np.zeros((int(heard.note.max()) + 1, of.design.shape[1]))
    order = np.argsort(heard.note, kind="stable")
    for tracks in np.split(order, np.flatnonzero(np.diff(heard.note[order])) + 1):
        rows = np.concatenate([np.arange(heard.bounds[one], heard.bounds[one + 1]) for one in tracks])
        part, weighed, summed = of.design[rows], of.leaned[rows], of.sums[tracks]
        touched = np.unique(part.indices)
        dense = summed[:, touched].toarray()
        own = (part.T @ weighed)[touched][:, touched].toarray() - dense.T @ (dense / of.held[tracks, None])
        pull = (weighed.T @ residual[rows])[touched] - dense.T @ (off[tracks] / of.held[tracks])
        kept = np.eye(len(touched)) - own @ inverse[np.ix_(touched, touched)] * (1.0 - 1e-6)
        scores[heard.note[tracks[0]], touched] = np.linalg.solve(kept, pull)
    return scores


def _strays(track: NDArray[np.intp], residual: NDArray[np.float64], usual: NDArray[np.float64]) -> NDArray[np.float64]:
    """Say how far each track goes its own way, square of standard deviations: by its scatter or by its slope."""
    count = np.bincount(track)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    time = np.arange(len(track)) - first[track] - 0.5 * (count[track] - 1)
    slope = np.bincount(track, time * residual) ** 2 / np.bincount(track, time * time)
    return np.maximum(np.bincount(track, residual**2) / count, slope / (FRAME_S / HOP_S)) / usual


def _tied(normal: NDArray[np.float64], nodes: int) -> None:
    """Tie down what the partials leave open: the mean of the nodes, the glide, and pitches that nothing depends on."""
    normal[:nodes, :nodes] += np.trace(normal) / nodes**2
    normal[-1, -1] += GLIDE_SD_PER_S**-2
    at = np.arange(len(normal) - 1)
    normal[at, at] += 1.0


def doubt_of(fit: Fit, sums: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the half-width of the 95 % interval of sums over the nodes, shape (k,).

    Arguments:
        fit: with pulls.
        sums: weights of each sum, shape (n, k), those of one sum adding up to nothing.

    By Student's law, with as many degrees as there are notes that count; never less than the model itself says.

    Of G equal notes whose pulls are normal, (sum of squares)²/(sum of fourth powers) is G/3 (Satterthwaite 1946).
    """
    pulls = fit.pulls @ sums
    squares, fourths = np.sum(pulls**2, axis=0), np.sum(pulls**4, axis=0)
    degrees = np.maximum(3.0 * squares**2 / np.maximum(fourths, 1e-300), LEAST_DEGREES)
    modelled = np.einsum("ik,ij,jk->k", sums, fit.modelled, sums, optimize=True)
    spread = stats.t.ppf(0.975, degrees) * np.sqrt(squares)
    return np.asarray(np.maximum(UNMODELLED * spread, 1.96 * np.sqrt(np.maximum(modelled, 0.0))))


__all__ = ["HEAVY", "Fit", "HeardTracks", "doubt_of", "fitted"]
