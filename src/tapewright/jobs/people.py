"""Who may come to the bench, and what for: a name, a role and a password each, in a file beside the jobs.

A password itself is kept nowhere: the file holds what argon2id (RFC 9106) makes of it, and can be read by its owner
alone.
"""

import json
import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Final

import argon2

from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import read_text, write_whole

PEOPLE_FILE: Final = "people.json"
SCHEMA: Final = 1
SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 200
LONGEST_NAME: Final = 60
MOST_PEOPLE: Final = 200
_HASHER: Final = argon2.PasswordHasher()
"""With the library's own choice: 64 MiB and three passes, the second recommendation of RFC 9106, section 4."""


class Role(StrEnum):
    """What somebody may do."""

    BENCH = "bench"
    COUNTER = "counter"


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may come in.

    Arguments:
        name: as written in the history of a job.
        role: what for.
        password_hash: what argon2id makes of the password.
    """

    name: str
    role: Role
    password_hash: str


def plain_name(text: str) -> str:
    """Give a name as it is kept: one way of writing each letter, single blanks.

    >>> plain_name("  Ana   Two ")
    'Ana Two'
    """
    return " ".join(unicodedata.normalize("NFKC", text).split())


def people_file(home: Path) -> Path:
    """Give where the people of a shop are kept."""
    return home / PEOPLE_FILE


def read_people(home: Path) -> tuple[Person, ...]:
    """Read who may come in; nobody when there is no such file.

    Arguments:
        home: the folder jobs lie in.

    Raises:
        InputAtFaultError: when the file is damaged; it is never taken for an empty one.
    """
    path = people_file(home)
    if not path.exists():
        return ()
    text = read_text(path, largest_mb=1, instead="Set the people up anew.", absent="Try again.", kind="JSON")
    do = f"Put a copy in its place; or delete {path} and set everybody up anew with `tapewright people add`."
    try:
        found = json.loads(text)
        if found["schema"] != SCHEMA:
            raise ValueError(f"schema {found['schema']!r} is not known")
        people = tuple(_person(row) for row in found["people"])
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        raise InputAtFaultError(Problem(str(path), f"is damaged: {error}.", do)) from None
    if len({one.name for one in people}) < len(people):
        raise InputAtFaultError(Problem(str(path), "names somebody twice.", do))
    return people


def _person(row: dict[str, str]) -> Person:
    name, password_hash = row["name"], row["password"]
    if name != plain_name(name) or not name or not password_hash.startswith("$argon2id$"):
        raise ValueError("somebody has no name or no password")
    return Person(name, Role(row["role"]), password_hash)


def set_person(home: Path, name: str, role: Role, password: str) -> Person:
    """Let somebody come in, or give somebody known another role and password.

    Arguments:
        home: the folder jobs lie in.
        name: of the person.
        role: what for.
        password: 10 characters or more.

    Raises:
        InputAtFaultError: for a name or a password that will not do, or a file that cannot be written.
    """
    name = plain_name(name)
    problems = [one for one in (_wrong_name(name), _wrong_password(name, password)) if one is not None]
    others = [one for one in read_people(home) if one.name.casefold() != name.casefold()]
    if len(others) >= MOST_PEOPLE:
        problems.append(Problem("the people", f"are {len(others)} already.", "Remove those who have left."))
    if problems:
        raise InputAtFaultError(problems)
    person = Person(name, role, _HASHER.hash(_written(password)))
    _keep(home, [*others, person])
    return person


def remove_person(home: Path, name: str) -> tuple[Person, ...]:
    """Let somebody come in no more; gives who is left.

    Raises:
        InputAtFaultError: when there is nobody of this name.
    """
    people, name = read_people(home), plain_name(name)
    left = tuple(one for one in people if one.name.casefold() != name.casefold())
    if len(left) == len(people):
        known = ", ".join(one.name for one in people) or "nobody"
        raise InputAtFaultError(Problem("NAME", f"{name!r} is not among the people.", f"Known: {known}."))
    _keep(home, left)
    return left


def _keep(home: Path, people: list[Person] | tuple[Person, ...]) -> None:
    rows = [{"name": one.name, "role": one.role.value, "password": one.password_hash} for one in people]
    text = json.dumps({"schema": SCHEMA, "people": rows}, ensure_ascii=False, indent=2) + "\n"
    write_whole(people_file(home), text, private=True)


def _wrong_name(name: str) -> Problem | None:
    if not name or len(name) > LONGEST_NAME or re.search(r"[\x00-\x1f\x7f<>\"]", name) or not name.isprintable():
        do = f"Give a name of 1 to {LONGEST_NAME} letters, as it should stand in the history of a job."
        return Problem("NAME", f"is {name[:80]!r}.", do)
    return None


def _wrong_password(name: str, password: str) -> Problem | None:
    where, do = "password", "Several words with blanks between them are easy to remember and hard to guess."
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        found = f"has {len(password)} characters; it must have {SHORTEST_PASSWORD} to {LONGEST_PASSWORD}."
        return Problem(where, found, do)
    if len(set(password)) < 4 or (name and password.casefold() == name.casefold()):
        return Problem(where, "is guessed at once.", do)
    return None


def _written(password: str) -> str:
    """Give one way of writing each letter, since keyboards differ in how they send an accent."""
    return unicodedata.normalize("NFKC", password)


@lru_cache(maxsize=1)
def _of_nobody() -> str:
    """Give a hash to look at when there is nobody of a name, so that an unknown name takes as long as a known one."""
    return _HASHER.hash("a password that nobody has")


def let_in(people: tuple[Person, ...], name: str, password: str) -> Person | None:
    """Give the person of this name when the password is theirs; it takes as long when there is nobody of the name.

    Arguments:
        people: who may come in.
        name: as typed.
        password: as typed.
    """
    wanted = plain_name(name[: 4 * LONGEST_NAME]).casefold()
    person = next((one for one in people if one.name.casefold() == wanted), None)
    if len(password) > LONGEST_PASSWORD:  # nobody has one, and a long one is no reason to work long
        person, password = None, ""
    try:
        _HASHER.verify(_of_nobody() if person is None else person.password_hash, _written(password))
    except (argon2.exceptions.VerificationError, argon2.exceptions.InvalidHashError):
        return None
    return person
