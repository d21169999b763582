"""Several modes in one film: hubs that stand in one are known from another; what lies after the film's end says so."""

from pathlib import Path

import numpy as np
import pytest

from tapewright.measure.film_pieces import FilmPiece, watch_pieces
from tapewright.measure.film_reading import film_bursts, film_frames
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reels_seen import ReelsSeen
from tests.measure.hubs_drawn import Drawn, write_film

SIZE = (320, 180)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two hubs that turn for two seconds and stand for two."""
    hubs = [
        Drawn((93.0, 93.0), 26.0, lambda t: 0.45 * min(t, 2.0)),
        Drawn((220.0, 93.0), 26.0, lambda t: 0.61 * min(t, 2.0)),
    ]
    return write_film(tmp_path_factory.mktemp("pieces") / "a.mp4", hubs, np.arange(64) / 16.0, size=SIZE)


def test_hubs_that_stand_in_one_piece_are_known_from_another(film: Path) -> None:
    stands, turns, after = watch_pieces(film, [FilmPiece(2.2, 3.9), FilmPiece(0.0, 1.8), FilmPiece(9.0, 12.0)])
    assert isinstance(stands, ReelsSeen)
    assert isinstance(turns, ReelsSeen)
    for name, rate_hz in (("left", 0.45), ("right", 0.61)):
        assert stands.mean_rate_hz[name].value == 0.0
        assert turns.mean_rate_hz[name].value == pytest.approx(rate_hz, rel=0.003)
    assert isinstance(after, Problem)
    assert "ends before" in after.found


def test_a_film_that_goes_the_other_way_round_is_a_mirror(film: Path) -> None:
    """What should turn clockwise and turns anticlockwise: the hub that takes up is on the other side too."""
    piece = FilmPiece(0.0, 1.8, ((-0.9, -0.2),), "right")
    (seen,) = watch_pieces(film, [piece])
    assert isinstance(seen, ReelsSeen)
    assert piece.other_way_round(seen)
    assert piece.mirrored() == FilmPiece(0.0, 1.8, ((0.2, 0.9),), "left")
    assert not piece.mirrored().other_way_round(seen)


def test_pieces_in_which_nothing_turns_are_refused(film: Path) -> None:
    with pytest.raises(InputAtFaultError, match="nothing that turns"):
        watch_pieces(film, [FilmPiece(2.2, 3.0), FilmPiece(3.1, 3.9)])


def test_runs_of_frames_begin_where_it_was_asked(film: Path) -> None:
    """Against the whole film, frame by frame."""
    whole = {round(frame.time_s, 3): np.array(frame.luma) for frame in film_frames(film)}
    bursts = list(film_bursts(film, 3, 4, 0.2, (0.25, 1.0, 3.5)))
    assert [round(burst[0].time_s, 2) for burst in bursts] == [0.25, 1.0, 3.5]
    for burst in bursts:
        assert len(burst) == 4
        for frame in burst:
            np.testing.assert_array_equal(frame.luma, whole[round(frame.time_s, 3)])


def test_when_each_hub_stands_after_the_key_is_told_to_a_frame(tmp_path: Path) -> None:
    """Two hubs that slow down evenly from the key on, one twice as long as the other."""

    def turned(rate_hz: float, lasts_s: float, t: float) -> float:
        slowing = min(max(t - 1.5, 0.0), lasts_s)
        return rate_hz * (min(t, 1.5) + slowing - 0.5 * slowing**2 / lasts_s)

    hubs = [
        Drawn((93.0, 93.0), 26.0, lambda t: turned(0.6, 0.6, t)),
        Drawn((220.0, 93.0), 26.0, lambda t: turned(0.6, 0.3, t)),
    ]
    path = write_film(tmp_path / "a.mp4", hubs, np.arange(56) / 16.0, size=SIZE)
    (seen,) = watch_pieces(path, [FilmPiece(0.0, 1.5, stopped_until_s=3.4)])
    assert isinstance(seen, ReelsSeen)
    assert seen.stopped_s == 1.5
    for name, lasts_s in (("left", 0.6), ("right", 0.3)):
        rest = seen.stands_after_s[name]
        # It is at rest to a twentieth of the step from tooth to tooth before it is so at all: v²/2a, one of six teeth.
        early_s = np.sqrt(2.0 * 0.05 / 6.0 * lasts_s / 0.6)
        assert rest.value == pytest.approx(lasts_s - early_s, abs=1.0 / 16.0)
    left, right = (seen.stands_after_s[name].value or 0.0 for name in ("left", "right"))
    assert 0.15 < left - right < 0.45
