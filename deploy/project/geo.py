"""Find the GDAL library that GeoDjango shall load."""

from importlib.util import find_spec
from pathlib import Path


def gdal_library_path() -> str | None:
    """Give the GDAL that comes with pyogrio, or None for the system's.

    Debian 12's GDAL 3.6 cannot keep spatial references from opening files and
    network addresses; Django asks for 3.9 or later for that (check gis.W001).
    """
    spec = find_spec("pyogrio")
    if spec is None or spec.origin is None:
        return None
    folder = Path(spec.origin).parent.parent / "pyogrio.libs"
    found = sorted(folder.glob("libgdal*.so*"))
    return str(found[-1]) if found else None
