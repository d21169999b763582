"""Cassette figures against arithmetic of our own and against each other."""

import pytest

from tapewright.standards import din_45500, iec_60094
from tapewright.standards.figures import Figure


@pytest.mark.parametrize(("minutes", "metres"), [(46, 65.7), (60, 85.7), (90, 128.6), (120, 171.4)])
def test_length_of_a_side(minutes: int, metres: float) -> None:
    """Oracle: half the minutes at 4.7625 cm/s; closed form of our own."""
    assert iec_60094.side_length_m(minutes) == pytest.approx(metres, abs=0.05)


@pytest.mark.parametrize("name", ["C60", "C90", "C120"])
def test_full_packs_are_alike(name: str) -> None:
    """Oracle: 18 µm x 90 m, 12 x 135 and 9 x 180 all fill a hub of 11 mm to 25.2 mm; closed form of our own."""
    tape = iec_60094.TAPES[name]
    assert iec_60094.pack_radius_m(tape.length_m, tape.thickness_m) == pytest.approx(25.2e-3, abs=0.05e-3)


def test_every_tape_plays_its_minutes() -> None:
    for tape in iec_60094.TAPES.values():
        assert tape.length_m >= iec_60094.side_length_m(tape.minutes)


def test_tracks_fill_the_tape() -> None:
    half = iec_60094.TRACK_WIDTH_M.value / 2.0
    centres = iec_60094.TRACK_CENTRES_M
    assert centres[0] - half == pytest.approx(0.0, abs=1e-9)
    assert centres[3] + half == pytest.approx(iec_60094.TAPE_WIDTH_M.value, abs=1e-9)
    assert centres[1] - centres[0] == pytest.approx(iec_60094.TRACK_WIDTH_M.value + iec_60094.TRACK_GAP_M.value)
    assert centres[2] - centres[1] - 2 * half == pytest.approx(iec_60094.SIDE_GAP_M.value)
    assert centres[3] - centres[0] == pytest.approx(iec_60094.OUTER_TRACK_SPACING_M.value)


@pytest.mark.parametrize(
    ("diameter_m", "rate_hz"), [(1.9e-3, 7.979), (2.0e-3, 7.580), (2.4e-3, 6.316), (2.5e-3, 6.064)]
)
def test_capstan_rates(diameter_m: float, rate_hz: float) -> None:
    """Oracle: v/(pi d), doubled at double speed; closed form of our own."""
    found = iec_60094.SPEED_M_PER_S.value / (3.141592653589793 * diameter_m)
    assert found == pytest.approx(rate_hz, abs=5e-4)
    assert iec_60094.DOUBLE_SPEED_M_PER_S.value == 2.0 * iec_60094.SPEED_M_PER_S.value


def test_every_figure_says_how_it_is_known() -> None:
    figures = [value for room in (iec_60094, din_45500) for value in vars(room).values() if isinstance(value, Figure)]
    assert len(figures) > 10
    for figure in figures:
        assert figure.basis in {"document", "quoted", "from memory", "derived"}
        assert figure.source
        assert figure.low is None or figure.low <= figure.value
        assert figure.high is None or figure.high >= figure.value
