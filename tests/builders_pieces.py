"""Used pieces and deliveries to come, as the desk puts them up; makers and names are invented."""

from __future__ import annotations

import io
from datetime import date, timedelta
from typing import Any

from PIL import Image, ImageDraw

from server.domain.pieces import Piece
from server.domain.reservations import Delivery
from server.domain.sales import Concluded
from server.domain.stock import Contact
from server.outside.photos import Photo, clean_photo
from server.usecases.expected import expect_delivery
from server.usecases.pieces import Selling, add_bought_piece, add_demo_piece
from server.usecases.sales import Payment
from server.usecases.work import Shop, new_token

DUE = date(2026, 12, 12)
DEMO_SKU = "DUN-72"
SOMEBODY = Contact("Some One", "some.one@example.org")


def bought_piece(shop: Shop, paid: int = 300_00, **given: Any) -> Piece:
    """A hand wing bought from a private person at 300.00, for sale at 450.00, with what is given in place of the usual."""
    usual = {
        "slot": "hand_wing",
        "name": "Shearwater 5",
        "maker": "Saltmarsh Wings",
        "condition": "good",
        "hours": 40,
        "note": "A small patch near the wing tip.",
        "price": 450_00,
        "measures": {"area_m2": 5.0, "mass_kg": 2.4},
    }
    with shop.writing("Maeve") as work:
        return add_bought_piece(work, {**usual, **given}, paid, (), new_token())


def demo_piece(shop: Shop, sku: str = DEMO_SKU, **given: Any) -> Piece:
    """A part taken out of the stock for demonstration."""
    with shop.writing("Maeve") as work:
        raw = {"sku": sku, "condition": "like_new", "hours": 6, "price": 300_00, **given}
        return add_demo_piece(work, raw, (), new_token())


def delivery(shop: Shop, sku: str = DEMO_SKU, pieces: int = 2) -> Delivery:
    """A delivery to come in seventeen days: on 12 December by the clock of tests."""
    with shop.writing("Maeve") as work:
        return expect_delivery(work, sku, pieces, work.today + timedelta(days=17), "", new_token())


def selling(
    price: int,
    paid: int | None = None,
    who: Contact = SOMEBODY,
    concluded: Concluded = "counter",
    reservation: int | None = None,
) -> Selling:
    """How a piece is sold: over the counter and paid whole, unless it is said otherwise."""
    return Selling(who, concluded, price, Payment(price if paid is None else paid, "terminal"), reservation=reservation)


def drawn_photo(what: str = "used-wing") -> Photo:
    """A photograph of a piece lying on the sand, drawn here."""
    picture = Image.new("RGB", (1200, 900), "#d9c9a3")
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, 1200, 240), fill="#9fc3c9")
    if what == "used-wing":
        pen.pieslice((120, 250, 1080, 1050), 185, 355, fill="#2f7f86", outline="#173c40", width=14)
        pen.line((300, 470, 900, 470), fill="#f3f0e6", width=16)
    else:
        pen.ellipse((170, 420, 1030, 640), fill="#f5f2e8", outline="#44585c", width=10)
        pen.ellipse((300, 480, 760, 580), fill="#c96f3b")
    file = io.BytesIO()
    picture.save(file, "JPEG")
    return clean_photo(file.getvalue())
