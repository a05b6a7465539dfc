"""Only the invented farm group has a fresh sheet."""

from django.test import Client

from tests.builders import World


def test_real_groups_have_no_fresh_sheet(world: World) -> None:
    answer = world.client("lab").get(world.url("fresh-sheet.csv"))
    assert answer.status_code == 404


def test_stranger_gets_404(world: World, stranger: Client) -> None:
    assert stranger.get(world.url("fresh-sheet.csv")).status_code == 404


def test_someone_not_signed_in_is_asked_to(world: World) -> None:
    answer = Client().get(world.url("fresh-sheet.csv"))
    assert answer.status_code == 302
    assert "login" in answer["Location"]
