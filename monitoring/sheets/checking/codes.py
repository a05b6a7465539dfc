"""Read codes and names, and tell what a spreadsheet or a keyboard made of them."""

import re
import unicodedata

from monitoring.sheets.checking.values import DoubtError, FaultError

LONGEST_CODE = 40
MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
CODE_AS_DATE = re.compile(
    rf"[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}(T.*)?"
    rf"|(?:{MONTHS})-[0-9]{{1,2}}|[0-9]{{1,2}}-(?:{MONTHS})",
    re.IGNORECASE,
)
CODE_AS_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)?[eE]\+[0-9]+")
# Cyrillic and Greek letters that cannot be told from Latin ones on the screen; from
# the confusables list of Unicode Technical Standard 39, the part that keyboards have.
LOOK_ALIKES = str.maketrans(
    dict(
        zip(
            "\u0410\u0412\u0415\u0405\u0406\u0408\u041a\u041c\u041d\u041e"
            "\u0420\u0421\u0422\u0423\u0425\u0430\u0435\u043e\u0440\u0441"
            "\u0443\u0445\u0456\u0455\u0458\u0501\u0391\u0392\u0395\u0396"
            "\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7"
            "\u03bf",
            "ABESIJKMHOPCTYXaeopcyxisjdABEZHIKMNOPTYXo",
            strict=True,
        )
    )
)


def latin(text: str) -> str:
    """Write look-alike and full-width letters as the Latin ones they look like."""
    if text.isascii():
        return text
    plain = unicodedata.normalize("NFKC", text)
    folded = plain.translate(LOOK_ALIKES)
    # A name in another script stays; only one that becomes Latin whole was mistyped.
    return folded if folded.isascii() else plain


def _as_latin(text: str) -> str:
    plain = latin(text)
    if plain != text:
        raise DoubtError(
            "look-alike-letters",
            f"“{text}” has letters that only look like Latin ones; it was read as"
            f" “{plain}”.",
            plain,
        )
    return plain


def name(text: str) -> str:
    """Read the name of a block or a farm."""
    return _as_latin(text)


def bag_code(text: str) -> str:
    """Read a bag's code; refuse what a spreadsheet made of one."""
    if CODE_AS_NUMBER.fullmatch(text):
        raise FaultError(
            "code-became-number",
            f"“{text}” is what a spreadsheet makes of a long code. Format the column"
            " as text, type the code again, and save.",
        )
    if CODE_AS_DATE.fullmatch(text):
        raise FaultError(
            "code-became-date",
            f"“{text}” looks like a date, which is what a spreadsheet makes of codes"
            " such as MAR-1. Format the column as text, type the code again, and save.",
        )
    if len(text) > LONGEST_CODE:
        raise FaultError(
            "code-too-long",
            f"“{text[:LONGEST_CODE]}…” has {len(text)} signs; a code has up to"
            f" {LONGEST_CODE}.",
        )
    return _as_latin(text)
