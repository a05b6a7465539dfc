"""How much of a boundary file is read before it is refused."""

FEATURES = 5_000
VERTICES = 10_000
RINGS = 100
# All outlines of a file together, as well-known binary: 16 bytes a corner.
SHAPES_BYTES = 16 * 1024 * 1024
# The crossings of an outline of more corners than this are counted before a repair:
# repairing is what a hostile outline makes slow.
REPAIRED_VERTICES = 300
UNPACKED_BYTES = 200 * 1024 * 1024
UNPACKED_RATIO = 100
ZIP_ENTRIES = 60
# The child process that opens the file.
CPU_S = 20
WALL_S = 30
# A full upload of 20 MB of GeoJSON took 0.4 GB of address space.
MEMORY_BYTES = 1024 * 1024 * 1024
# The fixed list of GDAL drivers; every other is switched off before GDAL starts.
DRIVERS = ("ESRI Shapefile", "GPKG", "GeoJSON", "KML")
SMALL_HA, LARGE_HA = 0.01, 1000.0
# A repair that keeps less of the outline's convex hull than this is no repair.
KEPT_SHARE = 0.3
MOST_PIECES = 12
# A repair adds corners where lines cross; more than this was drawn at random.
CROSSINGS = 12
