"""The short code an owner's answers come back in: letters and digits that can be read out over a telephone.

A string of bits, five to a character: 4 for the version, 16 for the sheet's fingerprint, 5 for the number of answers,
then 10 for each (8 for the sign's number on the sheet, 2 for the answer), and 10 to check the rest. The alphabet leaves
out I, L, O and U, which are misread; small letters, spaces and hyphens do not matter. When the steps of a guided minute
were done comes back in the same way, with 19 for each (5 for the step, 13 for tenths of a second, 1 for "it did not").
"""

import re
import zlib
from collections.abc import Sequence
from typing import Final

from tapewright.words.evidence import Observation
from tapewright.words.problem import InputAtFaultError, Problem

VERSION: Final = 1
MINUTE_VERSION: Final = 2
ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
MOST_ANSWERS: Final = 31
MOST_SIGNS: Final = 256
MOST_MARKS: Final = 24
CHECK_BITS: Final = 10
_HEAD_BITS: Final = 25
_ANSWER_BITS: Final = 10
_MARK_BITS: Final = 19
_WIDTHS: Final = {VERSION: _ANSWER_BITS, MINUTE_VERSION: _MARK_BITS}
_OTHER: Final = {VERSION: "is the code of a guided minute, not of answers.", MINUTE_VERSION: "is a code of answers."}
_ANSWERS: Final = {True: 1, False: 2, None: 3}
_MISREAD: Final = str.maketrans({"I": "1", "L": "1", "O": "0", "U": "V"})
DO: Final = "Compare it with the owner's screen, character by character, or have the owner send it as text."


def code_of(answers: Sequence[tuple[int, bool | None]], fingerprint: int) -> str:
    """Write answers as a code, in groups of four.

    Arguments:
        answers: number of the sign on the sheet, and True, False or None for "can't tell"; at most 31.
        fingerprint: of the sheet, 16 bits.

    >>> code_of([(3, True)], 0xBEEF)
    '3FQF 10DW T'
    """
    if len(answers) > MOST_ANSWERS:
        raise ValueError(f"{len(answers)} answers; a code holds {MOST_ANSWERS}")
    return _code(VERSION, fingerprint, [f"{number:08b}{_ANSWERS[present]:02b}" for number, present in answers])


def minute_code_of(marks: Sequence[tuple[int, float, bool]], fingerprint: int) -> str:
    """Write when the steps of a guided minute were done as a code, in groups of four.

    Arguments:
        marks: number of the step, seconds from the beginning, and whether the machine did not do it; at most 24.
        fingerprint: of the sheet, 16 bits.

    >>> minute_code_of([(0, 0.0, False), (1, 4.2, True)], 0xBEEF)
    '5FQF 2000 020A M8R'
    """
    if len(marks) > MOST_MARKS:
        raise ValueError(f"{len(marks)} marks; a code holds {MOST_MARKS}")
    tenths = [min(max(round(10.0 * at_s), 0), 2**13 - 1) for _, at_s, _ in marks]
    each = [
        f"{number:05b}{tenth:013b}{failed:b}" for (number, _, failed), tenth in zip(marks, tenths, strict=True)
    ]  # fmt: skip
    return _code(MINUTE_VERSION, fingerprint, each)


def _code(version: int, fingerprint: int, each: Sequence[str]) -> str:
    bits = f"{version:04b}{fingerprint:016b}{len(each):05b}{''.join(each)}"
    bits += f"{_check(bits):0{CHECK_BITS}b}"
    bits += "0" * (-len(bits) % 5)
    letters = "".join(ALPHABET[int(bits[at : at + 5], 2)] for at in range(0, len(bits), 5))
    return " ".join(letters[at : at + 4] for at in range(0, len(letters), 4))


def _check(bits: str) -> int:
    """Give the lowest bits of the CRC-32 of the bits as text (ISO-HDLC, as in zip files)."""
    return zlib.crc32(bits.encode("ascii")) & ((1 << CHECK_BITS) - 1)


def answers_in(code: str, ids: Sequence[str], fingerprint: int) -> tuple[Observation, ...]:
    """Read a code of answers.

    Arguments:
        code: as the owner gave it.
        ids: the sheet's signs, in its order.
        fingerprint: of the sheet.

    Raises:
        InputAtFaultError: for a code that was misheard, or belongs to another machine's sheet.
    """
    return tuple(_answer(bits, ids) for bits in _each(code, VERSION, _ANSWER_BITS, fingerprint))


def minute_marks_in(code: str, modes: Sequence[str], fingerprint: int) -> tuple[tuple[str, float, bool], ...]:
    """Read a code of a guided minute: of each step its mode, when it was, seconds, and whether it failed.

    Arguments:
        code: as the owner gave it.
        modes: of the minute's steps, in order.
        fingerprint: of the sheet.

    Raises:
        InputAtFaultError: for a code that was misheard, or belongs to another machine's sheet.
    """
    found = []
    for bits in _each(code, MINUTE_VERSION, _MARK_BITS, fingerprint):
        number = int(bits[:5], 2)
        if number >= len(modes):
            raise InputAtFaultError(Problem("owner's code", "names a step that this minute does not have.", DO))
        found.append((modes[number], int(bits[5:18], 2) / 10.0, bits[18] == "1"))
    return tuple(found)


def _each(code: str, version: int, width: int, fingerprint: int) -> list[str]:
    """Take a code apart into what it counts, as bits."""
    letters = re.sub(r"[\s-]", "", code.upper()).translate(_MISREAD)
    wrong = sorted(set(letters) - set(ALPHABET))
    if wrong or len(letters) > 99 or len(letters) * 5 < _HEAD_BITS + CHECK_BITS:
        found = f"holds {''.join(wrong[:5])!r}, which no code has." if wrong else f"has {len(letters)} characters."
        raise InputAtFaultError(Problem("owner's code", found, DO))
    bits = "".join(f"{ALPHABET.index(letter):05b}" for letter in letters)
    other = {VERSION: MINUTE_VERSION, MINUTE_VERSION: VERSION}[version]
    if int(bits[:4], 2) == other and _checks(bits, _WIDTHS[other]):
        raise InputAtFaultError(Problem("owner's code", _OTHER[version], "Type it in where that is asked for."))
    if not _checks(bits, width):
        raise InputAtFaultError(Problem("owner's code", "does not check: a character is wrong or missing.", DO))
    if int(bits[:4], 2) != version or int(bits[4:20], 2) != fingerprint:
        do = "Choose the machine that the sheet was made for, or have the owner go through this machine's sheet."
        raise InputAtFaultError(Problem("owner's code", "belongs to the sheet of another machine.", do))
    return [bits[at : at + width] for at in range(_HEAD_BITS, _HEAD_BITS + width * int(bits[20:25], 2), width)]


def _checks(bits: str, width: int) -> bool:
    end = _HEAD_BITS + width * int(bits[20:25], 2)
    whole = len(bits) == -(-(end + CHECK_BITS) // 5) * 5
    return whole and int(bits[end : end + CHECK_BITS], 2) == _check(bits[:end])


def _answer(bits: str, ids: Sequence[str]) -> Observation:
    number, answer = int(bits[:8], 2), int(bits[8:], 2)
    if number >= len(ids) or answer == 0:
        raise InputAtFaultError(Problem("owner's code", "names a sign that this sheet does not have.", DO))
    return Observation(ids[number], {code: present for present, code in _ANSWERS.items()}[answer])
