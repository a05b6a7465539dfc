"""Who sees and changes what on the pages of thresholds, alerts and messages."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from alerts.models import Alert, Message, Subscription, Threshold, ThresholdVersion
from alerts.services.outbox import Clock, send_due
from alerts.services.thresholds import Values, Watched, set_threshold
from blocks.tenancy import stating
from monitoring.models import Organism
from tests.alerts.conftest import (
    HIGH,
    NOW,
    judge,
    let_subscribe,
    member,
    publish,
    set_mite_threshold,
)
from tests.builders import Role, World

pytestmark = pytest.mark.django_db
ROLES = [role.value for role in Role]
# Pages that are not for everybody.
ONLY_FOR = {"add": {"coordinator", "grower"}, "messages": {"coordinator"}}
VALUES = {
    "level": "150",
    "clear_level": "",
    "certainty": "80",
    "clear_certainty": "50",
    "raise_rounds": "1",
    "clear_rounds": "2",
    "minimum_bags": "5",
    "season_from": "01-01",
    "season_until": "12-31",
    "reason": "",
}


@pytest.fixture
def mail_folder(settings: Any, tmp_path: Path) -> Path:
    settings.SHOWS_MAIL = True
    settings.EMAIL_BACKEND = "alerts.delivery.folder.FolderBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")
    return tmp_path / "mail"


@pytest.fixture
def raised(world: World, mail_folder: Path) -> World:
    """A group-wide threshold, an alert on each block, and mail about both."""
    let_subscribe(world, "consultant", "grower")
    set_mite_threshold(world)
    for block in world.blocks:
        publish(world, HIGH, block=block.name)
    assert judge(world) == 2
    assert send_due(world.group.pk, Clock(now=lambda: NOW, share=lambda: 0.5)) == 3
    return world


def paths(world: World) -> dict[str, str]:
    with stating(world.group.pk):
        threshold = Threshold.objects.earliest("pk")
        alert = Alert.objects.filter(block=world.block).earliest("pk")
    return {
        "thresholds": "thresholds/",
        "add": "thresholds/add/",
        "threshold": f"thresholds/{threshold.uuid}/",
        "alerts": "alerts/",
        "alert": f"alerts/{alert.uuid}/",
        "messages": "messages/",
        "mail": "mail/",
    }


def text_of(world: World, page: str, role: str) -> str:
    answer = world.client(role).get(world.url(paths(world)[page]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize("role", ROLES)
def test_each_role_opens_its_pages(raised: World, role: str) -> None:
    client = raised.client(role)
    for page, path in paths(raised).items():
        answer = client.get(raised.url(path))
        if role in ONLY_FOR.get(page, set(ROLES)):
            assert answer.status_code == 200, page
            assert answer.headers["Cache-Control"] == "private, no-store", page
        else:
            assert answer.status_code == 403, page


def test_another_group_looks_missing(
    raised: World, make_world: Callable[..., World], stranger: Client
) -> None:
    other = make_world("Canary ")
    outsider = other.client("coordinator")
    for page, path in paths(raised).items():
        assert outsider.get(raised.url(path)).status_code == 404, page
        assert stranger.get(raised.url(path)).status_code == 404, page
        assert Client().get(raised.url(path)).status_code == 302, page
        if page in {"threshold", "alert"}:
            # The page's own key, under the outsider's own group.
            assert outsider.get(other.url(path)).status_code == 404, page


def test_a_grower_sees_alerts_of_their_farms_only(raised: World) -> None:
    mine, far = raised.farms
    page = text_of(raised, "alerts", "grower")
    assert mine.name in page
    assert far.name not in page
    with stating(raised.group.pk):
        hidden = Alert.objects.get(block=raised.blocks[1])
    answer = raised.client("grower").get(raised.url(f"alerts/{hidden.uuid}/"))
    assert answer.status_code == 404


def test_an_alerts_history_shows_what_it_was_judged_by(raised: World) -> None:
    page = text_of(raised, "alert", "consultant")
    for words in (
        "Raised",
        "round of 14 Aug 2026",
        "in 100 beyond 50 per leaf, 6 bags",
        "threshold, version 1",
        "does not prescribe",
    ):
        assert words in page


@pytest.mark.parametrize(
    ("role", "farms"),
    [
        ("grower", {0}),
        ("consultant", {0, 1}),
        ("coordinator", {0, 1}),
        ("lab", {0, 1}),
    ],
)
def test_mail_is_shown_to_its_recipient_and_those_who_answer_for_it(
    raised: World, role: str, farms: set[int]
) -> None:
    page = text_of(raised, "mail", role)
    for number, farm in enumerate(raised.farms):
        assert (f"Farm: {farm.name}" in page) is (number in farms)


def test_another_groups_mail_in_the_same_folder_is_not_shown(
    raised: World, make_world: Callable[..., World]
) -> None:
    other = make_world("Canary ")
    page = other.client("coordinator").get(other.url("mail/"))
    assert raised.farms[0].name not in page.content.decode()


def test_mail_that_goes_to_a_server_has_no_page(world: World, settings: Any) -> None:
    settings.SHOWS_MAIL = False
    assert world.client("lab").get(world.url("mail/")).status_code == 404


@pytest.mark.parametrize("role", ROLES)
def test_every_member_takes_and_ends_their_own_subscription(
    world: World, role: str
) -> None:
    client = world.client(role)
    for answer, wanted in (("yes", True), ("yes", True), ("no", False)):
        reply = client.post(
            world.url("alerts/subscription/"), {"by_email": answer}, follow=True
        )
        assert reply.status_code == 200
        with stating(world.group.pk):
            row = Subscription.objects.get()
            assert (row.membership.user_id, row.by_email) == (
                world.people[role].pk,
                wanted,
            )


def new_threshold(world: World, **values: object) -> dict[str, object]:
    with stating(world.group.pk):
        mites = Organism.objects.get(code="rust_mites").pk
    return {
        **VALUES,
        "tissue": "leaf",
        "kind": "density",
        "organism": mites,
        **values,
    }


def add(world: World, role: str, **values: object) -> Any:
    return world.client(role).post(
        world.url("thresholds/add/"), new_threshold(world, **values), follow=True
    )


@pytest.mark.parametrize(
    ("role", "where", "status"),
    [
        ("coordinator", {}, 200),
        ("coordinator", {"farm": 1}, 200),
        ("grower", {"farm": 0}, 200),
        ("grower", {"block": 0}, 200),
        # Another's farm is no choice on the form.
        ("grower", {"farm": 1}, 422),
        ("grower", {"block": 1}, 422),
        ("grower", {}, 422),
        ("consultant", {}, 403),
        ("lab", {}, 403),
    ],
)
def test_coordinators_and_growers_set_thresholds_of_their_farms(
    world: World, role: str, where: dict[str, int], status: int
) -> None:
    keys = {
        "farm": [farm.pk for farm in world.farms],
        "block": [block.pk for block in world.blocks],
    }
    given = {name: keys[name][at] for name, at in where.items()}
    assert add(world, role, **given).status_code == status
    with stating(world.group.pk):
        assert Threshold.objects.count() == (1 if status == 200 else 0)


def test_a_grower_is_told_to_choose_and_keeps_what_was_typed(world: World) -> None:
    page = add(world, "grower", level="123").content.decode()
    assert "Choose one of your farms, or a block." in page
    assert 'value="123"' in page


@pytest.mark.parametrize(
    ("role", "status"),
    [("coordinator", 302), ("grower", 403), ("consultant", 403), ("lab", 403)],
)
def test_only_a_coordinator_changes_and_removes_a_groups_threshold(
    world: World, role: str, status: int
) -> None:
    set_mite_threshold(world)
    with stating(world.group.pk):
        path = f"thresholds/{Threshold.objects.get().uuid}/"
    client = world.client(role)
    page = client.get(world.url(path)).content.decode()
    assert ("Save as a new version" in page) is (status == 302)
    changed = client.post(world.url(path), {**VALUES, "seen_number": 1})
    assert changed.status_code == status
    removed = client.post(world.url(f"{path}remove/"), {"reason": "not needed"})
    assert removed.status_code == status
    with stating(world.group.pk):
        numbers = list(ThresholdVersion.objects.values_list("number", "removed"))
    expected = [(1, False), (2, False), (3, True)] if status == 302 else [(1, False)]
    assert numbers == expected


def test_a_threshold_of_another_farm_looks_missing_to_a_grower(world: World) -> None:
    with transaction.atomic():
        who = member(world)
        set_threshold(
            who,
            Watched(tissue="leaf", organism=Organism.objects.get(code="thrips"),
                    block=world.blocks[1]),
            Values(level=3), reason="", now=NOW,
        )  # fmt: skip
        uuid = Threshold.objects.get().uuid
    client = world.client("grower")
    path = world.url(f"thresholds/{uuid}/")
    assert client.get(path).status_code == 404
    assert client.post(path, VALUES).status_code == 404
    assert client.post(f"{path}remove/").status_code == 404
    listed = client.get(world.url("thresholds/")).content.decode()
    assert world.blocks[1].name not in listed


def test_history_names_versions_people_and_reasons(world: World) -> None:
    set_mite_threshold(world)
    with stating(world.group.pk):
        path = world.url(f"thresholds/{Threshold.objects.get().uuid}/")
    client = world.client("coordinator")
    client.post(path, {**VALUES, "seen_number": 1, "reason": "last year's scars"})
    page = client.get(path).content.decode()
    assert "last year&#x27;s scars" in page
    assert world.people["coordinator"].name in page
    assert "150 per leaf" in page
    assert "50 per leaf" in page


def set_thrips_threshold(world: World) -> None:
    """Raise two more alerts, with three more messages."""
    with transaction.atomic():
        who = member(world)
        thrips = Organism.objects.get(code="thrips")
        set_threshold(
            who,
            Watched(tissue="leaf", organism=thrips),
            Values(level=0.1),
            reason="",
            now=NOW,
        )


@pytest.mark.parametrize("doubled", [False, True])
def test_lists_cost_the_same_for_any_number(
    raised: World, *, doubled: bool, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    if doubled:
        set_thrips_threshold(raised)
    client = raised.client("coordinator")
    for page, queries in {"thresholds": 8, "alerts": 11, "messages": 9}.items():
        path = raised.url(paths(raised)[page])
        client.get(path)
        with django_assert_num_queries(queries):
            client.get(path)
    with stating(raised.group.pk):
        assert Alert.objects.count() == (4 if doubled else 2)
        assert Message.objects.count() == (6 if doubled else 3)


def test_messages_show_what_was_given_up_and_why(raised: World) -> None:
    with stating(raised.group.pk):
        Message.objects.update(state="dead", trouble="550 no such mailbox", attempts=7)
    page = text_of(raised, "messages", "coordinator")
    assert "given up, 7 tries" in page
    assert "550 no such mailbox" in page
