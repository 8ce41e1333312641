"""Every page in every state that people meet, made over the front door, for all tests that look at each of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import count
from typing import Any
from urllib.parse import urlsplit

from server.domain.agreed import NOTHING_AGREED, Agreed, FreeLine
from server.domain.assessments import read_seen
from server.domain.messages import KINDS
from server.domain.sales import Sale
from server.domain.stock import Contact
from server.outside.photos import clean_photo
from server.persistence.accounts import account_named
from server.usecases.accounts import recover_by_command
from server.usecases.aftercare import answer_question, ask_question, questions_to_answer, record_session
from server.usecases.assessments import keep_assessment
from server.usecases.calls import promise_call
from server.usecases.corrections import take_entry_back
from server.usecases.deposits import take_deposit
from server.usecases.expected import book_arrival
from server.usecases.faulty import ToMaker, claim_fault, report_fault
from server.usecases.handover import Sending, send_off
from server.usecases.lessons import call_weather
from server.usecases.messages import give_up, outbox, tell
from server.usecases.photos import keep_photos
from server.usecases.pieces import about_piece, change_piece, list_pieces
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.reservations import reserve_delivery, reserve_piece
from server.usecases.returns import give_notice
from server.usecases.standing import withdraw_quote
from server.usecases.stock import confirm_hold
from server.usecases.swaps import sizes_for
from server.usecases.work import Shop, new_token
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, withdraw_link, write_worksheet
from tests.builders_accounts import account_token
from tests.builders_catalogue import CATALOGUE_STATES
from tests.builders_goods import given_back, kit_received
from tests.builders_handover import owned, sent, taken_of
from tests.builders_imports import IMPORT_STATES
from tests.builders_lessons import booked, day_ahead, lesson
from tests.builders_numbers import NUMBERS_STATES
from tests.builders_people import PEOPLE_STATES
from tests.builders_photos import phone_photo
from tests.builders_pieces import bought_piece, delivery, demo_piece, drawn_photo
from tests.builders_policy import POLICY_STATES
from tests.builders_sales import agreed_quote, bought, new_key
from tests.builders_seen import Seen, State, World, seen_as
from tests.builders_sequels import SEQUELS_STATES
from tests.builders_sets import SETS_STATES
from tests.builders_shop import agreed, learner
from tests.builders_strand import kept_quote, lesson_today, read_at_strand, typed_seen
from tests.pages.reader import Reader, at_the_kit, encoded, started

TRADED_BOARD = {"slot": "board", "price_new": 110_000, "months": 18, "condition": "good"}
LAST_DIGITS = count(1000)
NO_TOKEN = "abcdefghijklmnopqrstuv"
KEPT_MAST = {"keeps-mast-0-length_cm": "72", "keeps-mast-0-track": "twin-track", "keeps-mast-0-mount": "cone"}
TRADED = {
    "trades-0-slot": "board",
    "trades-0-price_new": "1100",
    "trades-0-months": "18",
    "trades-0-condition": "good",
}


def _at(address: str, status: int = 200) -> State:
    return lambda world: Seen(address, None, status)


def _sent(reader: Reader, button: str, status: int, **filled: str | list[str]) -> Seen:
    """The answer to a form, not yet sent."""
    address, body = reader.sending(button, **filled)
    return Seen(address.split("#")[0], body, status)


def _step(name: str) -> State:
    return lambda world: Seen(started(world.client).address.replace("/you", f"/{name}"))


def _answered(world: World) -> Reader:
    """A reader at the kit who has answered all five steps."""
    reader = at_the_kit(world.client)
    step = reader.address.removesuffix("kit")
    reader.open(f"{step}where").press("next", spot="Tullaveen Strand", usual_wind_kn="16", water="sea", min_depth_m="2")
    reader.press("next", **KEPT_MAST, **TRADED, **{"trades-0-faults": "cracked"})
    return reader.press("See the kit", extras=["helmet", "wetsuit"], delivery="deliver", budget="5000")


def _filled(name: str) -> State:
    return lambda world: Seen(_answered(world).address.split("?")[0].replace("/kit", f"/{name}"))


def _wrong(name: str, **typed: str | list[str]) -> State:
    def made(world: World) -> Seen:
        reader = started(world.client)
        return _sent(reader.open(reader.address.replace("/you", f"/{name}")), "next", 422, **typed)

    return made


def kit_after(world: World, step: str, mass: str = "80", **typed: str | list[str]) -> Reader:
    """A reader at the kit who has answered the first two steps and then something in one step more."""
    reader = at_the_kit(world.client, mass)
    return reader.open(reader.address.replace("/kit", f"/{step}")).press("kit" if step != "extras" else "next", **typed)


def _kit(step: str = "", mass: str = "80", **typed: str | list[str]) -> State:
    def made(world: World) -> Seen:
        reader = kit_after(world, step, mass, **typed) if step else at_the_kit(world.client, mass)
        return Seen(reader.address)

    return made


def _you_and_kit(mass: str = "80", **typed: str) -> State:
    """The kit of somebody who told more about themselves in the first step."""

    def made(world: World) -> Seen:
        reader = at_the_kit(world.client, mass)
        reader.open(reader.address.replace("/kit", "/you")).press("next", **typed).press("kit")
        return Seen(reader.address)

    return made


def _refused_put(world: World) -> Seen:
    return Seen(at_the_kit(world.client, mass="95").address, b"put=DUN-72", 422)


def _by_hand(world: World) -> Seen:
    reader = at_the_kit(world.client)
    return Seen(reader.press(reader.by_id("put-tail-larger").get("value", "")).address.split("#")[0])


def _wing_beside(world: World) -> Seen:
    reader = kit_after(world, "gear", **{"keeps-hand_wing-0-area_m2": "5.5"})
    return Seen(reader.press(reader.by_id("wing-beside").get("value", "")).address.split("#")[0])


def _own_wrong(world: World) -> Seen:
    kit = at_the_kit(world.client)
    form, _ = kit.form("Build on mine, my own mast")
    length = next(str(field.get("name")) for field in form.iter("input") if "length_cm" in str(field.get("name")))
    return _sent(kit, "Build on mine, my own mast", 422, **{length: "long"})


def kept(world: World, **given: object) -> str:
    """The address of a quote that was kept, without the name of the host."""
    answer = world.client.post("/api/quotes", json={"answers": learner(**given)})
    assert answer.status_code == 201, answer.text
    address: str = urlsplit(answer.json()["url"]).path
    return address


def _quote(**given: object) -> State:
    return lambda world: Seen(kept(world, **given))


def _held(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world))
    # One number may ask for two holds at once; each page is seen by somebody else.
    phone = f"+353 20 910 {next(LAST_DIGITS):04d}"
    return Seen(reader.press("Ask to hold these parts", name="Some One", phone=phone).address)


def _confirmed(world: World) -> Seen:
    held = _held(world)
    with world.shop.writing("desk") as work:
        confirm_hold(work, held.address.rsplit("/", 1)[1])
    return held


def lapsed_quote(world: World, days: int = 20) -> str:
    """The address of a quote that was kept so many days ago, by a shop whose clock stood at that day."""
    then = world.shop.clock() - timedelta(days=days)
    with Shop(world.shop.sessions, lambda: then).writing() as work:
        return "/quotes/" + issue_quote(work, learner()).token


def _lapsed(world: World) -> Seen:
    return Seen(lapsed_quote(world))


def _second_revision(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world)).press("Change my answers")
    reader.open(reader.address.replace("/you", "/kit"))
    return Seen(reader.press("Keep as the next revision").address)


def _revising(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world)).press("Change my answers")
    return Seen(reader.address.replace("/you", "/kit"))


def _agree_wrong(world: World) -> Seen:
    return _sent(Reader(world.client).open(kept(world)), "Ask to hold these parts", 422, name="", email="nowhere")


def _agree_too_late(world: World) -> Seen:
    return Seen(f"{lapsed_quote(world)}/agree", b"revision=1&name=Some+One&phone=%2B353209100177", 410)


def _compare_wrong(world: World) -> Seen:
    return _sent(Reader(world.client).open(kept(world)), "Side by side", 422, other="nowhere")


def _beside(**given: object) -> State:
    def made(world: World) -> Seen:
        other = kept(world, **given).rsplit("/", 1)[1]
        return Seen(f"{kept(world)}/beside/{other}")

    return made


def _sharing(world: World) -> Reader:
    """The first rider's page of a shared kit, which waits for the second."""
    reader = at_the_kit(world.client)
    return reader.open(reader.address.replace("/kit", "/shared")).press("Share with a second rider")


