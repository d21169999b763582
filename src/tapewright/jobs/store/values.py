"""Values on their way in and out: checked at the door, plain data in the history, columns in a table."""

import dataclasses
import math
import types
import typing
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime
from enum import StrEnum
from functools import cache
from typing import Any, Final, TypeVar

from sqlalchemy import RowMapping

from tapewright.jobs.store.nouns import ITEMS, Money, Owner, Particulars
from tapewright.words.problem import InputAtFaultError, Problem, nearest

LONGEST_TEXT: Final = 20_000
LONGEST_DESCRIPTION: Final = 1_000_000
LARGEST_NUMBER: Final = 2**53
"""Whole numbers beyond it are not the same in every reader of JSON."""
NOUNS: Final[Mapping[str, type[Any]]] = {"job": Particulars, "owner": Owner, **ITEMS}
_N = TypeVar("_N")


@cache
def field_types(entity: str) -> dict[str, Any]:
    """Give the type of each field of a kind of thing, by name."""
    return typing.get_type_hints(NOUNS[entity])


def checked(entity: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Check what is to be kept, and give it as plain data.

    Arguments:
        entity: "job", "owner" or a kind of item.
        given: values by field; not every field need be there.

    Raises:
        InputAtFaultError: with a Problem for each value that cannot be kept.

    >>> checked("part", {"what": "belt", "cost": Money(450, "EUR")})
    {'what': 'belt', 'cost': {'amount': 450, 'currency': 'EUR'}}
    """
    known, problems, kept = field_types(entity), list[Problem](), dict[str, Any]()
    for name, value in given.items():
        if name not in known:
            problems.append(Problem(name, "is nothing that a job holds.", nearest(name, known)))
            continue
        try:
            kept[name] = _plain(value, known[name], LONGEST_DESCRIPTION if name == "description" else LONGEST_TEXT)
        except _NoGoodError as error:
            problems.append(Problem(name.replace("_", " "), error.found, error.do))
    if problems:
        raise InputAtFaultError(problems)
    return kept


def plain_of(noun: Any) -> dict[str, Any]:
    """Give every field of a thing, not yet checked."""
    return {each.name: getattr(noun, each.name) for each in dataclasses.fields(noun)}


class _NoGoodError(Exception):
    def __init__(self, found: str, do: str) -> None:
        self.found, self.do = found, do
        super().__init__(found)


def _plain(value: Any, kind: Any, longest: int) -> Any:
    inner, may_be_none = _without_none(kind)
    if value is None:
        if may_be_none:
            return None
        raise _NoGoodError("is empty.", "Say something here.")
    turn = _word if isinstance(inner, type) and issubclass(inner, StrEnum) else _TURN[inner]
    return turn(value, inner, longest)


def _without_none(kind: Any) -> tuple[Any, bool]:
    if isinstance(kind, types.UnionType):
        (inner,) = (each for each in typing.get_args(kind) if each is not type(None))
        return inner, True
    return kind, False


def _text(value: Any, _kind: Any, longest: int) -> str:
    if not isinstance(value, str):
        raise _NoGoodError(f"is {value!r}.", "Give words.")
    if len(value) > longest:
        raise _NoGoodError(f"has {len(value)} characters.", f"Keep to {longest}.")
    if "\x00" in value or any("\ud800" <= c <= "\udfff" for c in value):
        raise _NoGoodError("holds a character that is none.", "Type it again.")
    return value


def _word(value: Any, kind: type[StrEnum], _longest: int) -> str:
    try:
        return kind(value).value
    except ValueError:
        known = ", ".join(repr(each.value) for each in kind)
        raise _NoGoodError(f"is {value!r}.", f"It can be: {known}.") from None


def _truth(value: Any, _kind: Any, _longest: int) -> bool:
    if not isinstance(value, bool):
        raise _NoGoodError(f"is {value!r}.", "Say yes or no.")
    return value


def _whole(value: Any, _kind: Any, _longest: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) >= LARGEST_NUMBER:
        raise _NoGoodError(f"is {value!r}.", "Give a whole number.")
    return value


def _number(value: Any, _kind: Any, _longest: int) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise _NoGoodError(f"is {value!r}.", "Give a number.")
    return float(value)


def _moment(value: Any, _kind: Any, _longest: int) -> str:
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
        if isinstance(moment, datetime) and moment.tzinfo is not None:
            return moment.astimezone(UTC).isoformat(timespec="microseconds")
    except (ValueError, OverflowError):
        pass
    raise _NoGoodError(f"is {value!r}.", "Give a day and an hour with their time zone.")


def _day(value: Any, _kind: Any, _longest: int) -> str:
    try:
        day = date.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        day = None
    if not isinstance(day, date) or isinstance(day, datetime):
        raise _NoGoodError(f"is {value!r}.", "Give a day as 2026-03-31.")
    return day.isoformat()


def _money(value: Any, _kind: Any, _longest: int) -> dict[str, Any]:
    if isinstance(value, Mapping) and set(value) == {"amount", "currency"}:
        value = Money(value["amount"], value["currency"])
    if not isinstance(value, Money):
        raise _NoGoodError(f"is {value!r}.", "Give an amount with its currency.")
    return {"amount": value.amount, "currency": value.currency}


def _several(value: Any, _kind: Any, longest: int) -> list[str]:
    if isinstance(value, str) or not isinstance(value, (list, tuple)):
        raise _NoGoodError(f"is {value!r}.", "Give a list of words.")
    if sum(map(len, value)) > longest:
        raise _NoGoodError("is too long a list.", f"Keep to {longest} characters.")
    return [_text(each, str, longest) for each in value]


_TURN: Final[Mapping[Any, Callable[[Any, Any, int], Any]]] = {
    str: _text,
    bool: _truth,
    int: _whole,
    float: _number,
    datetime: _moment,
    date: _day,
    Money: _money,
    tuple[str, ...]: _several,
}


# --- back from plain data, and to and from columns -------------------------------------------------------------------


def noun_of(entity: str, plainly: Mapping[str, Any]) -> Any:
    """Make the thing again from plain data; what is not there has its usual value."""
    known = field_types(entity)
    return NOUNS[entity](**{name: _back(value, known[name]) for name, value in plainly.items() if name in known})


def _back(value: Any, kind: Any) -> Any:
    inner, _ = _without_none(kind)
    if value is None:
        return None
    if inner is Money:
        return Money(value["amount"], value["currency"])
    if inner is datetime:
        return datetime.fromisoformat(value) if isinstance(value, str) else value
    if inner is date:
        return date.fromisoformat(value) if isinstance(value, str) else value
    if inner == tuple[str, ...]:
        return tuple(value)
    if inner is float:
        return float(value)
    return inner(value) if issubclass(inner, StrEnum) else value


def columns_of(entity: str, plainly: Mapping[str, Any]) -> dict[str, Any]:
    """Give the columns of a table from plain data; money takes two."""
    known, columns = field_types(entity), dict[str, Any]()
    for name, value in plain_of(noun_of(entity, plainly)).items():
        if _without_none(known[name])[0] is Money:
            columns[name] = None if value is None else value.amount
            columns[f"{name}_currency"] = None if value is None else value.currency
        elif isinstance(value, tuple):
            columns[name] = list(value)
        else:
            columns[name] = value.value if isinstance(value, StrEnum) else value
    return columns


def noun_of_columns(entity: str, row: RowMapping) -> Any:
    """Make the thing again from a row of its table."""
    known, values = field_types(entity), dict[str, Any]()
    for name, kind in known.items():
        value = row[name]
        if value is not None and _without_none(kind)[0] is Money:
            value = {"amount": value, "currency": row[f"{name}_currency"]}
        values[name] = _back(value, kind)
    return NOUNS[entity](**values)


def search_words(texts: Iterable[str]) -> str:
    r"""Give what a search looks through: all texts, without capitals.

    >>> search_words(["26-0417", "Squeals", ""])
    '26-0417\nsqueals'
    """
    return "\n".join(text.casefold() for text in texts if text)
