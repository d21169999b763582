"""One belt as it runs in a machine: its way, its stretch, what it can pull."""

import numpy as np

from tapewright.machine.belt_path import BeltPath, belt_path, centres_of, sides_of
from tapewright.machine.couplings import running_diameter
from tapewright.machine.doubt import Column, Columns
from tapewright.machine.formulas import belt_pull, belt_tension
from tapewright.machine.parts import Coupling, Machine


def way(machine: Machine, belt: Coupling, table: Columns, at_the_middle: bool = False) -> BeltPath | None:
    """Follow a belt along its inside, or along the middle of its thickness; None when a position is not known."""
    centres = centres_of(machine, belt)
    if centres is None:
        return None
    half = table[f"{belt.name}.thickness"] / 2 if at_the_middle else 0.0
    path = belt_path(centres, [running_diameter(machine, one, table) / 2 + half for one in belt.path], sides_of(belt))
    # Two free spans carry what the positions may be off; see typical.CENTRE_DOUBT.
    return BeltPath(path.length_m + 2 * table[f"{belt.name}.centre"], path.wraps_rad, path.spans_m)


def stretch(machine: Machine, belt: Coupling, table: Columns) -> Column:
    """Give a belt's strain as fitted: from its relaxed length and its way where both are known, else the usual one."""
    path = way(machine, belt, table)
    if path is None or belt.length is None:
        return table[f"{belt.name}.strain"]
    return np.maximum(path.length_m / table[f"{belt.name}.length"] - 1, 0.0)


def tension_at_rest(machine: Machine, belt: Coupling, table: Columns) -> Column:
    """Give a belt's tension with nothing turning, newtons; a tired belt has a share of it left."""
    section = table[f"{belt.name}.width"] * table[f"{belt.name}.thickness"]
    fitted = belt_tension(table[f"{belt.name}.modulus"], section, stretch(machine, belt, table))
    return np.asarray(fitted * belt.imperfections.tension)


def pull(machine: Machine, belt: Coupling, pulley: str, table: Columns) -> Column:
    """Give the largest difference of tension a belt passes at one of its pulleys, newtons."""
    path = way(machine, belt, table)
    wrap = table[f"{belt.name}.wrap"] if path is None else path.wraps_rad[belt.path.index(pulley)]
    grip = belt.imperfections.grip * machine.rotors[pulley].imperfections.grip
    return np.asarray(belt_pull(tension_at_rest(machine, belt, table), table[f"{belt.name}.friction"] * grip, wrap))


def running_length(machine: Machine, belt: Coupling, table: Columns) -> Column:
    """Give the length of the running loop along its middle, metres: what passes in one belt turn.

    From the positions where they are known; else from the relaxed inside length, stretched, plus pi times the
    thickness; else the usual length of such a belt.
    """
    path = way(machine, belt, table, at_the_middle=True)
    if path is not None:
        return path.length_m
    length = table[f"{belt.name}.length"]
    if belt.length is None:
        return length
    return length * (1 + table[f"{belt.name}.strain"]) + np.pi * table[f"{belt.name}.thickness"]
