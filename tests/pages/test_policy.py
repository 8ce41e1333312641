"""The policy's pages: every term stands on one, what a change would do is shown before it is saved, and versions come and go."""

from __future__ import annotations

from dataclasses import replace
from html import unescape

import pytest

from server.domain.policy import Policy
from server.domain.policy_book import flat
from server.domain.policy_terms import terms_from
from server.usecases.policies import list_versions, terms_of
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.repricing import SPANS, money_effect, size_effect
from server.usecases.work import Shop
from server.web.pages.policy_fields import BY_NAME, PAGES, TERMS, Term, field_of
from server.web.pages.policy_form import filled, plain
from server.web.pages.policy_words import ChangeShown, changes_line, changes_shown
from tests.builders_http import Client
from tests.builders_policy import changed, posted
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, parsed, text_of

HTMX = {**FORM, "HX-Request": "true"}
KIT = "/console/policy/pages/kit"
HOLDS = "/console/policy/pages/holds"


def quoted(shop: Shop) -> str:
    """The token of a quote."""
    with shop.writing() as work:
        return issue_quote(work, learner()).token


def said(client: Client, address: str, body: bytes, status: int = 200) -> str:
    """The text of what a form is answered."""
    answer = client.post(address, content=body, headers=FORM)
    assert answer.status_code == status
    return " ".join(text_of(parsed(answer.text)).split())


def test_every_key_of_the_policy_is_on_a_page() -> None:
    keys = {key if not key.startswith("tiers[") else "tiers" for key in flat(terms_from(Policy()))}
    assert keys == set(TERMS)
    assert sum(len(list(page.terms)) for page in PAGES) == len(TERMS)


@pytest.mark.parametrize("term", [term for page in PAGES for term in page.terms if term.sort not in ("tiers",)])
def test_every_term_says_what_it_does_and_what_is_accepted(term: Term) -> None:
    _, group, _ = TERMS[term.key]
    assert (term.says or group.says).endswith(".")
    assert term.accepted


@pytest.mark.parametrize("page", [page.name for page in PAGES])
def test_a_page_sent_back_as_it_is_changes_nothing(owner: Client, shop: Shop, page: str) -> None:
    shown = owner.get(f"/console/policy/pages/{page}")
    assert shown.status_code == 200
    with shop.reading() as work:
        for name in filled(BY_NAME[page], terms_of(work, 1)):
            assert f'name="{name}"' in shown.text
    assert "Nothing is changed yet" in said(owner, f"/console/policy/pages/{page}", posted(shop, page))
    assert "nothing on this page is changed yet" in said(
        owner, f"/console/policy/pages/{page}", posted(shop, page, do="save", note="Why not"), 422
    )


def test_a_change_is_a_new_version_and_quotes_keep_theirs(owner: Client, shop: Shop) -> None:
    token = quoted(shop)
    with shop.reading() as work:
        before = read_quote(work, token)
    body = posted(shop, "kit", do="save", note="Spring", tiers__1__percent="9", pricing__markdown_wins_ties="no")
    assert owner.post(KIT, content=body, headers=FORM).headers["location"] == "/console/policy?said=saved"
    with shop.reading() as work:
        assert work.catalogue.policy.tiers[0].percent == 9
        assert work.catalogue.policy.markdown_wins_ties is False
        assert read_quote(work, token) == before
        assert list_versions(work)[-1].note == "Spring"
        old, new = terms_of(work, 1), terms_of(work, 2)
    untouched = {key: value for key, value in flat(old).items() if "percent" not in key and "ties" not in key}
    assert untouched.items() <= flat(new).items()
    words = " ".join(text_of(parsed(owner.get("/console/policy/compare").text)).split())
    assert "Whole kit: discount" in words
    assert "22 %" in words
    assert "9 %" in words


def test_what_a_change_would_do_is_shown_before_anything_is_saved(owner: Client, shop: Shop) -> None:
    quoted(shop)
    answer = owner.post(KIT, content=posted(shop, "kit", tiers__1__percent="30"), headers=HTMX)
    assert answer.text.lstrip().startswith("<h1>Kit discount")
    with shop.reading() as work:
        policy = work.catalogue.policy
        draft = replace(policy, tiers=(replace(policy.tiers[0], percent=30), *policy.tiers[1:]))
        found = money_effect(work, draft, 90)
        assert len(list_versions(work)) == 1
    less = abs(round(found.repricing.after.due / 100) - round(found.repricing.before.due / 100))
    assert f"customers would pay €{less:,} less in all" in unescape(answer.text)
    assert 'class="margin-now"' in answer.text
    assert "Changed most" in answer.text


