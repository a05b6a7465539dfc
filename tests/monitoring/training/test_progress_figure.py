"""The chart of progress: each dish once, between the standard's lines."""

from monitoring.figures.training import Series, progress_figure

SERIES = [
    Series("rust mites at 20 times", 0, [1, 2, 4], [0.7, 0.9, 1.0], ["a", "b", "c"]),
    Series("thrips at 40 times", 2, [3, 4], [1.2, 1.1], ["d", "e"]),
]


def test_each_kind_has_its_own_tone_and_each_dish_its_place() -> None:
    mites, thrips, standard = progress_figure(SERIES, widest_ratio=1.5)["data"]
    assert (mites["x"], mites["y"]) == ([1, 2, 4], [0.7, 0.9, 1.0])
    assert (mites["meta"]["tone"], thrips["meta"]["tone"]) == ("rust", "indigo")
    assert thrips["text"] == ["d", "e"]
    assert standard["name"] == "the lab's standard"
    assert standard["y"] == [1.5, 1.5, None, 1 / 1.5, 1 / 1.5]
    assert (standard["x"][0], standard["x"][-1]) == (0.5, 4.5)


def test_without_a_standard_there_are_no_lines() -> None:
    figure = progress_figure(SERIES, widest_ratio=None)
    assert [one["name"] for one in figure["data"]] == [one.name for one in SERIES]
    assert figure["layout"]["yaxis"]["type"] == "log"
    assert "dtick" not in figure["layout"]["yaxis"]
