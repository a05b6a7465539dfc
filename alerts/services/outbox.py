"""Write messages beside the transition they tell of, and let one worker send each."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection

from alerts.delivery.email import (
    DeliveryError,
    PermanentDeliveryError,
    deliver,
    render_message,
)
from alerts.models import Message, Subscription, Transition
from blocks.access import members_who_see
from blocks.models import Block
from blocks.tenancy import stating
from blocks.wakeups import wake_after_commit

State = Message.State
# A claim older than this was left behind by a worker that died.
LEASE = timedelta(minutes=5)
# Waits before each further try; after the last one the message is given up.
WAITS = tuple(
    timedelta(minutes=minutes) for minutes in (1, 5, 30, 2 * 60, 6 * 60, 24 * 60)
)
TRIES = 1 + len(WAITS)
JITTER = 0.2
SEND_TASK = "alerts.tasks.send_due_messages"


def write_messages(transition: Transition, block: Block) -> int:
    """Write one message for each subscriber who sees the block's farm."""
    group_id = transition.farm_group_id
    wanting = set(
        Subscription.objects.for_group(group_id)
        .filter(by_email=True)
        .values_list("membership_id", flat=True)
    )
    messages = []
    for membership in members_who_see(group_id, block.farm_id):
        if membership.pk not in wanting:
            continue
        rendered = render_message(transition, block, membership)
        messages.append(
            Message(
                farm_group_id=group_id,
                transition=transition,
                recipient=membership,
                subject=rendered.subject,
                text=rendered.text,
                html=rendered.html,
                next_try_at=transition.at,
            )
        )
    Message.objects.bulk_create(messages)
    if messages:
        wake_after_commit(SEND_TASK)
    return len(messages)


@dataclass(frozen=True, slots=True)
class Clock:
    """The time, and a random share in [0, 1) for spreading retries."""

    now: Callable[[], datetime]
    share: Callable[[], float]


CLAIM = """
UPDATE alerts_message SET state = 'sending', claimed_at = %(now)s,
    attempts = attempts + 1
WHERE id = (
    SELECT id FROM alerts_message WHERE farm_group_id = %(group)s AND (
        state = 'pending' AND next_try_at <= %(now)s
        OR state = 'sending' AND claimed_at < %(abandoned)s)
    ORDER BY next_try_at, id LIMIT 1 FOR UPDATE SKIP LOCKED)
RETURNING id
"""


def claim_message(farm_group_id: int, *, now: datetime) -> Message | None:
    """Take the message that is due longest; None when none is, or others hold it."""
    with stating(farm_group_id):
        with connection.cursor() as cursor:
            cursor.execute(
                CLAIM,
                {"group": farm_group_id, "now": now, "abandoned": now - LEASE},
            )
            row = cursor.fetchone()
        if row is None:
            return None
        message: Message = (
            Message.objects.for_group(farm_group_id)
            .select_related("recipient__user", "transition__alert__block")
            .get(pk=row[0])
        )
        return message


def send_due(farm_group_id: int, clock: Clock) -> int:
    """Send every message of a group that is due; give how many were sent.

    The mail server is spoken to outside any transaction. If this process dies between
    its yes and our note of it, the message goes out once more, under the same
    Message-ID.
    """
    sent = 0
    while (message := claim_message(farm_group_id, now=clock.now())) is not None:
        if (why := _why_not(message)) is not None:
            _finish(message, state=State.SUPPRESSED, trouble=why)
            continue
        if message.attempts > TRIES:
            _finish(message, state=State.DEAD, trouble="Each try was broken off.")
            continue
        try:
            deliver(message, sender=settings.DEFAULT_FROM_EMAIL)
        except PermanentDeliveryError as error:
            _finish(message, state=State.DEAD, trouble=str(error))
        except DeliveryError as error:
            _try_later(message, clock, str(error))
        else:
            _finish(message, state=State.SENT, sent_at=clock.now())
            sent += 1
    return sent


def _why_not(message: Message) -> str | None:
    """Say why a message must not go out any more, if so."""
    group_id = message.farm_group_id
    with stating(group_id):
        block = message.transition.alert.block
        sees = members_who_see(group_id, block.farm_id)
        if not sees.filter(pk=message.recipient_id).exists():
            return "The recipient has no part in this farm any more."
        subscribed = Subscription.objects.for_group(group_id).filter(
            membership_id=message.recipient_id, by_email=True
        )
        if not subscribed.exists():
            return "The recipient ended the subscription."
    return None


def _try_later(message: Message, clock: Clock, trouble: str) -> None:
    if message.attempts >= TRIES:
        _finish(message, state=State.DEAD, trouble=trouble)
        return
    wait = WAITS[message.attempts - 1] * (1 + JITTER * (2 * clock.share() - 1))
    _finish(
        message, state=State.PENDING, trouble=trouble, next_try_at=clock.now() + wait
    )


def _finish(message: Message, **changes: object) -> None:
    """Write the end of a try, unless a newer claim has taken the message over."""
    trouble = str(changes.get("trouble", ""))[:300]
    with stating(message.farm_group_id):
        Message.objects.for_group(message.farm_group_id).filter(
            pk=message.pk, state=State.SENDING, claimed_at=message.claimed_at
        ).update(**{**changes, "trouble": trouble})
