"""Who is signed in, and how often somebody may try: both in memory, so that all are signed out when the bench ends."""

import hashlib
import ipaddress
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from tapewright.jobs.people import Person, plain_name

IDLE_S: Final = 4 * 3600.0
LONGEST_S: Final = 14 * 3600.0
"""A working day: whoever signs in in the morning is not asked again at the bench, and nobody stays in overnight."""
MOST_SESSIONS: Final = 500
FREE_TRIES: Final = 5
FREE_TRIES_OF_A_NAME: Final = 20
LONGEST_WAIT_S: Final = {"from": 300.0, "as": 30.0}
"""By address, and by name: the latter is short, so that nobody is kept out by others who try their name."""
FORGOTTEN_AFTER_S: Final = 3600.0
MOST_COUNTED: Final = 10_000
MOST_AT_ONCE: Final = 4
"""Passwords looked at together: each takes 64 MiB."""

Clock = Callable[[], float]


@dataclass(slots=True)
class _Session:
    person: Person
    begun_s: float
    used_s: float


class Sessions:
    """Who is signed in.

    Arguments:
        now_s: the time, seconds, of any clock that goes on evenly.
    """

    def __init__(self, now_s: Clock = time.monotonic) -> None:
        self._now_s, self._lock = now_s, threading.Lock()
        self._open: OrderedDict[str, _Session] = OrderedDict()

    def begin(self, person: Person) -> str:
        """Sign somebody in; gives a new id, drawn at random, that only their browser gets."""
        token, now_s = secrets.token_urlsafe(32), self._now_s()
        with self._lock:
            self._open[_kept_as(token)] = _Session(person, now_s, now_s)
            while len(self._open) > MOST_SESSIONS:
                self._open.popitem(last=False)
        return token

    def person(self, token: str, people: tuple[Person, ...]) -> Person | None:
        """Give who came with an id; None when it is none, too old, or of somebody who is no longer as they were.

        Arguments:
            token: as the browser sent it.
            people: who may come in now.
        """
        now_s, key = self._now_s(), _kept_as(token)
        with self._lock:
            session = self._open.get(key)
            if session is None:
                return None
            old = now_s - session.used_s > IDLE_S or now_s - session.begun_s > LONGEST_S
            if old or session.person not in people:
                del self._open[key]
                return None
            session.used_s = now_s
            self._open.move_to_end(key)
            return session.person

    def end(self, token: str) -> None:
        """Sign somebody out."""
        with self._lock:
            self._open.pop(_kept_as(token), None)


def _kept_as(token: str) -> str:
    """Give what is kept of an id: looking it up tells nothing of how much of it was right."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


@dataclass(slots=True)
class _Tries:
    failed: int
    last_s: float


class Throttle:
    """How often somebody may try a password: a few times at once, then ever more slowly.

    It counts by address and by name. Each try counts as failed from its beginning, so that many at once count too.

    Arguments:
        now_s: the time, seconds, of any clock that goes on evenly.
    """

    def __init__(self, now_s: Clock = time.monotonic) -> None:
        self._now_s, self._lock, self._going = now_s, threading.Lock(), 0
        self._tries: OrderedDict[tuple[str, str], _Tries] = OrderedDict()

    def begin(self, address: str, name: str) -> float:
        """Begin a try; gives how long to wait before it may be made, seconds: at 0 it may, and `end` must follow."""
        now_s, counted = self._now_s(), _counted(address, name)
        with self._lock:
            waits = [self._wait_s(key, free, now_s) for key, free in counted]
            if max(waits) > 0.0:
                return max(waits)
            if self._going >= MOST_AT_ONCE:
                return 1.0
            self._going += 1
            for key, _ in counted:
                tries = self._tries.setdefault(key, _Tries(0, now_s))
                tries.failed, tries.last_s = tries.failed + 1, now_s
                self._tries.move_to_end(key)
            while len(self._tries) > MOST_COUNTED:
                self._tries.popitem(last=False)
        return 0.0

    def end(self, address: str, name: str, *, good: bool) -> None:
        """End a try; a good one forgives what was tried before from this address, and this one of the name."""
        with self._lock:
            self._going -= 1
            if good:
                (here, _), (called, _) = _counted(address, name)
                self._tries.pop(here, None)
                if called in self._tries:
                    self._tries[called].failed -= 1

    def _wait_s(self, key: tuple[str, str], free: int, now_s: float) -> float:
        tries = self._tries.get(key)
        if tries is None or tries.failed < free:
            return 0.0
        if now_s - tries.last_s > FORGOTTEN_AFTER_S:
            del self._tries[key]
            return 0.0
        return max(0.0, tries.last_s + min(LONGEST_WAIT_S[key[0]], 2.0 ** min(tries.failed - free, 20)) - now_s)


def _counted(address: str, name: str) -> tuple[tuple[tuple[str, str], int], tuple[tuple[str, str], int]]:
    return (("from", _network(address)), FREE_TRIES), (("as", plain_name(name[:200]).casefold()), FREE_TRIES_OF_A_NAME)


def _network(address: str) -> str:
    """Give what one computer can be told by: of the longer addresses it has as many as it likes within its network.

    >>> _network("2001:db8::1") == _network("2001:db8::2")
    True
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return str(ipaddress.ip_network((found, 64), strict=False)) if found.version == 6 else str(found)
