"""Read the command line, run the command, leave with its exit code."""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from tapewright import __version__
from tapewright.cli.table import COMMANDS
from tapewright.words.problem import InputAtFaultError, Problem

DONE, BUG, INPUT_AT_FAULT = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and leave with its exit code: 0 done, 2 the user's input is at fault, 1 a bug."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    given = list(sys.argv[1:] if arguments is None else arguments)
    raise SystemExit(run(given))


def run(given: Sequence[str]) -> int:
    """Run a command; gives its exit code."""
    as_json = "--json" in given
    try:
        options = _parser().parse_args(given)
        data, text = options.run(options)
    except InputAtFaultError as error:
        return _report(error.problems, as_json=as_json)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    return _print(json.dumps(data, ensure_ascii=False, allow_nan=False) if as_json else text)


def _print(text: str) -> int:
    """Print what a command gives; a reader that has had enough is no mistake of anybody's."""
    try:
        if text:
            print(text, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def _report(problems: Sequence[Problem], *, as_json: bool) -> int:
    if as_json:
        shown = [{"where": p.where, "found": p.found, "do": p.do} for p in problems]
        print(json.dumps({"problems": shown}, ensure_ascii=False))
    else:
        for problem in problems:
            print(problem, file=sys.stderr)
    return INPUT_AT_FAULT


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes are Problems like all others."""

    def error(self, message: str) -> NoReturn:
        raise InputAtFaultError(Problem(self.prog, f"cannot be run like this: {message}.", f"See {self.prog} --help."))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="tapewright", description="From what a cassette transport does to the part at fault.")
    parser.add_argument("--version", action="version", version=f"tapewright {__version__}")
    commands = parser.add_subparsers(required=True, parser_class=_Parser)
    for name, says, run, options in COMMANDS:
        command = commands.add_parser(name, help=says, description=says)
        command.add_argument("--json", action="store_true", help="print one JSON document on standard output")
        for words, settings in options:
            command.add_argument(*words, **settings)
        command.set_defaults(run=run)
    return parser
