"""Run the child that opens a boundary file, and take its answer."""

import json
import subprocess
import sys
from functools import lru_cache
from pathlib import Path
from typing import Any

from blocks.boundaries.kinds import RefusedError, kind_of
from blocks.boundaries.limits import DRIVERS, WALL_S

ROOT = Path(__file__).resolve().parents[2]
# GDAL must not look for anything outside the file it is given.
ENVIRONMENT = {
    "PATH": "/usr/bin:/bin",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "OGR_ENABLE_PARTIAL_REPROJECTION": "NO",
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
    command = [
        sys.executable,
        "-m",
        "blocks.boundaries.child",
        str(path.resolve()),
        kind,
        json.dumps(answers),
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
        document: dict[str, Any] = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError) as error:
        raise RefusedError(
            "reading-stopped",
            "Reading the file took more time or memory than is allowed, so it was"
            " stopped. Send fewer or simpler outlines.",
        ) from error
    if "refused" in document:
        raise RefusedError(document["refused"], document["sentence"])
    return document
