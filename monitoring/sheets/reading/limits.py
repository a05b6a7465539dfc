"""How much of a sheet is read before it is refused."""

FILE_BYTES = 20 * 1024 * 1024
ROWS = 150_000
COLUMNS = 200
FIELD_CHARS = 5_000
# Workbooks are zip files: what they may unpack to, and into how many parts.
UNPACKED_BYTES = 200 * 1024 * 1024
UNPACKED_RATIO = 100
ZIP_ENTRIES = 200
# The child process that opens workbooks.
CHILD_CPU_S = 60
CHILD_WALL_S = 90
CHILD_MEMORY_BYTES = 512 * 1024 * 1024
HEADER_WITHIN_ROWS = 20
# The worksheet of our own templates that explains the columns; never read.
GUIDE = "guide"
