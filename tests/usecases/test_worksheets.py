"""The desk's worksheets: what staff may send alone, what waits for the owner, and what becomes of a link and of a quote revised."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from server.domain.agreed import NOTHING_AGREED, Agreed, FreeLine
from server.domain.errors import Conflict, InvalidInput, Lapsed, NotFound, NotFree, Outdated
from server.domain.pricing import OTHER_ANSWERS
from server.domain.quotes import Quote
from server.domain.stock import Contact
from server.domain.worksheets import Worksheet
from server.usecases import worksheets as verbs
from server.usecases.fit import fitter_for
from server.usecases.learner import draft_from_quote, read_draft, save_answers
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.stock import agree_to_quote, book_movement
from server.usecases.work import Shop
from server.usecases.worksheets import Written
from tests.builders_accounts import load_deeds
from tests.builders_shop import Clock, learner, refused_part

HEAVY = {"mass_kg": 92}
NEEDS_WORD = Agreed(discount=900_00)


def begun(shop: Shop, agreed: Agreed, code: str | None = None, **told: Any) -> Worksheet:
    with shop.writing("Maeve") as work:
        sheet = verbs.begin_worksheet(work, code)
        written = Written(name="Some One", phone="+353 20 910 0177", note="As we said", staff_note="Knows Orla")
        answers = learner(**told) if code is None or told else read_quote(work, code).answers
        return verbs.write_worksheet(work, sheet.token, answers, agreed, written)[0]


def finished(shop: Shop, token: str, by: str = "Maeve") -> tuple[Worksheet, Quote | None]:
    with shop.writing(by) as work:
        sheet, draft = verbs.read_worksheet(work, token)
        if by == "Orla" and sheet.asked_at is not None:
            return verbs.give_word(work, token, verbs.word_about(work, sheet, draft))
        return verbs.finish_worksheet(work, token, "owner" if by == "Orla" else "staff")


def sent(shop: Shop, agreed: Agreed = NOTHING_AGREED, **told: Any) -> Worksheet:
    sheet, quote = finished(shop, begun(shop, agreed, **told).token)
    assert quote is None
    assert sheet.sent_at is not None
    return sheet


def kept_from(shop: Shop, token: str) -> Quote:
    """What the customer's own keeping of the kit behind a link makes."""
    with shop.writing() as work:
        draft = verbs.open_link(work, token)
        return issue_quote(work, draft.answers, None, revises=draft.revises, agreed=draft.agreed, draft=token)


def test_a_link_leads_to_the_answers_and_what_was_agreed_and_the_quote_kept_from_it_has_both(shop: Shop) -> None:
    line = FreeLine("repair", "Fin box", 40_00)
    sheet = sent(shop, Agreed(discount=100_00, lines=(line,)), **HEAVY)
    with shop.reading() as work:
        draft = verbs.open_link(work, sheet.token)
    assert draft.answers == learner(**HEAVY)
    assert draft.link is not None
    assert (draft.link.by, draft.link.note) == ("Maeve", "As we said")
    quote = kept_from(shop, sheet.token)
    assert quote.kit.price.agreed_off == 100_00
    assert any(row.label == "Fin box" for row in quote.kit.price.lines)
    with shop.reading() as work:
        assert verbs.read_worksheet(work, sheet.token)[0].quote_token == quote.token
        assert read_quote(work, quote.token) == quote, "what was agreed is in the record"


def test_before_it_is_sent_a_worksheets_address_is_no_link(shop: Shop) -> None:
    sheet = begun(shop, Agreed())
    with shop.reading() as work, pytest.raises(NotFound):
        verbs.open_link(work, sheet.token)


def test_a_link_taken_back_leads_nowhere_and_neither_does_the_draft_behind_it(shop: Shop) -> None:
    sheet = sent(shop)
    quote = kept_from(shop, sheet.token)
    with shop.writing("Maeve") as work:
        verbs.withdraw_link(work, sheet.token)
    with shop.writing() as work:
        with pytest.raises(Lapsed, match="taken this link back"):
            verbs.open_link(work, sheet.token)
        with pytest.raises(Lapsed):
            save_answers(work, sheet.token, {"mass_kg": 60})
        assert read_quote(work, quote.token) == quote, "a quote that came of it stays"


def test_a_link_lapses_when_its_price_is_good_no_more_and_says_so(shop: Shop, clock: Clock) -> None:
    sheet = sent(shop)
    assert sheet.lapses_at == clock.now + timedelta(days=14)
    clock.forward(days=13, hours=23)
    with shop.reading() as work:
        assert verbs.open_link(work, sheet.token).token == sheet.token
    clock.forward(hours=1)
    with shop.reading() as work, pytest.raises(Lapsed, match="has lapsed"):
        verbs.open_link(work, sheet.token)
    with shop.writing("Maeve") as work:
        again = verbs.copy_worksheet(work, sheet.token)
        assert verbs.read_worksheet(work, again.token)[1].answers == learner()


