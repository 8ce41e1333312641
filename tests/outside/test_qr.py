"""QR codes as a path: another library reads back from it what was said."""

from __future__ import annotations

import re

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from server.outside.qr import QUIET, Squares, qr_of

ADDRESS = "https://slackwater.example/quotes/" + "Ab3_-xYz" * 4


def picture_of(code: Squares, scale: int = 4) -> NDArray[np.uint8]:
    """A code's path filled in, dark on light."""
    sheet = np.full((code.side, code.side), 255, np.uint8)
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", code.path)
    assert "".join(f"M{x} {y}h{length}v1h-{back}z" for x, y, length, back in runs) == code.path
    for x, y, length, back in runs:
        assert length == back
        sheet[int(y), int(x) : int(x) + int(length)] = 0
    return np.kron(sheet, np.ones((scale, scale), np.uint8))


def read(code: Squares) -> zxingcpp.Barcode:
    """What a reader makes of it."""
    [found] = zxingcpp.read_barcodes(picture_of(code))
    return found


@pytest.mark.parametrize("text", [ADDRESS, "http://127.0.0.1:8000/quotes/abcdefgh", "x", "ä € 漢"])
def test_it_reads_back_what_it_says(text: str) -> None:
    assert read(qr_of(text)).text == text


def test_it_is_a_whole_qr_code_that_may_lose_fifteen_per_cent() -> None:
    found = read(qr_of(ADDRESS))
    assert found.format in (zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.QRCodeModel2)
    assert found.ec_level in ("M", "Q", "H")


def test_a_quiet_zone_of_four_modules_stands_around_it() -> None:
    code = qr_of(ADDRESS)
    sheet = picture_of(code, 1)
    assert (sheet[:QUIET] == 255).all()
    assert (sheet[-QUIET:] == 255).all()
    assert (sheet[:, :QUIET] == 255).all()
    assert (sheet[:, -QUIET:] == 255).all()
    assert sheet[QUIET, QUIET] == 0
    assert (code.side - 2 * QUIET - 17) % 4 == 0, "17 + 4 × version modules a side; ISO/IEC 18004"
