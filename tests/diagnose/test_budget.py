"""Which rotor makes which line: against true rates in closed form, and against all assignments one by one."""

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tapewright.diagnose.budget import UNEXPLAINED, beside_lines, budget, unexplained_pct
from tapewright.diagnose.budget_rates import QUALITY, Rates, line_rates
from tapewright.diagnose.budget_search import FREQUENCY_SIGMA, assigned, unknown_density
from tapewright.jobs.examine import hear_all
from tapewright.machine.library import shipped, shipped_ids
from tapewright.words.estimate import Estimate
from tapewright.words.findings import BudgetItem
from tapewright.words.reading import Reading
from tapewright.words.signal import Line
from tests.diagnose.random_machines import Bench, Made, bench, near_a_rotor, separable

MACHINE = shipped("four_track")
SQUARE = Path(__file__).parents[3] / "shared" / "data" / "not_tape" / "direct_square_wave.wav"


def line(frequency_hz: float, peak_pct: float = 0.1, doubt_hz: float = 0.001, slowing_per_s: float = 0.0) -> Line:
    return Line(frequency_hz, peak_pct, 0.01, doubt_hz, 0.001, slowing_per_s)


# --- the sums ---------------------------------------------------------------------------------------------------------


def two_rotors(sigma: float = 0.01, shared: float = 0.02) -> Rates:
    """A capstan and a roller of 8 and 7 Hz with an error in common, as the shipped machine's candidates of those."""
    whole = line_rates(MACHINE, "play")
    kept = [one for one in whole.candidates if one.part in ("capstan", "pinch_roller") and one.order <= 2]
    at = sorted({one.rate for one in kept})
    covariance = np.full((2, 2), shared**2) + sigma**2 * np.eye(2)
    return replace(
        whole,
        candidates=tuple(replace(one, rate=at.index(one.rate)) for one in kept),
        log_rate=np.log([8.0, 7.0]),
        covariance=np.array([covariance]),
        quality=np.zeros(1),
        by_pack=np.zeros((2, 2)),
    )


def test_the_search_agrees_with_all_assignments_gone_through_one_by_one() -> None:
    """The slow obvious version: every assignment's joint normal density over all its lines at once."""
    rates, lines = two_rotors(), [line(7.06, doubt_hz=0.02), line(8.2, doubt_hz=0.02), line(14.3, doubt_hz=0.02)]
    found = assigned(lines, rates)
    expected: dict[tuple[int, ...], float] = {}
    for chosen in itertools.product(range(-1, len(rates.candidates)), repeat=3):
        named = [number for number in chosen if number >= 0]
        if len(named) == len(set(named)):
            expected[chosen] = one_by_one(lines, chosen, rates)
    total = sum(expected.values())
    for chosen, chance in zip(found.chosen.tolist(), found.chance, strict=True):
        assert chance == pytest.approx(expected[tuple(chosen)] / total, abs=2e-7)
    assert float(np.sum(found.chance)) == pytest.approx(1.0)


def one_by_one(lines: list[Line], chosen: tuple[int, ...], rates: Rates) -> float:
    chance, seen = 1.0, list[tuple[str, int]]()
    for one, number in zip(lines, chosen, strict=True):
        if number < 0:
            chance *= unknown_density(one.frequency_hz)
            continue
        it = rates.candidates[number]
        chance *= it.beside if any(part == it.part and order < it.order for part, order in seen) else it.alone
        seen.append((it.part, it.order))
    named = [(one, rates.candidates[n]) for one, n in zip(lines, chosen, strict=True) if n >= 0]
    if not named:
        return chance
    at = [it.rate for _, it in named]
    own = [(one.frequency_doubt_hz / 1.96 / one.frequency_hz) ** 2 + FREQUENCY_SIGMA**2 for one, _ in named]
    mean = [rates.log_rate[it.rate] + math.log(it.order) for _, it in named]
    covariance = rates.covariance[0][np.ix_(at, at)] + np.diag(own)
    off = [math.log(one.frequency_hz) for one, _ in named]
    return chance * float(stats.multivariate_normal(mean, covariance).pdf(off))


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_machine_has_a_law_of_its_rates(machine_id: str) -> None:
    rates = line_rates(shipped(machine_id), "play")
    assert len(rates.covariance) == len(QUALITY)
    for covariance in rates.covariance:
        assert np.allclose(covariance, covariance.T)
        assert float(np.linalg.eigvalsh(covariance).min()) > 0.0
    assert float(np.exp(rates.pack_chance).sum()) == pytest.approx(1.0)


def test_one_wrong_size_moves_every_rate_behind_it() -> None:
    """A thicker capstan turns slower, and so do motor and belt, all by one logarithm; the roller does not care."""
    capstan = MACHINE.rotors["capstan"]
    assert capstan.diameter is not None
    wide = Estimate(capstan.diameter.value, 0.1 * capstan.diameter.value)
    doubtful = replace(MACHINE, rotors={**MACHINE.rotors, "capstan": replace(capstan, diameter=wide)})
    rates = line_rates(doubtful, "play")
    at = {one.part: one.rate for one in rates.candidates}
    spread = rates.covariance[0]

    def alike(one: str, other: str) -> float:
        return float(spread[at[one], at[other]] / math.sqrt(spread[at[one], at[one]] * spread[at[other], at[other]]))

    assert alike("capstan", "capstan_motor") > 0.98
    assert alike("capstan", "capstan_belt") > 0.95
    assert alike("capstan", "pinch_roller") < 0.1


