"""The kit page: each part with its reason, sizes to swap in place, the price as a docket, and the way to a quote."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.drafts import Draft, Link, step_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.kits import TALK_TO_US, Fitter, Kit, size_words
from server.domain.learner import REQUIRED, notes_on
from server.domain.policy import ShopTerms
from server.domain.quotes import quoted_kit
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.fit import fitter_for
from server.usecases.learner import put_parts, read_draft, save_answers
from server.usecases.quotes import issue_quote, kept_under, page_key
from server.usecases.work import Work
from server.web.pages.docket import Docket, docket_of
from server.web.pages.drawn import KitDrawn, Pair, drawn_in, floats_drawn, kit_drawn, pair_in
from server.web.pages.forms import Form, StepRead, read_kept, text_in, texts_in
from server.web.pages.parts import OwnTyped, PartRow, own_prefix, part_row, stronger_wing
from server.web.pages.price_fit import PriceFit, price_fit
from server.web.pages.water import WaterShown, water_shown
from server.web.pages.winds import WindsShown, winds_shown
from server.web.pages.words import (
    lead_of,
    target_words,
    title_of,
)
from server.web.pages.worth import ValuationShown, WorthShown, valuations_shown, worth_shown
from server.web.render import money_words, see_other
from server.web.state import PagesOf, ShopOf
from server.web.units import Units, measures_said_in, size_in, units_of

router = APIRouter(include_in_schema=False)

MOST_SKUS = 20
WAYS = ("smaller", "larger", "maker", "own", "beside")
WHOLE_KIT = "kit"
OTHERS = {
    "recommended": "the best fitting kit",
    "within_budget": "the best fitting kit within your budget",
    "least_money": "the kit for the least money",
}


@dataclass(frozen=True)
class OtherKit:
    """Another kit of the same learner to look at."""

    use: str
    words: str
    balance: int


@dataclass(frozen=True)
class KitPage:
    """A kit for a learner, with its price and what can be changed; `rows` is empty where no kit is possible."""

    token: str
    title: str
    lead: str
    rows: tuple[PartRow, ...]
    targets: tuple[tuple[str, str], ...]
    docket: Docket | None
    drawn: KitDrawn | None
    floats: Pair | None
    winds: WindsShown | None
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]
    is_sound: bool
    is_by_hand: bool
    others: tuple[OtherKit, ...]
    next_step: tuple[tuple[str, str], ...]
    stronger_wing: tuple[str, str, str] | None
    revises: bool
    key: str
    said: str
    announced: str
    focus: str
    own_typed: OwnTyped
    worth: WorthShown | None
    price_fit: PriceFit | None
    valuations: tuple[ValuationShown, ...]
    water: WaterShown | None
    link: Link | None


@dataclass(frozen=True, slots=True)
class Changed:
    """The part that a form has just changed, and the control that did it; empty where nothing was."""

    slot: str = ""
    by: str = ""


@router.get("/drafts/{token}/kit")
def show_kit(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """The kit for a draft's answers, or the way to the first answer that is missing or holds no longer.

    An address may name a kit by its SKUs (`sku`, repeated): it is shown, and becomes the draft's own once something is done
    with it. `changed` and `by` say which part a form has just changed and with which control.
    """
    asked = request.query_params
    with shop.reading() as work:
        draft = read_draft(work, token)
        if any(name not in draft.answers for name in REQUIRED):
            missing = next(name for name in REQUIRED if name not in draft.answers)
            return see_other(f"/drafts/{token}/{step_of(missing)}")
        named = tuple(asked.getlist("sku")[:MOST_SKUS])
        changed = Changed(asked.get("changed", ""), asked.get("by", ""))
        try:
            page = _page(work, draft, (), named or draft.picks, units_of(request), changed)
        except InvalidInput as error:
            return see_other(f"/drafts/{token}/{step_of(error.faults[0].field)}")
        return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, block="kit")


@router.post("/drafts/{token}/kit")
def change_kit(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Put another part in, or another kit altogether; a part that may not be put in is refused with its reason.

    The form carries the kit that its page showed (`sku`, repeated), so that two tabs do not change each other's.
    """
    put, use, without = text_in(form, "put"), text_in(form, "use"), text_in(form, "without")
    shown = tuple(texts_in(form, "sku")[:MOST_SKUS])
    with shop.writing() as work:
        draft = read_draft(work, token)
        fitter = fitter_for(work, draft.answers, draft.revises, draft.agreed)
        try:
            kit, _ = _kit_shown(fitter, shown or draft.picks)
            draft = put_parts(work, token, _picks(fitter, kit, put=put, use=use, without=without))
        except (InvalidInput, Conflict) as error:
            page = _page(work, draft, error.faults, shown or draft.picks, units_of(request))
            return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, block="kit", status=422)
        part = fitter.shelf.catalogue.parts.get(put)
        if use:
            return see_other(_after(token, WHOLE_KIT, use))
        if without:
            return see_other(_after(token, without, "beside"))
        return see_other(_after(token, part.slot if part else "", text_in(form, f"by-{put}")))


