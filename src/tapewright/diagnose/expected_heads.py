"""What a pass of the test sequence should read on a machine as it is: azimuth, spacing, gap, treble, dropouts, levels.

What each imperfection does there is said by `faults.at_the_heads`; here stand only units, how several faults combine,
and how far machines scatter that one would call alike. That scatter is from memory where nothing else is said. The
cassette is the one that the pass was played from.
"""

import math
from typing import Final

from tapewright.diagnose.expectation import Expected
from tapewright.faults import at_the_heads as heads
from tapewright.machine.head_contact import tracks_of
from tapewright.machine.parts import Machine, nips_at_work, shaft

ARC_MINUTE: Final = math.pi / 10800.0
AZIMUTH_SPREAD: Final = math.log(1.8)
"""Practice holds 45 degrees between tracks of a pair at 10 kHz acceptable and 90 wrong: 2.3 and 4.5 minutes of arc."""
SWING_SPREAD: Final = math.log(1.6)
WANDER_SPREAD: Final = math.log(1.5)
SPACING_SPREAD: Final = math.log(2.2)
EDGE_SPREAD_UM: Final = 0.2
"""An edge lifts by fits and starts; what of it the mean over a tone shows is uncertain."""
GAP_SPREAD: Final = math.log(1.25)
"""0.8 to 1.5 µm are common."""
TREBLE_SPREAD_DB: Final = 1.5
"""DIN 45500-4 and sheets leave 10 kHz some 3 to 5 dB: twice this and more."""
FADE_SPREAD_DB: Final = 0.7
DROPS_SPREAD: Final = math.log(2.5)
BALANCE_SPREAD_DB: Final = 1.0
"""Tracks within 3 dB of each other are called alike: service manuals as quoted."""
SOUND_NOISE_DB: Final = -52.0
NOISE_SPREAD_DB: Final = 3.0
"""A-weighted, type I or II without noise reduction, against 250 nWb/m."""
ERASURE_SPREAD_DB: Final = 5.0
_UM: Final = 1e6


def _lifts(machine: Machine) -> tuple[str, ...]:
    """Name the function that says whether anything lifts an edge: several parts may, and one is enough."""
    return ("lifts@play",) if "play" in machine.modes else ()


def _touching(machine: Machine) -> frozenset[str]:
    """Name the rotors that touch the tape in play, with all on their shafts, and the heads and the cassette."""
    play = machine.modes.get("play")
    ends = [end for nip in nips_at_work(machine, play) for end in nip.path] if play is not None else []
    ends += [reel for reel in (play.takes_up, play.gives) if reel] if play is not None else []
    shafts = {shaft(machine, end) for end in ends}
    riders = {name for name in machine.rotors if shaft(machine, name) in shafts}
    return frozenset(riders | {machine.heads.name, machine.cassette.name})


def of_azimuth(machine: Machine, part: str, mode: str) -> Expected:
    """How far the gaps lean."""
    value = lambda worn: heads.lean_rad(worn) / ARC_MINUTE  # noqa: E731
    return Expected((), value, "squares", AZIMUTH_SPREAD, 0.5, {}, parts=_touching(machine))


def of_swing(machine: Machine, part: str, mode: str) -> Expected:
    """How far the azimuth swings with a rotor."""
    value = lambda worn: heads.swing_rad(worn, part) / ARC_MINUTE  # noqa: E731
    node = f"sways_with:{shaft(machine, part)}@play"
    return Expected(
        (node,), value, "squares", SWING_SPREAD, 0.1, {}, parts=frozenset(heads.turning_with(machine, part))
    )


def of_wander(machine: Machine, part: str, mode: str) -> Expected:
    """How far the azimuth wanders in all."""
    value = lambda worn: heads.wander_rad(worn) / ARC_MINUTE  # noqa: E731
    drags = {name for name, coupling in machine.couplings.items() if coupling.kind == "drag"}
    return Expected((), value, "squares", WANDER_SPREAD, 0.1, {}, parts=_touching(machine) | drags)


