"""Readings of a pass as likelihoods: Bayes by hand, order, either sign, causes that explain each other away, tracks."""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.likelihoods import counted, functions_of, of_readings, spoken_by, states_of, together
from tapewright.diagnose.network import Network, network, with_functions
from tapewright.diagnose.projection import DEGREE_SHARES, DEGREES, chances
from tapewright.faults.applied import Fault, applied
from tapewright.faults.at_the_heads import gap_m, noise_db
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.reading import Reading
from tests.described import Table, described

DECK = "two_motor_deck"


@cache
def net() -> Network:
    """A network that speaks of what readings of a pass are about, as `examine` takes one."""
    machine = shipped(DECK)
    rotors = ("pinch_roller", "supply_reel", "takeup_reel")
    names = ["edge_spacing_um", *(f"azimuth_swing_arcmin:{one}" for one in rotors)]
    return with_functions(network(machine), functions_of(machine, names))


@cache
def with_tracks(count: int) -> Machine:
    def altered(table: Table) -> None:
        table["tape"]["tracks"] = count

    return described(DECK, altered)


def out_of_order(readings: dict[str, Reading], part: str) -> float:
    return 1.0 - float(posterior(net(), of_readings(net(), readings)).states[part][0, 0])


def normal(value: float, mean: float, spread: float) -> float:
    return math.exp(-0.5 * ((value - mean) / spread) ** 2) / spread


@pytest.mark.parametrize(("gap_um", "noise"), [(1.0, -52.0), (2.3, -51.0), (1.1, -45.0), (1.6, -47.0)])
def test_what_only_the_heads_bring_about_follows_from_bayes_by_hand(gap_um: float, noise: float) -> None:
    """Second road: the heads' states one by one, every degree, a plain product; the meter's doubt as good as none.

    The scatter stands here again: 3 dB of noise about -52, a quarter of gap, by its logarithm.
    """
    after = posterior(net(), of_readings(net(), {
        "gap_um": Reading(gap_um, "µm", 1e-4), "noise_a_db": Reading(noise, "dB", 1e-4)}))  # fmt: skip
    heads = net().parts["heads"]
    wanted = []
    for (kind, severity), prior in zip(heads.states, heads.prior, strict=True):
        worn = shipped(DECK) if kind == "sound" else applied(shipped(DECK), [Fault("heads", kind, severity)])
        gap, hiss = math.log(1e6 * gap_m(worn)), noise_db(worn)
        meters = 0.2 * 0.1, 0.2 * 0.5  # a fifth of what such a measurement usually has
        by_gap = sum(w * normal(math.log(gap_um), d * gap, math.hypot(math.log(1.25), meters[0] / gap_um))
                     for d, w in zip(DEGREES, DEGREE_SHARES, strict=True))  # fmt: skip
        by_noise = sum(w * normal(noise, -52.0 + d * hiss, math.hypot(3.0, meters[1]))
                       for d, w in zip(DEGREES, DEGREE_SHARES, strict=True))  # fmt: skip
        wanted.append(prior * by_gap * by_noise)
    assert after.states["heads"][0] == pytest.approx(np.array(wanted) / sum(wanted), abs=0.01)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.02, 1.2), st.floats(0.02, 1.2), st.floats(0.02, 0.1))
def test_more_spacing_never_speaks_less_for_dirt(one: float, other: float, doubt: float) -> None:
    low, high = sorted((one, other))
    heads = net().parts["heads"]
    odds = []
    for value in (low, high):
        after = posterior(net(), of_readings(net(), {"spacing_um": Reading(value, "µm", doubt)})).states["heads"][0]
        dirty = sum(float(p) for (kind, _), p in zip(heads.states, after, strict=True) if kind == "dirty")
        odds.append(dirty / float(after[0]))
    assert odds[1] >= odds[0] * (1.0 - 1e-3)


@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0))
@settings(max_examples=25, deadline=None)
def test_more_azimuth_never_speaks_less_for_a_turned_screw(one: float, other: float) -> None:
    known = states_of(net(), "azimuth_error_arcmin")
    assert known is not None
    hangs_on, found = known
    states = net().parts["heads"].states
    alone = (found.states > 0).sum(axis=1) == 1
    column = found.states[:, found.parts.index("heads")]
    turned = alone & np.array([states[k][0] == "azimuth" for k in column])
    low, high = sorted((one, other))
    ratios = [
        float(likely[turned].sum() / likely[0]) for likely in (chances(hangs_on, found, v, 0.2) for v in (low, high))
    ]
    assert ratios[1] >= ratios[0] * (1.0 - 1e-6)


