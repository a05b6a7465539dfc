"""Open a photograph in a process of its own; answer with a picture written anew.

Run as `python -m monitoring.photographs.child FILE KIND`. The first line of the answer
is a JSON object, the rest the JPEG. Limits on memory and time are set before the file
is touched; nothing that the camera wrote beside the picture is carried over.
"""

import json
import sys
from io import BytesIO
from typing import Any

from blocks.limited import limit
from monitoring.photographs import limits


class RefusedError(Exception):
    """A file that is not taken, in words."""


def main() -> int:
    """Read the file named on the command line."""
    limit(memory_bytes=limits.MEMORY_BYTES, cpu_s=limits.CPU_S, written_bytes=0)
    picture = b""
    try:
        document, picture = read(sys.argv[1], sys.argv[2])
    except RefusedError as refused:
        document = {"refused": str(refused)}
    except MemoryError:
        document = {"refused": "The photograph needs more memory than is allowed."}
    sys.stdout.buffer.write(json.dumps(document).encode() + b"\n" + picture)
    return 0


def read(path: str, kind: str) -> tuple[dict[str, Any], bytes]:
    """Read a file as the kind that it is, and write its picture anew."""
    from PIL import Image  # noqa: PLC0415 - only after the limits hold

    Image.MAX_IMAGE_PIXELS = limits.PIXELS
    try:
        with Image.open(path, formats=[kind]) as opened:
            _refuse_flood(opened.width, opened.height)
            side = limits.LONGEST_PX
            opened.draft("RGB", (side, side))
            plain = _plain(_upright(opened))
            plain.thumbnail((side, side), Image.Resampling.LANCZOS)
            written = BytesIO()
            plain.save(written, "JPEG", quality=limits.QUALITY, optimize=True)
    except Image.DecompressionBombError as error:
        raise RefusedError(_flood("too many")) from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise RefusedError(
            "The photograph is cut off or damaged. Take it again, or choose another."
        ) from error
    return {"width": plain.width, "height": plain.height}, written.getvalue()


def _refuse_flood(width: int, height: int) -> None:
    """Look at the size that the file states, before any of it is unpacked."""
    if width * height > limits.PIXELS:
        raise RefusedError(_flood(f"{width:,} by {height:,}"))


def _flood(size: str) -> str:
    most = limits.PIXELS // 1_000_000
    return f"The photograph has {size} pixels; at most {most} million are taken."


def _upright(picture: Any) -> Any:
    """Turn a picture as its camera noted."""
    from PIL import ImageOps  # noqa: PLC0415 - only after the limits hold

    picture.load()
    # Read once, and let go: turning would pack the notes anew, which fails where one
    # of them is damaged.
    picture.getexif()
    for noted in ("exif", "Raw profile type exif"):
        picture.info.pop(noted, None)
    return ImageOps.exif_transpose(picture)


def _plain(picture: Any) -> Any:
    """Give the pixels alone, in plain colours, on white where they are clear."""
    from PIL import Image  # noqa: PLC0415 - only after the limits hold

    profile = picture.info.get("icc_profile")
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        plain = Image.new("RGB", clear.size, "white")
        plain.paste(clear, mask=clear.getchannel("A"))
    else:
        plain = _in_plain_colours(picture.convert("RGB"), profile)
    # Whatever was noted beside the pixels stays behind with the old picture.
    plain.info = {}
    return plain


def _in_plain_colours(picture: Any, profile: bytes | None) -> Any:
    """Carry a camera's wide colours over to the usual ones."""
    if not profile:
        return picture
    from PIL import ImageCms  # noqa: PLC0415 - only after the limits hold

    try:
        own = ImageCms.ImageCmsProfile(BytesIO(profile))
        usual = ImageCms.createProfile("sRGB")
        return ImageCms.profileToProfile(picture, own, usual)
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture


if __name__ == "__main__":
    sys.exit(main())
