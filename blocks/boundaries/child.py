"""Open a boundary file in a process of its own; answer with one JSON document.

Run as `python -m blocks.boundaries.child FILE KIND ANSWERS`. Limits on memory and time
are set before the file is touched; the parent's environment switches every GDAL driver
off but a few.
"""

import contextlib
import ctypes
import json
import resource
import sys
import tempfile
from pathlib import Path
from typing import Any

from blocks.boundaries import limits
from blocks.boundaries.kinds import RefusedError, unpack_shapefile

CLONE_NEWNET = 0x40000000


def main() -> int:
    """Read the file named on the command line."""
    _limit()
    path, kind, answers = Path(sys.argv[1]), sys.argv[2], json.loads(sys.argv[3])
    try:
        with tempfile.TemporaryDirectory() as folder:
            document = _read(path, kind, answers, Path(folder))
    except RefusedError as refused:
        document = {"refused": refused.code, "sentence": refused.sentence}
    except MemoryError:
        document = {
            "refused": "too-much-memory",
            "sentence": "The file needs more memory than is allowed. Send less.",
        }
    sys.stdout.write(json.dumps(document, allow_nan=False))
    return 0


def _limit() -> None:
    for what, value in (
        (resource.RLIMIT_AS, limits.MEMORY_BYTES),
        (resource.RLIMIT_CPU, limits.CPU_S),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, limits.UNPACKED_BYTES),
    ):
        resource.setrlimit(what, (value, value))
    # Where the kernel allows it, no network at all; the drivers have none anyway.
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).unshare(CLONE_NEWNET)


def _read(
    path: Path, kind: str, answers: dict[str, Any], folder: Path
) -> dict[str, Any]:
    from blocks.boundaries.features import read_features  # noqa: PLC0415 - GDAL loads here

    notes: list[str] = []
    if kind == "shapefile":
        path, notes = unpack_shapefile(path, folder)
    else:
        # GDAL goes by a file's ending; stored files have none.
        linked = folder / f"upload.{kind}"
        linked.symlink_to(path.resolve())
        path = linked
    return read_features(path, kind, answers, notes)


if __name__ == "__main__":
    sys.exit(main())
