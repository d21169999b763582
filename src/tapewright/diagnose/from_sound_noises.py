"""What a recording tells of squeals, knocks and rubbing: which part, by the rate at which they come back."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.diagnose.from_sound_spells import RATE_FITS, Said, Spell, heard_in, spells_of
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, Machine, shaft, spoken
from tapewright.machine.rates import Rate, rates
from tapewright.words.evidence import Observation
from tapewright.words.mechanism_heard import Disturbance, MechanismHeard, Squeal
from tapewright.words.reading import Reading

PLAIN_DB, PLAIN_IN_A_WIND_DB = 1.6, 2.0
"""From 2 kHz on flywheels and belts of sound machines rise by at most 1.3 dB once a turn: tuning minutes of
`benchmarks.minute_trials`."""
FAINT_DB: Final = 1.3
SOUND_REEL_DB: Final = 7.0
"""So far a sound reel swells in a wind, at most: the same minutes."""
REELS_AT_MOST: Final = 1.2
BESIDE_A_SQUEAL_DB: Final = 4.0
"""A squeal alone made its band swell by 3.2 dB at most."""
SLOW_HZ: Final = 1.2
"""Slower than this a squeal comes and goes, and somebody speaks in sentences: neither is a part's noise."""
LEAST_AGAIN_DB: Final = 1.2
OWN_RATE: Final = 0.12
"""How far a rotor may be off its right rate, relative."""
SAME_ROTOR: Final = 0.05
NOISE_MOST, NOISE_PER_DB = 0.93, 0.15
NO_NOISE, NO_NOISE_IN_A_WIND = 0.85, 0.66
"""Of 26 tuning minutes in which something knocked or rubbed in play 22 were found, of 50 winds 26; 1 of 61 and 1 of 120
without were called noisy. How sure follows from that by the ratio of chances."""
QUIET_S: Final = 3.0
"""In a shorter spell what squeals once in a turn may not have come round."""
NO_SQUEAL, NO_SQUEAL_UNDER_TALK = 0.88, 0.75
SQUEAL_MOST: Final = 0.92
"""Squeals were found in 20 of 22 tuning minutes of `benchmarks.minute_trials` and its like, down to 5 dB, and in 2 of
some 20 in which something knocked and nothing squealed; softer ones than those are not denied."""
FALTERS_FROM, FALTERS_MOST = 0.7, 0.85
"""Of some 130 tuning winds in which nothing slipped none was said to falter; a film of the reels sees more."""
ELSEWHERE: Final = 0.15
"""How likely a part squeals where one squeal is heard that comes back as often as another part does; judgement."""
SWELLS: Final = "spectrum of its level"
"""How the ear found how often a squeal comes back, where that is the swelling of one tone."""


