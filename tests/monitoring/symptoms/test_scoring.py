"""Scores typed on a round's page: kept, corrected, never lost."""

from datetime import date
from typing import Any

import pytest
from django.utils import timezone

from blocks.tenancy import stating
from monitoring.models import Bag, Round, SymptomScale, SymptomScore
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db
REASON = "judged again in daylight"


class Scorer:
    """A person at the page of one round with three bags; the last one is unscored."""

    def __init__(self, desk: Desk) -> None:
        self.world = desk.world
        rows = [
            bag_row(bag=code, symptoms=score)
            for code, score in (("1", 0), ("2", 2), ("3", ""))
        ]
        desk.publish(desk.upload(bag_sheet(*rows)))
        with stating(self.world.group.pk):
            self.round = Round.objects.get()
            self.bags = {bag.code: bag.pk for bag in Bag.objects.all()}

    @property
    def url(self) -> str:
        return self.world.url(f"rounds/{self.round.uuid}/scores/")

    def values(self, **scores: str) -> dict[str, str]:
        """Give what the page sends with the given scores chosen."""
        seen = {"1": "0", "2": "2", "3": ""}
        chosen = seen | {code.removeprefix("b"): s for code, s in scores.items()}
        values = {
            "scorer_name": "A. Scorer",
            "scored_on": "2026-08-15",
            "reason": "",
        }
        for code, key in self.bags.items():
            values |= {f"bag-{key}": chosen[code], f"seen-{key}": seen[code]}
        return values

    def post(self, role: str = "lab", **values: Any) -> Any:
        return self.world.client(role).post(self.url, values)

    def scores(self, code: str) -> list[tuple[int, str]]:
        with stating(self.world.group.pk):
            return list(
                SymptomScore.objects.filter(bag=self.bags[code])
                .order_by("pk")
                .values_list("score", "state")
            )


@pytest.fixture
def scorer(desk: Desk) -> Scorer:
    return Scorer(desk)


def test_a_score_is_kept_with_who_and_when(scorer: Scorer) -> None:
    assert scorer.post(**scorer.values(b3="4")).status_code == 302
    assert scorer.scores("3") == [(4, "published")]
    with stating(scorer.world.group.pk):
        kept = SymptomScore.objects.get(bag=scorer.bags["3"])
    assert (kept.scorer_name, kept.scorer_id) == ("A. Scorer", None)
    assert kept.scored_on == date(2026, 8, 15)
    assert kept.created_by_id == scorer.world.people["lab"].pk
    assert scorer.scores("1") == [(0, "published")]


def test_ones_own_name_is_the_member(scorer: Scorer) -> None:
    lab = scorer.world.people["lab"]
    scorer.post(**scorer.values(b3="4") | {"scorer_name": lab.name})
    with stating(scorer.world.group.pk):
        assert SymptomScore.objects.get(bag=scorer.bags["3"]).scorer_id == lab.pk


def test_a_correction_needs_its_reason_and_keeps_the_old_score(scorer: Scorer) -> None:
    answer = scorer.post(**scorer.values(b2="3"))
    assert answer.status_code == 422
    assert "Say why" in answer.content.decode()
    assert scorer.scores("2") == [(2, "published")]
    scorer.post(**scorer.values(b2="3") | {"reason": REASON})
    assert scorer.scores("2") == [(2, "superseded"), (3, "published")]
    page = scorer.world.client("grower").get(
        scorer.world.url(f"rounds/{scorer.round.uuid}/")
    )
    text = page.content.decode()
    assert '<s class="muted">2</s>' in text
    assert REASON in text


def test_the_same_scores_again_change_nothing(scorer: Scorer) -> None:
    assert scorer.post(**scorer.values()).status_code == 302
    assert scorer.scores("2") == [(2, "published")]


def test_a_standing_score_is_not_taken_away(scorer: Scorer) -> None:
    answer = scorer.post(**scorer.values(b2=""))
    assert answer.status_code == 422
    assert "not taken away" in answer.content.decode()