def _shared_alone(world: World) -> Seen:
    return Seen(_sharing(world).address)


def _shared_by_two(world: World) -> Seen:
    """The second rider has answered, at the address that the first page gives to send on."""
    links = [link.get("href", "") for link in _sharing(world).page.iter("a")]
    [sent] = [urlsplit(link).path for link in links if "://" in link]
    other = Reader(world.client).open(sent).press("next", mass_kg="68", to_feet="average", fitness="fair")
    other.press("kit", board_background="some", foil_stage="none")
    return Seen(other.address.replace("/kit", "/shared"))


def _kept_without_answers(world: World) -> Seen:
    return Seen(started(world.client).address.replace("/you", "/keep"), encoded([("key", "k")]), 422)


# The desk.

CALLER = {"mass_kg": "92", "to_feet": "average", "fitness": "fair", "board_background": "some", "foil_stage": "none"}


def _worksheet(agreed: Agreed = NOTHING_AGREED, *, is_finished: bool = False, **told: object) -> State:
    """A worksheet of Maeve's, finished or not."""

    def made(world: World) -> Seen:
        with world.shop.writing("Maeve") as work:
            sheet = begin_worksheet(work)
            written = Written("Some One", "", "+353 20 910 0177", "The calm board, as we said.", "Knows the bay")
            write_worksheet(work, sheet.token, learner(**told), agreed, written)
            if is_finished:
                finish_worksheet(work, sheet.token, "staff")
        return Seen(f"/desk/worksheets/{sheet.token}")

    return made


def _empty_worksheet(world: World) -> Seen:
    with world.shop.writing("Maeve") as work:
        return Seen(f"/desk/worksheets/{begin_worksheet(work).token}")


def _worksheet_wrong(world: World) -> Seen:
    address = _empty_worksheet(world).address
    typed = {
        **CALLER,
        "mass_kg": "900",
        "discount": "lots",
        "phone": "call me",
        "line-0-kind": "repair",
        "go": "finish",
    }
    return Seen(address, encoded(list(typed.items())), 422)


def _worksheet_outdated(world: World) -> Seen:
    """A worksheet whose quote was changed meanwhile."""
    token = kept(world).rsplit("/", 1)[1]
    with world.shop.writing("Maeve") as work:
        sheet = begin_worksheet(work, token)
        issue_quote(work, learner(mass_kg=95), revises=token)
    return Seen(f"/desk/worksheets/{sheet.token}", encoded([*CALLER.items(), ("go", "finish")]), 409)


