"""What is doubtful is said, and is no Problem."""

import pytest

from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.remarks import remarks
from tests.machine.spoilt import machine_with


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_nothing_shipped_is_doubtful(machine_id: str) -> None:
    assert remarks(shipped(machine_id)) == ()


@pytest.mark.parametrize(
    ("machine", "old", "new", "where", "told"),
    [
        ("four_track", "speed_rpm = 3457.0", "speed_rpm = 3560.0", "tape.speed_mm_per_s", "+3.0 %"),
        ("four_track", "force_gf = 350.0", "force_gf = 100.0", "couplings.nip", "would slip in play"),
        ("one_motor_portable", "length_mm = 171.0", "length_mm = 152.0", "couplings.capstan_belt.length_mm", "stretch"),
        ("four_track", "timeout_s = 2.0", "", "sensors.reel_sensor.timeout_s", "how long"),
        ("one_motor_portable", "[modes.stop]", "[modes.pause]", "modes.stop", "not described"),
        ("four_track", "diameter_mm = 2.5\n", "", "rotors.capstan.diameter_mm", "this one is not"),
    ],
)  # fmt: skip
def test_a_doubtful_thing_is_told_at_its_place(machine: str, old: str, new: str, where: str, told: str) -> None:
    found = {one.where.removeprefix("mine.toml, "): one.found for one in remarks(machine_with(machine, (old, new)))}
    assert told in found.get(where, ""), found
