"""A small copy of a picture for a page: upright, and with nothing but its pixels.

What a camera writes beside the pixels names a place and a device, and none of it is carried. A picture that is broken,
or made to fill a memory, is no reason to stop: it says why there is no copy.
"""

import io
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path

from PIL import ExifTags, Image

LONGEST = 640  # pixels
_QUALITY = 60  # of a hundred: a bead and a number on a pipe can still be told (the writers' judgement)
_KINDS = ("JPEG", "PNG", "WEBP")
_MOST_BYTES = 100_000_000
# What the library raises for files that are broken or of another kind. The first three were seen when files were broken
# at random; its readers can raise the others.
_BROKEN = (OSError, SyntaxError, ValueError, ArithmeticError, LookupError, TypeError, EOFError, struct.error,
           zlib.error)  # fmt: skip

UNREADABLE = "cannot be read as a picture (JPEG, PNG or WebP): broken, cut off, or of another kind"
TOO_LARGE = f"has more than {_MOST_BYTES // 1_000_000} MB, which are not opened"
TOO_MANY = "has too many pixels to be opened safely"
TOO_DEEP = "has more than 8 bits a colour, which are not read"

# How a picture is turned upright, by the orientation that the camera wrote (Exif 2.32, tag 274).
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_WHOLE = {"1": "L", "P": "RGBA"}  # modes that lose everything when they are made small as they are


@dataclass(frozen=True)
class Copy:
    """A JPEG, and its size in pixels."""

    jpeg: bytes
    width: int
    height: int


def small_copy(path: Path) -> Copy | str:
    """Return a copy with a longest side of at most `LONGEST` pixels, or why there is none.

    The same file gives the same bytes with the same version of the library.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # of what a camera wrote badly: it is dropped
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            return _copy(path)
        except (Image.DecompressionBombWarning, Image.DecompressionBombError, MemoryError):
            return TOO_MANY
        except _BROKEN:
            return UNREADABLE


def _copy(path: Path) -> Copy | str:
    if path.stat().st_size > _MOST_BYTES:
        return TOO_LARGE
    with Image.open(path, formats=_KINDS) as image:
        if image.mode.startswith(("I", "F")):
            return TOO_DEEP
        upright = _upright(image)
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Copy(out.getvalue(), *upright.size)


def _upright(image: Image.Image) -> Image.Image:
    """Return a small picture in a new frame, into which only pixels are put; what is transparent becomes white."""
    turn = _TURNS.get(image.getexif().get(ExifTags.Base.Orientation, 1))
    image.draft("RGB", (2 * LONGEST, 2 * LONGEST))  # a JPEG is opened no larger than is needed
    if image.mode in _WHOLE:
        image = image.convert(_WHOLE[image.mode])
    image.thumbnail((LONGEST, LONGEST))
    seen = image.convert("RGBA")
    flat = Image.new("RGB", seen.size, "white")
    flat.paste(seen, mask=seen)
    return flat if turn is None else flat.transpose(turn)
