"""Orders that were found once, kept on this machine: searching for one takes seconds, following one a fraction of one.

A file holds the order of one network and is named after what that network allows, so that a description that changes
has another file. It is a convenience: what is missing, spoilt or cannot be written is searched for again, and the
result is the same.
"""

import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from tapewright import __version__
from tapewright.diagnose.known_orders import known_order
from tapewright.diagnose.ordering import DEAR, Order, best_order, cheapest_given, cheapest_order, given_order
from tapewright.diagnose.relations import Relation
from tapewright.words.problem import InputAtFaultError
from tapewright.words.whole_file import write_whole

WORTH_KEEPING: Final = 40
"""Relations from which a network's order is kept; that of a smaller one is found at once."""
MOST_KEPT: Final = 500
"""Files of a few kilobytes; the oldest go."""
SEARCH: Final = 1
"""To be raised when the search changes, so that an order it would no longer find is not followed."""


def cache_home(environment: Mapping[str, str] = os.environ) -> Path | None:
    """Give the folder for what can be worked out again; None where nothing is to be kept.

    TAPEWRIGHT_CACHE names it, or says `off`; otherwise it is where this system keeps a user's caches.

    >>> cache_home({"TAPEWRIGHT_CACHE": "off"}) is None
    True
    >>> cache_home({"TAPEWRIGHT_CACHE": "kept here"}).name
    'kept here'
    """
    named = environment.get("TAPEWRIGHT_CACHE")
    if named:
        return None if named == "off" else Path(named)
    try:
        if sys.platform == "win32":
            base = Path(environment.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
            return base / "tapewright" / "cache"
        if sys.platform == "darwin":
            return Path.home() / "Library" / "Caches" / "tapewright"
        given = Path(environment.get("XDG_CACHE_HOME", ""))
        return (given if given.is_absolute() else Path.home() / ".cache") / "tapewright"
    except RuntimeError:  # a user without a home
        return None


def kept_order(
    relations: Sequence[Relation], sizes: Mapping[str, int], environment: Mapping[str, str] = os.environ
) -> Order:
    """Find a cheap order, or follow the one that was found before: the same either way.

    One that is shipped (`known_orders`) is followed where it fits, and nothing is searched for.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
        environment: says where orders are kept.
    """
    if len(relations) < WORTH_KEEPING:
        return best_order(relations, sizes)
    known = known_order(relations, sizes)
    return known or _kept(relations, sizes, lambda: best_order(relations, sizes), environment)


def kept_cheapest(
    relations: Sequence[Relation],
    sizes: Mapping[str, int],
    orders: Sequence[Sequence[str]],
    environment: Mapping[str, str] = os.environ,
) -> Order:
    """Take the cheapest of some orders; where even that is dear, what was searched for, and kept, may be cheaper.

    Arguments:
        relations: which combinations each factor allows.
        sizes: number of values of each variable.
        orders: of the variables.
        environment: says where orders are kept.
    """
    order = cheapest_given(relations, sizes, orders, DEAR)
    return order or _kept(relations, sizes, lambda: cheapest_order(relations, sizes, orders), environment)


def _kept(
    relations: Sequence[Relation],
    sizes: Mapping[str, int],
    search: Callable[[], Order],
    environment: Mapping[str, str],
) -> Order:
    home = cache_home(environment)
    if home is None:
        return search()
    path = home / "orders" / f"{_key(relations, sizes)}.json"
    found = _followed(path, relations, sizes)
    if found is None:
        found = search()
        _keep(path, found)
    return found


def _key(relations: Sequence[Relation], sizes: Mapping[str, int]) -> str:
    """Name a network by all that an order hangs on."""
    scopes = [relation.variables for relation in relations]
    told = json.dumps([__version__, SEARCH, scopes, [[name, sizes[name]] for name in sorted(sizes)]])
    digest = hashlib.sha256(told.encode())
    for relation in relations:
        digest.update(f"{relation.values.shape}".encode())
        digest.update(np.ascontiguousarray(relation.values, dtype="<i2").tobytes())
    return digest.hexdigest()


def _followed(path: Path, relations: Sequence[Relation], sizes: Mapping[str, int]) -> Order | None:
    """Follow a kept order; None where there is none, or it is not what was kept."""
    try:
        kept = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    match kept:
        case {"pairs": int(pairs), "variables": [*variables]}:
            names = sorted({name for relation in relations for name in relation.variables})
            if all(isinstance(name, str) for name in variables) and sorted(variables) == names:
                order = given_order(relations, sizes, variables, pairs)
                return order if order is not None and order.pairs == pairs else None
    return None


def _keep(path: Path, order: Order) -> None:
    """Write an order down; where that cannot be, it is searched for again the next time."""
    with contextlib.suppress(InputAtFaultError, OSError):
        write_whole(path, json.dumps({"pairs": order.pairs, "variables": order.variables}))
        by_age = sorted(path.parent.glob("*.json"), key=lambda one: one.stat().st_mtime)
        for old in by_age[:-MOST_KEPT]:
            old.unlink()