def _after(token: str, what: str, by: str) -> str:
    """Where to look after a change: at what was changed, with the focus where it was.

    The address has no fragment, since with one a browser leaves the focus alone (HTML standard, "autofocus").
    """
    if what not in (*CORE_SLOTS, WHOLE_KIT):
        return f"/drafts/{token}/kit"
    return f"/drafts/{token}/kit?changed={what}&by={by if by in WAYS else ''}"


@router.post("/drafts/{token}/own/{slot}")
def change_own(request: Request, token: str, slot: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Build on a piece of one's own in a slot, or buy one after all; measures that cannot be read come back as typed."""
    if slot not in CORE_SLOTS:
        raise NotFound("slot", "There is no such part of a kit.")
    with shop.writing() as work:
        draft = read_draft(work, token)
        others = [row for row in draft.answers.get("keeps", ()) if row["slot"] != slot]
        kept = None if text_in(form, "buy") else read_kept(form, slot, own_prefix(slot))
        keeps = [*others, kept] if kept else others
        typed = {name: text_in(form, name) for name in form if name.startswith(own_prefix(slot))}
        faults: list[Fault] = []
        if kept is None and not text_in(form, "buy"):
            faults.append(Fault(slot, "Nothing was filled in.", "the measures of your own piece"))
        try:
            fitter = fitter_for(work, {**draft.answers, "keeps": keeps}, draft.revises, draft.agreed)
        except InvalidInput as error:
            faults += StepRead({}, typed, places={f"keeps[{len(others)}]": own_prefix(slot)}).at_inputs(error.faults)
        if faults:
            page = _page(
                work, draft, (), draft.picks, units_of(request), own_typed=OwnTyped(slot, typed, tuple(faults))
            )
            return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, block="kit", status=422)
        parts = fitter.shelf.catalogue.parts
        rest = [sku for sku in draft.picks if sku in parts and parts[sku].slot != slot]
        save_answers(work, token, {"keeps": keeps or None}, picks=_still_a_kit(fitter, rest))
        return see_other(_after(token, slot, "own"))


def _still_a_kit(fitter: Fitter, skus: list[str]) -> tuple[str, ...]:
    """The parts put in by hand, where they still make a kit; else none, and the recommended kit is shown."""
    try:
        return fitter.kit_of(skus).skus if skus else ()
    except (InvalidInput, Conflict):
        return ()


def _picks(fitter: Fitter, kit: Kit | None, *, put: str, use: str, without: str) -> tuple[str, ...]:
    if use in OTHERS:
        wanted = _standing_out(fitter).get(use)
        return wanted.skus if wanted and use != "recommended" else ()
    if kit is None:
        return ()
    part = fitter.shelf.catalogue.parts.get(put)
    others = [
        bought.sku for slot, bought in kit.bought.items() if slot != without and (part is None or slot != part.slot)
    ]
    return fitter.kit_of([*others, put] if put else others).skus


