"""Label codes as people read, say and type them."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.labels.codes import (
    ALPHABET,
    NoLabelCodeError,
    new_code,
    printed,
    read_code,
    spoken,
    with_check,
)

CODE = with_check("K7R4M3")


def test_no_sign_of_the_alphabet_looks_like_another() -> None:
    assert len(ALPHABET) == len(set(ALPHABET)) == 16
    alike = ("0OQD", "1IL7", "2Z", "5S", "8B", "6G", "9", "UV", "MN", "VY")
    assert all(len(set(group) & set(ALPHABET)) <= 1 for group in alike)


@pytest.mark.parametrize(
    "typed",
    [CODE, CODE.lower(), printed(CODE), f"  {printed(CODE).lower()} ", " ".join(CODE)],
)
def test_a_code_is_read_however_it_is_written(typed: str) -> None:
    assert read_code(typed) == CODE


def test_signs_written_for_their_likes_are_taken_for_them() -> None:
    code = with_check("256256")
    assert read_code(code.replace("5", "S").replace("2", "z").replace("6", "G")) == code


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Type or scan"),
        ("K7R", "is no label code. One has 7 signs"),
        ("K7R-4M3A", "has A"),
        ("https://example.org/", "is no label code"),
        ("7KR-4M32", "does not check"),
        ("\x00" * 7, "is no label code|has"),
        ("٣" * 7, "has"),
    ],
)
def test_what_is_no_code_is_refused_in_words(typed: str, words: str) -> None:
    with pytest.raises(NoLabelCodeError, match=words):
        read_code(typed)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    code = ""
    with suppress(NoLabelCodeError):
        code = read_code(text)
    assert set(code) <= set(ALPHABET)


def test_codes_are_drawn_far_apart_and_said_by_the_spelling_alphabet() -> None:
    assert len({new_code() for _ in range(200)}) > 195
    assert spoken("K7R") == "Kilo 7 Romeo"
