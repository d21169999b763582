"""Which limit holds for a reading, and whether it is kept: the machine's own sheet first, then the document."""

from collections.abc import Mapping
from typing import Final

from tapewright.machine.parts import Machine
from tapewright.standards.din_45500 import LIMITS
from tapewright.words.reading import Reading
from tapewright.words.verdict import Verdict, judged

OWN_SHEET: Final = "the machine's own sheet"


def verdicts(machine: Machine | None, readings: Mapping[str, Reading]) -> dict[str, Verdict]:
    """Hold readings against the machine's limits, and where it states none against DIN 45500 part 4.

    Arguments:
        machine: None where it is not known: then the document alone.
        readings: by name, in percent.

    Returns:
        For each reading that there is a limit for and that was taken.
    """
    own = machine.limits if machine is not None else {}
    limits = {name: (high, figure.source) for name, figure in LIMITS.items() if (high := figure.high) is not None}
    limits |= {name: (limit, OWN_SHEET) for name, limit in own.items()}
    found = {name: judged(reading, *limits[name]) for name, reading in readings.items() if name in limits}
    return {name: verdict for name, verdict in found.items() if verdict is not None}
