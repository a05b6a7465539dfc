"""Every message is sent once, or ends with a reason."""

import email
from collections.abc import Callable
from datetime import datetime, timedelta
from email.message import EmailMessage
from email.policy import default
from itertools import pairwise
from pathlib import Path
from threading import Barrier, Thread
from typing import Any

import pytest
from django.core import mail
from django.db import connection
from pytest_django import DjangoAssertNumQueries

from alerts import tasks
from alerts.delivery.email import DeliveryError
from alerts.models import Message, Subscription
from alerts.services import outbox
from alerts.services.lifecycle import judge_blocks
from alerts.services.outbox import Clock, claim_message, send_due
from blocks.models import Membership
from blocks.services.groups import add_member
from blocks.tenancy import stating
from tests.alerts.conftest import (
    HIGH,
    LOW,
    NOW,
    judge,
    let_subscribe,
    publish,
    set_mite_threshold,
)
from tests.builders import World, make_user

pytestmark = pytest.mark.django_db(databases=["default", "owner"])
# The whole schedule of a message that nobody takes, from the first try on.
SCHEDULE_MINUTES = [0, 1, 5, 30, 2 * 60, 6 * 60, 24 * 60]


class Hands:
    """A clock that tests set by hand."""

    def __init__(self, share: float = 0.5) -> None:
        self.time = NOW
        self.share = share

    @property
    def clock(self) -> Clock:
        return Clock(now=lambda: self.time, share=lambda: self.share)

    def move(self, **by: float) -> None:
        self.time += timedelta(**by)


def write_one(world: World, *roles: str) -> None:
    """Raise an alert that the people of these roles are to be told of."""
    let_subscribe(world, *(roles or ("consultant",)))
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)


def the_message(world: World) -> Message:
    with stating(world.group.pk):
        return Message.objects.get()


def send(world: World, hands: Hands) -> int:
    return send_due(world.group.pk, hands.clock)


def test_a_message_is_sent_once_and_holds_every_fact(world: World) -> None:
    write_one(world)
    hands = Hands()
    assert send(world, hands) == 1
    assert send(world, hands) == 0
    (letter,) = mail.outbox
    text = str(letter.body)
    for fact in (
        world.block.name,
        world.farms[0].name,
        "rust mites per leaf",
        "in 100 that this is above the threshold of 50 per leaf",
        "round of 14 August 2026, 6 bags",
        "What next",
        f"/g/{world.slug}/blocks/{world.block.uuid}/",
        "You get this because",
        f"To end it: http://127.0.0.1:8000/g/{world.slug}/alerts/",
    ):
        assert fact in text
    sent = the_message(world)
    assert (sent.state, sent.sent_at, sent.attempts) == ("sent", NOW, 1)


def test_growers_are_told_of_their_farms_only(world: World) -> None:
    let_subscribe(world, "grower", "consultant", "coordinator")
    set_mite_threshold(world)
    publish(world, HIGH, block=world.blocks[1].name)
    judge(world)
    with stating(world.group.pk):
        told = set(Message.objects.values_list("recipient__role", flat=True))
    assert told == {"consultant", "coordinator"}


