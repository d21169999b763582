"""Real cases against what anybody could say without the tool: the commonest part, and base rates.

Source: 46 public repair write-ups in our own words. What is asked here is a floor, below the figures in
`docs/real-cases.md`, so that a change which makes the tool worse at real machines fails.
"""

import numpy as np
import pytest

from tapewright.machine.library import shipped, shipped_ids
from tests.cases.scoring import by_base_rate, causes, interval, parts_of, scored


def test_every_cause_can_be_looked_up() -> None:
    for machine_id in shipped_ids():
        for told in causes().values():
            for cause in told:
                assert parts_of(shipped(machine_id), f"{cause['part']} {cause['kind']}") is not None


def test_the_interval_of_a_share_holds_ninety_five_in_a_hundred() -> None:
    """Slow obvious version: the density p^(hits - 1/2) (1 - p)^(misses - 1/2) summed on a fine grid."""
    share = (np.arange(200_000) + 0.5) / 200_000
    for hits, of in ((10, 46), (23, 46), (45, 46)):
        density = share ** (hits - 0.5) * (1.0 - share) ** (of - hits - 0.5)
        low, high = interval(hits, of)
        total = density.sum()
        assert density[share < low].sum() / total == pytest.approx(0.025, abs=1e-4)
        assert density[share > high].sum() / total == pytest.approx(0.025, abs=1e-4)


@pytest.mark.slow
def test_real_cases_from_the_words_alone() -> None:
    outcomes = scored()
    first, three = (sum(one.within(places) for one in outcomes) for places in (1, 3))
    assert first >= 22
    assert three >= 31
    assert first > 10 + by_base_rate(outcomes, 1)
    assert three > by_base_rate(outcomes, 3)


@pytest.mark.slow
def test_real_cases_with_the_checks_that_were_done() -> None:
    outcomes = scored(with_checks=True)
    assert sum(one.within(1) for one in outcomes) >= 30
    assert sum(one.within(3) for one in outcomes) >= 35
