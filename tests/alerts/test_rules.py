"""Seasons, and what a season's rounds decide."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.rules import (
    Decision,
    RoundChance,
    Terms,
    decide,
    in_season,
    season_began,
    standing,
)

SUMMER = {"season_from": "05-01", "season_until": "09-30"}
OVER_NEW_YEAR = {"season_from": "10-15", "season_until": "03-31"}
LEAP = {"season_from": "02-29", "season_until": "08-01"}
WHOLE_YEAR = {"season_from": "01-01", "season_until": "12-31"}


def terms(**changes: object) -> Terms:
    usual: dict[str, object] = {
        "certainty": 0.8,
        "clear_certainty": 0.5,
        "raise_rounds": 1,
        "clear_rounds": 2,
        **SUMMER,
    }
    return Terms(**(usual | changes))  # type: ignore[arg-type]  # names as in the class


def rounds(*chances: float | None, first: date = date(2026, 7, 1)) -> list[RoundChance]:
    return [
        RoundChance(number, first + timedelta(days=7 * number), chance, chance)
        for number, chance in enumerate(chances)
    ]


@pytest.mark.parametrize(
    ("day", "window", "expected"),
    [
        (date(2026, 5, 1), SUMMER, True),
        (date(2026, 9, 30), SUMMER, True),
        (date(2026, 4, 30), SUMMER, False),
        (date(2026, 10, 1), SUMMER, False),
        (date(2026, 12, 31), OVER_NEW_YEAR, True),
        (date(2027, 3, 31), OVER_NEW_YEAR, True),
        (date(2027, 4, 1), OVER_NEW_YEAR, False),
        (date(2028, 2, 29), LEAP, True),
        (date(2027, 3, 1), LEAP, True),
        (date(2027, 2, 28), LEAP, False),
    ],
)
def test_a_season_includes_both_its_ends(
    day: date, window: dict[str, str], *, expected: bool
) -> None:
    assert in_season(day, **window) is expected


@pytest.mark.parametrize(
    ("day", "window", "began"),
    [
        (date(2026, 8, 14), SUMMER, date(2026, 5, 1)),
        (date(2026, 12, 1), OVER_NEW_YEAR, date(2026, 10, 15)),
        (date(2027, 2, 1), OVER_NEW_YEAR, date(2026, 10, 15)),
        (date(2027, 6, 1), LEAP, date(2027, 2, 28)),
        (date(2028, 6, 1), LEAP, date(2028, 2, 29)),
        (date(2027, 1, 2), WHOLE_YEAR, date(2026, 1, 2)),
    ],
)
def test_a_season_began_on_its_first_day(
    day: date, window: dict[str, str], began: date
) -> None:
    assert season_began(day, **window) == began


def test_summer_over_the_new_year_goes_on_where_the_season_is_the_whole_year() -> None:
    found = decide(
        rounds(0.9, first=date(2026, 12, 20)),
        terms(**WHOLE_YEAR),
        today=date(2027, 1, 2),
    )
    assert found.outcome == "stands"


def test_outside_the_season_nothing_stands() -> None:
    found = decide(rounds(0.99), terms(), today=date(2026, 10, 1))
    assert found == Decision("season_over", None)


def test_a_new_season_begins_without_last_years_alert() -> None:
    found = decide(
        rounds(0.99, first=date(2025, 9, 1)), terms(), today=date(2026, 5, 2)
    )
    assert found.outcome == "season_over"


def test_the_round_that_turned_the_state_decides() -> None:
    season = rounds(0.3, 0.9, 0.95, 0.4, 0.3, 0.2)
    today = date(2026, 8, 20)
    raised = decide(season[:3], terms(), today=today)
    assert (raised.outcome, raised.decided_by) == ("stands", season[1])
    cleared = decide(season, terms(), today=today)
    assert (cleared.outcome, cleared.decided_by, cleared.stood) == (
        "clear",
        season[4],
        True,
    )


def test_rounds_that_raise_nothing_are_told_from_cleared_ones() -> None:
    season = rounds(0.1, 0.2, None)
    found = decide(season, terms(), today=date(2026, 8, 1))
    assert found == Decision("clear", season[1])
    no_figure = decide(rounds(None), terms(), today=date(2026, 8, 1))
    assert no_figure == Decision("clear", None)


def test_a_round_dated_after_tomorrow_does_not_judge_yet() -> None:
    season = rounds(0.99, first=date(2026, 7, 3))
    assert decide(season, terms(), today=date(2026, 7, 1)).outcome == "season_over"
    assert decide(season, terms(), today=date(2026, 7, 2)).outcome == "stands"


@pytest.mark.parametrize(
    ("chances", "clear_chances", "states"),
    [
        ([], [], []),
        ([None, None], [None, None], [False, False]),
        ([1.0], [1.0], [True]),
        # The chance above the clear level is what clears, not that above the threshold.
        ([0.9, 0.1, 0.1], [0.95, 0.6, 0.6], [True, True, True]),
        ([0.9, 0.1, 0.1], [0.95, 0.4, 0.4], [True, True, False]),
        # A round in the deadband breaks the run of low ones.
        ([0.9, 0.1, 0.6, 0.1], [0.9, 0.1, 0.6, 0.1], [True, True, True, True]),
    ],
)
def test_clearing_is_judged_by_the_clear_level(
    chances: list[float | None], clear_chances: list[float | None], states: list[bool]
) -> None:
    found = standing(
        chances, raise_at=0.8, clear_below=0.5, clear_chances=clear_chances
    )
    assert found == states


def test_two_rounds_running_can_be_asked_for_before_raising() -> None:
    chances = [0.9, 0.5, 0.9, None, 0.9]
    states = standing(chances, raise_at=0.8, clear_below=0.5, raise_count=2)
    assert states == [False, False, False, False, True]


CHANCE = st.none() | st.floats(0, 1)


@given(
    st.lists(CHANCE, max_size=30),
    st.integers(1, 3),
    st.integers(1, 3),
)
def test_states_agree_with_a_slow_reading_of_the_rule(
    chances: list[float | None], raise_count: int, clear_count: int
) -> None:
    """Look back from every round over those with a figure since the last turn."""
    stands, since, expected = False, 0, []
    for number, chance in enumerate(chances, 1):
        seen = [one for one in chances[since:number] if one is not None]
        wanted = clear_count if stands else raise_count
        last = seen[-wanted:]
        turns = len(last) == wanted and all(
            (one < 0.5) if stands else (one >= 0.8) for one in last
        )
        if turns and chance is not None:
            stands, since = not stands, number
        expected.append(stands)
    assert (
        standing(
            chances,
            raise_at=0.8,
            clear_below=0.5,
            raise_count=raise_count,
            clear_count=clear_count,
        )
        == expected
    )