def test_a_refused_message_is_tried_on_schedule_and_then_given_up(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_one(world)
    hands, tries = Hands(), []

    def refuse(message: Message, *, sender: str) -> None:
        tries.append(hands.time)
        raise DeliveryError("451 try later")

    monkeypatch.setattr(outbox, "deliver", refuse)
    send(world, hands)
    for minutes in SCHEDULE_MINUTES[1:]:
        hands.move(minutes=minutes, seconds=-1)
        send(world, hands)
        hands.move(seconds=1)
        assert the_message(world).state == "pending"
        send(world, hands)
    minutes_between = [
        (later - earlier) / timedelta(minutes=1) for earlier, later in pairwise(tries)
    ]
    assert minutes_between == SCHEDULE_MINUTES[1:]
    given_up = the_message(world)
    assert (given_up.state, given_up.trouble) == ("dead", "451 try later")
    hands.move(days=30)
    assert send(world, hands) == 0
    assert len(tries) == len(SCHEDULE_MINUTES)


@pytest.mark.parametrize(("share", "factor"), [(0.0, 0.8), (0.5, 1.0), (1.0, 1.2)])
def test_retries_are_spread_by_a_fifth(
    world: World, monkeypatch: pytest.MonkeyPatch, share: float, factor: float
) -> None:
    write_one(world)

    def refuse(message: Message, *, sender: str) -> None:
        raise DeliveryError("no")

    monkeypatch.setattr(outbox, "deliver", refuse)
    send(world, Hands(share))
    wait = the_message(world).next_try_at - NOW
    assert wait == timedelta(minutes=1) * factor


def test_a_claimed_message_is_nobody_elses_until_its_lease_ends(world: World) -> None:
    write_one(world)
    group = world.group.pk
    first = claim_message(group, now=NOW)
    assert first is not None
    assert claim_message(group, now=NOW + outbox.LEASE) is None
    again = claim_message(group, now=NOW + outbox.LEASE + timedelta(seconds=1))
    assert again is not None
    assert again.message_id == first.message_id
    # The slow first worker comes back and may not undo the newer claim.
    outbox._finish(first, state=Message.State.DEAD, trouble="too late")
    assert the_message(world).state == "sending"


def test_a_sender_that_dies_after_the_yes_repeats_once_with_the_same_id(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_one(world)
    hands = Hands()

    def die(*_: object, **__: object) -> None:
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr(outbox, "_finish", die)
        with pytest.raises(SystemExit):
            send(world, hands)
    assert send(world, hands) == 0
    hands.move(minutes=6)
    assert send(world, hands) == 1
    hands.move(days=3)
    assert send(world, hands) == 0
    ids = {letter.extra_headers["Message-ID"] for letter in mail.outbox}
    assert len(mail.outbox) == 2
    assert ids == {the_message(world).message_id}


def test_a_message_that_always_kills_its_sender_is_given_up(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_one(world)
    hands, deaths = Hands(), 0

    def die(message: Message, *, sender: str) -> None:
        raise MemoryError

    monkeypatch.setattr(outbox, "deliver", die)
    for _ in range(20):
        try:
            send(world, hands)
        except MemoryError:
            deaths += 1
        hands.move(minutes=6)
    assert deaths == len(SCHEDULE_MINUTES)
    assert the_message(world).state == "dead"


def test_one_message_that_cannot_be_written_stops_no_other(world: World) -> None:
    write_one(world, "consultant", "coordinator")
    with stating(world.group.pk):
        first = Message.objects.order_by("next_try_at", "pk")[0]
        Message.objects.filter(pk=first.pk).update(subject="a\nBcc: all@example.org")
    assert send(world, Hands()) == 1
    with stating(world.group.pk):
        first.refresh_from_db()
    assert first.state == "dead"
    assert "newlines" in first.trouble


def leave(world: World) -> None:
    Membership.objects.filter(role="consultant").update(valid_until="2020-01-01")


def unsubscribe(world: World) -> None:
    Subscription.objects.update(by_email=False)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (leave, "The recipient has no part in this farm any more."),
        (unsubscribe, "The recipient ended the subscription."),
    ],
)
def test_t10_who_left_or_unsubscribed_gets_nothing_more(
    world: World, change: Callable[[World], None], reason: str
) -> None:
    write_one(world)
    with stating(world.group.pk):
        change(world)
    assert send(world, Hands()) == 0
    assert mail.outbox == []
    kept = the_message(world)
    assert (kept.state, kept.trouble) == ("suppressed", reason)


def test_names_cannot_add_headers_or_markup(world: World) -> None:
    with stating(world.group.pk):
        world.block.name = "Block\r\nBcc: thief@example.org <script>x</script>"
        world.block.save()
    person = make_user("someone")
    person.name = "Some\r\nBcc: thief@example.org"
    person.save()
    add_member(world.group, user=person, role=Membership.Role.CONSULTANT)
    world.people["consultant"] = person
    let_subscribe(world, "consultant")
    set_mite_threshold(world)
    publish_on_first(world)
    judge(world)
    assert send(world, Hands()) == 1
    (letter,) = mail.outbox
    parsed = parse(letter.message().as_bytes())
    assert parsed["Bcc"] is None
    assert letter.recipients() == [letter.to[0]]
    assert [a.addr_spec for a in parsed["To"].addresses] == [person.email]
    html = parsed.get_body(("html",))
    assert html is not None
    assert "<script>" not in html.get_content()


def publish_on_first(world: World) -> None:
    """Publish under the usual name, then give the block its own back."""
    name = world.block.name
    with stating(world.group.pk):
        type(world.block).objects.filter(pk=world.block.pk).update(name="Block 0")
    publish(world, HIGH)
    with stating(world.group.pk):
        type(world.block).objects.filter(pk=world.block.pk).update(name=name)


def parse(content: bytes) -> EmailMessage:
    parsed = email.message_from_bytes(content, policy=default)
    assert isinstance(parsed, EmailMessage)
    return parsed


def test_a_clearing_is_told_with_its_figure(world: World) -> None:
    write_one(world)
    for week in (7, 14):
        publish(world, LOW, on=NOW.date() + timedelta(days=week))
        judge(world, now=NOW + timedelta(days=week))
    hands = Hands()
    hands.move(days=14)
    send(world, hands)
    last = mail.outbox[-1]
    assert last.subject.startswith("Cleared: rust mites per leaf")
    assert "below the clear level of 35 per leaf" in str(last.body)
    assert "round of 30 August 2026, 6 bags" in str(last.body)


def test_a_sent_message_lies_in_the_mail_folder(
    world: World, settings: Any, tmp_path: Path
) -> None:
    settings.EMAIL_BACKEND = "alerts.delivery.folder.FolderBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")
    write_one(world)
    assert send(world, Hands()) == 1
    (path,) = (tmp_path / "mail").iterdir()
    parsed = parse(path.read_bytes())
    assert parsed["Message-ID"] == the_message(world).message_id
    assert b"\r\n" in path.read_bytes()


