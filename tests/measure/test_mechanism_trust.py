"""How sure a motor is said to run: more with more lines, less where none is due, never beyond what trials bear out."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tapewright.measure.mechanism_runs import Run
from tapewright.measure.mechanism_trust import MOTOR_MOST, Clue, sureness

ORDERS = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 9.0, 12.0, 18.0, 24.0)


def clue(
    lines: int, usual: float, *, due: bool = True, against: float = 1.0, orders: tuple[float, ...] = ORDERS
) -> Clue:
    return Clue(Run("motor", 0, 20, np.full(21, 57.0), orders, (40.0, 75.0), usual), against, lines, due)


@given(st.integers(2, 9), st.floats(0.05, 5.0), st.booleans(), st.floats(0.0, 1.0))
def test_more_lines_and_a_more_usual_rate_make_it_surer(lines: int, usual: float, due: bool, against: float) -> None:
    here = sureness(clue(lines, usual, due=due, against=against))
    assert here <= sureness(clue(lines + 1, usual, due=due, against=against))
    assert here <= sureness(clue(lines, 1.5 * usual, due=due, against=against))
    assert here <= sureness(clue(lines, usual, due=True, against=against))
    assert here <= min(against, MOTOR_MOST)


def test_a_few_lines_at_nobodys_rate_where_nothing_is_due_are_no_motor() -> None:
    """Such were all that passed for motors in the trials: four lines of ten, and a rate far from the described one."""
    assert sureness(clue(4, 0.3, due=False)) < 0.3
    assert sureness(clue(6, 3.4)) == MOTOR_MOST


def test_lines_count_by_how_many_were_looked_at() -> None:
    assert sureness(clue(2, 1.0, orders=ORDERS[:4])) == sureness(clue(5, 1.0))
