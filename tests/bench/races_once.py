"""What there is only once, wanted by many at once over two servers: the last place of a lesson, a used piece, what is left to pay."""

from __future__ import annotations

from sqlmodel import col, select

from server.persistence.engine import Place
from server.persistence.tables import BookingRow, ReservationRow, SettlementRow
from server.usecases.work import Shop, new_token
from server.web.guard import SESSION_COOKIE
from tests.bench.crowd import Answer, Crowd, statuses_of
from tests.bench.harness import looking
from tests.builders_accounts import account_token
from tests.builders_lessons import lesson, typed_learner
from tests.builders_pieces import bought_piece
from tests.builders_sales import bought, new_key, sale_now

WANTING = 20
PAYING = 12
FIRST_PAYMENT = 10_000


async def last_place(crowd: Crowd, shop: Shop, place: Place) -> None:
    """A lesson has one place, and all want it: one is booked, the others are told that it is full."""
    number = lesson(shop, kind="private")
    people = [typed_learner(key=new_token()) for _ in range(WANTING)]
    answers = await crowd.at_once(
        WANTING, lambda one: crowd.door(one).post(f"/lessons/{number}/book", data=people[one])
    )
    _one_of(crowd, answers, "the last place of a lesson")
    with looking(place) as session:
        rows = session.exec(select(BookingRow).where(col(BookingRow.time_id) == number)).all()
    crowd.outcome.must(len(rows) == 1, "a lesson for one has bookings", len(rows))


async def one_piece(crowd: Crowd, shop: Shop, place: Place) -> None:
    """A used piece is wanted by all: it is set aside for one."""
    piece = bought_piece(shop)
    people = [
        {"name": "Some One", "email": f"wants{new_token()}@example.org", "key": new_token()} for _ in range(WANTING)
    ]
    answers = await crowd.at_once(
        WANTING, lambda one: crowd.door(one).post(f"/used/pieces/{piece.id}/hold", data=people[one])
    )
    _one_of(crowd, answers, "a used piece")
    with looking(place) as session:
        rows = session.exec(select(ReservationRow).where(col(ReservationRow.piece_id) == piece.id)).all()
    crowd.outcome.must(len(rows) == 1, "a piece is set aside for", len(rows))


async def paid_once(crowd: Crowd, shop: Shop, place: Place) -> None:
    """What is left of a contract is taken by many hands at once, half of them with one and the same form: it is paid once."""
    sale = bought(shop, paid=FIRST_PAYMENT)
    left, same = sale.owed, new_key()
    cookie = {"Cookie": f"{SESSION_COOKIE}={account_token(shop, 'Maeve', 'staff')}"}
    typed = {"amount": f"{left / 100:.2f}", "means": "terminal"}
    keys = [same if one % 4 < 2 else new_key() for one in range(PAYING)]  # Both doors get both kinds.

    async def pay(one: int) -> Answer:
        form = {**typed, "key": keys[one]}
        return await crowd.door(one).post(f"/desk/sales/{sale.id}/pay", data=form, headers=cookie)

    answers = await crowd.at_once(PAYING, pay)
    paid = {key for key, answer in zip(keys, answers, strict=True) if answer.status_code == 303}
    crowd.outcome.must(len(paid) == 1, "one sum was taken under several forms", statuses_of(answers))
    crowd.outcome.must(set(statuses_of(answers)) <= {303, 409, 422}, "paying answered", statuses_of(answers))
    with looking(place) as session:
        rows = session.exec(select(SettlementRow).where(col(SettlementRow.sale_id) == sale.id)).all()
    taken = sorted(row.amount for row in rows if row.means == "terminal")
    crowd.outcome.must(taken == sorted([FIRST_PAYMENT, left]), "what was taken is", taken)
    crowd.outcome.must(sale_now(shop, sale.id).owed == 0, "something is owed still", sale_now(shop, sale.id).owed)


def _one_of(crowd: Crowd, answers: list[Answer], what: str) -> None:
    found = statuses_of(answers)
    crowd.outcome.must(found == {303: 1, 409: len(answers) - 1}, f"{what} was answered", found)
