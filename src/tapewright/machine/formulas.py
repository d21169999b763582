"""The closed forms behind rates, forces and sizes; each takes numbers or arrays, in SI units.

Where a source is a textbook it is named by what it is; the worked examples that check these forms name theirs.
"""

import numpy as np
from numpy.typing import NDArray

Quantity = float | NDArray[np.float64]

# --- belts ------------------------------------------------------------------------------------------------------------


def open_belt_length(d1_m: Quantity, d2_m: Quantity, centres_m: Quantity) -> Quantity:
    """Give the length round two pulleys, both inside the loop; exact.

    Source: textbook geometry. The usual series is 0.011 % short at this scale; arctan for arcsin is a known misprint.
    """
    small, large = np.minimum(d1_m, d2_m) / 2, np.maximum(d1_m, d2_m) / 2
    tilt = np.arcsin((large - small) / centres_m)
    return 2 * centres_m * np.cos(tilt) + large * (np.pi + 2 * tilt) + small * (np.pi - 2 * tilt)


def crossed_belt_length(d1_m: Quantity, d2_m: Quantity, centres_m: Quantity) -> Quantity:
    """Give the length of a belt crossed between two pulleys; exact. Source: textbook geometry."""
    reach = (d1_m + d2_m) / 2
    tilt = np.arcsin(reach / centres_m)
    return 2 * centres_m * np.cos(tilt) + reach * (np.pi + 2 * tilt)


def open_wrap(d_this_m: Quantity, d_other_m: Quantity, centres_m: Quantity) -> Quantity:
    """Give the angle an open belt touches on this one of two pulleys, radians. Source: textbook geometry."""
    return np.pi + 2 * np.arcsin((d_this_m - d_other_m) / 2 / centres_m)


def crossed_wrap(d1_m: Quantity, d2_m: Quantity, centres_m: Quantity) -> Quantity:
    """Give the angle a crossed belt touches on either pulley, radians. Source: textbook geometry."""
    return np.pi + 2 * np.arcsin((d1_m + d2_m) / 2 / centres_m)


def speed_ratio(d_driver_m: Quantity, d_driven_m: Quantity, thickness_m: Quantity = 0.0, slip: float = 0.0) -> Quantity:
    """Give turns of the driven pulley for one of the driver.

    Arguments:
        d_driver_m: diameter of the driver.
        d_driven_m: diameter of the driven.
        thickness_m: of the belt; its middle runs on d + t.
        slip: share of the speed lost.

    Source: textbook velocity ratio with belt thickness and slip.
    """
    return (d_driver_m + thickness_m) / (d_driven_m + thickness_m) * (1 - slip)


def driven_diameter(ratio: Quantity, d_driver_m: Quantity, thickness_m: Quantity = 0.0, slip: float = 0.0) -> Quantity:
    """Give the driven pulley that turns `ratio` times for each turn of the driver. Inverse of `speed_ratio`."""
    return (d_driver_m + thickness_m) * (1 - slip) / ratio - thickness_m


def driver_diameter(ratio: Quantity, d_driven_m: Quantity, thickness_m: Quantity = 0.0) -> Quantity:
    """Give the driving pulley that makes the driven turn `ratio` times a turn. Inverse of `speed_ratio`."""
    return ratio * (d_driven_m + thickness_m) - thickness_m


def relaxed_length(path_m: Quantity, strain: Quantity) -> Quantity:
    """Give the length of belt to order for a path: path / (1 + strain).

    "Six percent off the string" is not the same: 0.94 against 1 / 1.06. Closed form of our own.
    """
    return path_m / (1 + strain)


def belt_tension(modulus_pa: Quantity, section_m2: Quantity, strain: Quantity) -> Quantity:
    """Give the tension of a belt at rest, newtons: E A strain. Source: Hooke's law, good to a few percent stretch."""
    return modulus_pa * section_m2 * strain


def belt_pull(tension_n: Quantity, friction: Quantity, wrap_rad: Quantity) -> Quantity:
    """Give the largest difference of tension an elastic belt passes at a pulley, newtons.

    At fixed centres T1 + T2 = 2 T0, and T1 / T2 = exp(mu theta) at the limit: T1 - T2 = 2 T0 tanh(mu theta / 2).
    Closed form of our own from the capstan equation.
    """
    return 2 * tension_n * np.tanh(friction * wrap_rad / 2)


def capstan_ratio(friction: Quantity, wrap_rad: Quantity) -> Quantity:
    """Give the largest ratio of tensions across a wrap: exp(mu theta). Source: the capstan equation."""
    return np.exp(friction * wrap_rad)


def belt_creep(torque_nm: Quantity, radius_m: Quantity, modulus_pa: Quantity, section_m2: Quantity) -> Quantity:
    """Give the share of speed an elastic belt loses under load: (T1 - T2) / (E A). Closed form of our own."""
    return torque_nm / radius_m / (modulus_pa * section_m2)