def squeals(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Squeals: the part by the rate at which they come back, else the mode alone.

    Parts that come round as often share what is said; the others on the list come off it. Where the rate is open,
    nothing is said of any one part.
    """
    mode = spell.mode
    here = [one for one in heard.squeals if one.start_s < spell.end_s and one.end_s > spell.start_s]
    squeak = next((s for s in net.signs.values() if s.node == f"squeal@{mode}"), None)
    if not here:
        if squeak is not None and spell.end_s - spell.start_s >= QUIET_S and heard_in(heard, spell):
            talked = any(one.kind == "speech" and _meets(one, spell) for one in heard.disturbances)
            quiet = f"No squeal or chirp is heard {SPOKEN_MODES[mode]}."
            yield squeak.id, Observation(squeak.id, False, NO_SQUEAL_UNDER_TALK if talked else NO_SQUEAL), quiet
        return
    best = max(here, key=lambda one: (one.modulation_hz.value is not None, one.sure))
    pitch = best.frequency_hz.value or 0.0
    why = (
        f"A {best.kind} near {pitch:.0f} Hz is heard {SPOKEN_MODES[mode]}, {best.prominence_db:.0f} dB above its "
        "neighbours."
    )
    yield from _shares(net, mode, best, why)
    if squeak is not None:
        plainest = max(here, key=lambda one: one.sure)
        open_to = (
            "" if best.modulation_hz.value is not None else " How often it comes back is open, and so is the part."
        )
        yield squeak.id, Observation(squeak.id, True, min(plainest.sure, SQUEAL_MOST)), why + open_to


def _meets(one: Disturbance | Squeal, spell: Spell) -> bool:
    return one.start_s < spell.end_s and one.end_s > spell.start_s


def _shares(net: Network, mode: str, best: Squeal, why: str) -> Iterator[Said]:
    """Share a squeal among the parts that come round as often as it comes back, and take it from the others."""
    machine, back = net.machine, best.modulation_hz
    fitting = [rate.name for rate in _shafts(machine, mode) if _comes_round(rate, back)]
    if not fitting:
        return
    sure = min(best.sure, SQUEAL_MOST)
    others = [rate.name for rate in _shafts(machine, mode) if rate.name not in fitting]
    for part in (one for one in fitting if f"rubs:{one}@{mode}" in net.words):
        also = f" It comes back {back.value:.2f} times a second, as the {spoken(machine, part)} comes round."
        rivals = len(fitting) - 1
        with_it = f" {rivals} other{'s do' if rivals > 1 else ' does'} so too." if rivals else ""
        reading = Reading(sure / len(fitting), "1", method="by microphone")
        yield f"squeal_sure:{part}@{mode}", reading, why + also + with_it
    if back.method != SWELLS:
        return  # single chirps may come at any time
    for part in (one for one in others if f"rubs:{one}@{mode}" in net.words):
        also = f" It comes back {back.value:.2f} times a second, and the {spoken(machine, part)} does not."
        yield f"squeal_sure:{part}@{mode}", Reading(ELSEWHERE, "1", method="by microphone"), why + also


def _comes_round(rate: Rate, back: Reading) -> bool:
    low, high = rate.range_per_s or (rate.turns_per_s.value, rate.turns_per_s.value)
    doubt = (back.doubt or 0.0) + RATE_FITS * high
    return back.value is not None and low - doubt <= back.value <= high + doubt


def _shafts(machine: Machine, mode: str) -> list[Rate]:
    return [
        one for name, one in rates(machine, mode).items()
        if one.what == "rotor" and name in machine.rotors and shaft(machine, name) == name
    ]  # fmt: skip


def slips(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """A wind whose rustle falters: what takes the tape up turns by fits and starts.

    A steady rustle is not said to be a strong wind: a motor or the room may drown a reel that falters.
    """
    mode = net.machine.modes[spell.mode]
    weak = f"{spell.mode}_weak"
    if weak not in net.signs or not mode.takes_up or mode.at_capstan:
        return
    for one in heard.slips:
        if one.mode == spell.mode and _in(one.start_s, spell) and one.sure > FALTERS_FROM:
            why = (
                f"The rustle {SPOKEN_MODES[spell.mode]} falters by {one.swings_db:.1f} dB from one third of a second "
                "to the next: what takes the tape up slips."
            )
            yield weak, Observation(weak, True, min(one.sure, FALTERS_MOST)), why
            return


# --- knocking and rubbing ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Back:
    """What comes back in a spell, whatever it sounds like."""

    called: str
    rate_hz: float
    high_db: float


def knocks(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Whether a part adds a noise of its own: what knocks or rubs from 2 kHz on; a thump below is none.

    Reels swell as they turn in a sound machine too, and a reel that slips does so at any rate below its right one. So
    in a wind only what comes back at the rate at which a rotor knocks in play, what is plainer than a sound reel, and
    what comes back faster than reels turn is called a noise.
    """
    noise = next((s for s in net.signs.values() if s.node == f"noise@{spell.mode}"), None)
    if noise is None:
        return
    machine, mode = net.machine, net.machine.modes[spell.mode]
    here = list(_backs(heard, spell))
    tones = [one.modulation_hz.value for one in heard.squeals if _meets(one, spell) and one.modulation_hz.value]
    quick = [one for one in here if one.rate_hz > SLOW_HZ and not _is_a_squeals(one, tones)]
    own = [one for one in quick if mode.at_capstan or not _like_a_reel(machine, spell.mode, one)]
    best = max(own, key=lambda one: one.high_db, default=None)
    if best is not None and best.high_db >= (PLAIN_DB if mode.at_capstan else PLAIN_IN_A_WIND_DB):
        sure = min(NOISE_MOST, 0.5 + NOISE_PER_DB * best.high_db)
        yield noise.id, Observation(noise.id, True, sure), _comes_back(machine, spell.mode, best)
        return
    again = None if mode.at_capstan else _as_in_play(machine, heard, spell, here)
    if again is not None:
        why = _comes_back(machine, spell.mode, again)
        yield noise.id, Observation(noise.id, True, NOISE_MOST), f"{why} So it does in play."
        return
    looked = next((one for one in heard.no_repeats if one.mode == spell.mode and _in(one.start_s, spell)), None)
    faint = max((one.high_db for one in here), default=0.0) < (FAINT_DB if mode.at_capstan else SOUND_REEL_DB)
    if looked is not None and faint and looked.enough_db < FAINT_DB and looked.end_s - looked.start_s >= QUIET_S:
        why = (
            f"Nothing knocks or rubs {SPOKEN_MODES[spell.mode]}: what rises by {looked.enough_db:.1f} dB once a turn "
            "would have been found."
        )
        yield noise.id, Observation(noise.id, False, NO_NOISE if mode.at_capstan else NO_NOISE_IN_A_WIND), why


def _in(at_s: float, spell: Spell) -> bool:
    return spell.start_s - 0.01 <= at_s < spell.end_s


def _backs(heard: MechanismHeard, spell: Spell) -> Iterator[_Back]:
    """Give what comes back in a spell."""
    both = [("knocking", one) for one in heard.knocks] + [("rubbing", one) for one in heard.rubbings]
    for called, one in both:
        if one.rate_hz.value is not None and _in(one.start_s, spell):
            yield _Back(called, one.rate_hz.value, one.high_db)


def _is_a_squeals(one: _Back, tones_hz: Sequence[float]) -> bool:
    """Tell whether what comes back may be no more than a squeal that swells as often."""
    same = any(abs(one.rate_hz / tone - 1.0) < SAME_ROTOR for tone in tones_hz)
    return same and one.high_db < BESIDE_A_SQUEAL_DB


def _like_a_reel(machine: Machine, mode: str, one: _Back) -> bool:
    """Tell whether something comes back as often as a reel of a sound machine may turn, or one that slips."""
    turning = rates(machine, mode)
    reels = [turning[name] for name in machine.rotors if machine.rotors[name].kind == "reel_table" and name in turning]
    fastest = max((max(r.range_per_s or (r.turns_per_s.value,)) for r in reels), default=0.0)
    return one.high_db < SOUND_REEL_DB and one.rate_hz < REELS_AT_MOST * fastest


def _as_in_play(machine: Machine, heard: MechanismHeard, spell: Spell, here: Sequence[_Back]) -> _Back | None:
    """Give what comes back at the rate of a rotor at whose rate it knocks in play too."""
    play = next((one for one in spells_of(machine, heard) if one.mode == "play"), None)
    if play is None:
        return None
    # At a reel's rate in play a squeal comes and goes, and in a wind every reel swells.
    before = [one for one in _backs(heard, play) if one.high_db >= PLAIN_DB and one.rate_hz > SLOW_HZ]
    then, now = rates(machine, "play"), rates(machine, spell.mode)
    for name in (one for one in now if one in then and then[one].turns_per_s.value > 0):
        ratio = now[name].turns_per_s.value / then[name].turns_per_s.value
        for one in before:
            if abs(one.rate_hz / then[name].turns_per_s.value - 1.0) > OWN_RATE:
                continue
            for other in here:
                if other.high_db >= LEAST_AGAIN_DB and abs(other.rate_hz / (ratio * one.rate_hz) - 1.0) < SAME_ROTOR:
                    return other
    return None


def _comes_back(machine: Machine, mode: str, one: _Back) -> str:
    near = [
        spoken(machine, rate.name) for rate in _shafts(machine, mode)
        if abs(one.rate_hz / max(rate.turns_per_s.value, 1e-9) - 1.0) < OWN_RATE
    ]  # fmt: skip
    fits = f", about as often as the {' or the '.join(near)} comes round" if near else ""
    return (
        f"A {one.called} comes back {one.rate_hz:.2f} times a second {SPOKEN_MODES[mode]}, {one.high_db:.1f} dB above "
        f"what lies between from 2 kHz on{fits}."
    )