def _kit_shown(fitter: Fitter, picks: tuple[str, ...]) -> tuple[Kit | None, str]:
    """The kit put together by hand if it still holds, else the recommended one, else the nearest; and what to say of it."""
    if picks:
        try:
            return fitter.kit_of(picks), ""
        except (InvalidInput, Conflict) as error:
            first = error.faults[0].message
            return fitter.recommended() or fitter.nearest(), f"The kit you had put together no longer holds: {first}"
    return fitter.recommended() or fitter.nearest(), ""


@router.post("/drafts/{token}/keep")
def keep(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep the kit that was shown as a quote; the form's key makes a second click find the first one's quote."""
    key, skus = text_in(form, "key")[:80], texts_in(form, "sku")[:MOST_SKUS]
    with shop.writing() as work:
        draft = read_draft(work, token, to_change=True)
        try:
            quote = issue_quote(
                work,
                draft.answers,
                skus or None,
                key=kept_under(token, key) if key else None,
                revises=draft.revises,
                agreed=draft.agreed,
                draft=token,
            )
        except (InvalidInput, Conflict) as error:
            if any(name not in draft.answers for name in REQUIRED):
                raise
            page = _page(work, draft, error.faults, tuple(skus) or draft.picks, units_of(request))
            status = 409 if isinstance(error, Conflict) else 422
            return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, status=status)
    return see_other(f"/quotes/{quote.token}")


def _page(
    work: Work,
    draft: Draft,
    faults: tuple[Fault, ...],
    picks: tuple[str, ...],
    units: Units,
    changed: Changed | None = None,
    own_typed: OwnTyped | None = None,
) -> KitPage:
    fitter = fitter_for(work, draft.answers, draft.revises, draft.agreed)
    answers, targets = fitter.answers, fitter.fitting.sizing.targets
    kit, said = _kit_shown(fitter, picks)
    notes = [*_left_out(fitter, kit, picks), *notes_on(answers), *fitter.fitting.notes]
    if kit is None:
        notes.append(fitter.why_no_kit())
    elif not kit.is_sound and not fitter.vouches(kit):
        notes.append(TALK_TO_US)
    page = KitPage(
        token=draft.token,
        title=title_of(answers.setup),
        lead=lead_of(answers.mass_kg, answers.setup, answers.water, answers.usual_wind_kn, units),
        rows=(),
        targets=tuple((SLOT_WORDS[slot], target_words(target, units)) for slot, target in targets.items()),
        docket=None,
        drawn=None,
        floats=None,
        winds=None,
        notes=tuple(notes),
        faults=faults,
        is_sound=False,
        is_by_hand=bool(picks),
        others=(),
        next_step=(),
        stronger_wing=None,
        revises=draft.revises is not None,
        key="",
        said=said,
        announced="",
        focus="",
        own_typed=own_typed or OwnTyped(),
        worth=None,
        price_fit=None,
        valuations=(),
        water=water_shown(answers.spot, work.today),
        link=draft.link,
    )
    if kit is None:
        return page
    beside = {slot: fitter.neighbours(kit, slot) for slot in CORE_SLOTS}
    shown = quoted_kit(kit)
    rows = tuple(part_row(fitter, kit, shown, slot, targets, beside[slot], units) for slot in CORE_SLOTS)
    terms = work.catalogue.policy.shop
    return replace(
        page,
        rows=rows,
        key=page_key(work, draft, kit.skus),
        announced=_announced(rows, kit, changed, terms),
        focus=_focus(rows, changed),
        worth=worth_shown(kit, fitter, terms),
        price_fit=price_fit(fitter.sound, kit, fitter.shelf.catalogue, draft.token),
        valuations=valuations_shown(answers.trades, work.catalogue, terms),
        docket=docket_of(kit, fitter),
        drawn=drawn_in(kit_drawn(shown), units),
        floats=pair_in(floats_drawn(kit, beside["board"]), units),
        winds=winds_shown(
            fitter.wings(kit, answers.spot),
            fitter.hands,
            answers.spot.name if answers.spot else "",
            answers.usual_wind_kn,
            units,
        ),
        notes=tuple(measures_said_in(note, units) for note in (*notes, *kit.notes)),
        is_sound=kit.is_sound,
        others=_others(fitter, kit),
        next_step=_next_step(fitter, units),
        stronger_wing=stronger_wing(fitter, kit),
    )


def _left_out(fitter: Fitter, kit: Kit | None, picks: tuple[str, ...]) -> tuple[str, ...]:
    """That parts which the shop put in no longer suit, where it was not the customer who took them out."""
    gone = fitter.left_out(kit) if kit is not None and not picks else ()
    names = " and ".join(f"{part.name} ({size_words(part.gear)})" for part in gone)
    return (f"{names}, which we had put in for you, does not suit your answers now: ask us.",) if gone else ()


def _announced(rows: tuple[PartRow, ...], kit: Kit, changed: Changed | None, terms: ShopTerms) -> str:
    """What has changed, for those who do not see the page: the part as it is now, what it means, and the sum."""
    if changed is None:
        return ""
    price = kit.price
    owed = price.owed_to_customer
    total = f"We owe you {money_words(owed, terms)}" if owed else f"To pay {money_words(price.balance, terms)}"
    if changed.slot == WHOLE_KIT:
        sizes = ", ".join(f"{row.word} {row.size}" for row in rows)
        return f"Another kit is shown: {sizes}. {total}."
    if changed.by == "beside":
        wing = kit.bought.get("hand_wing")
        return f"{wing.name} is in for stronger wind. {total}." if wing else f"No wing for stronger wind. {total}."
    row = next((row for row in rows if row.slot == changed.slot), None)
    if row is None:
        return ""
    name = f"{row.name}, {row.maker}" if row.maker else row.name
    return f"The {row.word} is now {row.size}, {name}. {row.sentence} {total}."


def _focus(rows: tuple[PartRow, ...], changed: Changed | None) -> str:
    """The id of what has the focus after a change: the control that made it, or its part's heading where it is gone."""
    if changed is None:
        return ""
    if changed.slot == WHOLE_KIT:
        return "kit-title"
    if changed.by == "beside":
        return "wing-beside"
    row = next((row for row in rows if row.slot == changed.slot), None)
    if row is None:
        return ""
    still = {way for way, change in row.changes if change.refusal is None}
    return f"put-{row.slot}-{changed.by}" if changed.by in still else f"part-{row.slot}"


def _standing_out(fitter: Fitter) -> dict[str, Kit | None]:
    """The kits of the frontier that have a name; none where no kit is sound."""
    if not fitter.sound:
        return {}
    return {
        "recommended": fitter.recommended(),
        "within_budget": fitter.within_budget(fitter.sound),
        "least_money": fitter.kit_at(fitter.sound[0]),
    }


def _others(fitter: Fitter, kit: Kit) -> tuple[OtherKit, ...]:
    standing_out = _standing_out(fitter)
    others: dict[tuple[str, ...], OtherKit] = {}
    for use, words in OTHERS.items():
        other = standing_out.get(use)
        if other is not None and other.skus != kit.skus:
            others.setdefault(other.skus, OtherKit(use, words, other.price.balance))
    return tuple(others.values())


def _next_step(fitter: Fitter, units: Units) -> tuple[tuple[str, str], ...]:
    later = fitter.next_step()
    if later is None:
        return ()
    return tuple((SLOT_WORDS[slot], size_in(later.gear_in(slot), units)) for slot in CORE_SLOTS)
