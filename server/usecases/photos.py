"""Photographs kept with a used piece or a question; what does not commit is there for other verbs, which commit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.domain.errors import NotFound
from server.outside.photos import Photo
from server.persistence.photos import PhotoKept, add_photo, delete_photo, load_content, load_photos
from server.usecases.work import Work, is_token, new_token


def keep_photos(work: Work, about: str, photos: Iterable[Photo]) -> None:
    """Keep photographs of one thing, such as piece:12, after those it has. It does not commit."""
    for photo in photos:
        add_photo(work.session, about, new_token(), photo.content, photo.width, photo.height, work.now)


def photos_of(work: Work, about: str) -> tuple[PhotoKept, ...]:
    """The photographs of one thing, in order."""
    return load_photos(work.session, [about]).get(about, ())


def photos_of_all(work: Work, abouts: Sequence[str]) -> dict[str, tuple[PhotoKept, ...]]:
    """The photographs of several things at once."""
    return load_photos(work.session, abouts)


def drop_photo(work: Work, about: str, token: str) -> None:
    """Delete a photograph of one thing; one that is gone stays gone. It does not commit."""
    delete_photo(work.session, about, token)


@dataclass(frozen=True, slots=True)
class PhotoRead:
    """A photograph's content, a JPEG, and whether it came with somebody's question rather than shows what is for sale."""

    content: bytes
    is_somebodys: bool


def read_photo(work: Work, token: str) -> PhotoRead:
    """A photograph by its token; raises `NotFound`."""
    found = load_content(work.session, token) if is_token(token) else None
    if found is None:
        raise NotFound("photo", "There is no such photograph (any more).")
    content, about = found
    return PhotoRead(content, about.startswith("question:"))
