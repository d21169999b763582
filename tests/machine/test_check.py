"""What a description must obey: one slip, one problem, at its place."""

import pytest

from tapewright.machine.library import shipped_ids
from tests.machine.spoilt import problems_with

FOUR, ONE = "four_track", "one_motor_portable"
TWO, DIRECT, CAM = "two_motor_deck", "direct_drive_deck", "flywheel_cam_deck"


def test_the_unspoilt_machines_obey() -> None:
    for machine_id in shipped_ids():
        assert problems_with(machine_id) == ()


@pytest.mark.parametrize(
    ("machine", "old", "new", "where", "told"),
    [
        # names and references
        (FOUR, 'on = "capstan_motor"', 'on = "capstan_moter"', "rotors.motor_pulley.on", '"capstan_motor"?'),
        (FOUR, '["idler_tyre", "takeup_reel"]', '["idler_tyre", "takeup_real"]', "couplings.idler_to_takeup.path",
         '"takeup_reel"?'),
        (FOUR, 'senses = "cam"', 'senses = "came"', "sensors.cam_switch.senses", '"cam"?'),
        (FOUR, 'senses = "counter"\n', "", "sensors.reel_sensor.senses", "rotor it watches"),
        (FOUR, 'ends = "cam_motor"', 'ends = "cam"', "sensors.cam_switch.ends", "cam_motor"),
        (FOUR, '"fast_forward", "rewind"]', '"fast_foward", "rewind"]', "sensors.cassette_switch.allows",
         '"fast_forward"?'),
        (FOUR, '["nip", "idler_to_takeup"]', '["nipp", "idler_to_takeup"]', "modes.play.engaged", '"nip"?'),
        (FOUR, "{ cam_motor = 1.0 }", "{ cam_moter = 1.0 }", "modes.switch_on.motors.cam_moter", '"cam_motor"?'),
        (FOUR, 'carries = ["pinch_roller"]', 'carries = ["pinch_rollers"]', "head_base.carries",
         '"pinch_roller"?'),
        (FOUR, 'lifted_by = "cam"', 'lifted_by = "key"', "head_base.lifted_by", '"keys"?'),
        (FOUR, "[modes.switch_on]", "[modes.switchon]", "modes.switchon", '"switch_on"?'),
        (FOUR, "[sensors.cam_switch]", "[sensors.cam]", "sensors.cam", "name of its own"),
        (FOUR, "[rotors.flywheel]", '[rotors.flywheel]\non = "capstan"', "rotors.flywheel.on", "shaft of its own"),
        # keys that belong together
        (FOUR, '["motor_pulley", "flywheel"]', '["motor_pulley"]', "couplings.capstan_belt.path", "driver first"),
        (FOUR, '["motor_pulley", "flywheel"]', '["motor_pulley", "flywheel"]\nsides = [1]',
         "couplings.capstan_belt.sides", "each pulley"),
        (FOUR, 'path = ["supply_reel"]', 'path = ["supply_reel", "counter"]', "couplings.supply_drag.path",
         "it brakes"),
        (FOUR, "ratio = 0.025", "ratio = 0.025\nlength_mm = 100.0", "couplings.cam_worm.length_mm",
         "belongs to: belt"),
        (FOUR, "diameter_mm = 49.7", "diameter_mm = 49.7\nspeed_rpm = 700", "rotors.flywheel.speed_rpm", "motor"),
        (FOUR, '["idler_to_supply"]', "[]", "couplings.idler_to_supply.switched", "switched"),
        (FOUR, '["nip", "idler_to_takeup"]', '["nip", "idler_to_takeup", "reel_drive"]', "modes.play.engaged",
         "switched = true"),
        (FOUR, "full_radius_mm = 23.6", "full_radius_mm = 10.0", "tape.full_radius_mm", "hub_radius_mm"),
        # tape and motion
        (FOUR, '"up"\nmoves_head_base = true\ntakes_up = "takeup_reel"', '"up"\nmoves_head_base = true',
         "modes.play.takes_up", "reel table"),
        (FOUR, 'gives = "supply_reel"', 'gives = "takeup_reel"', "modes.play.gives", "other reel table"),
        (FOUR, "at_capstan = true", "at_capstan = false", "modes.play.at_capstan", "at_capstan = true"),
        (FOUR, '["nip", "idler_to_takeup"]', '["idler_to_takeup"]', "modes.play.engaged", "nip"),
        (FOUR, '["nip", "idler_to_takeup"]', '["nip"]', "modes.play.takes_up", "engaged"),
        (FOUR, "{ capstan_motor = 1.0, cam_motor = 1.0 }", "{ capstan_motor = 1.0 }",
         "modes.stop.moves_head_base", "cam"),
        (ONE, "[couplings.counter_belt]", '[rotors.spare]\nkind = "pulley"\n[couplings.counter_belt]',
         "rotors.spare", "take it out"),
        (FOUR, '["cam_pulley", "cam_wheel"]', '["cam_pulley", "cam_motor"]', "couplings.cam_belt.path",
         "different shafts"),
        (ONE, 'kind = "clutch"', 'kind = "tyre"', "couplings.takeup_clutch.torque_gcm", "clutch"),
        # sizes that contradict each other
        (FOUR, "speed_rpm = 3457.0", "speed_rpm = 3000.0", "tape.speed_mm_per_s", "speed_rpm"),
        (ONE, "length_mm = 171.0", "length_mm = 190.0", "couplings.capstan_belt.length_mm",
         "a sign, not a size"),
        (ONE, "length_mm = 171.0", "length_mm = 120.0", "couplings.capstan_belt.length_mm",
         "Measure the belt again"),
        (FOUR, "position_mm = [-52.0, 8.0]", "position_mm = [-52.0, -20.0]", "couplings.cam_belt.path",
         "position_mm"),
        (FOUR, "position_mm = [0.0, 33.5]", "position_mm = [0.0, 60.0]", "couplings.reel_drive.path",
         "position_mm"),
        (FOUR, 'on = "flywheel"', 'on = "flywheel"\nposition_mm = [0.0, 0.0]', "rotors.capstan.position_mm",
         "shaft's position"),
        # solenoids, levers, brakes, tachos, several speeds
        (TWO, 'lifted_by = "lift_solenoid"', 'lifted_by = "lift_solenoyd"', "head_base.lifted_by", '"lift_solenoid"?'),
        (TWO, 'through = ["lift_lever"]', 'through = ["lift_leaver"]', "head_base.through", '"lift_lever"?'),
        (TWO, 'by = "brake_solenoid"', 'by = "break_solenoid"', "couplings.takeup_brake.by", '"brake_solenoid"?'),
        (TWO, '["lift_solenoid", "brake_solenoid"]', '["lift_solenoid", "brake_solenoit"]', "modes.play.solenoids",
         '"brake_solenoid"?'),
        (TWO, 'solenoids = ["brake_solenoid"]', "", "modes.fast_forward.solenoids", "engage the brake"),
        (TWO, '["lift_solenoid", "brake_solenoid"]', '["brake_solenoid"]', "modes.play.solenoids", "lift_solenoid"),
        (TWO, "[solenoids.brake_solenoid]", "[solenoids.brake_solenoid]\n[solenoids.spare]", "solenoids.spare",
         "take it out"),
        (TWO, "[levers.lift_lever]", "[levers.capstan]", "levers.capstan", "name of its own"),
        (TWO, 'path = ["takeup_reel"]\nswitched = true', 'path = ["takeup_reel"]', "couplings.takeup_brake.switched",
         "is a drag"),
        (TWO, 'path = ["takeup_reel"]', 'path = ["takeup_reel", "flywheel"]', "couplings.takeup_brake.path",
         "the one rotor"),
        (TWO, 'kind = "brake"', 'kind = "break"', "couplings.takeup_brake.kind", '"brake"?'),
        (TWO, 'head_base = "up"', 'head_base = "hup"', "modes.play.head_base", '"up"?'),
        (TWO, "[modes.rewind]", "[modes.rewnid]", "modes.rewnid", '"rewind"?'),
        (DIRECT, 'senses = "capstan_motor"', 'senses = "capstan"', "sensors.tacho.senses", '"capstan_motor"?'),
        (DIRECT, 'senses = "capstan_motor"', "", "sensors.tacho.senses", "rotor it watches"),
        (DIRECT, "speeds_mm_per_s = [47.625, 95.25]", "speeds_mm_per_s = [95.25]", "tape.speeds_mm_per_s",
         "List every speed"),
        (DIRECT, 'timeout_s = 2.0', 'timeout_s = 2.0\nstops = ["plya"]', "sensors.reel_sensor.stops", '"play"?'),
        (DIRECT, '[sensors.tacho]', '[sensors.tacho]\nends = "reel_motor"', "sensors.tacho.ends", "position_switch"),
        (CAM, 'by = "cam_solenoid"', 'by = "cam_pinion"', "couplings.cam_gear.by", "cam_solenoid"),
        (CAM, 'engaged = ["nip", "cam_gear", "swing_to_clutch"]\nsolenoids = ["cam_solenoid"]',
         'engaged = ["nip", "cam_gear", "swing_to_clutch"]', "modes.play.solenoids", "cam_solenoid"),
    ],
)  # fmt: skip
def test_one_slip_is_told_at_its_place(machine: str, old: str, new: str, where: str, told: str) -> None:
    problems = problems_with(machine, (old, new))
    found = [problem for problem in problems if problem.where == f"mine.toml, {where}"]
    assert found, [str(problem) for problem in problems]
    assert any(told in problem.do for problem in found), [str(problem) for problem in found]


