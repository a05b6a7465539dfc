"""What became of earlier forecasts, judged by hand-made seasons."""

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any, cast

import pytest

from monitoring.densities.samples import BagCount, Sample
from monitoring.forecasts.past import crossing_seen, past_forecasts, summary_of
from monitoring.forecasts.series import Series, Subject, Visit
from monitoring.models import Density, Organism, Round
from monitoring.thresholds import ThresholdInForce

FIRST = date(2026, 6, 1)
SUBJECT = Subject(1, "leaf", 1)
MITES = Organism(pk=1, code="rust_mites", name="rust mites", position=0)


def _visit(day: int, median: float | None) -> Visit:
    on = FIRST + timedelta(days=day)
    spread = (0.3, 0.6, 0.8, 1.0, 1.2, 1.5, 1.6, 0.5, 1.4, 1.1)
    bags = [
        BagCount(place, f"{place}", "mid", 1, round((median or 0) * factor), 1.0)
        for place, factor in enumerate(spread)
    ]
    return Visit(
        Round(pk=day, collected_on=on),
        Sample(day, "leaf", 1, counted=bags),
        Density(median=median),
        1.0,
        None,
    )


def _threshold(level: float) -> ThresholdInForce:
    return ThresholdInForce(
        block_id=1,
        tissue="leaf",
        organism_id=1,
        prey_id=None,
        level=level,
        clear_level=level,
        certainty=0.8,
        minimum_bags=1,
        scope="group",
        in_season=True,
    )


def _told(medians: list[float], level: float, *, treated: tuple[int, ...] = ()) -> Any:
    visits = [_visit(10 * place, median) for place, median in enumerate(medians)]
    series = Series(SUBJECT, visits, [FIRST + timedelta(days=day) for day in treated])
    found = past_forecasts({SUBJECT: series}, [_threshold(level)], {1: MITES})
    return SimpleNamespace(found=found, summary=summary_of(found))


@pytest.mark.parametrize(
    ("medians", "day"),
    [
        ([10, 40], 5),
        ([10, 20], 10),
        ([5, 10, 40], 15),
        ([10, None, 40], 10),
        ([10, 15], None),
        ([30, 40], None),
        ([None, None], None),
    ],
)
def test_the_crossing_lies_on_a_line_between_logarithms(
    medians: list[float | None], day: int | None
) -> None:
    """Between 10 and 40 the logarithm of 20 is half-way."""
    season = [_visit(10 * place, median) for place, median in enumerate(medians)]
    found = crossing_seen(season, 20.0)
    assert found == (None if day is None else FIRST + timedelta(days=day))


def test_steady_growth_holds() -> None:
    told = _told([3, 8, 21, 58, 160, 430], 200)
    assert [one.verdict for one in told.found if one.day] == ["held"] * len(
        [one for one in told.found if one.day]
    )
    assert told.summary.held >= 1
    assert told.found[0].made_at.collected_on > told.found[-1].made_at.collected_on


def test_growth_that_stops_is_a_miss_once_the_interval_has_passed() -> None:
    told = _told([3, 8, 21, 58, 60, 58, 61, 59, 60, 58], 100)
    assert told.summary.late >= 1
    assert all(one.crossed_on is None for one in told.found)


def test_a_season_cut_short_leaves_forecasts_open() -> None:
    told = _told([3, 8, 21, 58, 60], 150)
    assert {one.verdict for one in told.found if one.day} == {"open"}
    assert told.summary.judged == 0


def test_a_treatment_in_between_is_not_judged() -> None:
    told = _told([3, 8, 21, 58, 160, 430], 200, treated=(32,))
    assert told.summary.treated >= 1
    assert {one.outcome for one in told.found if one.made_at.pk > 32} == {
        "too_few_rounds"
    }


def test_a_season_above_from_the_start_is_not_tried() -> None:
    assert _told([300, 400, 500, 600], 200).found == []


def test_ratios_and_unknown_subjects_are_passed_over() -> None:
    other = cast("Any", _threshold(5.0))
    assert past_forecasts({}, [other], {1: MITES}) == []
