"""Photographs are made anew: nothing is left of where, when and by whom; what is no photograph is refused with a word."""

from __future__ import annotations

import io
import tracemalloc

import pytest
from PIL import Image
from PIL.ExifTags import IFD

from server.domain.errors import InvalidInput
from server.outside.photos import LONGEST_SIDE, MOST_BYTES, clean_photo
from tests.builders_photos import SCRIPT, bomb, phone_photo


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def refusal(content: bytes, name: str = "") -> str:
    with pytest.raises(InvalidInput) as caught:
        clean_photo(content, "photo", name)
    [fault] = caught.value.faults
    assert fault.field == "photo"
    assert "JPEG, PNG or WebP" in fault.accepted
    return fault.message


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_is_left_of_where_and_by_whom_it_was_taken(kind: str) -> None:
    taken = phone_photo(kind=kind)
    assert opened(taken).getexif().get_ifd(IFD.GPSInfo), "the test's own photograph must have a place in it"
    photo = clean_photo(taken)
    again = opened(photo.content)
    assert again.format == "JPEG"
    assert not again.getexif()
    assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for secret in (b"Exif", b"GPS", b"Nuala", b"Telltale", b"2026:11:28"):
        assert secret not in photo.content


def test_it_stands_upright_and_is_no_longer_than_it_needs_to_be() -> None:
    # Orientation 6 of Exif 2.32: the camera was turned; row 0 is the right side.
    photo = clean_photo(phone_photo((3200, 2400), orientation=6))
    assert (photo.width, photo.height) == (LONGEST_SIDE * 3 // 4, LONGEST_SIDE)
    assert opened(photo.content).size == (photo.width, photo.height)


def test_a_picture_with_gaps_lies_on_white() -> None:
    file = io.BytesIO()
    Image.new("RGBA", (20, 10), (0, 0, 0, 0)).save(file, "PNG")
    assert opened(clean_photo(file.getvalue()).content).getpixel((5, 5)) == (255, 255, 255)


def test_a_small_file_that_would_unpack_to_gigabytes_is_refused_before_it_is() -> None:
    content = bomb()
    assert len(content) < 300
    tracemalloc.start()
    try:
        assert "1600 million pixels" in refusal(content, "holiday.png")
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def test_what_it_is_is_told_by_its_content_and_a_name_that_says_otherwise_is_refused() -> None:
    assert refusal(SCRIPT, "script.jpg") == "“script.jpg”: this is not a photograph that can be read here."
    for name in ("script.sh", "page.html", "photo.jpg.php", "photo.svg", "photo.jpg."):
        assert "not named as a photograph" in refusal(phone_photo(), name)
    for name in ("", "1000000123", "IMG_1.JPG", "scan.jfif", "a.b.webp"):
        assert clean_photo(phone_photo((40, 30)), name=name).width == 40
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    assert "not a photograph" in refusal(svg, "drawing.jpg")
    assert "not a photograph" in refusal(b"")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.98])
def test_a_photograph_that_ends_in_the_middle_is_refused(share: float) -> None:
    taken = phone_photo()
    assert "not a photograph" in refusal(taken[: int(len(taken) * share)])


def test_a_file_too_large_is_refused_by_its_bytes_alone() -> None:
    assert "larger than 12 MB" in refusal(b"\xff\xd8" + bytes(MOST_BYTES), "large.jpg")
