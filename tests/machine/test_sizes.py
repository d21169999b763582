"""What to order: by the closed form of the path, by scaling, and in words."""

import pytest

from tapewright.machine.formulas import open_belt_length
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.sizes import Size, sizes
from tests.machine.altered import scaled, worn


def size_of(machine_id: str, part: str) -> Size:
    return {size.part: size for size in sizes(shipped(machine_id))}[part]


def test_the_cam_belt_by_hand() -> None:
    """Pulleys 6 and 24 mm, 32 mm apart; a square belt is fitted 6 % short of its path."""
    path = float(open_belt_length(0.006, 0.024, 0.032))
    found = size_of("four_track", "cam_belt")
    assert found.path is not None
    assert found.length is not None
    assert found.path.value == pytest.approx(path, rel=1e-9)
    assert found.length.value == pytest.approx(path / 1.06, rel=1e-9)
    # Positions good to 0.5 mm put 1.0 mm on the path; the usual strain of 4 to 12 % puts 4 % on the length.
    assert found.path.doubt == pytest.approx(1.0e-3, rel=0.01)
    assert found.length.doubt == pytest.approx(path / 1.06 * 0.04 / 1.06, rel=0.05)
    assert found.says == "Inside length 107 mm ± 4.2, section 1.2 x 1.2 mm; measure before ordering."


def test_a_flat_belt_is_stretched_less() -> None:
    found = size_of("four_track", "capstan_belt")
    assert found.path is not None
    assert found.length is not None
    assert found.path.value / found.length.value == pytest.approx(1.04, rel=1e-9)
    assert "flat 4.0 x 0.5 mm" in found.says


def test_a_described_length_is_ordered_as_described() -> None:
    found = size_of("one_motor_portable", "capstan_belt")
    assert found.length is not None
    assert (found.length.value, found.length.basis) == (0.171, "described")
    assert found.says == "Inside length 171 mm ± 1, flat 5.0 x 0.6 mm."


@pytest.mark.parametrize("machine_id", [name for name in shipped_ids() if name.endswith("_starter")])
def test_a_starter_says_how_to_measure_instead(machine_id: str) -> None:
    found = sizes(shipped(machine_id))
    assert found
    for size in found:
        assert size.length is size.path is size.diameter is None
        assert size.says.startswith("Lay a string" if size.what == "belt" else "Measure")
    belts = {size.part: size.says for size in found if size.what == "belt"}
    assert "string / 1.04" in belts.get("capstan_belt", "string / 1.04")
    assert "string / 1.06" in belts.get("counter_belt", "string / 1.06")


def test_tyre_and_roller_by_their_outer_diameter() -> None:
    tyre, roller = size_of("four_track", "idler_tyre"), size_of("four_track", "pinch_roller")
    assert tyre.diameter is not None
    assert roller.diameter is not None
    assert (tyre.diameter.value, roller.diameter.value) == pytest.approx((0.016, 0.013))
    assert tyre.says.startswith("Outer diameter 16.00 mm ± 0.02 when new; measure its groove diameter, width")
    assert "usually 2 mm" in tyre.says
    assert "usually 7 mm" in roller.says


def test_every_belt_tyre_and_roller_is_there() -> None:
    assert [(size.part, size.what) for size in sizes(shipped("one_motor_portable"))] == [
        ("capstan_belt", "belt"),
        ("clutch_belt", "belt"),
        ("counter_belt", "belt"),
        ("pinch_roller", "roller"),
        ("idler_tyre", "tyre"),
        ("rewind_wheel", "tyre"),
    ]


@pytest.mark.parametrize("scale", [0.5, 2.0])
def test_a_machine_of_another_scale_needs_belts_of_that_scale(scale: float) -> None:
    machine = shipped("four_track")
    for small, large in zip(sizes(machine), sizes(scaled(machine, scale)), strict=True):
        for one, other in ((small.length, large.length), (small.path, large.path), (small.diameter, large.diameter)):
            assert (one is None) == (other is None)
            if one and other:
                assert other.value == pytest.approx(scale * one.value, rel=1e-9)


def test_what_is_ordered_does_not_depend_on_what_is_worn() -> None:
    machine = shipped("four_track")
    tired = worn(worn(machine, "capstan_belt", tension=0.1, rate=0.9), "motor_pulley", rate=1.1)
    assert sizes(tired) == sizes(machine)
