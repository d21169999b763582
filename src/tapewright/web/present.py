"""Who is at the page that is being made, for what every page shows of them; and what each role may do."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final

from tapewright.jobs.people import Role

LONGEST_WHO: Final = 60
_JOB: Final = "/jobs/[0-9a-f]{16}"
_COUNTER_MAY: Final = {
    "GET": re.compile(rf"/|/arrive|{_JOB}/(?:ticket|sheet)"),
    "POST": re.compile(rf"/jobs|{_JOB}/sheet"),
}
"""All else is for the bench: what is added later is not the counter's until it is written here."""
COUNTER_SAYS: Final = frozenset(
    {"status", "due", "name", "phone", "email", "address", "collected_by", "paid", "hand_over_note", "currency", "once"}
)
"""What of a job sheet the counter says: where it stands, and what the owner has to do with."""
_OWN_ADDRESS: Final = re.compile(rf"/|/arrive|{_JOB}(?:/[a-z]+)?")


@dataclass(frozen=True, slots=True)
class Present:
    """Somebody at a page.

    Arguments:
        who: the name; "" while nobody said.
        role: what for.
        signed_in: whether by a password.
    """

    who: str = ""
    role: Role = Role.BENCH
    signed_in: bool = False

    @property
    def at_bench(self) -> bool:
        """Whether everything may be done."""
        return self.role is Role.BENCH


_NOBODY_SAID: Final = Present()
_PRESENT: Final = ContextVar("present", default=_NOBODY_SAID)


def present() -> Present:
    """Give who is at the page that is being made."""
    return _PRESENT.get()


@contextmanager
def with_present(person: Present) -> Iterator[None]:
    """Let a page be made for somebody."""
    token = _PRESENT.set(person)
    try:
        yield
    finally:
        _PRESENT.reset(token)


def may(role: Role, method: str, path: str) -> bool:
    """Tell whether somebody may do something.

    >>> may(Role.COUNTER, "POST", "/jobs/0123456789abcdef/erase")
    False
    """
    if role is Role.BENCH:
        return True
    allowed = _COUNTER_MAY.get("GET" if method == "HEAD" else method)
    return allowed is not None and allowed.fullmatch(path) is not None


def beyond(role: Role, fields: Iterable[str]) -> list[str]:
    """Give those fields of a job sheet that somebody may not say."""
    return [] if role is Role.BENCH else sorted(set(fields) - COUNTER_SAYS)


def plain_who(text: str) -> str:
    r"""Give a name that somebody typed in passing, as it is kept: printable, on one line, not long.

    >>> plain_who("  Ana \n<b> ")
    'Ana <b>'
    """
    kept = "".join(one if one.isprintable() else " " for one in text)
    return " ".join(kept.split())[:LONGEST_WHO].strip()


def own_address(text: str) -> str:
    """Give where to lead next: a page of this bench as asked, or the first one for anything else.

    >>> own_address("/arrive"), own_address("//elsewhere.invalid")
    ('/arrive', '/')
    """
    return text if _OWN_ADDRESS.fullmatch(text) else "/"
