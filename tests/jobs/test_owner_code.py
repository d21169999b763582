"""A code holds the owner's answers, survives being read out, and is never taken for another's."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapewright.jobs.owner_code import (
    ALPHABET,
    MOST_ANSWERS,
    MOST_MARKS,
    answers_in,
    code_of,
    minute_code_of,
    minute_marks_in,
)
from tapewright.words.problem import InputAtFaultError

IDS = [f"sign_{number}" for number in range(200)]
answers = st.lists(st.tuples(st.integers(0, 199), st.sampled_from([True, False, None])), max_size=MOST_ANSWERS)
fingerprints = st.integers(0, 2**16 - 1)


@given(answers, fingerprints)
def test_what_went_in_comes_out(said: list[tuple[int, bool | None]], fingerprint: int) -> None:
    found = answers_in(code_of(said, fingerprint), IDS, fingerprint)
    assert [(one.id, one.present) for one in found] == [(IDS[number], present) for number, present in said]


@given(answers, fingerprints)
def test_small_letters_hyphens_and_letters_misread_for_digits_do_not_matter(
    said: list[tuple[int, bool | None]], fingerprint: int
) -> None:
    code = code_of(said, fingerprint)
    written = code.lower().replace(" ", "-").replace("1", "l").replace("0", "o")
    assert answers_in(written, IDS, fingerprint) == answers_in(code, IDS, fingerprint)


def test_the_check_is_the_crc_that_zip_files_use() -> None:
    # "123456789" gives CBF43926: the check value printed for CRC-32/ISO-HDLC (IEEE 802.3; from memory).
    assert zlib.crc32(b"123456789") == 0xCBF43926


def test_a_wrong_character_is_nearly_always_found() -> None:
    said: list[tuple[int, bool | None]] = [(3, True), (100, None), (42, False)]
    code = code_of(said, 0xBEEF).replace(" ", "")
    taken = 0
    changes = [(at, letter) for at in range(len(code)) for letter in ALPHABET if letter != code[at]]
    for at, letter in changes:
        try:
            answers_in(code[:at] + letter + code[at + 1 :], IDS, 0xBEEF)
        except InputAtFaultError:
            continue
        taken += 1
    # Ten bits of check leave one in 1024; a change of the last character may fall on bits that only fill it up.
    assert taken / len(changes) < 0.01


@given(st.text(max_size=60))
def test_anything_else_is_refused_with_a_sentence(text: str) -> None:
    try:
        answers_in(text, IDS, 0xBEEF)
    except InputAtFaultError as error:
        assert error.problems[0].where == "owner's code"  # noqa: PT017 - whatever is not refused checked


def test_the_code_of_another_machine_is_known_for_one() -> None:
    with pytest.raises(InputAtFaultError, match="another machine"):
        answers_in(code_of([(1, True)], 7), IDS, 8)


def test_a_sign_the_sheet_does_not_have_is_refused() -> None:
    with pytest.raises(InputAtFaultError, match="does not have"):
        answers_in(code_of([(150, True)], 7), IDS[:100], 7)


def test_more_answers_than_a_code_holds_are_not_cut_off_in_silence() -> None:
    with pytest.raises(ValueError, match="a code holds 31"):
        code_of([(0, True)] * 32, 0)


# --- the code of a guided minute --------------------------------------------------------------------------------------

MODES = ["off", "switch_on", "cassette_in", "play", "stop", "fast_forward", "stop", "rewind", "stop", "off"]
marks = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 8191), st.booleans()), max_size=MOST_MARKS)


@given(marks, fingerprints)
def test_marks_come_out_as_they_went_in(said: list[tuple[int, int, bool]], fingerprint: int) -> None:
    code = minute_code_of([(step, tenths / 10.0, failed) for step, tenths, failed in said], fingerprint)
    assert len(code.replace(" ", "")) <= 99
    found = minute_marks_in(code.lower().replace(" ", "-"), MODES, fingerprint)
    assert list(found) == [(MODES[step], tenths / 10.0, failed) for step, tenths, failed in said]


@given(answers, marks, fingerprints)
def test_one_code_is_never_taken_for_the_other(
    said: list[tuple[int, bool | None]], told: list[tuple[int, int, bool]], fingerprint: int
) -> None:
    with pytest.raises(InputAtFaultError, match="guided minute, not of answers"):
        answers_in(minute_code_of([(s, t / 10.0, f) for s, t, f in told], fingerprint), IDS, fingerprint)
    with pytest.raises(InputAtFaultError, match="a code of answers"):
        minute_marks_in(code_of(said, fingerprint), MODES, fingerprint)


def test_the_minute_of_another_machine_and_a_step_it_has_not_are_refused() -> None:
    with pytest.raises(InputAtFaultError, match="another machine"):
        minute_marks_in(minute_code_of([(0, 0.0, False)], 7), MODES, 8)
    with pytest.raises(InputAtFaultError, match="does not have"):
        minute_marks_in(minute_code_of([(11, 0.0, False)], 7), MODES, 7)
    with pytest.raises(ValueError, match="a code holds 24"):
        minute_code_of([(0, 0.0, False)] * 25, 7)


@given(st.text(max_size=60))
def test_anything_else_is_no_minute(text: str) -> None:
    try:
        minute_marks_in(text, MODES, 0xBEEF)
    except InputAtFaultError as error:
        assert error.problems[0].where == "owner's code"  # noqa: PT017 - whatever is not refused checked