def test_dirt_lies_on_edge_or_inner_tracks_alike() -> None:
    """A difference of either sign speaks for dirt on some tracks; a lifting edge for one sign only."""
    known = states_of(net(), "edge_spacing_um")
    assert known is not None
    hangs_on, found = known
    heads, states = found.parts.index("heads"), net().parts["heads"].states
    plus, minus = (chances(hangs_on, found, value, 0.05) for value in (0.8, -0.8))
    alone = (found.states > 0).sum(axis=1) == 1

    def likelier(likely: np.ndarray, kind: str) -> float:
        here = alone & np.array([states[k][0] == kind for k in found.states[:, heads]])
        return float(likely[here].max() / likely[0])

    assert likelier(plus, "clogged") == pytest.approx(likelier(minus, "clogged"), rel=1e-6)
    assert likelier(plus, "clogged") > 3.0
    assert likelier(plus, "guides_bent") > 30.0
    assert likelier(minus, "guides_bent") < 1.0


EDGE = {
    "edge_spacing_um": Reading(0.8, "µm", 0.05),
    "spacing_um": Reading(0.9, "µm", 0.05),
    "edge_dropouts_per_min": Reading(20.0, "1/min", 8.0),
    "least_spacing_um": Reading(0.04, "µm", 0.05),
}


def test_causes_of_one_pass_explain_each_other_away() -> None:
    """Roller, guides and the tape's edge each explain all of it: one is likely, all of them are not."""
    lifting = {"pinch_roller": ("tilted", "skewed"), "heads": ("guides_bent",), "cassette": ("edge_damaged",)}

    def expected(said: dict[str, np.ndarray]) -> float:
        after, total = posterior(net(), said), 0.0
        for part, kinds in lifting.items():
            states = zip(net().parts[part].states, after.states[part][0], strict=True)
            total += sum(float(p) for (kind, _), p in states if kind in kinds)
        return total

    jointly = expected(of_readings(net(), EDGE))
    assert 0.8 < jointly < 1.3
    one_by_one = expected(together(*(spoken_by(net(), name, one) for name, one in EDGE.items())))
    assert one_by_one > jointly


def test_none_of_these_is_seen_through_functions_that_several_parts_bring_about() -> None:
    """A machine with nothing wrong does not lift an edge: what is left for "nothing" is next to nothing."""
    after = posterior(net(), of_readings(net(), EDGE))
    assert math.exp(float(after.log_if_sound[0] - after.log_evidence[0])) < 0.05


def test_readings_that_share_no_part_are_weighed_apart() -> None:
    weak = {"balance_db": Reading(-9.0, "dB", 0.2)}
    assert out_of_order({**EDGE, **weak}, "electronics") == pytest.approx(out_of_order(weak, "electronics"), abs=1e-9)
    assert out_of_order(weak, "electronics") > 0.9


@pytest.mark.parametrize(
    ("readings", "part", "kind"),
    [
        ({"azimuth_error_arcmin": 12.0}, "heads", "azimuth"),
        ({"azimuth_swing_arcmin:pinch_roller": 4.0}, "pinch_roller", "skewed"),
        ({"azimuth_swing_arcmin:supply_reel": 4.0}, "cassette", "tight_pack"),
        ({"azimuth_swing_arcmin:takeup_reel": 4.0}, "takeup_reel", "hub_cracked"),
        ({"dropouts_in_step_per_min:supply_reel": 25.0}, "cassette", "edge_damaged"),
        ({"treble_fade_db": -8.0}, "cassette", "shedding"),
        ({"gap_um": 2.4}, "heads", "worn"),
        ({"noise_a_db": -43.0}, "heads", "magnetised"),
        ({"erasure_db": -20.0}, "electronics", "not_erasing"),
        ({"balance_db": -8.0}, "electronics", "channel_weak"),
        ({"spacing_um": 0.9, "least_spacing_um": 0.9, "inner_dropouts_per_min": 7.0}, "cassette", "padless"),
        ({"azimuth_wander_arcmin": 2.4}, "supply_drag", "too_low"),
    ],
)
def test_each_speaks_for_what_brings_it_about(readings: dict[str, float], part: str, kind: str) -> None:
    """Common practice throughout."""
    known = net().parts[part]
    said = {name: Reading(value, "", 0.04 * abs(value)) for name, value in readings.items()}
    after = posterior(net(), of_readings(net(), said)).states[part][0]
    before, now = (
        sum(float(p) for (k, _), p in zip(known.states, chance, strict=True) if k == kind)
        for chance in (known.prior, after)
    )
    assert now > 2.0 * before


def test_what_the_tracks_do_not_show_says_nothing() -> None:
    """One track has no inner ones; a machine that cannot record is asked nothing about erasing."""
    mono = network(with_tracks(1))
    for name in ("edge_spacing_um", "inner_dropouts_per_min", "balance_db"):
        assert of_readings(mono, {name: Reading(1.0 if name[0] != "b" else -9.0, "", 0.1)}) == {}
    said = Reading(-8.0, "dB", 0.2)
    assert list(counted({"response_treble_db": said, "spacing_um": Reading(0.8, "µm", 0.1)})) == ["spacing_um"]
    assert of_readings(mono, {"response_treble_db": said})
