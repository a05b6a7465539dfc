"""How much of a photograph is read before it is refused."""

SENT_BYTES = 12 * 1024 * 1024
PIXELS = 40_000_000
# On its longer side, as kept: enough to see an animal of 0.2 mm in a leaf of 12 cm.
LONGEST_PX = 2560
QUALITY = 85
# The child process that opens it. 40 million pixels take 120 MB, once more while they
# are turned or made smaller.
CPU_S, WALL_S = 15, 20
MEMORY_BYTES = 1024 * 1024 * 1024