def test_what_staff_may_not_give_waits_and_the_owners_word_sends_it_with_the_margin_it_was_given_for(
    shop: Shop,
) -> None:
    sheet, _ = finished(shop, begun(shop, NEEDS_WORD).token)
    assert (sheet.sent_at, sheet.asked_by) == (None, "Maeve")
    with shop.reading() as work, pytest.raises(NotFound):
        verbs.open_link(work, sheet.token)
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        verbs.finish_worksheet(work, sheet.token, "staff")
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        verbs.write_worksheet(work, sheet.token, learner(), Agreed(discount=1), Written())
    sheet, _ = finished(shop, sheet.token, "Orla")
    assert sheet.sent_at is not None
    quote = kept_from(shop, sheet.token)
    assert quote.kit.price.agreed_off == 900_00
    assert quote.agreed.word_by == "Orla"
    with shop.reading() as work:
        told = [(deed.who, deed.what.partition(",")[0]) for deed in load_deeds(work.session)]
    assert told == [("Maeve", "asked for the owner's word"), ("Orla", "gave their word"), ("Orla", "made a link")]
    assert quote.agreed.word_margin_percent == quote.margin.percent


def test_the_owner_may_say_no_and_staff_change_it_and_ask_again(shop: Shop) -> None:
    sheet, _ = finished(shop, begun(shop, NEEDS_WORD).token)
    with shop.writing("Orla") as work, pytest.raises(InvalidInput):
        verbs.refuse_word(work, sheet.token, "")
    with shop.writing("Orla") as work:
        refused = verbs.refuse_word(work, sheet.token, "Not before the season")
    assert refused.state_at(shop.clock()) == "open"
    with shop.writing("Orla") as work, pytest.raises(Conflict):
        verbs.refuse_word(work, sheet.token, "Twice")
    with shop.writing("Maeve") as work:
        verbs.write_worksheet(work, sheet.token, learner(), Agreed(discount=10_00), Written())
    assert finished(shop, sheet.token)[0].sent_at is not None


def test_staff_take_back_what_waits_to_change_it(shop: Shop) -> None:
    sheet, _ = finished(shop, begun(shop, NEEDS_WORD).token)
    with shop.writing("Maeve") as work:
        assert verbs.take_back(work, sheet.token).asked_at is None
        with pytest.raises(Conflict):
            verbs.take_back(work, sheet.token)


def test_what_a_customer_changes_on_a_prepared_kit_keeps_the_discount_within_what_was_allowed(shop: Shop) -> None:
    sheet = sent(shop, Agreed(discount=200_00))
    keeps = [{"slot": slot, **measures} for slot, measures in OWN.items()]
    with shop.writing() as work:
        save_answers(work, sheet.token, {"keeps": keeps})
    quote = kept_from(shop, sheet.token)
    price = quote.kit.price
    assert price.agreed_off <= (price.core_charged + price.agreed_off) * 5 // 100
    assert not quote.margin.is_under(work.catalogue.policy.margin_floor_percent) or price.agreed_off == 0


def test_without_a_discount_too_what_was_agreed_leaves_the_floor_whatever_the_customer_changes(shop: Shop) -> None:
    with shop.writing() as work:
        usual = issue_quote(work, learner()).margin
        floor = work.catalogue.policy.margin_floor_percent
    cost = usual.amount - math.ceil(usual.revenue * floor / 100)
    sheet = sent(shop, Agreed(lines=(FreeLine("other", "Roof rack", 0, cost=cost), FreeLine("delivery", "", 0))))
    as_sent = kept_from(shop, sheet.token)
    assert as_sent.kit.price.left_out == ()
    assert not as_sent.margin.is_under(floor)
    with shop.writing() as work:
        save_answers(work, sheet.token, {"zone": "European Union"})
    abroad = kept_from(shop, sheet.token)
    assert abroad.kit.price.delivery == work.catalogue.zones["European Union"].fee
    with shop.writing() as work:
        save_answers(work, sheet.token, {"zone": None, "trades": [TRADED]})
    changed = kept_from(shop, sheet.token)
    assert changed.kit.price.left_out == ("lines",)
    assert OTHER_ANSWERS in changed.kit.price.notes
    assert not changed.margin.is_under(floor)


TRADED = {"slot": "board", "price_new": 1100_00, "months": 18, "condition": "good"}
OWN: dict[str, dict[str, Any]] = {
    "mast": {"length_cm": 72, "track": "twin-track", "mount": "cone"},
    "hand_wing": {"area_m2": 5.5},
}


# --- a quote revised -----------------------------------------------------------------------------------------------------


