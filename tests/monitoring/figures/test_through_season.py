"""The season's chart and the weather's: what is missing is not drawn."""

from datetime import date

from monitoring.figures.season import Mark, Panel, Point
from monitoring.figures.through_season import heat_panel, through_season_figure
from monitoring.figures.tones import TONES
from monitoring.figures.weather import DayShown, weather_figure

ROUNDS = [date(2020, 6, 1), date(2020, 6, 15)]
MITES = Panel(
    title="rust mites",
    unit="mite-days per leaf",
    tone=TONES[0],
    points=[Point(on, 5.0, 2.0, None, "told", "BBCH 75") for on in ROUNDS],
)


def test_heat_is_a_line_that_breaks_where_days_are_missing() -> None:
    heat = heat_panel(
        [(date(2020, 5, 1), 10.0, False), (date(2020, 5, 2), None, False),
         (date(2020, 5, 3), 14.2, True)]
    )  # fmt: skip
    found = through_season_figure([MITES], heat, span=(ROUNDS[0], ROUNDS[1]))
    line = found["data"][-1]
    assert line["mode"] == "lines"
    assert line["y"] == [10.0, None, 14.2]
    assert line["text"][2] == "3 May 2020: at least 14 degree-days"
    assert found["layout"]["xaxis"]["range"][0] == "2020-05-22"
    assert (
        len(through_season_figure([MITES], None, span=(ROUNDS[0], ROUNDS[1]))["data"])
        == 1
    )


def test_treatments_of_other_seasons_are_left_out() -> None:
    marks = [Mark(date(2020, 6, 8), "sulfur"), Mark(date(2019, 6, 8), "oil")]
    found = through_season_figure(
        [MITES], None, span=(ROUNDS[0], ROUNDS[1]), marks=marks
    )
    told = [note["text"] for note in found["layout"]["annotations"]]
    assert "sulfur" in told
    assert "oil" not in told


def test_weather_marks_what_was_not_measured_and_bars_what_is_missing() -> None:
    days = [
        DayShown(on=date(2020, 4, day), minimum_c=low, maximum_c=high, quality=quality,
                 degree_days=float(day))
        for day, low, high, quality in [
            (1, 4.0, 16.0, "measured"), (2, 5.0, 17.0, "doubtful"),
            (3, 6.0, 18.0, "filled"), (4, None, None, "missing"),
            (5, 6.0, 19.0, "estimated"),
        ]
    ]  # fmt: skip
    found = weather_figure(days)
    names = [trace["name"] for trace in found["data"]]
    assert names == [
        "highest",
        "lowest",
        "estimated",
        "doubtful",
        "filled",
        "degree-days",
    ]
    assert found["data"][0]["y"] == [16.0, 17.0, 18.0, None, 19.0]
    assert found["data"][-1]["y"] == [1.0, 2.0, 3.0, None, 5.0]
    (bar,) = found["layout"]["shapes"]
    assert bar["x0"].startswith("2020-04-04")


def test_weather_of_no_day_at_all_is_an_empty_chart() -> None:
    found = weather_figure([])
    assert [trace["x"] for trace in found["data"]] == [[], [], []]
