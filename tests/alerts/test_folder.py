"""Mail into a folder is written whole, in the form that mail programs read."""

from datetime import UTC, datetime
from email import policy
from email.parser import BytesParser
from pathlib import Path
from typing import Any

from django.core.mail import EmailMultiAlternatives

from alerts.delivery.folder import FolderBackend
from alerts.delivery.reading import mail_of


def test_a_message_comes_back_as_it_was_sent(tmp_path: Path, settings: Any) -> None:
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")
    message = EmailMultiAlternatives(
        "Rust mites over threshold: Obere Lüss",
        "From the count of today: 12.5 per leaf.\n",
        "alerts@example.org",
        ["consultant@example.org"],
        headers={"Message-ID": "<1@example.org>"},
    )
    message.attach_alternative("<p>12.5 per leaf</p>", "text/html")
    assert FolderBackend().send_messages([message]) == 1
    [file] = (tmp_path / "mail").iterdir()
    assert file.suffix == ".eml"
    assert b"\r\n" in file.read_bytes()
    # The standard library's parser is another reading of RFC 5322.
    read = BytesParser(policy=policy.default).parsebytes(file.read_bytes())
    assert read["Subject"] == "Rust mites over threshold: Obere Lüss"
    assert read["Message-ID"] == "<1@example.org>"
    text, html = read.iter_parts()
    assert text.get_content().startswith("From the count of today")
    assert html.get_content_type() == "text/html"


def test_the_folders_page_tells_when_a_message_was_sent(
    tmp_path: Path, settings: Any
) -> None:
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")
    message = EmailMultiAlternatives(
        "Rust mites",
        "Text",
        "alerts@example.org",
        ["consultant@example.org"],
        headers={
            "Message-ID": "<2@example.org>",
            # Django writes -0000, which RFC 5322 (3.3) gives as UTC without a place.
            "Date": "Sat, 21 Nov 2026 12:34:56 -0000",
        },
    )
    FolderBackend().send_messages([message])
    [letter] = mail_of(str(tmp_path / "mail"), {"<2@example.org>"})
    assert letter.sent_at == datetime(2026, 11, 21, 12, 34, 56, tzinfo=UTC)
