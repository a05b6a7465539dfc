"""Write what the reader of the demo needs: logins, and a sheet to upload."""

import json
import os
import secrets
from datetime import date
from pathlib import Path

from blocks.models import User
from deploy.demo.people import PEOPLE
from deploy.demo.sheets import fresh_sheet

LOGINS = "demo-logins.json"
FRESH_SHEET = "fresh-sheet.csv"


def hand_out(state_dir: Path, *, today: date) -> None:
    """Write the fresh sheet laid from a day, and the logins unless they are there."""
    state_dir.mkdir(parents=True, exist_ok=True)
    (state_dir / FRESH_SHEET).write_bytes(fresh_sheet(today=today).text.encode())
    if not (state_dir / LOGINS).exists():
        _write_logins(state_dir / LOGINS)


def _write_logins(path: Path) -> None:
    """Give each person a new random password, and write them for the owner only."""
    logins = []
    for person in PEOPLE:
        user = User.objects.get(email=person.email)
        password = secrets.token_urlsafe(12)
        user.set_password(password)
        user.save(update_fields=["password"])
        logins.append(
            {
                "role": user_role(person.role),
                "name": person.name,
                "email": person.email,
                "password": password,
            }
        )
    unfinished = path.with_suffix(".new")
    unfinished.unlink(missing_ok=True)
    descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump(logins, file, indent=2)
    unfinished.replace(path)


def user_role(role: str) -> str:
    """Give a role in the words of the pages."""
    return "lab analyst" if role == "lab" else role