def test_two_people_do_not_overwrite_each_other(scorer: Scorer) -> None:
    mine = scorer.values(b3="4")
    scorer.post("coordinator", **scorer.values(b3="1"))
    answer = scorer.post(**mine)
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "Somebody scored bag 3" in text
    # What was filled in is still there, and saving again is meant.
    assert '<option value="4" selected>' in text
    assert f'name="seen-{scorer.bags["3"]}" value="1"' in text
    again = mine | {f"seen-{scorer.bags['3']}": "1", "reason": REASON}
    assert scorer.post(**again).status_code == 302
    assert scorer.scores("3") == [(1, "superseded"), (4, "published")]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"scored_on": "yesterday"}, "Write the date"),
        ({"scored_on": "2999-01-01"}, "has not come yet"),
        ({"scored_on": "2026-08-13"}, "leaves are judged then or later"),
        ({"scorer_name": ""}, "required"),
        ({"b3": "9"}, "not one of the available choices"),
        ({"b3": "1; DROP TABLE"}, "not one of the available choices"),
        ({"scorer_name": "x\x00y"}, "Null characters"),
    ],
)
def test_bad_input_is_told_in_words(
    scorer: Scorer, wrong: dict[str, str], words: str
) -> None:
    scores = {key: text for key, text in wrong.items() if key.startswith("b")}
    others = {key: text for key, text in wrong.items() if key not in scores}
    answer = scorer.post(**scorer.values(**scores) | others)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert scorer.scores("3") == []


def test_odd_hidden_fields_break_nothing(scorer: Scorer) -> None:
    values = scorer.values(b3="4")
    for key in scorer.bags.values():
        values[f"seen-{key}"] = "--1"
    assert scorer.post(**values).status_code in {302, 409}
    assert scorer.post().status_code == 422


def test_named_levels_are_offered_and_shown(scorer: Scorer) -> None:
    names = "clean\nspecks\nrusset\nbronze\nscorched"
    today = timezone.localdate()
    answer = scorer.world.client("coordinator").post(
        scorer.world.url("laboratory/symptom-scale/"),
        {"lowest": 0, "highest": 4, "level_names": names, "valid_from": str(today)},
    )
    assert answer.status_code == 302
    assert "3, bronze" in scorer.world.client("lab").get(scorer.url).content.decode()
    laboratory = scorer.world.client("lab").get(scorer.world.url("laboratory/"))
    assert "3 bronze" in laboratory.content.decode()
    scorer.post(**scorer.values(b3="3"))
    page = scorer.world.client("lab").get(
        scorer.world.url(f"rounds/{scorer.round.uuid}/")
    )
    assert "3, bronze" in page.content.decode()


def test_a_score_of_an_earlier_scale_stays_until_it_is_judged_again(
    scorer: Scorer,
) -> None:
    with stating(scorer.world.group.pk):
        SymptomScale.objects.create(
            farm_group=scorer.world.group,
            lowest=10,
            highest=12,
            valid_from=timezone.localdate(),
        )
    assert scorer.post(**scorer.values(b3="11")).status_code == 302
    assert scorer.scores("2") == [(2, "published")]
    assert scorer.scores("3") == [(11, "published")]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ("clean\nrusset", "5 scores and 2 names"),
        ("a\nb\nc\n\ne", "is empty"),
        ("a\nb\nc\nA\ne", "same name"),
        ("a\nb\nc\nd\n" + "e" * 61, "up to 60 signs"),
    ],
)
def test_names_of_levels_are_looked_at(world: World, names: str, words: str) -> None:
    answer = world.client("coordinator").post(
        world.url("laboratory/symptom-scale/"),
        {
            "lowest": 0,
            "highest": 4,
            "level_names": names,
            "wording": "kept",
            "valid_from": "2026-01-01",
        },
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text
    assert "kept" in text


@pytest.mark.parametrize(
    ("role", "status"),
    [("coordinator", 200), ("lab", 200), ("consultant", 403), ("grower", 403)],
)
def test_those_who_count_score(scorer: Scorer, role: str, status: int) -> None:
    assert scorer.world.client(role).get(scorer.url).status_code == status
