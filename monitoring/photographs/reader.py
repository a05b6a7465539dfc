"""Run the child that opens a photograph, and take its answer."""

import json
import logging
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile

from blocks.errors import SiteError
from monitoring.photographs.kinds import kind_of, looks_like
from monitoring.photographs.limits import SENT_BYTES, WALL_S

CHILD = ("-m", "monitoring.photographs.child")
ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {"PATH": "/usr/bin:/bin", "OMP_NUM_THREADS": "1"}
log = logging.getLogger(__name__)


class PhotoError(SiteError):
    """A photograph that is not taken."""

    code = "photo-refused"
    status = 422


class PhotoTooLargeError(PhotoError):
    """A photograph of more bytes than are taken."""

    status = 413


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph written anew: a JPEG of the pixels alone."""

    content: bytes
    width_px: int
    height_px: int


def refuse_too_large(size: int) -> None:
    """Refuse more bytes than are taken."""
    if size > SENT_BYTES:
        raise PhotoTooLargeError(
            f"The photograph has {size / 1e6:,.0f} MB; at most"
            f" {SENT_BYTES // 1_048_576} MB are taken."
        )


def read_photograph(sent: bytes) -> Picture:
    """Read what was sent as a photograph; PhotoError says why it is not taken."""
    refuse_too_large(len(sent))
    if not sent:
        raise PhotoError("Nothing was sent. Take the photograph again.")
    kind = kind_of(sent[:12])
    if not kind:
        raise PhotoError(
            f"This is {looks_like(sent[:12])}, not a photograph that is taken. Send a"
            " JPEG, PNG or WebP."
        )
    with NamedTemporaryFile() as file:
        file.write(sent)
        file.flush()
        answer = _run(file.name, kind)
    head, _, content = answer.partition(b"\n")
    try:
        told = json.loads(head)
    except ValueError as error:
        raise _stopped() from error
    if "refused" in told:
        raise PhotoError(told["refused"])
    return Picture(content, told["width"], told["height"])


def _run(path: str, kind: str) -> bytes:
    try:
        done = subprocess.run(  # noqa: S603 - our own module, no shell
            [sys.executable, *CHILD, path, kind],
            cwd=ROOT,
            env=ENVIRONMENT,
            capture_output=True,
            timeout=WALL_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise _stopped() from error
    if done.returncode != 0:
        log.warning("Reading a photograph ended with %s.", done.returncode)
    return done.stdout


def _stopped() -> PhotoError:
    return PhotoError(
        "Reading the photograph took too long or too much memory and was stopped. Take"
        " it again with fewer pixels."
    )
