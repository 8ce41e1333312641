"""Photographs from people's phones, made anew by Pillow: only the picture is kept, never its place, time, camera or name."""

from __future__ import annotations

import io
import logging
from dataclasses import dataclass
from threading import Lock

from PIL import Image, ImageOps

from server.domain.errors import Fault, InvalidInput

MOST_BYTES = 12 * 1024 * 1024
MOST_PIXELS = 50_000_000
MOST_PIXELS_UNSCALED = 25_000_000
"""Of a kind that has to be unpacked whole before it can be made smaller; a JPEG can be read at a half, a quarter or an eighth."""
LONGEST_SIDE = 1600
QUALITY = 82
SORTS = ("JPEG", "PNG", "WEBP")
ENDINGS = (".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".webp")
ACCEPTED = (
    f"a JPEG, PNG or WebP of at most {MOST_BYTES // 1024 // 1024} MB and {MOST_PIXELS // 1_000_000} million pixels"
)
SHEET = (255, 255, 255)
_one_at_a_time = Lock()
"""Unpacking takes up to some hundred megabytes, so that a process does one after the other."""
Image.MAX_IMAGE_PIXELS = None  # Sizes are refused here, by what the file says of itself, before anything is unpacked.
logging.getLogger("PIL").setLevel(logging.WARNING)  # It would log what it reads of a picture's particulars.


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph as a JPEG made here, and its size in pixels."""

    content: bytes
    width: int
    height: int


def clean_photo(content: bytes, field: str = "photo", name: str = "") -> Photo:
    """The picture of a file and nothing else of it: turned upright, at most 1600 pixels long, as a JPEG without particulars.

    What a file is is told by its content; a name that says otherwise is refused, and none is kept. Raises `InvalidInput` under
    `field`, with the file's `name`, for what is too large in bytes or pixels, is no picture of an accepted kind, or cannot be read
    to its end.
    """
    if len(content) > MOST_BYTES:
        raise InvalidInput([too_large(field, name)])
    if "." in name and not name.strip().casefold().endswith(ENDINGS):
        raise InvalidInput([Fault(field, _named("This is not named as a photograph.", name), ACCEPTED)])
    try:
        with _one_at_a_time:
            return _made_anew(content)
    except _TooManyPixels as error:
        words = f"This picture has {error.pixels / 1_000_000:.0f} million pixels, which is too many."
        raise InvalidInput([Fault(field, _named(words, name), ACCEPTED)]) from error
    except Exception as error:  # A broken file may raise anything in a decoder; to us it is one that cannot be read.
        words = "This is not a photograph that can be read here."
        raise InvalidInput([Fault(field, _named(words, name), ACCEPTED)]) from error


def too_large(field: str, name: str = "") -> Fault:
    """The fault of a file with too many bytes."""
    return Fault(field, _named(f"This file is larger than {MOST_BYTES // 1024 // 1024} MB.", name), ACCEPTED)


class _TooManyPixels(Exception):
    """A picture that would take too much room once unpacked."""

    def __init__(self, pixels: int) -> None:
        self.pixels = pixels
        super().__init__(str(pixels))


def _made_anew(content: bytes) -> Photo:
    with Image.open(io.BytesIO(content), formats=SORTS) as opened:
        pixels = opened.width * opened.height
        if pixels > (MOST_PIXELS if opened.format == "JPEG" else MOST_PIXELS_UNSCALED):
            raise _TooManyPixels(pixels)
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        upright = ImageOps.exif_transpose(opened)
        upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        sheet = Image.new("RGB", upright.size, SHEET)
        has_gaps = upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info
        picture = upright.convert("RGBA") if has_gaps else upright.convert("RGB")
        sheet.paste(picture, mask=picture.getchannel("A") if has_gaps else None)
    kept = io.BytesIO()
    sheet.save(kept, "JPEG", quality=QUALITY, optimize=True)
    return Photo(kept.getvalue(), sheet.width, sheet.height)


def _named(words: str, name: str) -> str:
    """A sentence about a file, with its name as it is in front, as far as that can be shown."""
    shown = "".join(sign for sign in name if sign.isprintable())[:60]
    return f"“{shown}”: {words[:1].lower()}{words[1:]}" if shown else words
