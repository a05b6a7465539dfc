"""Symptom scores come with sheets; a correction keeps the old score."""

import pytest

from blocks.tenancy import stating
from monitoring.models import SymptomScore
from tests.desks import HEADER, Desk, bag_row

pytestmark = pytest.mark.django_db
WIDER = f"{HEADER},scored_by,scored_on"


def _sheet(*rows: str, header: str = HEADER) -> bytes:
    return "\n".join([header, *rows, ""]).encode()


def _scores(desk: Desk) -> list[tuple[str, int, str]]:
    with stating(desk.world.group.pk):
        return [
            (row.bag.code, row.score, row.state)
            for row in SymptomScore.objects.select_related("bag").order_by("pk")
        ]


def test_a_sheet_brings_scores_with_who_when_and_where_from(desk: Desk) -> None:
    scorer = desk.world.people["grower"]
    row = f"{bag_row(bag='7', symptoms=3)},{scorer.name},2026-08-14"
    sheet = desk.publish(desk.upload(_sheet(row, header=WIDER)))
    with stating(desk.world.group.pk):
        score = SymptomScore.objects.select_related("scale").get()
        assert (score.score, score.scorer_id) == (3, scorer.pk)
        assert score.scorer_name == scorer.name
        assert f"{score.scored_on:%Y-%m-%d}" == "2026-08-14"
        assert (score.source_sheet_id, score.source_row) == (sheet.pk, 2)
        assert score.scale.highest == 4
        assert score.created_by == desk.world.people["lab"]


def test_a_bag_without_a_score_has_none(desk: Desk) -> None:
    desk.publish(desk.upload(_sheet(bag_row(symptoms=""))))
    assert _scores(desk) == []


def test_a_score_alone_is_worth_publishing(desk: Desk) -> None:
    desk.publish(desk.upload(_sheet(bag_row(symptoms=""))))
    sheet = desk.publish(desk.upload(_sheet(bag_row(symptoms=0)), "later.csv"))
    assert sheet.summary["new_scores"] == 1
    assert _scores(desk) == [("1", 0, "published")]


def test_the_same_score_again_changes_nothing(desk: Desk) -> None:
    desk.publish(desk.upload(_sheet(bag_row(symptoms=2))))
    desk.publish(desk.upload(_sheet(bag_row(symptoms=2, note="again")), "b.csv"))
    assert _scores(desk) == [("1", 2, "published")]


@pytest.mark.parametrize(
    ("answer", "left"),
    [
        ("correction", [("1", 2, "superseded"), ("1", 3, "published")]),
        ("keep", [("1", 2, "published")]),
    ],
)
def test_another_score_is_asked_about(
    desk: Desk, answer: str, left: list[tuple[str, int, str]]
) -> None:
    desk.publish(desk.upload(_sheet(bag_row(symptoms=2))))
    sheet = desk.upload(_sheet(bag_row(symptoms=3)), "b.csv")
    assert desk.codes(sheet, "warning") == ["score-changed"]
    assert sheet.summary["open_questions"] == ["rescored"]
    desk.publish(desk.answer(sheet, rescored=answer, reason="seen in daylight"))
    assert _scores(desk) == left
    if answer == "correction":
        with stating(desk.world.group.pk):
            new = SymptomScore.objects.get(state="published")
            assert new.supersedes is not None
            assert new.supersedes.score == 2
            assert new.reason == "seen in daylight"


def test_two_rows_of_a_bag_must_score_alike(desk: Desk) -> None:
    wider = f"{HEADER},reading"
    rows = [f"{bag_row(symptoms=2)},1", f"{bag_row(symptoms=4)},2"]
    sheet = desk.upload(_sheet(*rows, header=wider))
    assert desk.codes(sheet) == ["score-differs"]


def test_the_first_row_with_a_score_counts(desk: Desk) -> None:
    rows = [f"{bag_row(symptoms='')},1", f"{bag_row(symptoms=4)},2"]
    desk.publish(desk.upload(_sheet(*rows, header=f"{HEADER},reading")))
    assert _scores(desk) == [("1", 4, "published")]


def test_a_bag_is_not_scored_before_it_is_collected(desk: Desk) -> None:
    row = f"{bag_row()},,2026-08-13"
    sheet = desk.upload(_sheet(row, header=WIDER))
    assert desk.codes(sheet) == ["scored-before-collected"]
