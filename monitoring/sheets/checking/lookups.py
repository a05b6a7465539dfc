"""Find blocks, dishes, members and words that a sheet names."""

from collections.abc import Mapping
from difflib import get_close_matches

from monitoring.sheets.checking.context import Context, DishInfo
from monitoring.sheets.checking.values import DoubtError, FaultError, whole_number
from monitoring.sheets.columns import normal_name

TISSUES = {
    "leaf": "leaf", "leaves": "leaf",
    "shoot": "shoot", "shoots": "shoot",
    "bud": "bud", "buds": "bud",
}  # fmt: skip
POSITIONS = {
    "low": "low", "lower": "low", "bottom": "low", "basal": "low",
    "mid": "mid", "middle": "mid",
    "upper": "upper", "up": "upper", "top": "upper", "high": "upper",
}  # fmt: skip
MOST_UNITS = 500
MANY_UNITS = 100


def word(text: str, words: Mapping[str, str], what: str) -> str:
    """Read one of a few words."""
    found = words.get(normal_name(text))
    if found is None:
        allowed = ", ".join(dict.fromkeys(words.values()))
        raise FaultError(
            "unknown-word", f"“{text}” is not a {what}. Write one of: {allowed}."
        )
    return found


def units(text: str) -> int:
    """Read how many leaves, shoots or buds are in the bag."""
    number = whole_number(text, lowest=1, highest=MOST_UNITS, what="a number of units")
    if number > MANY_UNITS:
        raise DoubtError(
            "many-units", f"{number} in one bag is unusual. Is it right?", number
        )
    return number


def dish(text: str, context: Context) -> DishInfo:
    """Find a dish by the name that the group gave it."""
    found = context.dishes.get(normal_name(text))
    if found is None:
        known = ", ".join(info.name for info in context.dishes.values())
        raise FaultError(
            "unknown-dish",
            f"No dish is named “{text}”; described are: {known or 'none yet'}. A"
            " coordinator describes dishes under Laboratory.",
        )
    return found


def analyst(text: str, context: Context) -> tuple[int | None, str]:
    """Find a member by name or e-mail; a stranger's name is kept as written."""
    key = context.members.get(text.casefold()) or context.members.get(normal_name(text))
    if key is None:
        raise DoubtError(
            "unknown-analyst",
            f"“{text}” is nobody in this farm group; the name is kept as written.",
            (None, text[:120]),
        )
    return key, text[:120]


def block(text: str, farm: str, context: Context) -> int:
    """Find a block by name, and by farm where the name is not enough."""
    named = context.blocks.get(normal_name(text), ())
    if farm:
        named = tuple(pair for pair in named if pair[0] == normal_name(farm))
    if len(named) == 1:
        return named[0][1]
    if named:
        raise FaultError(
            "ambiguous-block",
            f"Several farms have a block named “{text}”. Add a column farm and name the"
            " farm in it.",
        )
    near = get_close_matches(normal_name(text), context.blocks, n=3, cutoff=0.6)
    hint = f" Near it: {', '.join(near).replace('_', ' ')}." if near else ""
    where = f" on the farm “{farm}”" if farm else ""
    raise FaultError(
        "unknown-block",
        f"No block{where} is named “{text}”.{hint} Write the name as under Blocks, or"
        " have a coordinator import the block.",
    )


def organism(text: str, context: Context) -> int:
    """Find an organism by its column or its name."""
    code = context.organism_headings.get(normal_name(text))
    if code is None:
        near = get_close_matches(
            normal_name(text), context.organism_headings, n=3, cutoff=0.5
        )
        hint = f" Near it: {', '.join(near)}." if near else ""
        raise FaultError(
            "unknown-organism",
            f"“{text}” is not an organism that this group counts.{hint} A coordinator"
            " adds organisms under Laboratory.",
        )
    return context.organisms[code]


def score(text: str, context: Context) -> int:
    """Read a symptom score on the group's scale."""
    return whole_number(
        text,
        lowest=context.lowest_score,
        highest=context.highest_score,
        what="a symptom score",
    )
