"""Words that nothing downstream tells apart are one word: an exact way to keep the tables of a network small.

Two words of a function are alike when every function that hangs on it gives the same answer for both, and no sign tells
them apart. Merging them changes no probability (it is bisimulation, or lumping, of a deterministic network); it is done
again until nothing more merges, since each merging can make others possible.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tapewright.diagnose.contraction import Factor

Marks = Mapping[str, Mapping[str, tuple[float | str, ...]]]


@dataclass(frozen=True, slots=True, eq=False)
class Merged:
    """A network with alike words merged.

    Arguments:
        factors: the smaller tables; a function left with a single word is gone.
        words: the words that are left.
        stands_for: (node, word) -> the word that now stands for it.
    """

    factors: list[Factor]
    words: dict[str, tuple[str, ...]]
    stands_for: dict[tuple[str, str], str]


def merge_alike(factors: Sequence[Factor], words: Mapping[str, tuple[str, ...]], apart: Marks) -> Merged:
    """Merge alike words until no more can be.

    Arguments:
        factors: tables; the last variable of each is the function's own, those before it what it hangs on.
        words: the words of each function.
        apart: for nodes that are observed, what tells their words apart.
    """
    tables = list(factors)
    left = dict(words)
    stands: dict[tuple[str, str], str] = {}
    changed = True
    while changed:
        changed = False
        for name in list(left):
            groups = _groups(name, tables, left[name], apart.get(name, {}))
            if len(groups) < len(left[name]) or len(groups) == 1:
                tables = _shrunk(name, tables, groups)
                for group in groups:
                    stands |= {(name, left[name][i]): left[name][group[0]] for i in group}
                left[name] = tuple(left[name][group[0]] for group in groups)
                changed = True
                if len(groups) == 1:
                    tables = _without(name, tables)
                    del left[name]
    return Merged(tables, left, _followed(stands))


def _groups(
    name: str, tables: Sequence[Factor], values: tuple[str, ...], marks: Mapping[str, tuple[float | str, ...]]
) -> list[list[int]]:
    downstream = [t for t in tables if name in t.variables[:-1]]
    alike: dict[tuple[object, ...], list[int]] = {}
    for i, value in enumerate(values):
        slices = tuple(np.take(t.table, i, axis=t.variables.index(name)).tobytes() for t in downstream)
        alike.setdefault((marks.get(value, ()), *slices), []).append(i)
    return list(alike.values())


def _shrunk(name: str, tables: Sequence[Factor], groups: list[list[int]]) -> list[Factor]:
    shrunk = []
    for factor in tables:
        if name in factor.variables:
            axis = factor.variables.index(name)
            if axis == len(factor.variables) - 1:
                parts = [factor.table.take(group, axis=axis).sum(axis=axis, keepdims=True) for group in groups]
                table = np.concatenate(parts, axis=axis)
            else:
                table = factor.table.take([group[0] for group in groups], axis=axis)
            factor = Factor(factor.variables, np.ascontiguousarray(table))
        shrunk.append(factor)
    return shrunk


def _without(name: str, tables: Sequence[Factor]) -> list[Factor]:
    """Drop a function that has one word left: its own table goes, its axis in the others too."""
    kept = []
    for factor in tables:
        if factor.variables[-1] == name:
            continue
        if name in factor.variables:
            axis = factor.variables.index(name)
            variables = tuple(v for v in factor.variables if v != name)
            factor = Factor(variables, np.ascontiguousarray(factor.table.take(0, axis=axis)))
        kept.append(factor)
    return kept


def _followed(stands: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    """Follow each word to the one that stands for it in the end."""
    final = {}
    for name, word in stands:
        now = word
        while stands.get((name, now), now) != now:
            now = stands[name, now]
        final[name, word] = now
    return final
