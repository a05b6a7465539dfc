"""Real SMTP conversations with a server that takes, refuses and hangs up."""

import asyncio
import email
import socket
from collections.abc import Callable, Iterator
from datetime import timedelta
from email.message import EmailMessage
from email.policy import default
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from alerts.models import Message
from alerts.services.outbox import Clock, send_due
from blocks.tenancy import stating
from tests.alerts.conftest import (
    HIGH,
    NOW,
    judge,
    let_subscribe,
    publish,
    set_mite_threshold,
)
from tests.builders import World

pytestmark = pytest.mark.django_db(databases=["default", "owner"])
OK = "250 OK"


class Server:
    """What the server answers, and what it was given."""

    def __init__(self) -> None:
        self.to_sender = self.to_recipient = self.to_message = OK
        self.hangs_up_after_data = self.hangs_up_at_the_end = False
        self.taken: list[bytes] = []

    async def handle_MAIL(self, *call: Any) -> str:  # noqa: N802 - aiosmtpd's name
        envelope, address = call[2:4]
        envelope.mail_from = address
        return self.to_sender

    async def handle_RCPT(self, *call: Any) -> str:  # noqa: N802 - aiosmtpd's name
        envelope, address = call[2:4]
        if self.to_recipient == OK:
            envelope.rcpt_tos.append(address)
        return self.to_recipient

    async def handle_DATA(self, *call: Any) -> str:  # noqa: N802 - aiosmtpd's name
        connection, _, envelope = call
        if self.to_message == OK:
            self.taken.append(envelope.content)
        if self.hangs_up_after_data:
            connection.transport.abort()
        return self.to_message

    async def handle_QUIT(self, *call: Any) -> str:  # noqa: N802 - aiosmtpd's name
        connection = call[0]
        if self.hangs_up_at_the_end:
            connection.transport.abort()
        return "221 Bye"


class OnAnyPort(Controller):
    """Listen where the system has a free port, and look for it there."""

    def _trigger_server(self) -> None:
        assert isinstance(self.server, asyncio.Server)
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()  # type: ignore[no-untyped-call]  # aiosmtpd's


@pytest.fixture
def server(settings: Any) -> Iterator[Server]:
    """A mail server of this test alone, which the site sends to."""
    handler = Server()
    controller = OnAnyPort(handler, hostname="127.0.0.1", port=0)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = controller.port
    settings.EMAIL_TIMEOUT = 10
    yield handler
    controller.stop()


@pytest.fixture
def waiting(world: World) -> World:
    """A world with one message to its consultant."""
    let_subscribe(world, "consultant")
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    return world


def send(world: World, *, after: timedelta = timedelta(0)) -> Message:
    send_due(world.group.pk, Clock(now=lambda: NOW + after, share=lambda: 0.5))
    with stating(world.group.pk):
        message: Message = Message.objects.select_related("recipient__user").get()
        return message


def test_the_server_gets_text_html_and_steady_headers(
    waiting: World, server: Server
) -> None:
    message = send(waiting)
    assert message.state == "sent"
    (content,) = server.taken
    parsed = email.message_from_bytes(content, policy=default)
    assert isinstance(parsed, EmailMessage)
    assert parsed["Message-ID"] == message.message_id
    assert parsed["Auto-Submitted"] == "auto-generated"
    assert parsed["Subject"] == message.subject
    assert [one.addr_spec for one in parsed["To"].addresses] == [
        message.recipient.user.email
    ]
    assert not [name for name in parsed if name.lower().startswith("x-")]
    assert parsed.get_content_type() == "multipart/alternative"
    text, html = parsed.get_body(("plain",)), parsed.get_body(("html",))
    assert text is not None
    assert html is not None
    assert text.get_content().split() == message.text.split()
    assert html.get_content().split() == message.html.split()


def refuse_sender(server: Server) -> None:
    server.to_sender = "550 not from you"


def defer_recipient(server: Server) -> None:
    server.to_recipient = "451 try again later"


def refuse_recipient(server: Server) -> None:
    server.to_recipient = "550 no such mailbox"


def defer_message(server: Server) -> None:
    server.to_message = "452 too much mail"


def refuse_message(server: Server) -> None:
    server.to_message = "554 not wanted"


def close_down(server: Server) -> None:
    server.to_sender = "421 closing down"


@pytest.mark.parametrize(
    ("refuse", "state", "words"),
    [
        (defer_recipient, "pending", "451 try again later"),
        (defer_message, "pending", "452 too much mail"),
        (close_down, "pending", "421"),
        # What an operator can mend is tried again.
        (refuse_sender, "pending", "550"),
        (refuse_recipient, "dead", "550 no such mailbox"),
        (refuse_message, "dead", "554 not wanted"),
    ],
)
def test_a_refusal_is_kept_in_the_servers_words(
    waiting: World,
    server: Server,
    refuse: Callable[[Server], None],
    state: str,
    words: str,
) -> None:
    refuse(server)
    message = send(waiting)
    assert (message.state, server.taken) == (state, [])
    assert words in message.trouble


def test_a_message_put_off_is_taken_at_the_next_try(
    waiting: World, server: Server
) -> None:
    defer_message(server)
    assert send(waiting).state == "pending"
    server.to_message = OK
    assert send(waiting, after=timedelta(minutes=1)).state == "sent"
    assert len(server.taken) == 1


def test_a_server_that_hangs_up_after_data_gets_the_same_message_again(
    waiting: World, server: Server
) -> None:
    server.hangs_up_after_data = True
    message = send(waiting)
    assert message.state == "pending"
    server.hangs_up_after_data = False
    assert send(waiting, after=timedelta(minutes=1)).state == "sent"
    ids = [email.message_from_bytes(one)["Message-ID"] for one in server.taken]
    assert ids == [message.message_id] * 2


def test_a_server_that_hangs_up_after_its_yes_has_the_message(
    waiting: World, server: Server
) -> None:
    server.hangs_up_at_the_end = True
    assert send(waiting).state == "sent"
    assert len(server.taken) == 1


def test_a_server_that_is_not_there_is_tried_again(
    waiting: World, server: Server, settings: Any, unused_tcp_port: int
) -> None:
    port, settings.EMAIL_PORT = settings.EMAIL_PORT, unused_tcp_port
    message = send(waiting)
    assert message.state == "pending"
    assert "refused" in message.trouble
    settings.EMAIL_PORT = port
    assert send(waiting, after=timedelta(minutes=1)).state == "sent"


@pytest.fixture
def unused_tcp_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
    return port