def test_only_the_quotes_of_the_days_asked_for_count(shop: Shop, clock: Clock) -> None:
    quoted(shop)
    clock.forward(days=40)
    with shop.reading() as work:
        found = {days: len(money_effect(work, work.catalogue.policy, days).repricing.quotes) for days in SPANS}
    assert found == {30: 0, 90: 1, 365: 1}


def test_a_discount_is_added_in_the_empty_row_and_taken_out_by_its_box(owner: Client, shop: Shop) -> None:
    new = {
        "tiers__4__name": "Wing and board",
        "tiers__4__percent": "4",
        "tiers__4__at_least": "2",
        "tiers__4__slots": "board",
    }
    body = posted(shop, "kit", do="save", note="x", **new).replace(
        b"tiers-4-slots=board", b"tiers-4-slots=board&tiers-4-slots=hand_wing"
    )
    assert owner.post(KIT, content=body, headers=FORM).status_code == 303
    with shop.reading() as work:
        assert [tier.name for tier in work.catalogue.policy.tiers][3] == "Wing and board"
        assert work.catalogue.policy.tiers[3].slots == ("board", "hand_wing")
    body = posted(shop, "kit", do="save", note="x", tiers__3__out="yes")
    assert owner.post(KIT, content=body, headers=FORM).status_code == 303
    with shop.reading() as work:
        assert [tier.percent for tier in work.catalogue.policy.tiers] == [22, 16, 4]


def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(owner: Client, shop: Shop) -> None:
    body = posted(shop, "kit", do="save", tiers__1__out="yes", tiers__2__percent="lots", tiers__3__name="")
    answer = owner.post(KIT, content=body, headers=FORM)
    assert answer.status_code == 422
    for field in ("tiers-2-percent", "tiers-3-name"):
        assert f'id="{field}-fault"' in answer.text
    assert 'value="lots"' in answer.text
    shares = posted(shop, "old-gear", do="save", note="x", trade_in__handling="140")
    assert "140 is not accepted. Accepted: per cent from 0 to 100." in said(
        owner, "/console/policy/pages/old-gear", shares, 422
    )


@pytest.mark.parametrize(("field", "typed"), [("note", "x" * 301), ("from_day", "soon")])
def test_a_slip_in_when_or_why_does_not_hide_what_it_would_do(
    owner: Client, shop: Shop, field: str, typed: str
) -> None:
    quoted(shop)
    when = "day" if field == "from_day" else "once"
    body = posted(shop, "kit", do="save", tiers__1__percent="30", **{"note": "", "when": when, field: typed})
    page = owner.post(KIT, content=body, headers=FORM).text
    words = " ".join(text_of(parsed(page)).split())
    assert f'id="{field}-fault"' in page
    assert "The only quote of the last 90 days would cost less" in words
    assert "once this is put right" not in words


def test_a_day_that_is_named_but_not_chosen_is_asked_about(owner: Client, shop: Shop) -> None:
    body = posted(shop, "holds", do="save", note="x", quotes__draft_days="9", from_day="2027-01-01")
    assert "it is to take effect at once" in said(owner, HOLDS, body, 422)


def test_a_change_of_what_somebody_else_has_changed_meanwhile_is_refused(owner: Client, shop: Shop) -> None:
    body = posted(shop, "holds", do="save", note="x", quotes__draft_days="9")
    changed(shop, "quotes.price_good_days", 9)
    assert "the policy was changed meanwhile" in said(owner, HOLDS, body, 422)


def test_a_version_waits_for_its_day_and_what_it_would_undo_is_said(owner: Client, shop: Shop, clock: Clock) -> None:
    body = posted(shop, "holds", do="save", note="Easter", quotes__draft_days="9", when="day", from_day="2026-12-24")
    assert owner.post(HOLDS, content=body, headers=FORM).headers["location"].endswith("waits")
    moved = said(owner, HOLDS, posted(shop, "holds", quotes__price_good_days="20"))
    assert "since version 2 does not have it: A price is good for: 20 days until then, 14 days from then on" in moved
    changed(shop, "quotes.price_good_days", 20)
    index = " ".join(text_of(parsed(owner.get("/console/policy").text)).split())
    assert "would undo what was changed since it was made: A price is good for: 20 days now, 14 days then" in index
    clock.set("2026-12-24T00:00+00:00")
    with shop.reading() as work:
        assert (work.catalogue.policy.draft_days, work.catalogue.policy.price_good_days) == (9, 14)


def test_a_version_to_come_is_taken_back_and_an_old_one_brought_back(owner: Client, shop: Shop) -> None:
    waiting = changed(shop, "quotes.draft_days", 9, in_days=3)
    assert owner.post(f"/console/policy/versions/{waiting}/drop", content=b"", headers=FORM).status_code == 303
    changed(shop, "quotes.draft_days", 11)
    page = owner.get("/console/policy/versions/1").text
    assert "Answers that nobody kept are there for" in page
    answer = owner.post("/console/policy/versions/1", content=b"do=save&when=once&note=As+before&shown=3", headers=FORM)
    assert answer.headers["location"] == "/console/policy?said=saved"
    with shop.reading() as work:
        assert work.catalogue.policy.version == 4
        assert terms_of(work, 4) == terms_of(work, 1)
        assert list_versions(work)[1].dropped_at is not None