def _prepared(world: World) -> Seen:
    """What the customer sees behind a link."""
    address = _worksheet(Agreed(discount=100_00), is_finished=True)(world).address
    return Seen(f"/drafts/{address.rsplit('/', 1)[1]}/kit")


def _link_taken_back(world: World) -> Seen:
    token = _worksheet(is_finished=True)(world).address.rsplit("/", 1)[1]
    with world.shop.writing("Maeve") as work:
        withdraw_link(work, token)
    return Seen(f"/prepared/{token}", None, 410)


def _called_up(world: World) -> Seen:
    """The desk's page of a quote that was held and then changed by the desk."""
    held = _held(world).address
    with world.shop.writing("Maeve") as work:
        sheet = begin_worksheet(work, held.rsplit("/", 1)[1])
        agreed = Agreed(discount=50_00)
        write_worksheet(work, sheet.token, learner(mass_kg=84), agreed, Written(staff_note="Called at noon"))
        _, quote = finish_worksheet(work, sheet.token, "owner")
    assert quote is not None
    return Seen(f"/desk/quotes/{quote.code}")


def _agreed_to_older(world: World) -> Seen:
    token = _second_revision(world).address.rsplit("/", 1)[1]
    return Seen(f"/quotes/{token}/agree", b"revision=1&name=Some+One&phone=%2B353209100177", 409)


def _welcome(world: World) -> Seen:
    """A one-time link for somebody who cannot sign in any more; none of it is used up."""
    account_token(world.shop, "Orla", "owner")
    with world.shop.writing("command") as work:
        return Seen(f"/welcome/{recover_by_command(work, 'Orla')}")


def _welcome_refused(world: World) -> Seen:
    return Seen(_welcome(world).address, encoded([("password", "short"), ("again", "short")]), 422)


def _staff_of(name: str) -> State:
    """The owner's page of somebody who works here."""

    def made(world: World) -> Seen:
        account_token(world.shop, name, "owner" if name == "Orla" else "staff")
        with world.shop.reading() as work:
            row = account_named(work.session, name.casefold())
        assert row is not None
        return Seen(f"/staff/{row.id}")

    return made


def _posted(address: str, status: int, **fields: str) -> State:
    return lambda world: Seen(address, encoded(list(fields.items())), status)


def _code_of(world: World, address: str) -> str:
    with world.shop.reading() as work:
        return read_quote(work, address.rsplit("/", 1)[1]).code


def _letting_go(world: World) -> Seen:
    return Seen(f"/desk/holds/{_code_of(world, _held(world).address)}/let-go")


def _found_by_name(world: World) -> Seen:
    _held(world)
    return Seen("/desk/find", b"q=Some+One")


def _desk_full(world: World) -> Seen:
    """The desk's first page with something in every list."""
    _held(world)
    _confirmed(world)
    _worksheet(Agreed(discount=900_00), is_finished=True)(world)
    _worksheet(is_finished=True)(world)
    account_token(world.shop, "Maeve", "staff")
    with world.shop.writing("Maeve") as work:
        promise_call(work, 1, name="Some One", phone="020 910 0177", about="Her mast", day=str(work.today), at="23:59")
    _much_open(world)
    sent(world.shop, bought(world.shop, delivery="deliver"))
    wing = _wing(world)
    with world.shop.writing() as work:
        reserve_piece(work, wing, Contact("Some One", f"used{next(LAST_DIGITS)}@example.org"), new_token())
    return Seen("/desk")


def _much_open(world: World) -> Seen:
    """A sale of which something comes back, something is faulty, old gear was not brought, and a payment was a mistake."""
    sale = owned(world.fill().shop, trades=[TRADED_BOARD])
    with world.shop.writing() as work:
        give_notice(work, sale.id, [6], "Too wild.", new_key())
    with world.shop.writing("Maeve") as work:
        report_fault(work, sale.id, 2, "It clicks at every turn.", work.today, new_key())
    paid_in = next(one for one in sale.settlements if one.means == "terminal")
    with world.shop.writing("Maeve") as work:
        take_entry_back(work, sale.id, paid_in.id, "it was another sale", new_key())
    return Seen(f"/desk/sales/{sale.id}")


def _entry_back_wrong(world: World) -> Seen:
    sale = bought(world.shop, paid=1200_00)
    entry = next(one for one in sale.settlements if one.means == "terminal").id
    return Seen(f"/desk/sales/{sale.id}/entries/{entry}/take-back", encoded([("why", ""), ("key", new_key())]), 422)


# Lessons.


def _lessons_listed(world: World) -> Seen:
    lesson(world.shop, kind="group", weeks="3")
    return Seen("/lessons")


def _place(world: World) -> Seen:
    return Seen(f"/lessons/{lesson(world.shop)}")


def _place_wrong(world: World) -> Seen:
    typed = {"name": "", "email": "nowhere", "mass_kg": "900"}
    return Seen(f"/lessons/{lesson(world.shop)}/book", encoded(list(typed.items())), 422)


def _booking(world: World) -> Seen:
    lesson(world.shop, day=day_ahead(world.shop, 10))
    return Seen(f"/bookings/{booked(world.shop, lesson(world.shop)).token}")


def _booking_called_off(world: World) -> Seen:
    number = lesson(world.shop)
    booking = booked(world.shop, number)
    with world.shop.writing("Maeve") as work:
        call_weather(work, number, "final", "off", None, "A front comes through.")
    return Seen(f"/bookings/{booking.token}")


def _fee_with_kit(world: World) -> Seen:
    """A lesson's ledger beside a quote whose kit gives its fee back."""
    with world.shop.writing("Maeve") as work:
        code = take_deposit(work, "private", 115_00, "taken", work.today).code
    with world.shop.writing("Maeve") as work:
        quote = issue_quote(work, learner(deposit_codes=[code])).code
    agreed(world.shop, quote)
    return Seen(f"/desk/deposits/{code}?quote={quote}")


