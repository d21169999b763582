"""One table of a description, read key by key; every mistake in it is collected, none stops the reading.

A key that nobody asked for is unknown, so the list of valid keys exists only once: in the code that asks.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final

from tapewright.words.estimate import Estimate
from tapewright.words.problem import Problem

_NAME: Final = re.compile(r"[^\W\d][\w-]*")


def did_you_mean(found: str, valid: Sequence[str]) -> str:
    """Suggest what was meant, or list what would be valid.

    >>> did_you_mean("flywhel", ["flywheel", "capstan"])
    'Did you mean "flywheel"?'
    >>> did_you_mean("x", ["flywheel", "capstan"])
    'Valid here: flywheel, capstan.'
    """
    close = get_close_matches(found.lower(), valid, n=1, cutoff=0.6)
    if close:
        return f'Did you mean "{close[0]}"?'
    return f"Valid here: {', '.join(valid)}." if valid else "Take it out."


@dataclass(slots=True)
class Desk:
    """Where the mistakes of one description are collected."""

    source: str
    problems: list[Problem] = field(default_factory=list)

    def report(self, path: str, found: str, do: str) -> None:
        """Add one mistake at a key path."""
        self.problems.append(Problem(f"{self.source}, {path}" if path else self.source, found, do))


@dataclass(frozen=True, slots=True)
class Size:
    """How one number of a description becomes a quantity in SI units.

    Arguments:
        factor: SI units in one unit of the key.
        low: smallest value that can be meant, in the key's unit.
        high: largest value that can be meant, in the key's unit.
        doubt: half-width of the 95 % interval in the key's unit, where none is written beside it.
    """

    factor: float
    low: float
    high: float
    doubt: float = 0.0


def _shown(value: object) -> str:
    """Write a value as the file would."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, list):
        text = f"[{', '.join(_shown(one) for one in value)}]"
    else:
        text = "A table" if isinstance(value, Mapping) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


