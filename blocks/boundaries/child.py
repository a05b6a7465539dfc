"""Open a boundary file in a process of its own; answer with one JSON document.

Run as `python -m blocks.boundaries.child FILE KIND ANSWERS FOLDER`. Limits on memory
and time are set before the file is touched; the parent's environment switches every
GDAL driver off but a few.
"""

import ctypes
import json
import os
import resource
import sys
from pathlib import Path
from shutil import copyfile
from typing import Any

from blocks.boundaries import limits
from blocks.boundaries.geojson import rewrite_geojson
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.zipped import unpack_shapefile

# Loaded by the reader of files wherever they are installed, and not needed here.
UNUSED = ("geopandas", "pandas", "pyarrow")
CLONE_NEWUSER, CLONE_NEWNET = 0x10000000, 0x40000000


def main() -> int:
    """Read the file named on the command line."""
    _limit()
    for name in UNUSED:
        sys.modules[name] = None  # type: ignore[assignment]  # how Python bars an import
    path, kind, answers = Path(sys.argv[1]), sys.argv[2], json.loads(sys.argv[3])
    try:
        document = read(path, kind, answers, Path(sys.argv[4]))
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
    _leave_the_network()


def _leave_the_network() -> None:
    """Take this process off every network, where the kernel allows it.

    Root may at once; others in a user namespace of their own. Where neither is
    allowed, the drivers left have nothing that would ask the network.
    """
    libc = ctypes.CDLL(None)
    if libc.unshare(CLONE_NEWNET) == 0:
        return
    user = os.getuid()
    if libc.unshare(CLONE_NEWUSER | CLONE_NEWNET) == 0:
        # Keep owning one's files there.
        Path("/proc/self/uid_map").write_text(f"{user} {user} 1")


def read(
    path: Path, kind: str, answers: dict[str, Any], folder: Path
) -> dict[str, Any]:
    """Read a copy of the file in a folder; the file itself is never opened by GDAL."""
    from blocks.boundaries.features import Source, read_features  # noqa: PLC0415 - GDAL loads here

    notes: list[str] = []
    stated = None
    # GDAL goes by a file's ending; stored files have none.
    copy = folder / f"upload.{kind}"
    if kind == "shapefile":
        copy, notes = unpack_shapefile(path, folder)
    elif kind == "geojson":
        stated = rewrite_geojson(path, copy)
    else:
        copyfile(path, copy)
    return read_features(Source(copy, kind, stated, notes), answers)


if __name__ == "__main__":
    sys.exit(main())