def of_spacing(machine: Machine, part: str, mode: str) -> Expected:
    """Spacing of the track that has most of it."""
    value = lambda worn: _UM * heads.spacing_m(worn)  # noqa: E731
    return Expected(_lifts(machine), value, "squares", SPACING_SPREAD, 0.05, {}, parts=_touching(machine))


def of_least_spacing(machine: Machine, part: str, mode: str) -> Expected:
    """Spacing of the track that has least of it."""
    value = lambda worn: _UM * heads.least_spacing_m(worn)  # noqa: E731
    return Expected((), value, "squares", SPACING_SPREAD, 0.05, {}, parts=_touching(machine))


def of_edge_spacing(machine: Machine, part: str, mode: str) -> Expected | None:
    """How much more of it edge tracks have; None where there are no inner ones."""
    tracks = tracks_of(machine.tape)
    if not tracks.edge or not tracks.inner:
        return None
    return Expected(
        _lifts(machine),
        lambda worn: _UM * heads.edge_spacing_m(worn),
        "sum",
        EDGE_SPREAD_UM,
        0.05,
        {},
        parts=_touching(machine),
        scatter=lambda worn: _UM * heads.patchy_m(worn),
    )


def of_gap(machine: Machine, part: str, mode: str) -> Expected:
    """How long the gap acts."""
    value = lambda worn: _UM * heads.gap_m(worn)  # noqa: E731
    return Expected((), value, "product", GAP_SPREAD, 0.1, {}, parts=frozenset({machine.heads.name}))


def of_treble(machine: Machine, part: str, mode: str) -> Expected:
    """What the worst track reads at 10 kHz against the replay curve."""
    return Expected((), heads.treble_db, "sum", TREBLE_SPREAD_DB, 0.3, {}, parts=_touching(machine))


def of_fade(machine: Machine, part: str, mode: str) -> Expected:
    """What 10 kHz loses over a side."""
    parts = frozenset({machine.cassette.name})
    return Expected((), heads.fade_db, "sum", FADE_SPREAD_DB, 0.2, {}, parts=parts)


def of_edge_drops(machine: Machine, part: str, mode: str) -> Expected | None:
    """Dropouts of edge tracks; None where there are none."""
    if not tracks_of(machine.tape).edge:
        return None
    return Expected(
        _lifts(machine), heads.edge_drops_per_min, "squares", DROPS_SPREAD, 1.0, {}, parts=_touching(machine)
    )


def of_inner_drops(machine: Machine, part: str, mode: str) -> Expected | None:
    """Dropouts of inner tracks; None where there are none."""
    if not tracks_of(machine.tape).inner:
        return None
    return Expected((), heads.inner_drops_per_min, "squares", DROPS_SPREAD, 1.0, {}, parts=_touching(machine))


def of_drops_in_step(machine: Machine, part: str, mode: str) -> Expected:
    """Dropouts that keep step with a rotor."""
    value = lambda worn: heads.drops_in_step_per_min(worn, part)  # noqa: E731
    return Expected((), value, "squares", DROPS_SPREAD, 1.0, {}, parts=frozenset(heads.turning_with(machine, part)))


def of_balance(machine: Machine, part: str, mode: str) -> Expected | None:
    """The weakest track less the mean of all; None for one track."""
    if machine.tape.tracks < 2:
        return None
    parts = frozenset({machine.electronics.name})
    return Expected((), heads.level_db, "sum", BALANCE_SPREAD_DB, 0.2, {}, parts=parts)


def of_noise(machine: Machine, part: str, mode: str) -> Expected:
    """A-weighted noise against the reference level."""
    value = lambda worn: SOUND_NOISE_DB + heads.noise_db(worn)  # noqa: E731
    return Expected((), value, "sum", NOISE_SPREAD_DB, 0.5, {}, parts=frozenset({machine.heads.name}))


def of_erasure(machine: Machine, part: str, mode: str) -> Expected | None:
    """What erasing leaves; None for a machine that does not record."""
    if "record" not in machine.modes:
        return None
    parts = frozenset({machine.electronics.name})
    return Expected((), heads.erasure_db, "sum", ERASURE_SPREAD_DB, 1.0, {}, parts=parts)