class Section:
    """One table of the description.

    Arguments:
        data: what the file holds there.
        path: its key path, for messages.
        desk: where mistakes go.
    """

    def __init__(self, data: object, path: str, desk: Desk) -> None:
        self.path = path
        self.desk = desk
        self.asked: list[str] = []
        if not isinstance(data, Mapping):
            desk.report(path, f"{_shown(data)} stands where a table is needed.", f"Write it as a table: [{path}].")
            data = {}
        self.data: Mapping[str, object] = data

    def where(self, key: str) -> str:
        """Give the key path of one key."""
        return f"{self.path}.{key}" if self.path else key

    def report(self, key: str, found: str, do: str) -> None:
        """Add one mistake at one of this table's keys."""
        self.desk.report(self.where(key), found, do)

    def has(self, key: str) -> bool:
        """Ask for a key, and tell whether it is there."""
        if key not in self.asked:
            self.asked.append(key)
        return key in self.data

    def table(self, key: str) -> "Section":
        """Give a table inside this one; an empty one when it is not there."""
        return Section(self.data[key] if self.has(key) else {}, self.where(key), self.desk)

    def tables(self, key: str) -> dict[str, "Section"]:
        """Give the named tables inside a table, in the order of the file."""
        outer = self.table(key)
        for name in outer.data:
            if not _NAME.fullmatch(name):
                outer.report(name, "This name cannot be used.", "Use letters, digits and underscores: idler_tyre.")
        return {name: outer.table(name) for name in outer.data}

    def text(self, key: str, default: str = "") -> str:
        """Give a text."""
        if not self.has(key):
            return default
        value = self.data[key]
        if not isinstance(value, str):
            self.report(key, f"{_shown(value)} is not a text.", "Put it in quotation marks.")
            return default
        return value

    def needed(self, key: str, do: str) -> str:
        """Give a text that cannot be left out."""
        if not self.has(key):
            self.report(key, "This key is missing.", do)
        value = self.text(key)
        if self.has(key) and value == "" and isinstance(self.data[key], str):
            self.report(key, "This text is empty.", do)
        return value

    def choice(self, key: str, options: Sequence[str], default: str | None = None) -> str:
        """Give one of several words; the likeliest one stands in for a mistake, so that reading can go on."""
        if not self.has(key):
            if default is None:
                self.report(key, "This key is missing.", f"Write one of: {', '.join(options)}.")
            return default or options[0]
        value = self.data[key]
        if isinstance(value, str) and value in options:
            return value
        self.report(key, f"{_shown(value)} is not known here.", did_you_mean(str(value), options))
        close = get_close_matches(str(value).lower(), options, n=1, cutoff=0.6)
        return close[0] if close else (default or options[0])

    def flag(self, key: str, default: bool = False) -> bool:
        """Give a true or false."""
        if not self.has(key):
            return default
        value = self.data[key]
        if not isinstance(value, bool):
            self.report(key, f"{_shown(value)} is neither true nor false.", f"Write {key} = true or {key} = false.")
            return default
        return value

    def names(self, key: str) -> tuple[str, ...]:
        """Give a list of names."""
        if not self.has(key):
            return ()
        value = self.data[key]
        if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
            self.report(key, f"{_shown(value)} is not a list of names.", f'Write {key} = ["one", "another"].')
            return ()
        return tuple(value)

    def needed_names(self, key: str, do: str) -> tuple[str, ...]:
        """Give a list of names that cannot be left out."""
        if not self.has(key) or self.data[key] == []:
            self.report(key, "This list is empty." if key in self.data else "This key is missing.", do)
        return self.names(key)

    def shares(self, size: Size) -> dict[str, float | None]:
        """Give the number at every key, whatever the keys are called."""
        return {name: self.number(name, size) for name in self.data}

    def version(self, key: str, known: int) -> None:
        """Hold a version against the one that is known."""
        if not self.has(key):
            self.report(key, "This key is missing.", f"Write {key} = {known} at the top.")
        elif self.data[key] != known or isinstance(self.data[key], bool):
            self.report(key, f"{self.data[key]!r} is not a known version.", f"Write {key} = {known}.")

    def one_of(self, name: str, names: Sequence[str], what: str) -> None:
        """Report this table when its own name is none of those it can have."""
        if name not in names:
            self.desk.report(self.path, f'"{name}" is not a {what}.', did_you_mean(name, names))

    def number(self, key: str, size: Size) -> float | None:
        """Give a number in the key's own unit; None when it is not there or cannot be meant."""
        if not self.has(key):
            return None
        return self.checked(key, self.data[key], size)

    def checked(self, key: str, value: object, size: Size) -> float | None:
        """Give a value as a number inside its bounds, or report it."""
        if not _is_number(value):
            self.report(key, f"{_shown(value)} is not a number.", f"Write a plain number: {key} = {_example(size)}.")
            return None
        assert isinstance(value, (int, float))
        if not (isinstance(value, int) or math.isfinite(value)) or not size.low <= value <= size.high:
            bounds = f"Measure again: between {size.low:g} and {size.high:g} can be meant here."
            self.report(key, f"{_shown(value)} is not possible.", f"{bounds} Leave the key out if it is not known.")
            return None
        return float(value)

    def estimate(self, key: str, size: Size) -> Estimate | None:
        """Give a number and its doubt in SI units; a `<key>_doubt` beside it says how well it was measured."""
        beside = f"{key}_doubt"
        value = self.number(key, size)
        doubt = self.number(beside, Size(1.0, 0.0, size.high))
        if doubt is not None and not self.has(key):
            self.report(beside, f"There is a doubt without its number {key}.", f"Write {key} too, or take it out.")
        if value is None:
            return None
        return Estimate(value * size.factor, (size.doubt if doubt is None else doubt) * size.factor)

    def either(self, sizes: Mapping[str, Size]) -> Estimate | None:
        """Give one quantity that may be written in several units, and be written only once."""
        read = {key: self.estimate(key, size) for key, size in sizes.items()}
        given = [key for key in sizes if key in self.data]
        if len(given) > 1:
            self.report(given[1], f"The same quantity is also given as {given[0]}.", "Keep one of the two.")
        return read[given[0]] if given else None

    def whole(self, key: str, low: int, high: int, default: int = 0) -> int:
        """Give a whole number."""
        if not self.has(key):
            return default
        value = self.data[key]
        if not _is_number(value) or value != value or value not in range(low, high + 1):
            found = f"{_shown(value)} is not a whole number from {low} to {high}."
            self.report(key, found, f"Count again: {key} = {max(low, 3)}. Leave the key out if it is not known.")
            return default
        assert isinstance(value, (int, float))
        return int(value)

    def numbers(self, key: str, count: int | None, size: Size) -> tuple[float, ...] | None:
        """Give a list of numbers in the key's own unit."""
        if not self.has(key):
            return None
        value = self.data[key]
        if not isinstance(value, list) or (count is not None and len(value) != count):
            wanted = f"a list of {count} numbers" if count else "a list of numbers"
            example = ", ".join([_example(size)] * (count or 2))
            self.report(key, f"{_shown(value)} is not {wanted}.", f"Write {key} = [{example}].")
            return None
        read = [self.checked(key, one, size) for one in value]
        kept = tuple(one for one in read if one is not None)
        return kept if len(kept) == len(read) else None

    def close(self) -> None:
        """Report every key that nobody asked for."""
        for key in self.data:
            if key not in self.asked:
                self.report(key, "This key is not known here.", self._meant(key))

    def _meant(self, key: str) -> str:
        with_unit = [asked for asked in self.asked if asked.startswith(f"{key}_") and not asked.endswith("_doubt")]
        if with_unit:
            meant = " or ".join(f'"{asked}"' for asked in with_unit)
            return f"Did you mean {meant}? Every size has its unit in its key."
        return did_you_mean(
            key, [asked for asked in self.asked if key.endswith("_doubt") or not asked.endswith("_doubt")]
        )


def _example(size: Size) -> str:
    middle = math.sqrt(size.low * size.high) if size.low > 0 else size.high / 10
    return f"{float(f'{middle:.1g}')!r}" if math.isfinite(middle) else "1.0"
