"""Label codes: short, said over a phone without doubt, with a check character."""

import re
import secrets
from typing import Final

from monitoring.labels.damm import left_over

# No two look or sound alike: no 0, 1, 8, 9, no O, I, L, S, Z, B; one letter alone
# of those that end in "ee", and no vowel, so that no word comes about.
ALPHABET: Final = "234567CFHJKMRWXY"
LENGTH: Final = 7
GROUPS: Final = (3, 4)
# What people write for a sign that it looks like.
WRITTEN_FOR: Final = str.maketrans({"S": "5", "Z": "2", "G": "6"})
BETWEEN: Final = re.compile(r"[\s\-\u2010-\u2015._]+")
# The spelling alphabet of the ITU Radio Regulations, appendix 14 (from memory).
SPOKEN: Final = {
    "C": "Charlie",
    "F": "Foxtrot",
    "H": "Hotel",
    "J": "Juliett",
    "K": "Kilo",
    "M": "Mike",
    "R": "Romeo",
    "W": "Whiskey",
    "X": "X-ray",
    "Y": "Yankee",
}


class NoLabelCodeError(ValueError):
    """A text that cannot be a label code; its words say why."""


def with_check(body: str) -> str:
    """Add the check character to the signs of a code.

    Raises ValueError if a sign is not of the alphabet.
    """
    return body + ALPHABET[left_over(ALPHABET.index(sign) for sign in body)]


def new_code() -> str:
    """Draw a code by chance, so that neighbouring bags have codes far apart."""
    return with_check("".join(secrets.choice(ALPHABET) for _ in range(LENGTH - 1)))


def printed(code: str) -> str:
    """Write a code in its two groups, e.g. “K7R-4M3X”."""
    return f"{code[: GROUPS[0]]}-{code[GROUPS[0] :]}" if code else ""


def spoken(code: str) -> str:
    """Write a code as it is said over a phone."""
    return " ".join(SPOKEN.get(sign, sign) for sign in code)


def squeezed(text: str) -> str:
    """Leave out what stands between the signs, and take small letters as large."""
    return BETWEEN.sub("", text).upper().translate(WRITTEN_FOR)


def read_code(text: str) -> str:
    """Give the code that a person typed or a reader read.

    Raises NoLabelCodeError, in words for the person, if it is none.
    """
    code = squeezed(text)
    if not code:
        raise NoLabelCodeError("Type or scan the code of a label.")
    shown = text.strip()[:40]
    foreign = sorted({sign for sign in code if sign not in ALPHABET})
    if foreign and len(code) == LENGTH:
        raise NoLabelCodeError(
            f"“{shown}” has {', '.join(foreign[:4])}: label codes are made of"
            f" {' '.join(ALPHABET)} only. Look at the label again."
        )
    if foreign or len(code) != LENGTH:
        raise NoLabelCodeError(
            f"“{shown}” is no label code. One has {LENGTH} signs, such as"
            f" {printed(with_check('K7R4M3'))}."
        )
    if left_over(ALPHABET.index(sign) for sign in code):
        raise NoLabelCodeError(
            f"“{shown}” does not check: a sign is wrong, or two are swapped. Read the"
            " label again, sign by sign."
        )
    return code