@pytest.mark.parametrize("recipients", [1, 3])
def test_writing_messages_costs_the_same_for_any_number(
    world: World,
    recipients: int,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    for _ in range(recipients):
        person = make_user("adviser")
        add_member(world.group, user=person, role=Membership.Role.CONSULTANT)
        world.people["consultant"] = person
        let_subscribe(world, "consultant")
    set_mite_threshold(world)
    publish(world, HIGH)
    with stating(world.group.pk), django_assert_num_queries(12):
        assert len(judge_blocks(world.group.pk, [world.block.pk], now=NOW)) == 1
    with stating(world.group.pk):
        assert Message.objects.count() == recipients


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_racing_senders_send_each_message_once(
    make_world: Callable[..., World],
) -> None:
    world = make_world()
    write_one(world, "consultant", "coordinator", "grower", "lab")
    barrier = Barrier(3)
    counts: list[int] = []

    def work() -> None:
        try:
            barrier.wait(timeout=20)
            counts.append(send(world, Hands()))
        finally:
            connection.close()

    workers = [Thread(target=work) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=60)
    assert sum(counts) == 4
    assert len({letter.extra_headers["Message-ID"] for letter in mail.outbox}) == 4
    assert len(mail.outbox) == 4


def test_the_task_sends_for_every_group(make_world: Callable[..., World]) -> None:
    worlds = [make_world(), make_world()]
    for one in worlds:
        let_subscribe(one, "consultant")
        set_mite_threshold(one)
        publish(one, HIGH, block=one.block.name)
        judge(one)
        with stating(one.group.pk):
            Message.objects.update(next_try_at=datetime(2020, 1, 1, tzinfo=NOW.tzinfo))
    assert tasks.send_due_messages() == 2
    assert tasks.send_due_messages() == 0