def _week_of_lessons(world: World) -> Seen:
    booked(world.shop, lesson(world.shop, kind="group"))
    return Seen(f"/desk/lessons?from={day_ahead(world.shop)}")


def _lesson_at_desk(world: World) -> Seen:
    """A group lesson in a wind that speaks against it, with one learner's booking unfolded."""
    number = lesson(world.shop, kind="group")
    learners = [booked(world.shop, number, name=name, under_18="yes") for name in ("Some One", "Another One")]
    return Seen(f"/desk/lessons/{number}?learner={learners[0].id}&mean_kn=8&gust_kn=30&from_deg=90")


def _lesson_near(world: World) -> Seen:
    """A lesson within the hour, with somebody in it who booked with a code that nobody has confirmed."""
    _, code = kept_quote(world.shop)
    [first] = lesson_today(world.shop, {}, kind="group", ago=-60)
    early = Shop(world.shop.sessions, lambda: first.time.starts_at - timedelta(hours=4))
    booking = booked(early, first.time.id, name="Una Vale", code=code)
    return Seen(f"/desk/lessons/{first.time.id}?learner={booking.id}")


def _lesson_wrong(world: World) -> Seen:
    typed = {"name": "", "phone": "x", "swims_100m": "", "code": "HKBN04QB"}
    return Seen(f"/desk/lessons/{lesson(world.shop)}/book", encoded(list(typed.items())), 422)


def _strand(world: World) -> Seen:
    """A wind off the land: one lesson to be called off, one behind the boat that is held, one without anybody."""
    _, code = kept_quote(world.shop, mass_kg=95)
    lesson_today(world.shop, {"mass_kg": "95", "code": code}, {"mass_kg": "", "under_18": "yes"}, kind="group")
    lesson_today(world.shop, {"mass_kg": "61"}, kind="tow")
    lesson_today(world.shop)
    read_at_strand(world.shop, from_deg="ENE", gust_kn="24")
    return Seen("/desk/strand")


def _call_offs(world: World) -> Seen:
    return replace(_strand(world), address="/desk/strand/call-offs")


def _seen_form(world: World) -> Seen:
    return Seen(f"/desk/bookings/{lesson_today(world.shop, {})[0].id}/seen")


def _seen_wrong(world: World) -> Seen:
    typed = {"longest_flight": "far", "control": "holds_a_course", "sentence": "A good day."}
    return Seen(_seen_form(world).address, encoded(list(typed.items())), 422)


def _seen_before(world: World) -> Seen:
    """What was seen of somebody with a quote, which was fitted again for it."""
    _, code = kept_quote(world.shop)
    [booking] = lesson_today(world.shop, {"code": code})
    with world.shop.writing("Maeve") as work:
        keep_assessment(work, booking.id, read_seen(typed_seen(longest_flight="80"), work.now), new_token())
    return Seen(f"/desk/bookings/{booking.id}/seen")


def _seen_quote(world: World) -> Seen:
    """The customer's quote after what was seen."""
    token, code = kept_quote(world.shop)
    [booking] = lesson_today(world.shop, {"code": code})
    with world.shop.writing("Maeve") as work:
        keep_assessment(work, booking.id, read_seen(typed_seen(longest_flight="80"), work.now), new_token())
    return Seen(f"/quotes/{token}")


def _outbox(world: World) -> Seen:
    """A message of every kind; the first was given up."""
    with world.shop.writing("Maeve") as work:
        for kind in KINDS:
            tell(
                work, kind.name, to_name="Some One", to_email="some.one@learners.example", about="", values=kind.samples
            )
        work.commit()
        give_up(work, outbox(work)[-1].id)
    return Seen("/desk/messages")


def _given_up(world: World) -> Seen:
    _outbox(world)
    with world.shop.reading() as work:
        return Seen(f"/desk/messages/{outbox(work)[-1].id}")


# Giving back, swapping, faulty goods.


def _kit_received(world: World) -> Sale:
    return kit_received(
        world.fill().shop, trades=[{"slot": "board", "price_new": 900_00, "months": 18, "condition": "good"}]
    )


def _return(query: str, status: int = 200) -> State:
    """A return at the desk as it is worked out, of which the customer has told us."""

    def made(world: World) -> Seen:
        sale = _kit_received(world)
        with world.shop.writing() as work:
            give_notice(work, sale.id, [1, 6], "Too wild for me.", new_key())
        return Seen(f"/desk/sales/{sale.id}/return{query.replace('today', sale.made_on.isoformat())}", None, status)

    return made


def _to_contract(world: World) -> str:
    """The address of the form that makes the contract of a quote that is held."""
    quote = agreed_quote(world.shop, delivery="deliver", trades=[TRADED_BOARD], deposit_codes=[])
    return f"/desk/quotes/{quote.code}/contract"


def _nobodys_contract(world: World) -> Seen:
    with world.shop.writing() as work:
        return Seen(f"/desk/quotes/{issue_quote(work, learner()).code}/contract")


def _contract_wrong(world: World) -> Seen:
    form = b"revision=1&key=form-key-wrong&concluded=owl&address=x&amount=much&means=&together=HKBN"
    return Seen(_to_contract(world), form, 422)


