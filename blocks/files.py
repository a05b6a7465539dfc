"""Keep uploaded files as they came, under generated names."""

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from uuid import uuid4

from django.conf import settings

from blocks.errors import SiteError


class FileTooLargeError(SiteError):
    """More bytes arrived than are taken."""

    code = "file-too-large"
    status = 413


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A file on disk, and what it is known by."""

    stored_name: str
    sha256: str
    size_bytes: int


Kind = Literal["sheets", "boundaries", "weather", "photos"]


def folder_of(kind: Kind, farm_group_id: int) -> Path:
    """Give the folder of a farm group's files of a kind."""
    return Path(settings.FILES_DIR) / kind / str(farm_group_id)


def store(kind: Kind, farm_group_id: int, chunks: Iterable[bytes]) -> StoredFile:
    """Write a file under a new name; nothing is left of one that is too large."""
    folder = folder_of(kind, farm_group_id)
    folder.mkdir(parents=True, exist_ok=True)
    name = uuid4().hex
    path = folder / name
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("xb") as file:
            for chunk in _up_to_limit(chunks):
                size += len(chunk)
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return StoredFile(name, digest.hexdigest(), size)


def _up_to_limit(chunks: Iterable[bytes]) -> Iterator[bytes]:
    size = 0
    for chunk in chunks:
        size += len(chunk)
        if size > settings.UPLOAD_LIMIT_BYTES:
            raise FileTooLargeError(
                "The file is larger than"
                f" {settings.UPLOAD_LIMIT_BYTES // 1_048_576} MB. Split it and send the"
                " parts."
            )
        yield chunk


def path_of(kind: Kind, farm_group_id: int, stored_name: str) -> Path:
    """Give where a stored file lies."""
    return folder_of(kind, farm_group_id) / stored_name