def creep_ratio(stress_tight_pa: Quantity, stress_slack_pa: Quantity, modulus_pa: Quantity) -> Quantity:
    """Give driven over driver surface speed of a creeping belt: (1 + s2 / E) / (1 + s1 / E).

    Two textbook notebooks print square roots of the stresses here; that depends on units and is wrong.
    """
    return (1 + stress_slack_pa / modulus_pa) / (1 + stress_tight_pa / modulus_pa)


def belt_pass_rate(
    d_driver_m: Quantity, turns_per_s: Quantity, length_m: Quantity, thickness_m: float = 0.0
) -> Quantity:
    """Give how often a point of a belt comes round, times a second: pi (d + t) f / L. Closed form of our own."""
    return np.pi * (d_driver_m + thickness_m) * turns_per_s / length_m


def shore_to_modulus_gent(shore_a: Quantity) -> Quantity:
    """Give rubber's modulus from its Shore A hardness, pascal. Source: Gent's relation, constants from memory."""
    return 1e6 * 0.0981 * (56 + 7.62336 * shore_a) / (0.137505 * (254 - 2.54 * shore_a))


def shore_to_modulus_log10(shore_a: Quantity) -> Quantity:
    """Give rubber's modulus from its Shore A hardness, pascal: log10(E / MPa) = 0.0235 S - 0.6403.

    Source: a note on the log10 relation, for 30 to 60 Shore A. Pages that write it with e are out up to twelve times.
    """
    return 1e6 * np.power(10.0, 0.0235 * shore_a - 0.6403)


def lay_flat(inside_length_m: Quantity) -> Quantity:
    """Give the length of a belt pressed flat, inside its folds: half of the inside length."""
    return inside_length_m / 2


def inside_diameter(inside_length_m: Quantity) -> Quantity:
    """Give the inside diameter of a belt laid down as a circle: inside length over pi."""
    return inside_length_m / np.pi


# --- tape and reels ---------------------------------------------------------------------------------------------------


def capstan_turns(speed_m_per_s: Quantity, d_capstan_m: Quantity, tape_m: Quantity = 0.0) -> Quantity:
    """Give turns a second of a capstan: v / (pi (d + t)), the tape at its own middle. Closed form of our own."""
    return speed_m_per_s / (np.pi * (d_capstan_m + tape_m))


def reel_turns(speed_m_per_s: Quantity, radius_m: Quantity) -> Quantity:
    """Give turns a second of a reel: v / (2 pi r). Closed form of our own."""
    return speed_m_per_s / (2 * np.pi * radius_m)


def pack_radius(hub_m: Quantity, length_m: Quantity, tape_m: Quantity) -> Quantity:
    """Give the radius of a pack: r² = r0² + L t / pi. Source: area of the pack, as published for a roll of tape."""
    return np.sqrt(np.square(hub_m) + length_m * tape_m / np.pi)


def pack_length(hub_m: Quantity, radius_m: Quantity, tape_m: Quantity) -> Quantity:
    """Give the length of tape in a pack, metres. Inverse of `pack_radius`."""
    return np.pi * (np.square(radius_m) - np.square(hub_m)) / tape_m


def pack_turns(hub_m: Quantity, radius_m: Quantity, tape_m: Quantity) -> Quantity:
    """Give the turns of tape in a pack: (R - r0) / t. Closed form of our own."""
    return (radius_m - hub_m) / tape_m


def half_side_radius(hub_m: Quantity, full_m: Quantity) -> Quantity:
    """Give the radius both packs have in the middle of a side. Closed form of our own: equal areas."""
    return np.sqrt((np.square(hub_m) + np.square(full_m)) / 2)


def tape_thickness(period1_s: float, period2_s: float, between_s: float, speed_m_per_s: float) -> float:
    """Give a tape's thickness, metres, from two periods of its take-up reel some time apart.

    v (T2² - T1²) / (4 pi time), closed form of our own.
    """
    return speed_m_per_s * (period2_s**2 - period1_s**2) / (4 * np.pi * between_s)


def wind_time(turns: Quantity, turns_per_s: Quantity) -> Quantity:
    """Give the time to wind at a steady reel rate, seconds. Closed form of our own."""
    return turns / turns_per_s


def tape_run(speed_m_per_s: Quantity, time_s: Quantity) -> Quantity:
    """Give the tape that passes in a time, metres: v t."""
    return speed_m_per_s * time_s


def tape_yield(width_m: Quantity, thickness_m: Quantity, stress_pa: Quantity) -> Quantity:
    """Give the tension at which tape stays stretched, newtons: width times thickness times its yield stress."""
    return width_m * thickness_m * stress_pa


def tension(torque_nm: Quantity, radius_m: Quantity) -> Quantity:
    """Give the tape tension a reel torque makes at a pack radius, newtons: M / r."""
    return torque_nm / radius_m


def loop_growth(clutch_turns_per_s: Quantity, hub_m: Quantity, speed_m_per_s: Quantity) -> Quantity:
    """Give how fast a loop would grow at an empty hub, m/s: positive when even a clutch that holds is too slow."""
    return speed_m_per_s - 2 * np.pi * clutch_turns_per_s * hub_m


