"""What the owner sees of sets, the till's day and places."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from server.domain.stock import Movement
from server.persistence.stock import save_movements
from server.persistence.till import FOUND
from server.usecases.work import Shop
from tests.builders_seen import Seen, State, World, seen_as

BOUNDARY = "the-tills-day"


def _at(address: str, status: int = 200) -> State:
    return lambda _world: Seen(address, status=status)


def _posted(address: str, status: int, **fields: str) -> State:
    return lambda _world: Seen(address, urlencode(fields).encode(), status)


def _counter_with_a_set(world: World) -> Seen:
    return Seen("/desk/counter?item=TUR-KELP")


ROWS = (
    "receipt,time,code,pieces,price\n1042,{day} 11:20,WRK-PUMP1,1,\n1043,{day} 12:05,TUR-KELP,1,3700.00\n"
    "1044,{day} 15:40,WRK-TK1,3,25.00\n1045,{day} 16:10,WRK-HM,-1,89.00\n"
)
WRONG_DAY = "receipt,day,code,pieces\n1042,2026-11-24,NO-SUCH,1\n1043,24.11.2026,WRK-HM,many\n"


def till_rows(shop: Shop) -> str:
    """What a till wrote yesterday: a part without its price, a set, more than the ledger has, and one that came back."""
    with shop.reading() as work:
        return ROWS.format(day=work.today - timedelta(days=1))


def _till(text: str, status: int) -> Seen:
    """What a till's file comes to, as a browser sends it."""
    head = 'Content-Disposition: form-data; name="file"; filename="day.csv"\r\nContent-Type: text/csv'
    body = f"--{BOUNDARY}\r\n{head}\r\n\r\n{text}\r\n--{BOUNDARY}--\r\n".encode()
    return Seen("/console/till", body, status, kind=f"multipart/form-data; boundary={BOUNDARY}")


def _booked_till(world: World) -> Seen:
    """The page after a day was booked: pieces found, some that were counted since."""
    found = Movement("WRK-TK1", "count", 2, f"{FOUND}2 more sold than the ledger had")
    with world.shop.writing("Orla") as work:
        save_movements(work.session, [found], work.now, work.actor)
        work.commit()
    return Seen("/console/till?booked=4&known=0&look=WRK-TK1&again=WRK-HM&again=WRK-PUMP1")


SETS_STATES: dict[str, State] = {
    "sets": seen_as("owner", _at("/console/sets")),
    "set": seen_as("owner", _at("/console/sets/edit?sku=TUR-KELP")),
    "new set, wrong": seen_as(
        "owner",
        _posted("/console/sets/edit", 422, sku="TUR-F70", name="", gtin="12", price="x", parts="TUR-F70; PLV-1400"),
    ),
    "till's day": seen_as("owner", _at("/console/till")),
    "till's day, looked at": seen_as("owner", lambda world: _till(till_rows(world.shop), 200)),
    "till's day, booked": seen_as("owner", _booked_till),
    "till's day, wrong": seen_as("owner", lambda _world: _till(WRONG_DAY, 422)),
    "places": seen_as("owner", _at("/console/places")),
    "place, a zone": seen_as("owner", _at("/console/places/edit?of=zone&name=Ireland")),
    "place, a spot": seen_as("owner", _at("/console/places/edit?of=spot&name=Lough+Corravane")),
    "place, new lesson wrong": seen_as(
        "owner", _posted("/console/places/edit", 422, of="lesson", do="save", kind="two words", fee="x", places="0")
    ),
    "counter with a set": seen_as("staff", _counter_with_a_set),
}
