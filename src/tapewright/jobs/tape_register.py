"""The register of what a shop measures with, read from its text: test tapes and the sound card's clock."""

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tapewright.measure.flutter import Flutter
from tapewright.measure.speed import MOST_CLOCK_PPM
from tapewright.measure.test_tape import CERTIFIED, HOW_KNOWN, KINDS, KnownTape
from tapewright.words.problem import InputAtFaultError, Problem, nearest
from tapewright.words.reading import Reading

SCHEMA: Final = 1
CLOCK_KEYS: Final = ("clock_error_ppm", "clock_doubt_ppm")
TAPE_KEYS: Final = (
    "name", "kind", "known", "said_by", "tone_hz", "speed_error_pct", "speed_doubt_pct", "passes", "passes_then",
    "speed_per_pass_pct", "speed_per_pass_doubt_pct", "flutter",
)  # fmt: skip
STARTER: Final = """\
# What this shop measures with. Tapewright reads this file and never writes it; it counts passes in a file beside it.
schema = 1

# How much faster the clock of your sound card runs than it says, in parts in a million (ppm), and the doubt of that:
# half the width of the 95 % interval. Measure it against a frequency standard; leave it out when you have not.
# [sound_card]
# clock_error_ppm = 12.0
# clock_doubt_ppm = 3.0

# One [[tape]] for each test tape. Leave out what you do not know: nothing is invented in its place.
# [[tape]]
# name = "speed tape 1"
# kind = "certified"              # or "other machine": made on another machine of the shop; or "this machine"
# known = "certificate"           # or "measured": against another tape; or "unknown"
# said_by = "certificate of 2019" # which one; words
# tone_hz = 3150.0
# speed_error_pct = 0.05          # how much too high its tone is at exactly nominal speed
# speed_doubt_pct = 0.10          # the doubt of that; of a tape measured against another it holds that one's too
# passes = 40                     # played so often before Tapewright began to count
# passes_then = 0                 # played so often when those figures were taken
# speed_per_pass_pct = 0.0001     # what a pass does to its speed, only where somebody measured it
# speed_per_pass_doubt_pct = 0.0001
# [tape.flutter]                  # its own flutter, by the names of the readings
# weighted_peak_pct = {value = 0.03, doubt = 0.005}
# weighted_rms_pct = {value = 0.02, doubt = 0.004}
"""


@dataclass(frozen=True, slots=True)
class Measuring:
    """What the shop measures with.

    Arguments:
        tapes: with all passes counted so far.
        clock_error_ppm: how much faster the sound card's clock runs than it says; None where nobody measured it.
        clock_doubt_ppm: half-width of its 95 % interval.
        place: the register; None where there is none.
    """

    tapes: tuple[KnownTape, ...] = ()
    clock_error_ppm: float | None = None
    clock_doubt_ppm: float = 0.0
    place: Path | None = None


