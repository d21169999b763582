"""A mistake in the user's material, as a value; and the one exception that carries them."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """Say where in the user's material something is wrong, what was found there, and what to do.

    Arguments:
        where: a file and a key path, or a command-line option.
        found: what stands there now.
        do: what the user can do about it.
    """

    where: str
    found: str
    do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.found} {self.do}"


class InputAtFaultError(Exception):
    """The user's material cannot be used; every mistake found in it is listed together.

    A fault of the program itself is any other exception.
    """

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def nearest(name: str, known: Iterable[str], otherwise: str = "It can be one of") -> str:
    """Say which known name was probably meant; where none is near, list them all.

    Arguments:
        name: what was written.
        known: the names there are.
        otherwise: how the list begins.

    >>> nearest("capstn_belt", ["capstan_belt", "cam_belt"])
    'Did you mean capstan_belt?'
    """
    names = list(known)
    near = difflib.get_close_matches(name, names, n=1)
    return f"Did you mean {near[0]}?" if near else f"{otherwise}: {', '.join(names)}."
