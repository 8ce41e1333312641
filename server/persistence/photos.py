"""Photographs in the database, each under an unguessable token, in the order they were put."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, delete, func, select

from server.persistence.tables import PhotoRow


@dataclass(frozen=True, slots=True)
class PhotoKept:
    """A photograph by its token, without its content."""

    token: str
    width: int
    height: int


def add_photo(session: Session, about: str, token: str, content: bytes, width: int, height: int, at: datetime) -> None:
    """Keep a photograph after those that show the same thing."""
    last = session.exec(select(func.max(PhotoRow.place)).where(col(PhotoRow.about) == about)).one()
    place = 0 if last is None else last + 1
    session.add(
        PhotoRow(token=token, about=about, place=place, width=width, height=height, content=content, made_at=at)
    )
    session.flush()


def load_photos(session: Session, abouts: Sequence[str]) -> dict[str, tuple[PhotoKept, ...]]:
    """The photographs of some things, in order, by what they show; things without any are left out."""
    wanted = (
        select(PhotoRow.about, PhotoRow.token, PhotoRow.width, PhotoRow.height)
        .where(col(PhotoRow.about).in_(abouts))
        .order_by(col(PhotoRow.place))
    )
    found: dict[str, tuple[PhotoKept, ...]] = {}
    for about, token, width, height in session.exec(wanted):
        found[about] = (*found.get(about, ()), PhotoKept(token, width, height))
    return found


def load_content(session: Session, token: str) -> tuple[bytes, str] | None:
    """A photograph's content by its token, and what it shows."""
    return session.exec(select(PhotoRow.content, PhotoRow.about).where(col(PhotoRow.token) == token)).first()


def delete_photo(session: Session, about: str, token: str) -> None:
    """Delete a photograph of one thing; nothing where there is none."""
    session.exec(delete(PhotoRow).where(col(PhotoRow.about) == about, col(PhotoRow.token) == token))


def place_photos(session: Session, about: str, places: Mapping[str, float]) -> None:
    """Put the photographs of one thing in another order, by a place for each token; those without one keep theirs after it."""
    wanted = select(PhotoRow).where(col(PhotoRow.about) == about).order_by(col(PhotoRow.place))
    rows = session.exec(wanted).all()
    for place, row in enumerate(sorted(rows, key=lambda row: (places.get(row.token, row.place + 1), row.place))):
        row.place = place