def parse_measuring(text: str, where: str) -> Measuring:
    r"""Read the register from its text; `where` names it in messages.

    >>> found = parse_measuring('schema = 1\n[[tape]]\nname = "A"\nkind = "this machine"', "example")
    >>> found.tapes[0].kind
    'this machine'

    Raises:
        InputAtFaultError: with every mistake.
    """
    try:
        found = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputAtFaultError(Problem(where, f"is not TOML: {error}.", "Mend the file there.")) from None
    reader = _Reader(where)
    if found.get("schema") != SCHEMA:
        reader.wrong("schema", f"is {found.get('schema')!r}.", f"Such a file begins with `schema = {SCHEMA}`.")
    reader.known(found, ("schema", "sound_card", "tape"), "")
    card = reader.table(found, "sound_card", "")
    reader.known(card, CLOCK_KEYS, "sound_card.")
    off = reader.number(card, CLOCK_KEYS[0], "sound_card.", MOST_CLOCK_PPM, signed=True)
    doubt = reader.number(card, CLOCK_KEYS[1], "sound_card.", MOST_CLOCK_PPM)
    rows = found.get("tape", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        reader.wrong("tape", f"is {rows!r}.", "Begin each tape with [[tape]].")
        rows = []
    tapes = tuple(reader.tape(row, f"tape[{at}].") for at, row in enumerate(rows))
    names = [one.name for one in tapes]
    for name in sorted({name for name in names if names.count(name) > 1}):
        reader.wrong("tape", f'holds "{name}" twice.', "Give each tape a name of its own.")
    if reader.problems:
        raise InputAtFaultError(reader.problems)
    return Measuring(tapes, off, doubt or 0.0)


class _Reader:
    """Read tables of the register; every mistake is a Problem with its place."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.problems: list[Problem] = []

    def wrong(self, key: str, found: str, do: str) -> None:
        self.problems.append(Problem(f"{self.where}, {key}", found, do))

    def known(self, row: Mapping[str, Any], keys: Sequence[str], at: str) -> None:
        for key in row:
            if key not in keys:
                self.wrong(f"{at}{key}", "is no key of this table.", nearest(key, keys))

    def table(self, row: Mapping[str, Any], name: str, at: str) -> dict[str, Any]:
        found = row.get(name, {})
        if isinstance(found, dict):
            return found
        self.wrong(f"{at}{name}", f"is {found!r}.", f"Write [{name}] and its keys below.")
        return {}

    def number(self, row: Mapping[str, Any], name: str, at: str, most: float, *, signed: bool = False) -> float | None:
        found = row.get(name)
        if found is None:
            return None
        least = -most if signed else 0.0
        real = isinstance(found, (int, float)) and not isinstance(found, bool) and math.isfinite(found)
        if real and least <= found <= most:
            return float(found)
        self.wrong(f"{at}{name}", f"is {found!r}.", f"Give a number from {least:g} to {most:g}, or leave it out.")
        return None

    def text(self, row: Mapping[str, Any], name: str, at: str) -> str:
        found = row.get(name, "")
        if isinstance(found, str):
            return found
        self.wrong(f"{at}{name}", f"is {found!r}.", "Give words in quotes.")
        return ""

    def one_of(self, row: Mapping[str, Any], name: str, at: str, choices: Sequence[str], otherwise: str) -> str:
        found = row.get(name, otherwise)
        if found in choices:
            return str(found)
        self.wrong(f"{at}{name}", f"is {found!r}.", nearest(str(found), choices))
        return otherwise

    def count(self, row: Mapping[str, Any], name: str, at: str) -> int:
        found = row.get(name, 0)
        if isinstance(found, int) and not isinstance(found, bool) and 0 <= found <= 1_000_000:
            return found
        self.wrong(f"{at}{name}", f"is {found!r}.", "Give how often, a whole number.")
        return 0

    def figure(self, row: Mapping[str, Any], value: str, doubt: str, at: str, *, signed: bool) -> Reading | None:
        """Read a figure with its doubt; one without the other tells nothing that could be counted."""
        found, unsure = self.number(row, value, at, 20.0, signed=signed), self.number(row, doubt, at, 20.0)
        if found is None and value not in row and doubt in row:
            self.wrong(f"{at}{value}", "is missing beside its doubt.", f"Give it, or leave `{doubt}` out.")
        if found is not None and doubt not in row:
            self.wrong(f"{at}{doubt}", "is missing.", "Say how surely that is known, or leave both out.")
        return None if found is None else Reading(found, "%", unsure)

    def tape(self, row: Mapping[str, Any], at: str) -> KnownTape:
        self.known(row, TAPE_KEYS, at)
        name = self.text(row, "name", at).strip()
        if not name:
            self.wrong(f"{at}name", "is missing.", "Give the name that stands on the tape.")
        own = self.figure(row, "speed_error_pct", "speed_doubt_pct", at, signed=True)
        flutter = self.flutter(self.table(row, "flutter", at), f"{at}flutter.")
        known = self.one_of(row, "known", at, HOW_KNOWN, "unknown")
        if known == "unknown" and (own or flutter):
            self.wrong(f"{at}known", "says unknown, and there are figures.", "Say how they are known: `certificate` or "
                       "`measured`; or take them out.")  # fmt: skip
        tone = row.get("tone_hz")
        if tone is not None and not (isinstance(tone, (int, float)) and 100.0 <= tone <= 20000.0):
            self.wrong(f"{at}tone_hz", f"is {tone!r}.", "Give the tone in hertz, from 100 to 20000.")
            tone = None
        passes, then = self.count(row, "passes", at), self.count(row, "passes_then", at)
        return KnownTape(
            name=name,
            kind=self.one_of(row, "kind", at, tuple(KINDS), CERTIFIED),
            known=known,
            said_by=self.text(row, "said_by", at),
            tone_hz=None if tone is None else float(tone),
            speed_error_pct=own,
            flutter=flutter,
            passes=passes,
            passes_then=then,
            speed_per_pass_pct=self.figure(row, "speed_per_pass_pct", "speed_per_pass_doubt_pct", at, signed=True),
        )

    def flutter(self, table: Mapping[str, Any], at: str) -> dict[str, Reading]:
        names = tuple(Flutter.__dataclass_fields__)
        self.known(table, names, at)
        found = {}
        for name in names:
            row = self.table(table, name, at)
            self.known(row, ("value", "doubt"), f"{at}{name}.")
            one = self.figure(row, "value", "doubt", f"{at}{name}.", signed=False)
            if one is not None:
                found[name] = one
        return found
