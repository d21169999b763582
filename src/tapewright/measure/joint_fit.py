"""What all partials do in common, each note's own pitch and what notes do by themselves as they begin taken out.

One least-squares fit: a partial's log frequency is its note's pitch, plus the common movement at that time, plus a
glide that all notes share. Repeated pitches stand near one another, as near as they are seen to; that anchors what
would else add up from note to note. Partials that go their own way lose their weight.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, stats

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
    pieces = [_piece(heard, track) for track in range(heard.count)]
    for left in range(ROUNDS - 1, -1, -1):
        fit = _solved(heard, pieces, pitch, anchor, own, weight, doubted and left == 0)
        own *= float(np.sqrt(np.clip(np.median(fit.strays) / USUAL_STRAY, 0.25, 4.0)))
        weight = (HEAVY + 1.0) / (HEAVY + fit.strays)
    return fit


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """One track's rows: the nodes it touches from the first on, and how; the last two columns are pitch and glide."""

    rows: slice
    low: int
    design: NDArray[np.float64]

    def columns(self, pitch_column: int, size: int) -> NDArray[np.intp]:
        """Give the columns of the whole that the piece's own stand for."""
        count = self.design.shape[1]
        columns = np.arange(self.low, self.low + count)
        columns[-2:] = pitch_column, size - 1
        return columns


def _piece(heard: HeardTracks, track: int) -> _Piece:
    rows = slice(int(heard.bounds[track]), int(heard.bounds[track + 1]))
    frame = heard.tracks.frame[rows]
    at = (frame - heard.first) * (HOP_S / heard.node_s)
    low = np.minimum(at.astype(np.intp), heard.nodes - 2)
    first, last = int(low[0]), int(low[-1]) + 1
    design = np.zeros((len(frame), last - first + 3))
    places = np.arange(len(frame))
    design[places, low - first] = 1.0 - (at - low)
    design[places, low - first + 1] = at - low
    design[:, -2] = 1.0
    design[:, -1] = np.minimum((frame - frame[0]) * HOP_S, GLIDES_S)
    return _Piece(rows, first, design)


def _solved(
    heard: HeardTracks,
    pieces: list[_Piece],
    pitch: NDArray[np.intp],
    anchor: NDArray[np.float64],
    own: float,
    weight: NDArray[np.float64],
    final: bool,
) -> Fit:
    """Solve for nodes, pitches and the notes' common glide, each track's own pitch eliminated."""
    nodes, pitches = heard.nodes, int(pitch.max()) + 1
    size = nodes + pitches + 1
    normal, right = np.zeros((size, size)), np.zeros(size)
    log_hz = heard.tracks.log_hz
    every = heard.share * weight[heard.tracks.track] * (HOP_S / FRAME_S) / (own**2 + heard.tracks.sd**2)
    leaning = []
    for track, piece in enumerate(pieces):
        precision, columns = every[piece.rows], piece.columns(nodes + int(pitch[track]), size)
        held = float(anchor[track]) * float(heard.share[piece.rows].mean() * weight[track])
        middle = (precision @ piece.design) / (precision.sum() + held)
        leaned = precision[:, None] * (piece.design - middle)
        normal[np.ix_(columns, columns)] += piece.design.T @ leaned
        right[columns] += leaned.T @ log_hz[piece.rows]
        leaning.append((columns, leaned))
    _tied(normal, nodes)
    factor = linalg.cho_factor(normal, check_finite=False)
    solution = linalg.cho_solve(factor, right)
    strays, offsets, left = np.empty(heard.count), np.empty(heard.count), np.empty(len(log_hz))
    for track, (piece, (columns, _)) in enumerate(zip(pieces, leaning, strict=True)):
        residual = log_hz[piece.rows] - piece.design @ solution[columns]
        precision = every[piece.rows]
        off = float(precision @ residual) / float(precision.sum())
        offsets[track] = solution[nodes + pitch[track]] + off
        left[piece.rows] = residual - off
        strays[track] = _stray(residual - off, own**2 + heard.tracks.sd[piece.rows] ** 2)
    none = np.zeros((0, nodes))
    found = Fit(solution[:nodes], none, none, offsets, strays, weight, left, own)
    if not final:
        return found
    inverse = linalg.cho_solve(factor, np.eye(size))
    scores = _without_each(heard, pieces, leaning, inverse, solution)
    pulls = np.vstack([scores @ inverse[:, :nodes], inverse[-1, :nodes] / GLIDE_SD_PER_S])
    return replace(found, pulls=pulls, modelled=inverse[:nodes, :nodes])


def _without_each(
    heard: HeardTracks,
    pieces: list[_Piece],
    leaning: list[tuple[NDArray[np.intp], NDArray[np.float64]]],
    inverse: NDArray[np.float64],
    solution: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Give what each note pulls at, as much as the solution would move if it were left out, shape (notes, size).

    Source: the jackknife by clusters, CR3 of Bell and McCaffrey (2002).
    """
    scores = np.zeros((int(heard.note.max()) + 1, len(solution)))
    order = np.argsort(heard.note, kind="stable")
    for tracks in np.split(order, np.flatnonzero(np.diff(heard.note[order])) + 1):
        touched = np.unique(np.concatenate([leaning[track][0] for track in tracks]))
        own, pull = np.zeros((len(touched), len(touched))), np.zeros(len(touched))
        for track in tracks:
            (columns, leaned), piece = leaning[track], pieces[track]
            at = np.searchsorted(touched, columns)
            own[np.ix_(at, at)] += piece.design.T @ leaned
            pull[at] += leaned.T @ (heard.tracks.log_hz[piece.rows] - piece.design @ solution[columns])
        kept = np.eye(len(touched)) - own @ inverse[np.ix_(touched, touched)] * (1.0 - 1e-6)
        scores[heard.note[tracks[0]], touched] = np.linalg.solve(kept, pull)
    return scores


def _stray(residual: NDArray[np.float64], variance: NDArray[np.float64]) -> float:
    """Say how far a track goes its own way, square of standard deviations: by its scatter or by its slope."""
    time = np.arange(len(residual)) - 0.5 * (len(residual) - 1)
    usual = float(variance.mean())
    slope = float(time @ residual) ** 2 / float(time @ time) / (usual * FRAME_S / HOP_S)
    return max(float(np.mean(residual**2)) / usual, slope)


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
