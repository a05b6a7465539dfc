"""Treatments stand as labelled ticks above the season's panels."""

from datetime import date

import plotly.graph_objects as go

from monitoring.figures.season import Mark, Panel, Point, season_figure
from monitoring.figures.tones import tone_of

PANELS = [
    Panel(
        title="rust mites",
        unit="per leaf",
        tone=tone_of(0),
        points=[
            Point(date(2026, 8, day), 100.0, 50.0, 200.0, f"{day} August")
            for day in (1, 15)
        ],
    )
]


def test_each_day_has_one_line_and_one_label() -> None:
    marks = [
        Mark(date(2026, 8, 8), "sulfur"),
        Mark(date(2026, 8, 8), "oil"),
        Mark(date(2026, 7, 20), "acaricide"),
        # Long before the first round.
        Mark(date(2024, 7, 20), "sulfur"),
    ]
    drawn = season_figure(PANELS, marks)
    layout = drawn["layout"]
    assert [line["x0"] for line in layout["shapes"]] == ["2026-07-20", "2026-08-08"]
    labels = {note["x"]: note["text"] for note in layout["annotations"]}
    assert labels == {"2026-07-20": "acaricide", "2026-08-08": "oil, sulfur"}
    # Plotly's own check of what it is given.
    go.Figure(drawn)


def test_the_plot_keeps_its_height_under_the_labels() -> None:
    plain = season_figure(PANELS)["layout"]
    marked = season_figure(PANELS, [Mark(date(2026, 8, 8), "a very long label")])
    layout = marked["layout"]
    room = layout["margin"]["t"] - plain["margin"]["t"]
    assert room > 0
    assert layout["height"] - room == plain["height"]


def test_without_points_nothing_is_marked() -> None:
    empty = Panel(title="thrips", unit="per leaf", tone=tone_of(1), points=[])
    for panels in ([], [empty]):
        layout = season_figure(panels, [Mark(date(2026, 8, 8), "oil")])["layout"]
        assert layout["shapes"] == []