def test_a_worksheet_on_a_quote_makes_its_next_revision_with_its_parts_as_they_were(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    with shop.writing("Maeve") as work:
        sheet = verbs.begin_worksheet(work, quote.token)
        _, draft = verbs.read_worksheet(work, sheet.token)
        assert set(draft.agreed.fixed) == {part.sku for part in quote.kit.parts.values()}
        agreed = replace(draft.agreed, discount=50_00)
        verbs.write_worksheet(work, sheet.token, draft.answers, agreed, Written(staff_note="Called at noon"))
        _, made = verbs.finish_worksheet(work, sheet.token, "staff")
    assert made is not None
    assert (made.token, made.code, made.revision) == (quote.token, quote.code, 2)
    assert made.kit.price.balance == quote.kit.price.balance - 50_00
    with shop.reading() as work:
        assert read_quote(work, quote.token) == made


def test_a_quote_changed_meanwhile_is_not_written_over_until_its_changes_were_read(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    sheet = begun(shop, Agreed(), quote.token)
    with shop.writing() as work:
        issue_quote(work, learner(usual_wind_kn=12), revises=quote.token)
    with shop.writing("Maeve") as work, pytest.raises(Outdated):
        verbs.finish_worksheet(work, sheet.token, "staff")
    with shop.writing("Maeve") as work:
        verbs.take_as_read(work, sheet.token, 2)
        _, made = verbs.finish_worksheet(work, sheet.token, "staff")
    assert made is not None
    assert made.revision == 3


def test_what_was_agreed_stays_with_a_quote_when_the_customer_goes_through_the_answers_again(shop: Shop) -> None:
    quote = kept_from(shop, sent(shop, Agreed(discount=60_00)).token)
    with shop.writing() as work:
        draft = draft_from_quote(work, quote.token)
        again = issue_quote(work, {**draft.answers, "mass_kg": 82}, None, revises=draft.revises, agreed=draft.agreed)
    assert (again.revision, again.kit.price.agreed_off) == (2, 60_00)


# --- parts that the model refuses -----------------------------------------------------------------------------------------


def test_a_refused_part_needs_a_reason_and_then_the_customer_can_agree_to_that_very_kit(shop: Shop) -> None:
    sku = refused_part(shop, mass_kg=105)
    silent = begun(shop, Agreed(fixed=(sku,)), mass_kg=105)
    with shop.writing("Maeve") as work, pytest.raises(Conflict) as caught:
        verbs.finish_worksheet(work, silent.token, "staff")
    assert [fault.field for fault in caught.value.faults] == ["why"]
    sheet = sent(shop, Agreed(fixed=(sku,), why="Towed first, seen on the water"), mass_kg=105)
    quote = kept_from(shop, sheet.token)
    assert quote.kit.parts["front_foil"].sku == sku
    assert not quote.kit.is_sound
    assert quote.talk_first is None
    assert any("Towed first" in note for note in quote.kit.notes)
    assert quote.kit.misfits["front_foil"] is None
    assert quote.kit.misfit is None
    with shop.reading() as work:
        assert read_quote(work, quote.token) == quote, "what was kept is what was made"
    with shop.writing() as work:
        draft = verbs.open_link(work, sheet.token)
        lighter = issue_quote(work, {**draft.answers, "mass_kg": 104}, None, agreed=draft.agreed)
    assert lighter.kit.is_sound, "with other answers the reason vouches for nothing"


def test_no_reason_sends_a_board_that_would_not_float_a_beginner_home(shop: Shop) -> None:
    with shop.reading() as work:
        smallest = min(work.shelf.core["board"], key=lambda part: part.gear.size)
    sheet = begun(shop, Agreed(fixed=(smallest.sku,), why="They insist"), mass_kg=100)
    for by in ("Maeve", "Orla"):
        with pytest.raises(NotFree, match="float you home"):
            finished(shop, sheet.token, by)


def test_who_does_not_swim_yet_can_agree_once_it_was_talked_about(shop: Shop) -> None:
    told: dict[str, Any] = {"swims_100m": "no"}
    assert kept_from(shop, sent(shop, **told).token).talk_first is not None
    sheet = sent(shop, Agreed(swim_talked=True), **told)
    assert kept_from(shop, sheet.token).talk_first is None
    with shop.writing() as work:
        save_answers(work, sheet.token, {"mass_kg": 45, "under_18": "yes"})
    assert kept_from(shop, sheet.token).talk_first is not None, "it was talked about with somebody else"


def test_a_part_that_is_gone_is_not_sent(shop: Shop) -> None:
    with shop.reading() as work:
        part = work.shelf.core["hand_wing"][0]
        kit = fitter_for(work, learner()).recommended()
        assert kit is not None
    fixed = kit.skus
    sheet = begun(shop, Agreed(fixed=fixed, why="The set on show"))
    with shop.writing("Maeve") as work:
        book_movement(work, fixed[0], "count", 0, "gone")
    with pytest.raises(NotFree, match="not free"):
        finished(shop, sheet.token)
    assert part is not None


def test_only_the_newest_revision_can_be_agreed_to_whoever_made_it(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    finished(shop, begun(shop, Agreed(), quote.token, mass_kg=84).token)
    who = Contact("Some One", "some.one@example.org")
    with shop.writing() as work, pytest.raises(Outdated):
        agree_to_quote(work, quote.token, who, 1)
    with shop.writing() as work:
        assert agree_to_quote(work, quote.token, who, 2)[0].revision == 2


def test_worksheets_go_with_their_drafts(shop: Shop, clock: Clock) -> None:
    sheet = sent(shop)
    clock.forward(days=31)
    with shop.writing("sweep") as work:
        sweep(work)
    with shop.reading() as work:
        with pytest.raises(NotFound):
            verbs.read_worksheet(work, sheet.token)
        with pytest.raises(NotFound):
            read_draft(work, sheet.token)
