"""Messages as e-mail: what they say, and handing them to the mail server."""

import smtplib
from dataclasses import dataclass
from email.headerregistry import Address

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.urls import reverse

from alerts.models import Message, Transition
from alerts.words import level_words, subject_words
from blocks.models import Block, Membership

PERMANENT_FROM = 500


class DeliveryError(Exception):
    """The message was not taken; trying later may help."""


class PermanentDeliveryError(DeliveryError):
    """The message was refused for good."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """A message's subject and its two bodies."""

    subject: str
    text: str
    html: str


def one_line(text: str) -> str:
    """Take line ends out of what becomes a header."""
    return " ".join(text.split())


def render_message(
    transition: Transition, block: Block, membership: Membership
) -> Rendered:
    """Write what a member is told of a transition; all facts stand in the text."""
    version = transition.version
    threshold = version.threshold
    slug = membership.farm_group.slug
    what = subject_words(threshold.organism, threshold.prey, threshold.tissue)
    kind = Transition.Kind(transition.kind)
    word = {Transition.Kind.RAISED: "Alert", Transition.Kind.CLEARED: "Cleared"}.get(
        kind, kind.label.capitalize()
    )
    context = {
        "transition": transition,
        "block": block,
        "what": what,
        "word": word,
        "raised": kind == Transition.Kind.RAISED,
        "level": level_words(version, version.level),
        "certainty": round(version.certainty * 100),
        "membership": membership,
        "is_demo": membership.farm_group.is_demo,
        "link": settings.SITE_URL + reverse("block", args=[slug, block.uuid]),
        "alerts_link": settings.SITE_URL + reverse("alerts", args=[slug]),
    }
    subject = one_line(f"{word}: {what}, {block.farm.name}, {block.name}")
    return Rendered(
        subject=subject[:200],
        text=render_to_string("alerts/mail/alert.txt", context),
        html=render_to_string("alerts/mail/alert.html", context),
    )


def deliver(message: Message, *, sender: str) -> None:
    """Hand a message to the mail server; raises DeliveryError if it is not taken.

    Only a refusal of this message or its recipient is for good. What an operator can
    mend (sender, password, connection) is tried again.
    """
    try:
        _mail_of(message, sender).send()
    except smtplib.SMTPRecipientsRefused as error:
        code, answer = next(iter(error.recipients.values()))
        raise _refusal(code, answer) from error
    except smtplib.SMTPDataError as error:
        raise _refusal(error.smtp_code, error.smtp_error) from error
    except (smtplib.SMTPException, OSError) as error:
        raise DeliveryError(one_line(str(error)) or type(error).__name__) from error
    except ValueError as error:
        # Something in it can never be written as mail, such as a bad address.
        raise PermanentDeliveryError(one_line(str(error))) from error


def _refusal(code: int, answer: bytes | str) -> DeliveryError:
    words = answer.decode(errors="replace") if isinstance(answer, bytes) else answer
    kind = PermanentDeliveryError if code >= PERMANENT_FROM else DeliveryError
    return kind(one_line(f"{code} {words}"))


def _mail_of(message: Message, sender: str) -> EmailMultiAlternatives:
    user = message.recipient.user
    local, _, domain = user.email.rpartition("@")
    to = str(Address(one_line(user.name), local, domain))
    mail = EmailMultiAlternatives(
        subject=message.subject,
        body=message.text,
        from_email=sender,
        to=[to],
        headers={
            "Message-ID": message.message_id,
            "Auto-Submitted": "auto-generated",
        },
    )
    mail.attach_alternative(message.html, "text/html")
    return mail
