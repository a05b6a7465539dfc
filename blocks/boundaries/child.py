"""Open a boundary file in a process of its own; answer with one JSON document.

Run as `python -m blocks.boundaries.child FILE KIND ANSWERS FOLDER`. Limits on memory
and time are set before the file is touched; the parent's environment switches every
GDAL driver off but a few.
"""

import json
import sys
from pathlib import Path
from shutil import copyfile
from typing import Any

from blocks.boundaries import limits
from blocks.boundaries.geojson import rewrite_geojson
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.zipped import unpack_shapefile
from blocks.limited import limit

# Loaded by the reader of files wherever they are installed, and not needed here.
UNUSED = ("geopandas", "pandas", "pyarrow")


def main() -> int:
    """Read the file named on the command line."""
    limit(
        memory_bytes=limits.MEMORY_BYTES,
        cpu_s=limits.CPU_S,
        written_bytes=limits.UNPACKED_BYTES,
    )
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
