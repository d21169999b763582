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
from tapewright.diagnose.expected_motion import of_drift, of_flutter, of_line, of_rate, of_speed
from tapewright.diagnose.expected_times import of_rise, of_run_on, of_spin_down, of_stop, of_wind
from tapewright.diagnose.measured import Asked
from tapewright.faults.consequences import mode_asked
from tapewright.machine.parts import Machine

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