def _sold(address: str = "", **given: object) -> State:
    """A sale at the desk, of which half is paid, or an address that belongs to it."""

    def made(world: World) -> Seen:
        sale = bought(world.shop, paid=1200_00, **given)  # type: ignore[arg-type]
        receipt = next(one for one in sale.settlements if one.means == "terminal").id
        return Seen(
            (address or "/desk/sales/{number}").format(
                number=sale.id,
                token=sale.token,
                code=sale.code,
                quote=sale.quote_token,
                receipt=receipt,
                paper=sale.papers[0].number,
            )
        )

    return made


def _cases_open(world: World) -> Seen:
    """A notice, a return that waits for its money, and something faulty."""
    _return("")(world)
    given_back(world.shop, _kit_received(world))
    _fault(world)
    return Seen("/desk/cases")


def _give_back(world: World) -> Seen:
    sale = _kit_received(world)
    with world.shop.writing() as work:
        give_notice(work, sale.id, [6], "", new_key())
    return Seen(f"/owned/{sale.token}/give-back")


def _swap(world: World) -> Seen:
    sale = _kit_received(world)
    with world.shop.reading() as work:
        wing = next(item for item in sale.items if item.slot == "hand_wing")
        sku = next(one.part.sku for one in sizes_for(work, sale, wing) if not one.refusal)
    return Seen(f"/desk/sales/{sale.id}/swap?item={wing.number}&sku={sku}")


def _fault(world: World) -> Seen:
    sale = _kit_received(world)
    with world.shop.writing("Maeve") as work:
        case = report_fault(work, sale.id, 1, "The track is loose, and it clicks.", work.today, new_key())
    with world.shop.writing("Maeve") as work:
        claim_fault(work, case.id, ToMaker("sent", "R 17", 0, "with three photographs"), new_key())
    return Seen(f"/desk/sales/{sale.id}/fault")


def _fault_wrong(world: World) -> Seen:
    sale = _kit_received(world)
    return Seen(f"/desk/sales/{sale.id}/fault", encoded([("noticed_on", "never"), ("key", new_key())]), 422)


