"""What must not matter: how large everything is together, what parts are called, in which order the file lists them."""

import random
import tomllib
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.faults.consequences import modes_told, outcome
from tapewright.machine.couplings import links
from tapewright.machine.doubt import columns
from tapewright.machine.forces import mode_margins
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.load import read_machine_text
from tapewright.machine.parts import Machine
from tapewright.machine.rate_twins import rate_twins
from tapewright.machine.rates import rates
from tapewright.machine.running_belt import running_length
from tapewright.machine.typical import all_sizes
from tests.described import as_toml, table_of
from tests.machine.altered import renamed, scaled

ALL = st.sampled_from(shipped_ids())
MEASURED = st.sampled_from([name for name in shipped_ids() if not name.endswith("_starter")])
EQUAL = 1e-9


def turns_of(machine: Machine) -> dict[tuple[str, str], float]:
    return {(mode, key): rate.turns_per_s.value for mode in machine.modes for key, rate in rates(machine, mode).items()}


def belts_of(machine: Machine) -> dict[str, float]:
    table = columns(all_sizes(machine), exact=True)
    belts = [one for one in machine.couplings.values() if one.kind == "belt"]
    return {one.name: float(running_length(machine, one, table)[0]) for one in belts}


def ratios_of(machine: Machine) -> dict[tuple[str, str, str], float]:
    return {
        (mode, link.coupling, link.driven): link.ratio.value for mode in machine.modes for link in links(machine, mode)
    }


def margins_of(machine: Machine) -> dict[tuple[str, str], float]:
    return {
        (mode, one.coupling): one.ratio.value for mode in machine.modes for one in mode_margins(machine, mode, True)
    }


@settings(max_examples=40, deadline=None)
@given(MEASURED, st.floats(0.5, 2.0))
def test_scaling_every_length_scales_the_belts_and_leaves_ratios_and_rates(machine_id: str, scale: float) -> None:
    machine = shipped(machine_id)
    larger = scaled(machine, scale)
    assert belts_of(larger) == pytest.approx({k: scale * v for k, v in belts_of(machine).items()}, rel=EQUAL)
    assert ratios_of(larger) == pytest.approx(ratios_of(machine), rel=EQUAL)
    measured_turns, larger_turns = turns_of(machine), turns_of(larger)
    assert larger_turns == pytest.approx(measured_turns, rel=EQUAL)


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_renaming_parts_changes_nothing(machine_id: str) -> None:
    machine = shipped(machine_id)
    other, names = renamed(machine)

    def called(key: str) -> str:
        stem, dot, what = key.partition(".")
        return names[stem] + dot + what

    assert turns_of(other) == pytest.approx({(m, called(k)): v for (m, k), v in turns_of(machine).items()}, rel=EQUAL)
    assert belts_of(other) == pytest.approx({called(k): v for k, v in belts_of(machine).items()}, rel=EQUAL)
    assert margins_of(other) == pytest.approx(
        {(m, called(k)): v for (m, k), v in margins_of(machine).items()}, rel=EQUAL
    )
    for mode, told in modes_told(machine).items():
        again = modes_told(other)[mode]
        assert (again.tape, again.head_base) == (told.tape, told.head_base)
        assert dict(again.motors) == {names[name]: word for name, word in told.motors.items()}


@cache
def usual(machine_id: str) -> tuple[dict[Any, float], dict[Any, float], dict[str, str], list[Any]]:
    machine = shipped(machine_id)
    twins = [(one.first, one.second, one.why) for one in rate_twins(machine, "play")]
    return turns_of(machine), margins_of(machine), dict(outcome(machine).values), sorted(twins)


def shuffled(table: dict[str, Any], draw: random.Random) -> dict[str, Any]:
    """Every table with its keys in another order; lists keep theirs, since there the order is a statement."""
    keys = list(table)
    draw.shuffle(keys)
    return {key: shuffled(table[key], draw) if isinstance(table[key], dict) else table[key] for key in keys}


@settings(max_examples=48, deadline=None)
@given(ALL, st.integers(0, 10_000))
def test_the_order_in_the_file_changes_nothing(machine_id: str, seed: int) -> None:
    table = shuffled(table_of(machine_id), random.Random(seed))
    # Keys of the top that are no tables have to stand before the first table: TOML wants it so.
    table = {"schema": table.pop("schema"), **table}
    text = as_toml(table)
    assert tomllib.loads(text) == table_of(machine_id)
    machine = read_machine_text(text, "mine.toml")
    assert replace(machine, source="") == replace(shipped(machine_id), source="")
    turning, margins, words, twins = usual(machine_id)
    assert turns_of(machine) == pytest.approx(turning, rel=EQUAL)
    assert margins_of(machine) == pytest.approx(margins, rel=EQUAL)
    found = dict(outcome(machine).values)
    told = {name for name in words if name.partition(":")[0].partition("@")[0] in ("turns", "tape", "head_base", "nip")}
    told = {name for name in told if "~" not in name}  # another moment has its own node only where it differs
    assert {name: found[name] for name in told} == {name: words[name] for name in told}
    assert sorted((one.first, one.second, one.why) for one in rate_twins(machine, "play")) == twins
