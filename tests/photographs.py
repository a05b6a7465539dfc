"""Photographs as cameras write them, made here, and floods of pixels."""

import io
import struct
import zlib
from typing import Any

from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

# 45.5 north, 10.25 east, as a camera notes it.
LATITUDE, LONGITUDE = (45.0, 30.0, 0.0), (10.0, 15.0, 0.0)
TURNED_RIGHT = 6


def leaf(width: int = 320, height: int = 200) -> Image.Image:
    """Draw something that is not of one colour."""
    picture = Image.radial_gradient("L").resize((width, height))
    return Image.merge("RGB", [picture, picture.rotate(180), picture])


def with_gps(picture: Image.Image | None = None, kind: str = "JPEG") -> bytes:
    """Write a picture with a place, a camera's name, and the note that it lies."""
    exif = Image.Exif()
    exif[Base.Make] = "Canary camera"
    exif[Base.Orientation] = TURNED_RIGHT
    place: dict[int, Any] = exif.get_ifd(IFD.GPSInfo)
    place |= {
        GPS.GPSLatitudeRef: "N",
        GPS.GPSLatitude: LATITUDE,
        GPS.GPSLongitudeRef: "E",
        GPS.GPSLongitude: LONGITUDE,
    }
    written = io.BytesIO()
    (picture or leaf()).save(written, kind, exif=exif, comment=b"Canary comment")
    return written.getvalue()


def segments(jpeg: bytes) -> list[int]:
    """List the markers before a JPEG's pixels, read without any picture library.

    Source: ITU-T T.81 (1992), B.1.1: each begins with FF and its number, then its
    length; DA begins the pixels.
    """
    assert jpeg[:2] == b"\xff\xd8"
    found, at = [], 2
    while True:
        assert jpeg[at] == 0xFF
        marker = jpeg[at + 1]
        found.append(marker)
        if marker == 0xDA:
            return found
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4])


def flood(width: int, height: int) -> bytes:
    """Write a PNG of few bytes that states many pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + data))
        return struct.pack(">I", len(data)) + name + data + check

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(bytes(1_000_000), 9)
    parts = [(b"IHDR", head), (b"IDAT", pixels), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)