def _handing(world: World) -> Seen:
    """With old gear that nobody has looked at yet."""
    trades = [{"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}]
    sale = bought(world.fill().shop, extras=["helmet", "wetsuit"], trades=trades)
    return Seen(f"/desk/sales/{sale.id}/hand-over")


def _handing_wrong(world: World) -> Seen:
    sale = bought(world.fill().shop)
    first, second = [item for item in sale.goods if item.is_core][:2]
    typed = [("key", new_token()), ("item", str(first.number)), ("item", str(second.number))]
    typed += [(f"serial-{first.number}", "A 17"), ("check-vest", "not_done"), ("signed_by", "Some One")]
    return Seen(f"/desk/sales/{sale.id}/hand-over", encoded(typed), 422)


def _handed_record(world: World) -> Seen:
    return Seen(f"/desk/sales/{owned(world.fill().shop).id}/hand-over/1")


def _delivering(world: World) -> Seen:
    return Seen(f"/desk/sales/{bought(world.fill().shop, delivery='deliver').id}/delivery")


def _in_two_parcels(world: World) -> Sale:
    """Sent one after the other."""
    sale = bought(world.fill().shop, delivery="deliver")
    taken = taken_of(sale, held_only=True)
    for few in (taken[:2], taken[2:]):
        with world.shop.writing("Maeve") as work:
            sale = send_off(work, sale.id, Sending(few, "Strand Parcels", "SP 1234", 1), new_token())
    return sale


def _on_its_way(world: World) -> Seen:
    return Seen(f"/desk/sales/{_in_two_parcels(world).id}/delivery")


def _labels(world: World) -> Seen:
    return Seen(f"{_delivering(world).address}/label?parcels=2")


def _sessions(world: World) -> Seen:
    sale = owned(world.fill().shop)
    with world.shop.writing("Maeve") as work:
        record_session(work, sale.id, "support", "Light wind, long runs", new_token())
    return Seen(f"/desk/sales/{sale.id}/sessions")


def _serials(world: World) -> Seen:
    sale = owned(world.fill().shop)
    form = [("item", str(sale.goods[0].number)), ("serial", "!"), ("key", new_key())]
    return Seen(f"/desk/sales/{sale.id}/serials", encoded(form), 422)


def _coming_back(world: World) -> Seen:
    """The board came back and waits for its money, and the customer gives back the hand wing as well."""
    sale = given_back(world.shop, _kit_received(world), [1])
    with world.shop.writing() as work:
        give_notice(work, sale.id, [6], "", new_key())
    return Seen(f"/owned/{sale.token}")


def _worked_out(world: World) -> Seen:
    return Seen(f"/owned/{_kit_received(world).token}/give-back?take=1&take=6")


def _parcel_coming(world: World) -> Seen:
    return Seen(f"/owned/{_in_two_parcels(world).token}")


def _owned(world: World) -> Seen:
    """With a question that was answered and one with a photograph that was not."""
    sale = owned(world.fill().shop)
    with world.shop.writing() as work:
        first = ask_question(work, sale, sale.goods[0].number, "Does the vent stay open?", (), new_token())
        photo = clean_photo(phone_photo((240, 180)))
        ask_question(work, sale, None, "There is a nick in the edge. May I ride?", [photo], new_token())
    with world.shop.writing("Maeve") as work:
        answer_question(work, first.id, "Shut on the water, open when it travels or lies in the sun.")
    return Seen(f"/owned/{sale.token}")


def _asking_wrong(world: World) -> Seen:
    address = f"/owned/{bought(world.fill().shop).token}/ask"
    return _sent(Reader(world.client).open(address), "Ask", 422, text="?")


def _questions(world: World) -> Seen:
    _owned(world)
    return Seen("/desk/questions")


def _question(world: World) -> Seen:
    _owned(world)
    with world.shop.reading() as work:
        return Seen(f"/desk/questions/{questions_to_answer(work)[-1].question.id}")


def _recalled(world: World) -> Seen:
    sale = owned(world.fill().shop)
    sku = next(item.sku for item in sale.items if item.slot == "fuselage")
    return Seen("/desk/recall", encoded([("sku", sku), ("first", f"{sku}-1"), ("last", f"{sku}-9999")]))


def _pay_wrong(world: World) -> Seen:
    sale = bought(world.shop, paid=1200_00)
    form = b"key=form-key-wrong&way=in&amount=99999&means=cash&note="
    return Seen(f"/desk/sales/{sale.id}/pay", form, 422)


def _withdrawn(address: str) -> State:
    def made(world: World) -> Seen:
        quote = agreed_quote(world.shop)
        with world.shop.writing("Maeve") as work:
            withdraw_quote(work, quote.code, "The board was damaged in the store.")
        return Seen(address.format(token=quote.token, code=quote.code))

    return made


def _wing(world: World, photo: str = "used-wing", **given: Any) -> int:
    """A used hand wing with a photograph of its own; its number."""
    piece = bought_piece(world.shop, **given)
    with world.shop.writing("Maeve") as work:
        keep_photos(work, about_piece(piece.id), [drawn_photo(photo)])
        work.commit()
    return piece.id


def _used_all(world: World) -> Seen:
    """Two used pieces, one of them held, a demonstration piece, and a part and an old board that are due."""
    held = _wing(world)
    with world.shop.writing() as work:
        reserve_piece(work, held, Contact("Some One", f"used{next(LAST_DIGITS)}@example.org"), new_token())
    _wing(world, "used-board", slot="board", name="Little Tern 110", price=620_00, measures={"volume_l": 110})
    demo_piece(world.shop)
    delivery(world.shop)
    gear = _old_gear(world)
    with world.shop.writing("Maeve") as work:
        change_piece(work, gear, {"name": "Sandpiper 95", "condition": "good"}, work.today + timedelta(days=9))
    return Seen("/used")


def _old_gear(world: World) -> int:
    """Old gear that is to come with a sale; its number."""
    world.fill()
    given = [{"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}]
    sale = bought(world.shop, trades=given)
    with world.shop.reading() as work:
        return next(one.id for one in list_pieces(work) if one.from_sale == sale.id)


def _used_piece(world: World) -> Seen:
    return Seen(f"/used/pieces/{_wing(world)}")


def _used_held(world: World) -> Seen:
    number = _wing(world)
    with world.shop.writing() as work:
        reserve_piece(work, number, Contact("Some One", f"used{next(LAST_DIGITS)}@example.org"), new_token())
    return Seen(f"/used/pieces/{number}")


def _used_wrong(world: World) -> Seen:
    reader = Reader(world.client).open(f"/used/pieces/{_wing(world)}")
    return _sent(reader, "Ask to hold it", 422, name="", email="nowhere")


def _due_part(world: World) -> Seen:
    return Seen(f"/used/expected/{delivery(world.shop).id}")


def _reserved(world: World) -> Seen:
    reader = Reader(world.client).open(f"/used/pieces/{_wing(world)}")
    reader.press("Ask to hold it", name="Some One", email=f"used{next(LAST_DIGITS)}@example.org")
    return Seen(reader.address)


def _pieces_at_desk(world: World) -> Seen:
    _used_all(world)
    return Seen("/desk/pieces")


def _piece_for_sale(world: World) -> Seen:
    number = _wing(world)
    with world.shop.writing() as work:
        reserve_piece(work, number, Contact("Some One", f"used{next(LAST_DIGITS)}@example.org"), new_token())
    return Seen(f"/desk/pieces/{number}")


def _gear_to_look_at(world: World) -> Seen:
    return Seen(f"/desk/pieces/{_old_gear(world)}")


def _gear_wrong(world: World) -> Seen:
    return Seen(f"/desk/pieces/{_old_gear(world)}/inspect", b"found_condition=&value=x&key=form-key-0", 422)


def _deliveries(world: World) -> Seen:
    delivery(world.shop)
    return Seen("/desk/expected")


def _delivery_at_desk(world: World) -> Seen:
    coming = delivery(world.shop)
    with world.shop.writing() as work:
        reserve_delivery(work, coming.id, Contact("Some One", f"used{next(LAST_DIGITS)}@example.org"), new_token())
    return Seen(f"/desk/expected/{coming.id}")


def _reservation_here(world: World) -> Seen:
    """A part that came for somebody, to be sold."""
    coming = delivery(world.shop)
    with world.shop.writing() as work:
        who = Contact("Some One", f"used{next(LAST_DIGITS)}@example.org")
        one = reserve_delivery(work, coming.id, who, new_token())
    with world.shop.writing("Maeve") as work:
        book_arrival(work, coming.id, 1, 0)
    return Seen(f"/desk/reservations/{one.id}")


STATES: dict[str, State] = {
    "home": _at("/"),
    "privacy": _at("/privacy"),
    "you empty": _step("you"),
    "you filled": _filled("you"),
    "you wrong": _wrong("you", mass_kg="34"),
    "you left empty": _wrong("you"),
    "flying empty": _step("flying"),
    "flying filled": _filled("flying"),
    "flying left empty": _wrong("flying"),
    "where empty": _step("where"),
    "where filled": _filled("where"),
    "where wrong": _wrong("where", usual_wind_kn="90", min_depth_m="deep"),
    "gear empty": _step("gear"),
    "gear filled": _filled("gear"),
    "gear wrong": _wrong(
        "gear", **{"keeps-board-0-volume_l": "9999", "trades-0-slot": "board", "trades-0-months": "18"}
    ),
    "extras empty": _step("extras"),
    "extras filled": _filled("extras"),
    "extras wrong": _wrong("extras", budget="much", deposit_codes="HKBN04QA"),
    "kit": _kit(),
    "kit of all answers": lambda world: Seen(_answered(world).address),
    "kit at a spot": _kit("where", spot="Tullaveen Strand"),
    "kit, put refused": _refused_put,
    "kit by hand": _by_hand,
    "kit with kept gear": _kit("gear", **KEPT_MAST),
    "kit with a kept hand wing": _kit("gear", **{"keeps-hand_wing-0-area_m2": "5.5"}),
    "kit with a wing beside": _wing_beside,
    "kit, own piece wrong": _own_wrong,
    "kit with a trade-in": _kit("gear", **TRADED),
    "kit, none possible": _kit("where", min_depth_m="0.5"),
    "kit, under 18": _you_and_kit(mass="60", under_18="yes"),
    "kit, over 120 kg": _kit(mass="125"),
    "kit, does not swim": _you_and_kit(swims_100m="no"),
    "kit of a quote": _revising,
    "quote": _quote(),
    "quote with all in it": _quote(
        keeps=[{"slot": "hand_wing", "area_m2": 5.5}],
        trades=[{"slot": "board", "price_new": 110_000, "months": 18, "condition": "good"}],
        spot="Tullaveen Strand",
        extras=["helmet", "wetsuit"],
    ),
    "quote held": _held,
    "quote confirmed": _confirmed,
    "quote lapsed": _lapsed,
    "quote, second revision": _second_revision,
    "quote that needs the shop": _quote(swims_100m=False),
    "quote, contact wrong": _agree_wrong,
    "quote, agreed too late": _agree_too_late,
    "quote, compared with nothing": _compare_wrong,
    "quote, agreed to an older revision": _agreed_to_older,
    "prepared kit": _prepared,
    "prepared link taken back": _link_taken_back,
    "console": seen_as("owner", lambda _: Seen("/console")),
    "worksheet empty": seen_as("staff", _empty_worksheet),
    "worksheet filled": seen_as(
        "owner", _worksheet(Agreed(discount=100_00, lines=(FreeLine("repair", "Fin box", 40_00),)))
    ),
    "worksheet wrong": seen_as("staff", _worksheet_wrong),
    "worksheet outdated": seen_as("staff", _worksheet_outdated),
    "worksheet waiting, staff": seen_as("staff", _worksheet(Agreed(discount=900_00), is_finished=True)),
    "worksheet waiting, owner": seen_as("owner", _worksheet(Agreed(discount=900_00), is_finished=True)),
    "worksheet sent": seen_as("staff", _worksheet(is_finished=True)),
    "quote at the desk": seen_as("owner", _called_up),
    "sign-in": _at("/sign-in"),
    "sign-in wrong": _posted("/sign-in", 422, name="Nobody Here", password="wrong"),
    "welcome": _welcome,
    "welcome, password refused": _welcome_refused,
    "welcome, link used": _at(f"/welcome/{NO_TOKEN}", 404),
    "account": seen_as("staff", _at("/account")),
    "account, password refused": seen_as(
        "staff", _posted("/account/password", 422, current="wrong", new="short", again="short")
    ),
    "who works here": seen_as("owner", _at("/staff")),
    "who works here, name taken": seen_as("owner", _posted("/staff", 409, name="Orla", role="staff")),
    "somebody who works here": seen_as("owner", _staff_of("Maeve")),
    "the owner's own page": seen_as("owner", _staff_of("Orla")),
    "desk": seen_as("staff", _at("/desk")),
    "desk with all lists": seen_as("owner", _desk_full),
    "desk, call wrong": seen_as(
        "staff", _posted("/desk/calls", 422, name="", phone="x", about="", day="never", at="", code="")
    ),
    "found by name": seen_as("staff", _found_by_name),
    "code misheard": seen_as("staff", _posted("/desk/find", 422, q="HBDDW2JX")),
    "nobody found": seen_as("staff", _posted("/desk/find", 404, q="Nobody Here")),
    "messages to send by hand": seen_as("staff", _outbox),
    "message, given up": seen_as("staff", _given_up),
    "words of the messages": seen_as("owner", _at("/messages/wordings")),
    "words of a message": seen_as("owner", _at("/messages/wordings/lesson_called_off")),
    "words of a message, wrong": seen_as(
        "owner", _posted("/messages/wordings/quote_changed", 422, do="write", subject="{who}", body="Hello {")
    ),
    "counter": seen_as("staff", _at("/desk/counter")),
    "counter with a part": seen_as("staff", _at("/desk/counter?item=DUN-72")),
    "counter, unknown": seen_as("staff", _at("/desk/counter?item=nothing", 422)),
    "let go": seen_as("staff", _letting_go),
    "lessons": _lessons_listed,
    "place in a lesson": _place,
    "place in a lesson, wrong": _place_wrong,
    "booking": _booking,
    "booking called off by the shop": _booking_called_off,
    "week of lessons": seen_as("staff", _week_of_lessons),
    "week of lessons, wrong": seen_as("staff", _posted("/desk/lessons", 422, kind="", day="never", weeks="27")),
    "lesson at the desk": seen_as("staff", _lesson_at_desk),
    "lesson at the desk, about to begin": seen_as("staff", _lesson_near),
    "lesson at the desk, wrong": seen_as("staff", _lesson_wrong),
    "strand": seen_as("staff", _strand),
    "strand, wrong": seen_as("staff", _posted("/desk/strand", 422, spot="", mean_kn="x", from_deg="NNNW")),
    "call-offs": seen_as("staff", _call_offs),
    "what was seen": seen_as("staff", _seen_form),
    "what was seen, wrong": seen_as("staff", _seen_wrong),
    "what was seen before": seen_as("staff", _seen_before),
    "quote after what was seen": _seen_quote,
    "lesson fees": seen_as("staff", _at("/desk/deposits")),
    "lesson fees, wrong": seen_as("staff", _posted("/desk/deposits", 422, kind="", day="never", amount="x", method="")),
    "lesson fee with a kit": seen_as("staff", _fee_with_kit),
    "lesson fees by day": seen_as("staff", _at("/desk/deposits/days")),
    "comparison": _beside(mass_kg=92.5, foil_stage="turning", to_feet="quick", extras=["helmet"]),
    "comparison of the same": _beside(),
    "glossary": _at("/words"),
    "contract": seen_as("staff", lambda world: Seen(_to_contract(world))),
    "contract, wrong": seen_as("staff", _contract_wrong),
    "contract of nobody's yet": seen_as("staff", _nobodys_contract),
    "sale": seen_as("staff", _sold()),
    "sale with much open": seen_as("staff", _much_open),
    "entry taken back, wrong": seen_as("staff", _entry_back_wrong),
    "payment": seen_as("staff", _sold("/desk/sales/{number}/pay")),
    "payment, wrong": seen_as("staff", _pay_wrong),
    "receipt": _sold("/owned/{token}/receipts/{receipt}"),
    "invoice": _sold("/owned/{token}/papers/{paper}", trades=[TRADED_BOARD]),
    "sales": seen_as("staff", _sold("/desk/sales")),
    "papers": seen_as("staff", _sold("/desk/papers")),
    "quote bought": _sold("/quotes/{quote}"),
    "quote bought, at the desk": seen_as("staff", _sold("/desk/quotes/{code}")),
    "quote withdrawn": _withdrawn("/quotes/{token}"),
    "quote withdrawn, at the desk": seen_as("staff", _withdrawn("/desk/quotes/{code}")),
    "withdraw a quote": seen_as("staff", lambda world: Seen(f"/desk/quotes/{agreed_quote(world.shop).code}/withdraw")),
    "shared kit, not yet shared": lambda world: Seen(at_the_kit(world.client).address.replace("/kit", "/shared")),
    "shared kit, waiting": _shared_alone,
    "shared kit of two": _shared_by_two,
    "handing over": seen_as("staff", _handing),
    "handing over, wrong": seen_as("staff", _handing_wrong),
    "handed over": seen_as("staff", _handed_record),
    "delivery": seen_as("staff", _delivering),
    "delivery on its way": seen_as("staff", _on_its_way),
    "labels": seen_as("staff", _labels),
    "sessions with a kit": seen_as("staff", _sessions),
    "kit owned": _owned,
    "kit owned, coming back": _coming_back,
    "kit owned, parcel coming": _parcel_coming,
    "giving back, worked out for the customer": _worked_out,
    "serial number, wrong": seen_as("staff", _serials),
    "asking, wrong": _asking_wrong,
    "questions": seen_as("staff", _questions),
    "question": seen_as("staff", _question),
    "recall, found": seen_as("staff", _recalled),
    "recall, wrong": seen_as("staff", _posted("/desk/recall", 422, sku="", first="none")),
    "error 404": _at("/nowhere", 404),
    "error 404 of a quote": _at(f"/quotes/{NO_TOKEN}", 404),
    "error 405": lambda world: Seen("/privacy", b"", 405),
    "error 422": _kept_without_answers,
    "return at the desk": seen_as("staff", _return("")),
    "return at the desk, worked out": seen_as(
        "staff",
        _return("?kind=cancel&notice_on=today&take=1&take=6&wear-1=10&fetch-1=yes"),
    ),
    "return at the desk, wrong": seen_as("staff", _return("?kind=goodwill&notice_on=never&take=1&wear-1=99", 422)),
    "returns and faults": seen_as("staff", _cases_open),
    "giving back": _give_back,
    "swap at the desk": seen_as("staff", _swap),
    "fault at the desk": seen_as("staff", _fault),
    "fault at the desk, wrong": seen_as("staff", _fault_wrong),
    "used, all of it": _used_all,
    "used piece": _used_piece,
    "used piece, held": _used_held,
    "used piece, contact wrong": _used_wrong,
    "part that is due": _due_part,
    "request to hold a used piece": _reserved,
    "pieces at the desk": seen_as("staff", _pieces_at_desk),
    "pieces at the desk, wrong": seen_as(
        "staff", _posted("/desk/pieces", 422, source="", hours="many", price="x", key=NO_TOKEN)
    ),
    "piece for sale, asked for": seen_as("staff", _piece_for_sale),
    "old gear to look at": seen_as("staff", _gear_to_look_at),
    "old gear to look at, wrong": seen_as("staff", _gear_wrong),
    "deliveries to come": seen_as("staff", _deliveries),
    "deliveries to come, wrong": seen_as(
        "staff", _posted("/desk/expected", 422, sku="nothing", pieces="0", key=NO_TOKEN)
    ),
    "delivery at the desk": seen_as("staff", _delivery_at_desk),
    "part that came for somebody": seen_as("staff", _reservation_here),
    **PEOPLE_STATES,
    **CATALOGUE_STATES,
    **SETS_STATES,
    **IMPORT_STATES,
    **POLICY_STATES,
    **NUMBERS_STATES,
    **SEQUELS_STATES,
}
