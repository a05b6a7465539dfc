"""Run the child that opens a boundary file, and take its answer."""

import json
import logging
import subprocess
import sys
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from blocks.boundaries.kinds import RefusedError, kind_of
from blocks.boundaries.limits import DRIVERS, WALL_S

CHILD = ("-m", "blocks.boundaries.child")
log = logging.getLogger(__name__)
ROOT = Path(__file__).resolve().parents[2]
# GDAL must not look for anything outside the file it is given.
ENVIRONMENT = {
    "PATH": "/usr/bin:/bin",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "OGR_ENABLE_PARTIAL_REPROJECTION": "NO",
    # Nobody answers there, so what would ask the network is refused at once.
    "GDAL_HTTP_PROXY": "http://127.0.0.1:1",
    "ALL_PROXY": "http://127.0.0.1:1",
    "GDAL_HTTP_TIMEOUT": "1",
    "PROJ_NETWORK": "OFF",
    "OPENBLAS_NUM_THREADS": "1",
}


@lru_cache(maxsize=1)
def other_drivers() -> str:
    """List every GDAL driver but those that are read, as GDAL's setting wants them.

    Asked of a process of its own, so that this one need not load GDAL.
    """
    program = "import pyogrio; print('\\n'.join(pyogrio.list_drivers()))"
    done = subprocess.run(  # noqa: S603 - a fixed program, no shell
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    return ",".join(name for name in done.stdout.split("\n") if name not in DRIVERS)


def read_boundaries(path: Path, answers: dict[str, Any]) -> dict[str, Any]:
    """Read a stored boundary file; RefusedError says why one is not taken."""
    kind = kind_of(path)
    with TemporaryDirectory() as folder:
        done = _run(path, kind, answers, folder)
    try:
        document: dict[str, Any] = json.loads(done)
    except ValueError as error:
        raise _stopped() from error
    if "refused" in document:
        raise RefusedError(document["refused"], document["sentence"])
    return document


def _run(path: Path, kind: str, answers: dict[str, Any], folder: str) -> bytes:
    """Give what the child wrote; what it leaves in the folder is the caller's."""
    command = [
        sys.executable,
        *CHILD,
        str(path.resolve()),
        kind,
        json.dumps(answers),
        folder,
    ]
    environment = ENVIRONMENT | {"GDAL_SKIP": other_drivers()}
    if kind == "shapefile":
        environment.pop("GDAL_DISABLE_READDIR_ON_OPEN")
    try:
        done = subprocess.run(  # noqa: S603 - our own module, no shell
            command,
            cwd=ROOT,
            env=environment,
            capture_output=True,
            timeout=WALL_S,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired as error:
        raise _stopped() from error
    if done.returncode != 0:
        log.warning(
            "reading a boundary file ended with %s: %s",
            done.returncode,
            done.stderr.decode(errors="replace")[-500:],
        )
    return done.stdout


def _stopped() -> RefusedError:
    return RefusedError(
        "reading-stopped",
        "Reading the file took more time or memory than is allowed, so it was stopped."
        " Send fewer or simpler outlines.",
    )