def loop_torque(clutch_nm: Quantity, hub_nm: Quantity, radius_m: Quantity, guide_n: Quantity) -> Quantity:
    """Give the torque left to take tape up, newton metres: negative means that tape spills. Closed form of our own."""
    return clutch_nm - hub_nm - radius_m * guide_n


def tension_after_head(
    supply_n: Quantity, wrap_rad: Quantity, friction_head: Quantity, pad_n: Quantity, friction_pad: Quantity
) -> Quantity:
    """Give the tension the capstan has to pull, newtons: the supply's, over the head's wrap, plus the pressure pad.

    Closed form of our own: T exp(mu theta) + pad force times the friction on head and pad.
    """
    return supply_n * capstan_ratio(friction_head, wrap_rad) + pad_n * (friction_head + friction_pad)


# --- flywheel, contacts, flutter --------------------------------------------------------------------------------------


def disc_inertia(mass_kg: Quantity, radius_m: Quantity, inner_m: Quantity = 0.0) -> Quantity:
    """Give the inertia of a disc, or of a ring with an inner radius: m (R² + r²) / 2. Source: textbook."""
    return mass_kg * (np.square(radius_m) + np.square(inner_m)) / 2


def spin_down_time(inertia_kg_m2: Quantity, turns_per_s: Quantity, friction_nm: Quantity) -> Quantity:
    """Give how long a flywheel coasts with the belt off, seconds: J omega / M. Closed form of our own."""
    return inertia_kg_m2 * 2 * np.pi * turns_per_s / friction_nm


def span_stiffness(ea_n: Quantity, first_m: Quantity, second_m: Quantity) -> Quantity:
    """Give the stiffness of a belt between two pulleys, N/m: E A over each of the two ways round, side by side."""
    return ea_n / first_m + ea_n / second_m


def turning_stiffness(stiffness_n_per_m: Quantity, radius_m: Quantity) -> Quantity:
    """Give what a belt's stiffness is to the turning of a pulley, N·m per radian: k R². Closed form of our own."""
    return stiffness_n_per_m * np.square(radius_m)


def turning_resonance(stiffness_nm_per_rad: Quantity, inertia_kg_m2: Quantity) -> Quantity:
    """Give the rate at which an inertia swings on a spring, hertz: sqrt(k / J) / (2 pi). Source: textbook."""
    return np.sqrt(stiffness_nm_per_rad / inertia_kg_m2) / (2 * np.pi)


def belt_resonance(radius_m: Quantity, ea_n: Quantity, span_m: Quantity, inertia_kg_m2: Quantity) -> Quantity:
    """Give the resonance of a flywheel on its belt, motor side held, hertz.

    Two spans pull: k = R² 2 E A / span, f = sqrt(k / J) / (2 pi). Closed form of our own.
    """
    return turning_resonance(turning_stiffness(span_stiffness(ea_n, span_m, span_m), radius_m), inertia_kg_m2)


def transmissibility(frequency_ratio: Quantity, damping: Quantity) -> Quantity:
    """Give how much unsteadiness gets through a spring and a flywheel; 1 at sqrt(2) whatever the damping.

    Source: textbook second-order transmissibility; `frequency_ratio` is f over the resonance.
    """
    through = np.square(2 * damping * frequency_ratio)
    passed: Quantity = np.sqrt((1 + through) / (np.square(1 - np.square(frequency_ratio)) + through))
    return passed


def first_order_gain(frequency_hz: Quantity, time_constant_s: Quantity) -> Quantity:
    """Give how much of a swing a drive lets through that follows like a first-order lag. Source: textbook."""
    gain: Quantity = 1 / np.sqrt(1 + np.square(2 * np.pi * frequency_hz * time_constant_s))
    return gain


def speed_ripple(
    torque_nm: Quantity, frequency_hz: Quantity, inertia_kg_m2: Quantity, turns_per_s: Quantity
) -> Quantity:
    """Give the relative peak speed ripple of a flywheel from a torque ripple, well above its resonance.

    d omega / omega = dM / (J Omega omega), Omega being the ripple's angular rate. Closed form of our own.
    """
    return torque_nm / (inertia_kg_m2 * 2 * np.pi * frequency_hz * 2 * np.pi * turns_per_s)


def run_out_flutter(eccentricity_m: Quantity, radius_m: Quantity) -> Quantity:
    """Give the relative peak flutter of an eccentric surface: e / r; a dial gauge shows 2 e. Closed form of our own."""
    return eccentricity_m / radius_m


def motor_slowed(load_nm: Quantity, droop_per_nm: Quantity) -> Quantity:
    """Give the relative change of a governed motor's speed under more load, negative. Straight line, as printed."""
    return -load_nm * droop_per_nm


def contact_torque(friction: Quantity, force_n: Quantity, radius_m: Quantity) -> Quantity:
    """Give the largest torque a friction contact passes, newton metres: mu F r. Source: Coulomb."""
    return friction * force_n * radius_m
