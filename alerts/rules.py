"""When an alert is raised, kept and cleared: numbers in, decisions out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

# A window over the whole year has no end at which alerts would end too.
ALL_YEAR = ("01-01", "12-31")
A_YEAR = timedelta(days=365)


def standing(
    chances: Sequence[float | None],
    *,
    raise_at: float,
    clear_below: float,
    raise_count: int = 1,
    clear_count: int = 2,
    clear_chances: Sequence[float | None] | None = None,
) -> list[bool]:
    """Say after each round whether an alert stands.

    chances: of being above the threshold, one a round, in order; None where a round
    has no figure, which keeps the state. raise_at: an alert is raised when the chance
    reaches it in `raise_count` rounds running. clear_below: it is cleared when the
    chance of being above the clear level is under it in `clear_count` rounds running.
    clear_chances: those chances, if other than `chances`.

    Source: deadband and on/off delays of alarm management (ANSI/ISA-18.2, from
    memory), counted in rounds.
    """
    to_clear = chances if clear_chances is None else clear_chances
    stands, above, below = False, 0, 0
    states = []
    for chance, clear_chance in zip(chances, to_clear, strict=True):
        if chance is not None:
            above = above + 1 if chance >= raise_at else 0
        if clear_chance is not None:
            below = below + 1 if clear_chance < clear_below else 0
        if not stands and above >= raise_count and chance is not None:
            stands, below = True, 0
        elif stands and below >= clear_count and clear_chance is not None:
            stands, above = False, 0
        states.append(stands)
    return states


def in_season(day: date, *, season_from: str, season_until: str) -> bool:
    """Tell whether a day lies in a season of months and days, both ends included."""
    at = f"{day:%m-%d}"
    if season_from <= season_until:
        return season_from <= at <= season_until
    return at >= season_from or at <= season_until


def season_began(day: date, *, season_from: str, season_until: str) -> date:
    """Give the first day of the season that a day lies in.

    Where the season is the whole year, a year is looked back on, whatever the date:
    summer lies over the new year in half of the world.
    """
    if (season_from, season_until) == ALL_YEAR:
        return day - A_YEAR
    month, first = (int(part) for part in season_from.split("-"))
    year = day.year
    over_new_year = season_from > season_until and f"{day:%m-%d}" <= season_until
    if over_new_year:
        year -= 1
    # A season from 29 February begins on the 28th in other years.
    try:
        return date(year, month, first)
    except ValueError:
        return date(year, month, first - 1)


@dataclass(frozen=True, slots=True)
class RoundChance:
    """One round against one threshold version.

    `chance` is of being beyond the threshold, `clear_chance` of being beyond the clear
    level; both None where the round has no figure that may judge.
    """

    round_id: int
    day: date
    chance: float | None
    clear_chance: float | None


@dataclass(frozen=True, slots=True)
class Terms:
    """What a threshold version asks for."""

    certainty: float
    clear_certainty: float
    raise_rounds: int
    clear_rounds: int
    season_from: str
    season_until: str


Outcome = Literal["stands", "clear", "season_over"]


@dataclass(frozen=True, slots=True)
class Decision:
    """Whether an alert is to stand, and the round that decided it.

    `stood`: whether one stood after any round; a clear outcome without it means that
    the rounds, as they are now, raise none at all.
    """

    outcome: Outcome
    decided_by: RoundChance | None
    stood: bool = False


def decide(rounds: Sequence[RoundChance], terms: Terms, *, today: date) -> Decision:
    """Judge a season's rounds, oldest first, as of today.

    A season without any round yet is not that in which an alert was raised: that one
    is over.
    """
    window = {"season_from": terms.season_from, "season_until": terms.season_until}
    if not in_season(today, **window):
        return Decision("season_over", None)
    began = season_began(today, **window)
    judged = [one for one in rounds if began <= one.day <= today + timedelta(days=1)]
    states = standing(
        [one.chance for one in judged],
        raise_at=terms.certainty,
        clear_below=terms.clear_certainty,
        raise_count=terms.raise_rounds,
        clear_count=terms.clear_rounds,
        clear_chances=[one.clear_chance for one in judged],
    )
    if not states:
        return Decision("season_over", None)
    if not any(states):
        with_figure = [one for one in judged if one.chance is not None]
        return Decision("clear", with_figure[-1] if with_figure else None)
    turn = len(states) - 1
    while turn > 0 and states[turn - 1] == states[-1]:
        turn -= 1
    outcome: Outcome = "stands" if states[-1] else "clear"
    return Decision(outcome, judged[turn], stood=True)
