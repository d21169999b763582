"""What can be measured on a bench: the names of readings, their units, and what each name is about.

A name is a stem, the part it was taken at behind a colon, the mode it was taken in behind an at sign, where the stem
asks for them: `take_up_torque_gf_cm@play`, `motor_current_ma:reel_motor@fast_forward`, `line_pct:pinch_roller`.
"""

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from tapewright.machine.parts import Machine, part_names
from tapewright.words.problem import Problem, nearest
from tapewright.words.units import GCM_NM, GF_N, OUNCE_KG, OZIN_NM, STANDARD_GRAVITY_M_PER_S2

Place = Literal["", "motor", "rotor", "flywheel", "part", "track"]
Taken = Literal["", "tape", "winding", "any"]

_TORQUES: Final = {
    "g·cm": 1.0, "gf·cm": 1.0, "gf_cm": 1.0, "mN·m": 1e-3 / GCM_NM, "N·m": 1.0 / GCM_NM, "oz·in": OZIN_NM / GCM_NM,
}  # fmt: skip
_FORCES: Final = {"gf": 1.0, "g": 1.0, "N": 1.0 / GF_N, "oz": OUNCE_KG * STANDARD_GRAVITY_M_PER_S2 / GF_N}
_SHARES: Final = {"%": 1.0}
_TIMES: Final = {"s": 1.0, "ms": 1e-3, "min": 60.0}
_RATES: Final = {"Hz": 1.0, "1/s": 1.0, "rpm": 1.0 / 60.0}
_CHANCES: Final = {"1": 1.0, "%": 0.01}
_ANGLES: Final = {"arcmin": 1.0, "mrad": 10.8 / math.pi, "°": 60.0}
_LENGTHS: Final = {"µm": 1.0, "um": 1.0, "nm": 1e-3}
_LEVELS: Final = {"dB": 1.0}
_COUNTS: Final = {"1/min": 1.0, "1/s": 60.0}


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something one measures.

    Arguments:
        stem: how its name begins.
        says: what it is, a clause for people.
        unit: the unit its values are kept in.
        units: what may be written instead, each with what turns it into `unit`.
        at: the kind of part it is taken at; "" for none.
        mode: the kind of mode it is taken in; "" for none (play where the tape moves).
        signed: True where it may be below nothing.
        speaks: False for what is kept and shown only.
    """

    stem: str
    says: str
    unit: str
    units: Mapping[str, float]
    at: Place = ""
    mode: Taken = ""
    signed: bool = False
    speaks: bool = True

    @property
    def pattern(self) -> str:
        """Give the name with what has to be filled in: `rate_hz:PART@MODE`."""
        at = {"": "", "motor": ":MOTOR", "flywheel": ":FLYWHEEL", "track": ":TRACK"}.get(self.at, ":PART")
        return self.stem + at + ("@MODE" if self.mode else "")


QUANTITIES: Final = (
    Quantity("speed_error_pct", "mean speed error in play; fast is positive", "%", _SHARES, signed=True),
    Quantity(
        "drift_pct", "speed at the end of a side less that at its start; faster is positive", "%", _SHARES, signed=True
    ),
    Quantity("weighted_peak_pct", "wow and flutter, weighted peak", "%", _SHARES),
    Quantity("weighted_rms_pct", "the same, weighted, rms", "%", _SHARES, speaks=False),
    Quantity("weighted_quasi_peak_pct", "the same, weighted, quasi-peak meter", "%", _SHARES, speaks=False),
    Quantity("unweighted_peak_pct", "the same, unweighted peak", "%", _SHARES, speaks=False),
    Quantity("unweighted_rms_pct", "the same, unweighted, rms", "%", _SHARES, speaks=False),
    Quantity("line_pct", "peak of the speed line that comes round with a part, in play", "%", _SHARES, at="part"),
    Quantity(
        "take_up_torque_gf_cm", "torque of the reel that takes up, by a torque cassette; in a wind, stalled",
        "g·cm", _TORQUES, mode="tape",
    ),
    Quantity("hold_back_torque_gf_cm", "torque that holds the giving reel back", "g·cm", _TORQUES, mode="tape"),
    Quantity("pull_at_capstan_gf", "pull at which tape slides in the nip, by a spring scale, in play", "gf", _FORCES),
    Quantity("pinch_force_gf", "force at which the pinch roller just leaves the capstan, in play", "gf", _FORCES),
    Quantity("wind_time_s", "time to wind a 60-minute cassette from end to end", "s", _TIMES, mode="winding"),
    Quantity("motor_current_ma", "current of a motor", "mA", {"mA": 1.0, "A": 1e3}, at="motor", mode="any"),
    Quantity("supply_voltage_v", "voltage under load of a 12 V supply", "V", {"V": 1.0, "mV": 1e-3}),
    Quantity("supply_voltage_pct", "voltage under load against the one marked on the machine", "%", _SHARES),
    Quantity("head_base_rise_s", "time from the key to the head base in place, in play", "s", _TIMES),
    Quantity("run_on_s", "how long a motor that should stop once the head base is up runs in play", "s", _TIMES,
             at="motor"),
    Quantity("seconds_to_stop", "time after which the machine gives up by itself", "s", _TIMES, mode="any"),
    Quantity("spin_down_s", "time a flywheel coasts, belt off and nothing pressed", "s", _TIMES, at="flywheel"),
    Quantity("rate_hz", "turns per second of a rotor", "Hz", _RATES, at="rotor", mode="any"),
    Quantity("squeal_sure", "how sure a recording of the mechanism is of a squeal there", "1", _CHANCES, at="rotor",
             mode="any"),
    Quantity("motor_runs_sure", "how sure a recording of the mechanism is that a motor runs", "1", _CHANCES, at="motor",
             mode="any"),
    Quantity("azimuth_error_arcmin", "how far the line through the gaps leans, either way", "arcmin", _ANGLES),
    Quantity("azimuth_swing_arcmin", "how far the azimuth swings in step with a rotor, peak", "arcmin", _ANGLES,
             at="rotor"),
    Quantity("azimuth_wander_arcmin", "how far the azimuth wanders in all, half of the range; leave it out where "
             "what swings with each rotor was read", "arcmin", _ANGLES),
    Quantity("spacing_um", "spacing of the track that has most, by the shape of its response", "µm", _LENGTHS),
    Quantity("least_spacing_um", "spacing of the track that has least", "µm", _LENGTHS),
    Quantity("edge_spacing_um", "spacing of the tracks along an edge less that of the inner ones", "µm", _LENGTHS,
             signed=True),
    Quantity("track_spacing_um", "spacing of one track", "µm", _LENGTHS, at="track", signed=True, speaks=False),
    Quantity("gap_um", "how long the head's gap acts, by the shape of the response", "µm", _LENGTHS),
    Quantity("response_treble_db", "10 kHz against 315 Hz, less the replay curve, on the weakest track; counts where "
             "no spacing was read", "dB", _LEVELS, signed=True),
    Quantity("treble_fade_db", "10 kHz at the end of a side less that at its start, on the track that loses most", "dB",
             _LEVELS, signed=True),
    Quantity("edge_dropouts_per_min", "dropouts of a track along an edge of the tape", "1/min", _COUNTS),
    Quantity("inner_dropouts_per_min", "dropouts of a track that lies further in", "1/min", _COUNTS),
    Quantity("dropouts_in_common_per_min", "dropouts of several tracks at once", "1/min", _COUNTS, speaks=False),
    Quantity("dropouts_in_step_per_min", "dropouts that keep step with a rotor", "1/min", _COUNTS, at="rotor"),
    Quantity("balance_db", "level of the weakest track less the mean of all", "dB", _LEVELS, signed=True),
    Quantity("noise_a_db", "A-weighted noise of the noisiest track against the reference level", "dB", _LEVELS,
             signed=True),
    Quantity("hum_db", "hum and its harmonics against the reference level", "dB", _LEVELS, signed=True, speaks=False),
    Quantity("crosstalk_db", "the most that one track is heard on another", "dB", _LEVELS, signed=True, speaks=False),
    Quantity("erasure_db", "what erasing leaves of a tone on the worst track", "dB", _LEVELS, signed=True),
    Quantity("level_at_three_percent_db", "level over the reference at which the third harmonic is 3 %", "dB", _LEVELS,
             signed=True, speaks=False),
)  # fmt: skip
"""Every reading that has a name, in the order of the manual."""
BY_STEM: Final = {quantity.stem: quantity for quantity in QUANTITIES}


@dataclass(frozen=True, slots=True)
class Asked:
    """One reading's name taken apart.

    Arguments:
        quantity: what was measured.
        part: where; "" for none.
        mode: in which mode; "" for none said.
    """

    quantity: Quantity
    part: str = ""
    mode: str = ""


def split(name: str) -> tuple[str, str, str]:
    """Take a name apart into stem, part and mode.

    >>> split("motor_current_ma:reel_motor@rewind")
    ('motor_current_ma', 'reel_motor', 'rewind')
    """
    rest, _, mode = name.partition("@")
    stem, _, part = rest.partition(":")
    return stem, part, mode


def name_problem(name: str, where: str) -> Problem | None:
    """Say what is wrong with a reading's name whatever the machine; None where nothing is.

    >>> name_problem("take_up_torque_gf_cm", "e.json, readings").found
    'names no mode.'
    """
    stem, part, mode = split(name)
    quantity = BY_STEM.get(stem)
    if quantity is None:
        near = difflib.get_close_matches(stem, BY_STEM, n=1, cutoff=0.5)
        do = f"Did you mean {BY_STEM[near[0]].pattern}?" if near else "docs/evidence.md lists the names of readings."
        return Problem(where, f"{name!r} is no reading.", do)
    for what, given, wanted in (("part", part, quantity.at), ("mode", mode, quantity.mode)):
        if wanted and not given:
            return Problem(where, f"names no {what}.", f"Write {quantity.pattern}.")
        if given and not wanted:
            return Problem(
                where, f"names the {what} {given!r}.", f"Write {quantity.pattern}: it has no {what} to name."
            )
    return None


def asked(machine: Machine, name: str, where: str = "readings") -> Asked | Problem:
    """Take a reading's name apart and see that this machine has what it names.

    >>> from tapewright.machine.library import shipped
    >>> asked(shipped("four_track"), "wind_time_s@play").do
    'It can be one of: fast_forward, rewind.'
    """
    wrong = name_problem(name, where)
    if wrong is not None:
        return wrong
    stem, part, mode = split(name)
    quantity = BY_STEM[stem]
    for what, given, known in (
        ("part", part, _parts(machine, quantity.at)),
        ("mode", mode, _modes(machine, quantity.mode)),
    ):
        if given and given not in known:
            found = f"names the {what} {given!r}, which does not fit here."
            return Problem(f"{where}.{name}", found, nearest(given, known))
    return Asked(quantity, part, mode)


def _parts(machine: Machine, at: Place) -> tuple[str, ...]:
    if at == "part":
        return part_names(machine)
    if at == "track":
        return tuple(str(number) for number in range(1, machine.tape.tracks + 1))
    return tuple(name for name, rotor in machine.rotors.items() if at in ("rotor", rotor.kind))


def _modes(machine: Machine, kind: Taken) -> tuple[str, ...]:
    if kind == "any":
        return tuple(machine.modes)
    moving = {name: mode for name, mode in machine.modes.items() if mode.takes_up}
    return tuple(name for name, mode in moving.items() if kind != "winding" or not mode.at_capstan)


def unit_factor(quantity: Quantity, unit: str) -> float | None:
    """Give what turns a unit into the quantity's own; None for a unit that is none of its.

    >>> round(unit_factor(BY_STEM["take_up_torque_gf_cm"], "mN m"), 3)
    10.197
    """
    plain = {_plain(known): factor for known, factor in quantity.units.items()}
    return plain.get(_plain(unit))


def _plain(unit: str) -> str:
    # The dot of a torque may be a point, a star, a hyphen or a blank; some service papers misprint g·cm as g/cm.
    kept = unit.strip().replace("g/cm", "g·cm")
    for dot in "·.*× -_":
        kept = kept.replace(dot, "")
    return kept.lower()