# --- two hundred machines that somebody described badly ---------------------------------------------------------------


def gone_through(seeds: range) -> list[tuple[Bench, Made, BudgetItem]]:
    found = []
    for one in map(bench, seeds):
        items = budget(one.described, [made.line for made in one.made], one.speed_error_pct)
        found += [(one, made, item) for made, item in zip(one.made, items, strict=True)]
    return found


def is_right(made: Made, item: BudgetItem) -> bool:
    return (item.part, item.order) == (made.part or UNEXPLAINED, made.order)


def named(made: Made, item: BudgetItem) -> bool:
    others = [(rival.part, rival.order) for rival in item.rivals]
    return is_right(made, item) or (made.part, made.order) in others


def held(found: list[tuple[Bench, Made, BudgetItem]]) -> tuple[float, float, float]:
    """Give the shares: right among separable lines, unknown called so, named among what cannot be separated."""
    apart = [is_right(made, item) for one, made, item in found if made.part and separable(made, one)]
    close = [named(made, item) for one, made, item in found if made.part and not separable(made, one)]
    nobodys = [is_right(made, item) for one, made, item in found if not made.part and not near_a_rotor(made, one)]
    return tuple(float(np.mean(one)) for one in (apart, nobodys, close))  # type: ignore[return-value]


def test_rotors_are_told_on_a_few_badly_described_machines() -> None:
    apart, nobodys, close = held(gone_through(range(14)))
    assert apart >= 0.97
    assert nobodys >= 0.8  # a handful of lines
    assert close >= 0.9


@pytest.mark.slow
def test_rotors_are_told_on_two_hundred_badly_described_machines() -> None:
    """Sizes 0.3 to 1.5 % wrong, packs anywhere, lines ten times their background and more: the issue's own figures.

    A line that no part comes near by 3 % may still be called a part's: one is in twenty.
    """
    found = gone_through(range(200))
    apart, nobodys, close = held(found)
    assert apart >= 0.97
    assert nobodys >= 0.9
    assert close >= 0.97
    nine = [is_right(made, item) for _, made, item in found if 0.85 <= item.probability < 0.95]
    said = [item.probability for _, _, item in found if 0.85 <= item.probability < 0.95]
    spread = 1.96 * math.sqrt(0.09 / len(nine))
    assert 0.85 - spread < np.mean(nine) < 0.95 + spread, np.mean(said)
    chance = np.array([item.probability for _, _, item in found])
    right = np.array([is_right(made, item) for _, made, item in found])
    # Over all lines: what is said to be right is as often right, to a percent.
    assert float(right.mean()) == pytest.approx(float(chance.mean()), abs=0.015)


# --- what cannot be told ----------------------------------------------------------------------------------------------


def reels(takeup_mm: float) -> tuple[float, float]:
    """Rates of take-up and supply reel on the four-track machine; the areas of the packs add up to one side."""
    supply_mm = math.sqrt(11.0**2 + 23.6**2 - takeup_mm**2)
    return 95.25 / (2 * math.pi * takeup_mm), 95.25 / (2 * math.pi * supply_mm)


def test_two_reels_in_mid_tape_are_named_both() -> None:
    middle, _ = reels(math.sqrt((11.0**2 + 23.6**2) / 2))
    (item,) = budget(MACHINE, [line(middle)])
    assert {item.part, item.rivals[0].part} == {"takeup_reel", "supply_reel"}
    assert item.probability == pytest.approx(item.rivals[0].probability, abs=0.02)
    assert not item.rivals[0].told_apart


@pytest.mark.parametrize("takeup_mm", [13.0, 18.4, 22.0])
def test_a_reel_that_slows_is_the_one_that_takes_up(takeup_mm: float) -> None:
    """A growing pack slows by v h / (2 pi r²) a second (closed form); the other one quickens."""
    taking, giving = reels(takeup_mm)
    slows = 95.25 * 0.016 / (2 * math.pi * takeup_mm**2)
    quickens = -95.25 * 0.016 / (2 * math.pi * (95.25 / (2 * math.pi * giving)) ** 2)
    first, second = budget(MACHINE, [line(taking, slowing_per_s=slows), line(giving, slowing_per_s=quickens)])
    assert (first.part, second.part) == ("takeup_reel", "supply_reel")
    assert min(first.probability, second.probability) > 0.9


