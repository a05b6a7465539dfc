"""Deliver mail into a folder, one file a message: for the demo and for trials."""

from collections.abc import Sequence
from email.generator import BytesGenerator
from pathlib import Path
from secrets import token_hex

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.utils import timezone


class FolderBackend(BaseEmailBackend):
    """Write each message as an .eml file, whole or not at all."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Write the messages and give how many."""
        folder = Path(settings.EMAIL_FILE_PATH)
        folder.mkdir(parents=True, exist_ok=True)
        for message in email_messages:
            name = f"{timezone.now():%Y%m%dT%H%M%S.%f}-{token_hex(4)}.eml"
            unfinished = folder / f".{name}"
            with unfinished.open("wb") as file:
                # Mail's own line ends, and no line that begins with From altered.
                writer = BytesGenerator(file, mangle_from_=False)
                writer.flatten(message.message(), linesep="\r\n")
            unfinished.replace(folder / name)
        return len(email_messages)
