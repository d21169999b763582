"""What commands are given, read and checked; and what they say while they work."""

import argparse
import sys
from typing import Any

from tapewright.words.problem import InputAtFaultError, Problem

Shown = tuple[Any, str]
"""What a command gives: plain data for --json, and text for people."""


def checked(options: argparse.Namespace) -> argparse.Namespace:
    """See that numbers are where they make sense."""
    tone, equal = getattr(options, "tone", None), getattr(options, "equal_base_rates", None)
    problems = []
    if tone is not None and not 20.0 <= tone <= 90_000.0:
        problems.append(Problem("--tone", f"is {tone:g} Hz.", "Give the tone's frequency in hertz, for instance 3150."))
    if equal is not None and not 0.0 < equal < 1.0:
        problems.append(Problem("--equal-base-rates", f"is {equal:g}.", "Give a number between 0 and 1."))
    if problems:
        raise InputAtFaultError(problems)
    return options


class Progress:
    """How far long work is, on standard error; nothing where nobody is watching."""

    def __init__(self, what: str) -> None:
        self.what, self.last = what, -1

    def __call__(self, share: float) -> None:
        """Say each tenth once."""
        tenth = int(share * 10)
        if tenth > self.last and sys.stderr.isatty():
            self.last = tenth
            print(f"{self.what}: {10 * tenth} %", file=sys.stderr)


def note(text: str) -> None:
    """Say something while a command works, on standard error."""
    print(text, file=sys.stderr)


def evidence_given(options: argparse.Namespace) -> Any:
    """Read the evidence file; none is no evidence."""
    from tapewright.jobs.evidence_file import read_evidence
    from tapewright.words.evidence import Evidence

    return Evidence() if options.evidence is None else read_evidence(options.evidence)


def knowledge_given(options: argparse.Namespace) -> Any:
    """Read what closed jobs taught."""
    from tapewright.jobs.knowledge import knowledge_in_use

    knowledge, path = knowledge_in_use(options.knowledge)
    if path is not None:
        note(f"Learnt rates in use: {path}")
    return knowledge


def made_with_given(options: argparse.Namespace) -> Any:
    """Read what recordings were made with."""
    from tapewright.jobs.test_tapes import measured_with

    return measured_with(options.test_tape, options.measuring, options.clock_ppm, options.clock_doubt_ppm)


def password_given(name: str) -> str:
    """Read a password: twice from a terminal, which does not show it, else the first line of standard input."""
    import getpass

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass(f"Password for {name}: ")
    if getpass.getpass("Once more: ") != first:
        raise InputAtFaultError(Problem("password", "was typed differently the second time.", "Try again."))
    return first