def test_two_packs_add_up_to_one_side() -> None:
    """One reel at 1.2 Hz leaves one place for the other; a line elsewhere among the reels' rates is not a reel's."""
    taking, giving = reels(95.25 / (2 * math.pi * 1.2))
    beside = budget(MACHINE, [line(taking), line(giving)])
    assert {item.part for item in beside} == {"takeup_reel", "supply_reel"}
    (alone,) = budget(MACHINE, [line(giving * 1.12)])
    (_, wrong) = sorted(budget(MACHINE, [line(taking), line(giving * 1.12)]), key=lambda item: -item.frequency_hz)

    def reel(item: BudgetItem) -> float:
        found = {item.part: item.probability} | {one.part: one.probability for one in item.rivals if one.order == 1}
        return found.get("takeup_reel", 0.0) + found.get("supply_reel", 0.0)

    assert reel(wrong) < reel(alone)


def test_a_harmonic_on_anothers_rate_is_named_with_it() -> None:
    """The two-motor deck: the reel motor's segments come round as often as the capstan where packs are alike."""
    machine = shipped("two_motor_deck")
    middle = 47.625 / (2 * math.pi * math.sqrt((11.0**2 + 23.6**2) / 2))
    items = budget(machine, [line(middle, slowing_per_s=0.0004), line(6 * middle), line(18 * middle)])
    both = {(items[2].part, items[2].order)} | {(one.part, one.order) for one in items[2].rivals}
    assert {("capstan", 1), ("reel_motor", 3)} <= both
    assert any(not one.told_apart for one in items[2].rivals)


def test_what_sits_on_one_shaft_is_said() -> None:
    (item,) = budget(MACHINE, [line(12.05)])
    assert item.part == "capstan"
    assert item.shaft_mates == ("flywheel",)


def test_harmonics_come_with_their_fundamental() -> None:
    """One line at the capstan's third order is hardly the capstan's; beside its first it is."""
    (alone,) = budget(MACHINE, [line(36.15)])
    _, beside = budget(MACHINE, [line(12.05), line(36.15)])
    assert (beside.part, beside.order) == ("capstan", 3)
    assert beside.probability > 0.98
    assert alone.part == UNEXPLAINED or alone.probability < beside.probability


def test_a_harmonic_holds_its_ratio_more_sharply_than_sizes_are_known() -> None:
    """Half a percent beside twice the capstan's own line is within the sizes' doubt, and yet no harmonic of it."""
    _, beside = budget(MACHINE, [line(12.05), line(24.1 * 1.005)])
    assert beside.part != "capstan"


def test_a_line_at_the_mains_rate_may_be_the_mains() -> None:
    assert unknown_density(50.0) > 5 * unknown_density(47.0)


def test_an_unknown_speed_leaves_more_open() -> None:
    (known,), (unknown,) = (budget(MACHINE, [line(12.05 * 1.04)], error) for error in (0.0, None))
    assert known.part == UNEXPLAINED
    assert unknown.part == "capstan"


def test_no_lines_no_budget() -> None:
    assert budget(MACHINE, []) == []
    assert unexplained_pct([]) == 0.0
    assert beside_lines([]) is None


@pytest.mark.parametrize("machine_id", ["four_track", "four_track_starter", "flywheel_cam_deck", "auto_reverse_deck"])
def test_many_lines_get_chances(machine_id: str) -> None:
    rates = np.geomspace(0.3, 190.0, 9)
    for item in budget(shipped(machine_id), [line(float(at)) for at in rates]):
        assert 0.0 < item.probability <= 1.0
        assert item.probability + sum(one.probability for one in item.rivals) <= 1.0 + 1e-9


# --- shares of the reading --------------------------------------------------------------------------------------------


def test_shares_are_of_power() -> None:
    """At 4 Hz the weighting is one by its definition: a line of 0.1 % peak has 0.005 of power, of 0.1 % rms 0.01."""
    rms = Reading(0.1, "%", 0.004)
    (item,) = budget(MACHINE, [Line(4.0, 0.1, 0.002, 0.001, 0.001)], weighted_rms_pct=rms)
    assert item.share is not None
    assert item.share == pytest.approx(0.5, abs=0.03)  # the network is within 0.1 dB of the table there
    assert item.share_doubt == pytest.approx(2 * item.share * math.hypot(0.02, 0.04))
    assert beside_lines([item]) == pytest.approx(1.0 - item.share)


def test_without_a_reading_there_is_no_share() -> None:
    (item,) = budget(MACHINE, [line(12.05)], weighted_rms_pct=Reading(None, "%", why_not="too short"))
    assert item.share is None
    assert beside_lines([item]) is None


# --- what is not from tape --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("machine_id", ["four_track", "one_motor_portable_starter"])
def test_a_computers_square_wave_is_blamed_on_no_part(machine_id: str) -> None:
    """A real file that never touched tape: lines at 39.4 and 60.6 Hz are sampling, as the note beside it says."""
    if not SQUARE.exists():
        pytest.skip("The shared real files are not beside the project.")
    for heard in hear_all(shipped(machine_id), [SQUARE]):
        assert not heard.tone["found"]
        assert heard.budget == ()
        assert heard.unexplained_pct is None
        said = str(heard.tone["why_not"])
        assert "39.4" in said
        assert "60.6" in said
        assert "sampling artefacts of a square wave" in said
        assert "no part of a machine" in said
