"""Read the mail folder back, for the page that shows it."""

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import UTC, datetime
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from email.utils import parsedate_to_datetime
from pathlib import Path

# The newest so many files are looked at.
NEWEST = 400


@dataclass(frozen=True, slots=True)
class Letter:
    """One message of the folder."""

    subject: str
    to: str
    sent_at: datetime | None
    text: str


def mail_of(folder: str, message_ids: AbstractSet[str]) -> list[Letter]:
    """Give the letters with these Message-IDs, newest first."""
    files = sorted(Path(folder).glob("*.eml"), reverse=True)[:NEWEST]
    letters = []
    for path in files:
        parsed = BytesParser(_class=EmailMessage, policy=policy.default).parsebytes(
            path.read_bytes()
        )
        if parsed["Message-ID"] in message_ids:
            letters.append(_letter(parsed))
    return letters


def _letter(parsed: EmailMessage) -> Letter:
    body = parsed.get_body(("plain",))
    return Letter(
        subject=str(parsed["Subject"] or ""),
        to=str(parsed["To"] or ""),
        sent_at=_moment(str(parsed["Date"] or "")),
        text=str(body.get_content()) if body is not None else "",
    )


def _moment(written: str) -> datetime | None:
    """Read a Date header; -0000 says that the time is in UTC (RFC 5322, 3.3)."""
    try:
        moment = parsedate_to_datetime(written)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
