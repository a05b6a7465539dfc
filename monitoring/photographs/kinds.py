"""Tell by its first bytes what kind of file was sent as a photograph."""

# What begins other files that people send for a photograph.
OTHERS = (
    (b"GIF8", "a GIF"),
    (b"%PDF", "a PDF"),
    (b"II*\0", "a TIFF or a camera's raw file"),
    (b"MM\0*", "a TIFF or a camera's raw file"),
    (b"BM", "a BMP"),
    (b"PK\3\4", "a zip file or a document"),
    (b"<", "a web page or an SVG"),
)
# Four bytes in come the letters of films and of pictures packed like films.
BOX, BRANDS = b"ftyp", slice(8, 12)
PICTURES = frozenset({b"heic", b"heix", b"mif1", b"msf1", b"hevc"})


def kind_of(head: bytes) -> str:
    """Give "JPEG", "PNG" or "WEBP"; empty for anything else."""
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WEBP"
    return ""


def looks_like(head: bytes) -> str:
    """Say what a file that is none of these looks like."""
    if head[4:8] == BOX:
        if head[BRANDS] == b"avif":
            return "an AVIF picture"
        return "a HEIC picture" if head[BRANDS] in PICTURES else "a film"
    found = next((name for start, name in OTHERS if head.startswith(start)), "")
    return found or "no picture at all"
