"""Figures are what Plotly takes, and say what they show even when it is little."""

import itertools
import json
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from monitoring.figures.season import Panel, Point, season_figure
from monitoring.figures.tones import TONES, tone_of


def _point(day: int, median: float = 100.0, high: float | None = 200.0) -> Point:
    return Point(
        day=date(2026, 8, day),
        median=median,
        low=median / 2,
        high=high,
        label=f"{day} August",
        growth_stage="BBCH 75" if day < 10 else "BBCH 81",
    )


def _panel(*points: Point, position: int = 0, **fields: Any) -> Panel:
    return Panel(
        title="rust mites",
        unit="per leaf",
        tone=tone_of(position),
        points=points,
        **fields,
    )


FIGURES = {
    "none": [],
    "empty": [_panel()],
    "one point": [_panel(_point(1))],
    "all zero": [_panel(_point(1, 0.01), _point(8, 0.01))],
    "no upper limit": [_panel(_point(1, high=None), _point(8))],
    "thresholds": [_panel(_point(1), thresholds=[(150.0, "threshold 150")])],
    "many": [
        _panel(_point(1), _point(12), position=position, thresholds=[(5.0, "5")])
        for position in range(7)
    ],
}


@pytest.mark.parametrize("name", list(FIGURES))
def test_plotlys_own_schema_accepts_every_state(name: str) -> None:
    figure = season_figure(FIGURES[name])
    parsed = go.Figure(figure)
    assert len(parsed.data) == len(FIGURES[name])
    # What pages send is JSON without NaN or infinity.
    json.dumps(figure, allow_nan=False)


def test_panels_share_the_time_axis_and_do_not_overlap() -> None:
    layout = season_figure(FIGURES["many"])["layout"]
    domains = [
        layout["yaxis" if i == 0 else f"yaxis{i + 1}"]["domain"] for i in range(7)
    ]
    assert all(0 <= low < high <= 1 for low, high in domains)
    assert all(lower[1] < upper[0] for upper, lower in itertools.pairwise(domains))
    assert [key for key in layout if key.startswith("xaxis")] == ["xaxis"]


def test_intervals_reach_from_low_to_high() -> None:
    (trace,) = season_figure([_panel(_point(1), _point(8))])["data"]
    assert trace["error_y"]["array"] == [100.0, 100.0]
    assert trace["error_y"]["arrayminus"] == [50.0, 50.0]


def test_the_line_breaks_over_winter() -> None:
    old = Point(date(2025, 9, 20), 5.0, 2.0, 9.0, label="20 September")
    (trace,) = season_figure([_panel(old, _point(1))])["data"]
    assert trace["x"] == ["2025-09-20", "2025-09-21", "2026-08-01"]
    assert trace["y"] == [5.0, None, 100.0]
    assert trace["error_y"]["array"] == [4.0, None, 100.0]
    go.Figure(season_figure([_panel(old, _point(1))]))


def _top(*points: Point, **fields: Any) -> float:
    layout = season_figure([_panel(*points, **fields)])["layout"]
    bottom, top = layout["yaxis"]["range"]
    assert bottom == 0
    return float(top)


def test_one_interval_without_measure_does_not_flatten_the_panel() -> None:
    usual = [_point(1, 2.0, 4.0), _point(4, 3.0, 6.0), _point(8, 1.0, 3.0)]
    assert 6.0 < _top(*usual) < 7.0
    assert 9.0 < _top(*usual, _point(12, 1.0, 3000.0)) < 20.0


def test_upper_limits_stay_in_sight_where_nothing_was_found() -> None:
    """The median of an empty sample lies far below its upper end."""
    assert _top(_point(1, 0.01, 3.0), _point(8, 0.01, 2.0)) > 3.0


def test_a_threshold_far_above_is_in_sight() -> None:
    assert _top(_point(1, 2.0, 4.0), thresholds=[(150.0, "threshold 150")]) > 150


def test_a_threshold_is_a_labelled_line_in_its_own_panel() -> None:
    layout = season_figure(
        [_panel(_point(1)), _panel(_point(1), thresholds=[(150.0, "threshold 150")])]
    )["layout"]
    (line,) = layout["shapes"]
    assert (line["y0"], line["y1"], line["yref"]) == (150.0, 150.0, "y2")
    assert {"threshold 150"} <= {note["text"] for note in layout["annotations"]}


def test_a_panel_without_figures_says_so() -> None:
    layout = season_figure([_panel(), _panel(_point(1))])["layout"]
    (note,) = [note for note in layout["annotations"] if note["name"] == "empty"]
    assert note["text"] == "no figure yet"
    assert note["yref"] == "y domain"


def test_a_single_round_is_shown_in_the_middle_of_some_weeks() -> None:
    layout = season_figure([_panel(_point(15))])["layout"]
    assert layout["xaxis"]["range"] == ["2026-08-01", "2026-08-29"]
    assert (
        "range" not in season_figure([_panel(_point(1), _point(8))])["layout"]["xaxis"]
    )


def test_growth_stages_stand_where_they_change() -> None:
    layout = season_figure([_panel(_point(1), _point(8), _point(12))])["layout"]
    stages = [
        (note["x"], note["text"])
        for note in layout["annotations"]
        if note["name"] == "stage"
    ]
    assert stages == [("2026-08-01", "75"), ("2026-08-12", "81")]


def test_organisms_differ_in_colour_mark_and_dash() -> None:
    assert len({tone.colour for tone in TONES}) == len(TONES)
    assert len({tone.symbol for tone in TONES}) == len(TONES)
    assert len({tone.dash for tone in TONES}) == len(TONES)
    assert tone_of(len(TONES)) == TONES[0]
