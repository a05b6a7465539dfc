"""The pages of washing: the protocol, and mixing alcohol."""

from datetime import date
from typing import Any

import pytest

from blocks.tenancy import stating
from monitoring.models import WashProtocol
from tests.builders import World

pytestmark = pytest.mark.django_db
PROTOCOL = {
    "alcohol_low_percent": "35",
    "alcohol_high_percent": "40",
    "volume_low_ml": "60",
    "volume_high_ml": "60",
    "shake_low_s": "30",
    "shake_high_s": "45",
    "piece_low_cm": "2",
    "piece_high_cm": "3",
    "rinses": "",
    "note": "our own trial",
    "valid_from": "2026-08-01",
}
MIX = {
    "bags": "14",
    "volume_ml": "50",
    "spare_percent": "0",
    "bottle_percent": "70",
    "wanted_percent": "35",
}


def page(world: World, rest: str = "", role: str = "lab") -> str:
    answer = world.client(role).get(world.url(f"laboratory/washing/{rest}"))
    assert answer.status_code == 200
    return answer.content.decode()


def test_common_practice_stands_and_says_so(world: World) -> None:
    text = page(world)
    assert "Nobody of the group has stated it yet" in text
    assert "common practice: 1 part of 70 percent alcohol to 1 part of water" in text
    assert "<td>45 to 50</td><td>common practice</td>" in text
    assert "Alcohol burns and its vapour needs ventilation." in text
    assert "Fire, vapour and waste" in text


def test_a_coordinator_states_a_protocol_and_earlier_ones_stay(world: World) -> None:
    client = world.client("coordinator")
    url = world.url("laboratory/washing/protocol/")
    assert client.post(url, PROTOCOL).status_code == 302
    again = PROTOCOL | {"volume_high_ml": "70", "valid_from": "2026-08-10"}
    assert client.post(url, again).status_code == 302
    with stating(world.group.pk):
        first, second = WashProtocol.objects.order_by("pk")
    assert (first.volume_high_ml, second.volume_high_ml) == (60, 70)
    assert second.valid_from == date(2026, 8, 10)
    text = page(world)
    assert "60 to 70" in text
    assert "Other protocols stated" in text
    assert "our own trial" in text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"volume_high_ml": "50"}, "50 is below 60."),
        ({"alcohol_low_percent": "0"}, "greater than or equal to 1"),
        ({"shake_low_s": "inf"}, "Write a number, such as 2.5"),
        ({"piece_high_cm": ""}, "This field is required"),
        ({"valid_from": "soon"}, "Write the date as 2026-08-14."),
        ({"note": ""}, "This field is required"),
        ({"rinses": "-1"}, "greater than or equal to 0"),
    ],
)
def test_a_protocol_that_cannot_be_is_refused(
    world: World, changed: dict[str, str], words: str
) -> None:
    answer = world.client("coordinator").post(
        world.url("laboratory/washing/protocol/"), PROTOCOL | changed
    )
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_the_mix_is_told_in_one_sentence(world: World) -> None:
    text = page(world, "mix/?bags=20&spare_percent=0")
    assert (
        "Pour 500 ml of the 70 percent alcohol and 500 ml of water: 1,000 ml of 35"
        " percent, for 20 bags of 50 ml." in text
    )
    assert "1 part of the bottle to 1 of water" in text
    # It contracts, so without spare the last bag gets less.
    assert "fills 986 ml, 1.4 percent less than the two together" in text
    assert "mix with a little more spare" in text
    assert "C<sub>1</sub>V<sub>1</sub> = C<sub>2</sub>V<sub>2</sub>" in text
    assert "(common practice)" in text
    assert "Alcohol burns and its vapour needs ventilation." in text


def test_spare_covers_the_contraction(world: World) -> None:
    assert "mix with a little more spare" not in page(world, "mix/?spare_percent=10")


def test_the_mix_begins_with_what_the_group_asks(world: World) -> None:
    world.client("coordinator").post(
        world.url("laboratory/washing/protocol/"), PROTOCOL
    )
    assert "of 40 percent, for 14 bags of 60 ml with 10 percent spare" in page(
        world, "mix/"
    )


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"wanted_percent": "71"}, "71 percent cannot be mixed from a bottle of 70"),
        ({"wanted_percent": "0"}, "greater than or equal to 1"),
        ({"bottle_percent": "150"}, "less than or equal to 100"),
        ({"bags": "0"}, "greater than or equal to 1"),
        ({"bags": "1.5"}, "Write a whole number."),
        ({"bags": "9" * 30}, "less than or equal to 10000"),
        ({"volume_ml": "nan"}, "Write a number, such as 2.5"),
        ({"spare_percent": "-5"}, "greater than or equal to 0"),
        ({"spare_percent": ""}, "This field is required"),
        ({"bottle_percent": "a\x00"}, "Write a number, such as 2.5"),
    ],
)
def test_a_wish_that_cannot_be_is_refused_in_words(
    world: World, changed: dict[str, Any], words: str
) -> None:
    answer = world.client("lab").get(
        world.url("laboratory/washing/mix/"), MIX | changed
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text
    assert "Pour " not in text.split("<details>")[0]