def test_the_list_says_what_each_version_changed_and_the_newest_are_compared_first(owner: Client, shop: Shop) -> None:
    alone = " ".join(text_of(parsed(owner.get("/console/policy/compare").text)).split())
    assert "There is one version only" in alone
    index = owner.get("/console/policy").text
    assert "as delivered" in index
    assert "Compare two versions" not in index
    owner.post(KIT, content=posted(shop, "kit", do="save", tiers__1__percent="25"), headers=FORM)
    changed(shop, "quotes.draft_days", 45, in_days=9)
    index = " ".join(text_of(parsed(owner.get("/console/policy").text)).split())
    assert "Whole kit: discount 22 → 25 %" in index
    assert "Answers that nobody kept are there for 30 → 45 days" in index
    assert "<h1>Version 2 and version 3</h1>" in owner.get("/console/policy/compare").text


def test_a_line_of_changes_names_two_and_counts_the_rest() -> None:
    def row(words: str, before: str, after: str) -> ChangeShown:
        return ChangeShown("", words, before, after, "")

    rows = [row("Floor", "5 %", "7 %"), row("Ties", "yes", "no"), row("Words", "a" * 30, "b" * 30)]
    assert changes_line(rows) == "Floor 5 → 7 %; Ties yes → no; and 1 more"
    assert changes_line(rows[2:]) == "Words"
    assert changes_line([row("Lesson", "–", "3 %")]) == "Lesson – → 3 %"


def test_a_version_that_waits_is_said_at_the_top_of_every_page(owner: Client, shop: Shop) -> None:
    changed(shop, "quotes.draft_days", 9, in_days=3)
    top = " ".join(text_of(parsed(owner.get(HOLDS).text)).split())
    assert "On this page it says: Answers that nobody kept are there for: 30 days now, 9 days then" in top
    late = posted(shop, "holds", quotes__price_good_days="20", when="day", from_day="2027-02-01")
    assert "What you change here ends on that day" not in said(owner, HOLDS, late)


def test_colours_are_shown_as_a_small_page_before_they_are_saved(owner: Client, shop: Shop) -> None:
    page = owner.post("/console/policy/pages/look", content=posted(shop, "look", look__accent="#123456"), headers=FORM)
    assert 'fill="#123456"' in page.text
    assert "quotes of the last" not in page.text
    odd = owner.post("/console/policy/pages/look", content=posted(shop, "look", look__ink='"><b>'), headers=FORM)
    assert 'fill="#16323b"' in odd.text


def test_sizing_shows_who_would_get_another_part(owner: Client, shop: Shop) -> None:
    quoted(shop)
    words = said(owner, "/console/policy/pages/sizing", posted(shop, "sizing", fit__worn_kg="14"))
    assert "The only learner of the last 90 days would get something else" in words
    assert "How many would get another part" in words
    with shop.reading() as work:
        policy = work.catalogue.policy
        draft = replace(policy, fit=replace(policy.fit, worn_kg=14.0))
        assert size_effect(work, draft, 90, most=0).refitting.learners == ()


def test_a_rate_of_vat_from_a_day_on_is_shown_as_of_that_day(owner: Client, shop: Shop) -> None:
    quoted(shop)
    body = posted(shop, "vat", shop__vat_from__1__a="2027-03-01", shop__vat_from__1__b="13,5")
    words = said(owner, "/console/policy/pages/vat", body)
    assert "VAT on both sides as on 1 March 2027" in words
    assert "2027-03-01 13.5 %" in words


def test_nobody_but_the_owner_reaches_it(staff: Client) -> None:
    for address in ("/console/policy", KIT, "/console/policy/versions/1", "/console/policy/compare"):
        assert staff.get(address).status_code == 403
    assert staff.post(KIT, content=b"do=save", headers=FORM).status_code == 403


@pytest.mark.parametrize(
    ("value", "shown"), [("5.0", "5"), ("0.50", "0.5"), (100, "100"), ("TH-", "TH-"), ("1e5", "1e5")]
)
def test_numbers_are_shown_without_idle_zeros(value: object, shown: str) -> None:
    assert plain(value) == shown


def test_terms_that_are_left_out_read_as_the_ordinary_ones() -> None:
    assert changes_shown({}, terms_from(Policy()), Policy().shop) == ()
    assert field_of("tiers[1].lessons.kind") == "tiers-1-lessons-kind"