def test_a_rotor_driven_at_two_ratios_is_a_contradiction() -> None:
    """A second belt between the same two shafts, from pulleys of another ratio."""
    second = (
        '[rotors.second_pulley]\nkind = "pulley"\non = "capstan_motor"\ndiameter_mm = 20.0\n'
        '[couplings.second_belt]\nkind = "belt"\npath = ["second_pulley", "flywheel"]\n'
        "width_mm = 4.0\nthickness_mm = 0.5\n"
        "[couplings.nip]"
    )
    problems = problems_with("four_track", ("[couplings.nip]", second))
    assert any("driven another way" in problem.found for problem in problems)


def test_a_reel_geared_to_the_capstan_without_a_clutch_cannot_follow_its_pack() -> None:
    change = ('kind = "clutch"', 'kind = "gear"'), ("torque_gcm = 50.0", "ratio = 0.3")
    problems = problems_with("one_motor_portable", *change)
    assert {problem.where for problem in problems} == {
        "mine.toml, modes.play.takes_up",
        "mine.toml, modes.record.takes_up",
    }


def test_a_pulley_the_belt_would_miss_is_told() -> None:
    """A third pulley on the belt's back, too far out to touch it."""
    idler = (
        '[rotors.tensioner]\nkind = "pulley"\ndiameter_mm = 10.0\nposition_mm = [41.0, 20.0]\n[couplings.nip]',
        '["motor_pulley", "flywheel"]',
        '["motor_pulley", "tensioner", "flywheel"]\nsides = [1, -1, 1]',
    )
    problems = problems_with("four_track", ("[couplings.nip]", idler[0]), (idler[1], idler[2]))
    assert any('would miss "tensioner"' in problem.found for problem in problems), problems


def test_one_slip_does_not_hide_another_rule() -> None:
    problems = problems_with(
        "one_motor_portable",
        ("length_mm = 171.0", "length_mm = 190.0"),
        ('path = ["supply_reel"]', 'path = ["suply_reel"]'),
        ("diameter_mm = 7.0", "diametre_mm = 7.0"),
    )
    told = {problem.where.removeprefix("mine.toml, ") for problem in problems}
    assert {"couplings.supply_drag.path", "rotors.motor_pulley.diametre_mm"} <= told
    # Without its pulley's diameter the belt's path is not known, so its length contradicts nothing.
    assert "couplings.capstan_belt.length_mm" not in told
