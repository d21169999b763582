"""What a recording tells of squeals, knocks and rubbing: which part, by the rate at which they come back."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from tapewright.diagnose.from_sound_spells import RATE_FITS, Said, Spell, heard_in, sign_about, spells_of
from tapewright.diagnose.network import Network
from tapewright.machine.parts import SPOKEN_MODES, Machine, shaft, spoken
from tapewright.machine.rates import Rate, rates
from tapewright.measure.mechanism_swell import FROM_SWELL, SWELLS, UNSTEADILY
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
NO_NOISE, NO_NOISE_IN_A_WIND = 0.7, 0.36
"""Of 36 simulated minutes in which something knocked or rubbed in play 27 were found, of 68 winds 33; where nothing
did, 101 of 117 plays and 231 of 234 winds were said to be quiet (26 and 50 of them in tuning; the others by
`python -m benchmarks.guided_minute --simulated 66 --seed 2027`). So much weight of a certain no gives that ratio."""
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
SWELLING: Final = (SWELLS, FROM_SWELL, UNSTEADILY)
"""How the ear found how often a squeal comes back, where that is the swelling of a tone."""
SLIPS_LEAST: Final = 0.1
TOO_SLOW: Final = 0.85
"""A reel that drags turns by a twentieth slower than it should; one that slips by a quarter to three quarters."""
SLOW_MOST: Final = 0.85
"""Of 85 tuning minutes none in which a squeal came round so slowly was without a slip; near a tape's end one may."""


def squeals(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """Squeals: the part by the rate at which they come back, else the mode alone.

    Parts that come round as often share what is said; the others on the list come off it. Where the rate is open,
    nothing is said of any one part.
    """
    mode = spell.mode
    here = [one for one in heard.squeals if _meets(one, spell)]
    squeak = sign_about(net, f"squeal@{mode}")
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
    """Share a squeal among the parts that come round as often as it comes back, and take it from some others.

    A reel or an idler that slips comes round at any rate below its right one. So where nothing comes round as often as
    it comes back, it is shared among what may slip. It is taken only from a part that cannot come round so: not from
    one that may slip, unless that comes round too slowly even when it does not; and from none where the rate wavers.
    """
    machine, back = net.machine, best.modulation_hz
    if back.value is None:
        return
    turning = _shafts(machine, mode)
    fitting = [] if back.method == UNSTEADILY else [one for one in turning if _comes_round(one, back)]
    slow = [one for one in turning if one not in fitting and _may_slip(machine, one) and _comes_slower(one, back)]
    named, how = (fitting, "comes round") if fitting else (slow, "may come round where it slips")
    told = [one.name for one in turning if f"rubs:{one.name}@{mode}" in net.words]
    for part in (one.name for one in named if one.name in told):
        also = f" It comes back {back.value:.2f} times a second, as the {spoken(machine, part)} {how}."
        rivals = len(named) - 1
        with_it = f" {rivals} other{'s do' if rivals > 1 else ' does'} so too." if rivals else ""
        sure = _against_none(min(best.sure, SQUEAL_MOST) / len(named), max(len(told), len(named)) + 1)
        yield f"squeal_sure:{part}@{mode}", Reading(sure, "1", by="microphone"), why + also + with_it
    if back.method not in (SWELLS, FROM_SWELL) or not named:
        return  # single chirps may come at any time
    for part in (one.name for one in turning if one not in fitting and one not in slow and one.name in told):
        also = f" It comes back {back.value:.2f} times a second, and the {spoken(machine, part)} does not."
        yield f"squeal_sure:{part}@{mode}", Reading(ELSEWHERE, "1", by="microphone"), why + also


def _against_none(share: float, parts: int) -> float:
    """Say how sure a share makes of one part, against what the squeal alone says: that one of so many parts does.

    The squeal itself is said of the mode; what the rate adds is how far it raises a part above an even share.
    """
    odds = share / (1.0 - share) * (parts - 1)
    return min(SQUEAL_MOST, odds / (1.0 + odds))


def _may_slip(machine: Machine, one: Rate) -> bool:
    return machine.rotors[one.name].kind in ("reel_table", "idler_tyre")


def _comes_slower(one: Rate, back: Reading) -> bool:
    """Tell whether a part would come round as often as it comes back if it slipped."""
    most = max(one.range_per_s or (one.turns_per_s.value,))
    return back.value is not None and SLIPS_LEAST * most < back.value < most


def comes_round_slowly(machine: Machine, mode: str, back: Reading) -> bool:
    """Tell whether what squeals in a wind comes round too slowly for any part that turns as it should.

    Arguments:
        machine: as described.
        mode: a mode in which the squeal is heard.
        back: how often a second it swells.

    >>> from tapewright.machine.library import shipped
    >>> comes_round_slowly(shipped("two_motor_deck"), "rewind", Reading(4.2, "Hz", 0.2, method=SWELLS))
    True
    """
    reel = machine.modes[mode].takes_up
    right = rates(machine, mode).get(reel)
    if machine.modes[mode].at_capstan or right is None or back.value is None or back.method not in SWELLING:
        return False
    steady = [one for one in _shafts(machine, mode) if not _may_slip(machine, one)]
    if back.method != UNSTEADILY and any(_comes_round(one, back) for one in steady):
        return False
    return SLOW_HZ < back.value + (back.doubt or 0.0) < TOO_SLOW * right.turns_per_s.value


def _comes_round(rate: Rate, back: Reading) -> bool:
    low, high = rate.range_per_s or (rate.turns_per_s.value, rate.turns_per_s.value)
    doubt = back.doubt or 0.0
    return back.value is not None and low * (1.0 - RATE_FITS) - doubt <= back.value <= high * (1.0 + RATE_FITS) + doubt


def _shafts(machine: Machine, mode: str) -> list[Rate]:
    return [
        one for name, one in rates(machine, mode).items()
        if one.what == "rotor" and name in machine.rotors and shaft(machine, name) == name
    ]  # fmt: skip


def slips(net: Network, heard: MechanismHeard, spell: Spell) -> Iterator[Said]:
    """A wind in which what squeals comes round too slowly, or whose rustle falters: what takes the tape up slips.

    A steady rustle is not said to be a strong wind: a motor or the room may drown a reel that falters.
    """
    mode = net.machine.modes[spell.mode]
    weak = f"{spell.mode}_weak"
    if weak not in net.signs or not mode.takes_up or mode.at_capstan:
        return
    slow = [
        one for one in heard.squeals
        if _meets(one, spell) and comes_round_slowly(net.machine, spell.mode, one.modulation_hz)
    ]  # fmt: skip
    if slow:
        best = max(slow, key=lambda one: one.sure)
        why = (
            f"A {best.kind} {SPOKEN_MODES[spell.mode]} swells {best.modulation_hz.value:.1f} times a second, and the "
            f"{spoken(net.machine, mode.takes_up)} should come round "
            f"{rates(net.machine, spell.mode)[mode.takes_up].turns_per_s.value:.1f} times: it slips."
        )
        yield weak, Observation(weak, True, min(best.sure, SLOW_MOST)), why
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
    noise = sign_about(net, f"noise@{spell.mode}")
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
