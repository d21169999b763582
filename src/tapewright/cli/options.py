"""Options that several commands have, and those too long for the table."""

from pathlib import Path
from typing import Any

Option = tuple[tuple[str, ...], dict[str, Any]]
MACHINE: Option = (("machine",), {"metavar": "M", "help": "path of a description, or the id of a shipped machine"})
EVIDENCE: Option = (("--evidence",), {"metavar": "E", "type": Path, "help": "evidence file (JSON)"})
OUT_FOLDER: Option = (("--out",), {"metavar": "DIR", "type": Path, "help": "folder for the report"})
TONE: Option = (("--tone",), {"metavar": "HZ", "type": float, "help": "frequency recorded on the test tape"})
TRUNCATED: Option = (
    ("--accept-truncated",),
    {"action": "store_true", "help": "take what is there of a recording that is cut short"},
)
COMPLAINT: Option = (("--complaint",), {"metavar": "WORDS", "default": "", "help": "the owner's words"})
EQUAL: Option = (
    ("--equal-base-rates",),
    {"metavar": "P", "type": float, "help": "give every part this chance of being bad beforehand, 0 to 1"},
)
KNOWLEDGE: Option = (
    ("--knowledge",),
    {"metavar": "FILE", "type": Path,
     "help": "what closed jobs taught; without it the shop's own, where there is one; `none` for the catalogue alone"},
)  # fmt: skip
MADE_WITH: tuple[Option, ...] = (
    (("--test-tape",), {"metavar": "NAME", "help": "the test tape that was played, as the register names it"}),
    (("--measuring",),
     {"metavar": "FILE", "type": Path, "help": "register of test tapes and clock (default: the shop's own)"}),
    (("--clock-ppm",),
     {"metavar": "PPM", "type": float, "help": "how much faster the sound card's clock runs than it says"}),
    (("--clock-doubt-ppm",), {"metavar": "PPM", "type": float, "help": "half-width of its 95 %% interval"}),
)  # fmt: skip
BAD: Option = (
    ("--bad",),
    {"metavar": "PART=KIND", "dest": "found", "action": "append", "default": [], "type": lambda text: ("--bad", text),
     "help": "found out of order; give --bad and --sound in the order in which the parts were looked at"},
)  # fmt: skip
SOUND: Option = (
    ("--sound",),
    {"metavar": "PART", "dest": "found", "action": "append", "default": [], "type": lambda text: ("--sound", text),
     "help": "looked at and found sound; what is not named stays unknown"},
)  # fmt: skip
STRING: Option = (
    ("--string",),
    {"metavar": "BELT=LENGTH", "action": "append", "default": [], "help": "a string laid along a belt's way, in mm"},
)
OLD: Option = (
    ("--old",),
    {"metavar": "BELT=LENGTH[:KIND]", "action": "append", "default": [],
     "help": "the old belt; KIND is inside length (usual), inside diameter or lay-flat length"},
)  # fmt: skip
NEAR: Option = (
    ("--near",),
    {"metavar": "BELT=LENGTH[,WIDTHxTHICKNESS]", "action": "append", "default": [],
     "help": "what a belt of a near size would do"},
)  # fmt: skip
RECORDING: Option = (
    ("--recording",),
    {"metavar": "F", "type": Path, "action": "append", "default": [], "help": "of a test tone; may be repeated"},
)
