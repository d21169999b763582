"""What each measurement should read on a machine as it is: which of the others says so."""

import math
from collections.abc import Callable, Mapping
from typing import Final

from tapewright.diagnose.expectation import Expected
from tapewright.diagnose.expected_forces import (
    of_current,
    of_hold_back,
    of_pinch,
    of_pull,
    of_take_up,
    of_volts,
    of_volts_pct,
)
from tapewright.diagnose.expected_heads import (
    of_azimuth,
    of_balance,
    of_drops_in_step,
    of_edge_drops,
    of_edge_spacing,
    of_erasure,
    of_fade,
    of_gap,
    of_inner_drops,
    of_least_spacing,
    of_noise,
    of_spacing,
    of_swing,
    of_treble,
    of_wander,
)
from tapewright.diagnose.expected_motion import of_drift, of_flutter, of_line, of_rate, of_speed
from tapewright.diagnose.expected_times import of_rise, of_run_on, of_spin_down, of_stop, of_wind
from tapewright.diagnose.measured import Asked
from tapewright.faults.consequences import mode_asked
from tapewright.machine.parts import Machine

_OF_A_PASS: Final[Mapping[str, Callable[[Machine, str, str], Expected | None]]] = {
    "azimuth_error_arcmin": of_azimuth,
    "azimuth_swing_arcmin": of_swing,
    "azimuth_wander_arcmin": of_wander,
    "spacing_um": of_spacing,
    "least_spacing_um": of_least_spacing,
    "edge_spacing_um": of_edge_spacing,
    "gap_um": of_gap,
    "response_treble_db": of_treble,
    "treble_fade_db": of_fade,
    "edge_dropouts_per_min": of_edge_drops,
    "inner_dropouts_per_min": of_inner_drops,
    "dropouts_in_step_per_min": of_drops_in_step,
    "balance_db": of_balance,
    "noise_a_db": of_noise,
    "erasure_db": of_erasure,
}
OF_A_PASS: Final = frozenset(_OF_A_PASS)
"""Readings of one pass of the test sequence: they say one thing of the same few parts, and are weighed together."""
_DERIVED: Final[Mapping[str, Callable[[Machine, str, str], Expected | None]]] = {
    "speed_error_pct": of_speed,
    "drift_pct": of_drift,
    "weighted_peak_pct": of_flutter,
    "line_pct": of_line,
    "take_up_torque_gf_cm": of_take_up,
    "hold_back_torque_gf_cm": of_hold_back,
    "pull_at_capstan_gf": of_pull,
    "pinch_force_gf": of_pinch,
    "wind_time_s": of_wind,
    "motor_current_ma": of_current,
    "supply_voltage_v": of_volts,
    "supply_voltage_pct": of_volts_pct,
    "head_base_rise_s": of_rise,
    "run_on_s": of_run_on,
    "seconds_to_stop": of_stop,
    "spin_down_s": of_spin_down,
    "rate_hz": of_rate,
    **_OF_A_PASS,
}


def expected(machine: Machine, what: Asked) -> Expected | None:
    """Say how a measurement hangs on a machine; None where the description does not tell.

    Arguments:
        machine: sound.
        what: the reading's name taken apart; its part and mode fit the machine.
    """
    derive = _DERIVED.get(what.quantity.stem)
    found = None if derive is None else derive(machine, what.part, mode_asked(machine, what.mode))
    if found is None:
        return None
    at_rest = found.value(machine)
    tells = math.isfinite(at_rest) and (found.composed == "sum" or at_rest > 0)
    return found if tells or found.by_word else None
