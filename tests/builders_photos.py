"""Photographs as telephones make them, and files that only say they are some."""

from __future__ import annotations

import io
import struct
import zlib

from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

LANDSCAPE = (1200, 900)
TAKEN_AT = ((53.0, 14.0, 30.5), (9.0, 49.0, 12.25))
"""Degrees, minutes and seconds, somewhere at sea."""


def phone_photo(size: tuple[int, int] = LANDSCAPE, *, orientation: int = 1, kind: str = "JPEG") -> bytes:
    """A photograph with what a telephone writes into it: where and when, with which camera, by whom, and a comment."""
    picture = Image.linear_gradient("L").resize(size).convert("RGB")
    exif = Image.Exif()
    exif[Base.Make] = "Telltale Telephones"
    exif[Base.Artist] = "Nuala Example"
    exif[Base.DateTime] = "2026:11:28 10:30:00"
    exif[Base.Orientation] = orientation
    gps = exif.get_ifd(IFD.GPSInfo)
    gps[GPS.GPSLatitudeRef], gps[GPS.GPSLatitude] = "N", TAKEN_AT[0]
    gps[GPS.GPSLongitudeRef], gps[GPS.GPSLongitude] = "W", TAKEN_AT[1]
    file = io.BytesIO()
    extra = {"comment": b"by Nuala Example at home"} if kind == "JPEG" else {}
    picture.save(file, kind, exif=exif, **extra)
    return file.getvalue()


def bomb(width: int = 40_000, height: int = 40_000) -> bytes:
    """A PNG of a few hundred bytes that says it is of 1.6 thousand million pixels (ISO/IEC 15948: signature, IHDR, IDAT, IEND)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 999)) + chunk(b"IEND", b"")
    )


SCRIPT = b"#!/bin/sh\necho 'this is no photograph'\n<script>alert(1)</script>\n"
