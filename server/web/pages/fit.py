"""The kit page: each part with its reason, sizes to swap in place, the price as a docket, and the way to a quote."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.drafts import Draft, step_of
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.fit import Target
from server.domain.kits import TALK_TO_US, Fitter, Kit, size_words
from server.domain.learner import REQUIRED, notes_on
from server.domain.quotes import quoted_kit
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.fit import fitter_for
from server.usecases.learner import put_parts, read_draft
from server.usecases.quotes import issue_quote
from server.usecases.work import Work
from server.web.drawings.ruler import Ruler
from server.web.pages.docket import Docket, docket_of
from server.web.pages.drawn import KitDrawn, kit_drawn
from server.web.pages.forms import Form, text_in, texts_in
from server.web.pages.winds import WindsShown, winds_shown
from server.web.pages.words import (
    SizeChange,
    lead_of,
    more_reasons,
    ruler_of,
    sentence_of,
    size_change,
    target_words,
    title_of,
)
from server.web.render import money_words, see_other
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

OTHERS = {
    "recommended": "the best fitting kit",
    "within_budget": "the best fitting kit within your budget",
    "least_money": "the kit for the least money",
}


@dataclass(frozen=True)
class PartRow:
    """A part on the kit page."""

    slot: str
    word: str
    size: str
    sentence: str
    reasons: tuple[str, ...]
    target: str
    name: str
    maker: str
    sku: str
    is_kept: bool
    smaller: SizeChange | None
    larger: SizeChange | None
    out_of_stock: str
    reduced: str
    ruler: Ruler


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


@router.get("/drafts/{token}/kit")
def show_kit(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """The kit for a draft's answers, or the way to the first answer that is missing or holds no longer."""
    with shop.reading() as work:
        draft = read_draft(work, token)
        if any(name not in draft.answers for name in REQUIRED):
            missing = next(name for name in REQUIRED if name not in draft.answers)
            return see_other(f"/drafts/{token}/{step_of(missing)}")
        try:
            page = _page(work, draft, ())
        except InvalidInput as error:
            return see_other(f"/drafts/{token}/{step_of(error.faults[0].field)}")
        return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, block="kit")


@router.post("/drafts/{token}/kit")
def change_kit(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Put another part in, or another kit altogether; a part that may not be put in is refused with its reason."""
    put, use, without = text_in(form, "put"), text_in(form, "use"), text_in(form, "without")
    with shop.writing() as work:
        draft = read_draft(work, token)
        fitter = fitter_for(work, draft.answers, draft.revises)
        faults: tuple[Fault, ...] = ()
        try:
            kit, _ = _kit_shown(fitter, draft)
            draft = put_parts(work, token, _picks(fitter, kit, put=put, use=use, without=without))
        except (InvalidInput, Conflict) as error:
            faults = error.faults
        if not faults:
            return see_other(f"/drafts/{token}/kit")
        page = _page(work, draft, faults)
        return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, block="kit", status=422)


def _picks(fitter: Fitter, kit: Kit | None, *, put: str, use: str, without: str) -> tuple[str, ...]:
    if use in OTHERS:
        choice = fitter.choose()
        wanted = {"within_budget": choice.within_budget, "least_money": choice.least_money}.get(use)
        return wanted.skus if wanted else ()
    if kit is None:
        return ()
    part = fitter.shelf.catalogue.parts.get(put)
    others = [
        bought.sku for slot, bought in kit.bought.items() if slot != without and (part is None or slot != part.slot)
    ]
    return fitter.kit_of([*others, put] if put else others).skus


def _kit_shown(fitter: Fitter, draft: Draft) -> tuple[Kit | None, str]:
    """The kit put together by hand if it still holds, else the recommended one, else the nearest; and what to say of it."""
    if draft.picks:
        try:
            return fitter.kit_of(draft.picks), ""
        except (InvalidInput, Conflict) as error:
            first = error.faults[0].message
            return fitter.recommended() or fitter.nearest(), f"The kit you had put together no longer holds: {first}"
    return fitter.recommended() or fitter.nearest(), ""


@router.post("/drafts/{token}/keep")
def keep(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep the kit that was shown as a quote; the form's key makes a second click find the first one's quote."""
    key, skus = text_in(form, "key")[:80], texts_in(form, "sku")[:20]
    with shop.writing() as work:
        draft = read_draft(work, token)
        try:
            quote = issue_quote(
                work, draft.answers, skus or None, key=f"page:{token}:{key}" if key else None, revises=draft.revises
            )
        except (InvalidInput, Conflict) as error:
            if any(name not in draft.answers for name in REQUIRED):
                raise
            page = _page(work, draft, error.faults)
            status = 409 if isinstance(error, Conflict) else 422
            return pages.show(request, "fit/kit.html", page, work.catalogue.policy.shop, status=status)
    return see_other(f"/quotes/{quote.token}")


def _page(work: Work, draft: Draft, faults: tuple[Fault, ...]) -> KitPage:
    fitter = fitter_for(work, draft.answers, draft.revises)
    answers, targets = fitter.answers, fitter.fitting.sizing.targets
    kit, said = _kit_shown(fitter, draft)
    notes = [*notes_on(answers), *fitter.fitting.notes]
    if kit is None:
        notes.append(fitter.why_no_kit())
    elif not kit.is_sound:
        notes.append(TALK_TO_US)
    page = KitPage(
        token=draft.token,
        title=title_of(answers.setup),
        lead=lead_of(answers.mass_kg, answers.setup, answers.water, answers.usual_wind_kn),
        rows=(),
        targets=tuple((SLOT_WORDS[slot], target_words(target)) for slot, target in targets.items()),
        docket=None,
        drawn=None,
        winds=None,
        notes=tuple(notes),
        faults=faults,
        is_sound=False,
        is_by_hand=bool(draft.picks),
        others=(),
        next_step=(),
        stronger_wing=None,
        revises=draft.revises is not None,
        key=secrets.token_urlsafe(16),
        said=said,
    )
    if kit is None:
        return page
    return replace(
        page,
        rows=tuple(_row(fitter, kit, slot, targets) for slot in CORE_SLOTS),
        docket=docket_of(kit, fitter),
        drawn=kit_drawn(quoted_kit(kit)),
        winds=winds_shown(
            fitter.wings(kit, answers.spot),
            fitter.hands,
            answers.spot.name if answers.spot else "",
            answers.usual_wind_kn,
        ),
        notes=(*notes, *kit.notes),
        is_sound=kit.is_sound,
        others=_others(fitter, kit),
        next_step=_next_step(fitter),
        stronger_wing=_stronger_wing(fitter, kit),
    )


def _row(fitter: Fitter, kit: Kit, slot: str, targets: Mapping[str, Target]) -> PartRow:
    shown = quoted_kit(kit)
    terms = fitter.shelf.catalogue.policy.shop
    is_kept = slot in kit.kept
    part = None if is_kept else kit.bought[slot]
    neighbours = fitter.neighbours(kit, slot)

    def change(direction: str, which: str) -> SizeChange | None:
        neighbour = None if is_kept else getattr(neighbours, which)
        if neighbour is None:
            return None
        difference = neighbour.price_change
        sign = "+" if difference > 0 else ""
        return size_change(direction, neighbour, sign + money_words(difference, terms) if difference else "same price")

    return PartRow(
        slot=slot,
        word=SLOT_WORDS[slot],
        size=size_words(kit.gear_in(slot)),
        sentence=sentence_of(slot, shown, targets, fitter.answers.setup),
        reasons=more_reasons(slot, targets),
        target=target_words(targets[slot]),
        name=part.name if part else f"your own {SLOT_WORDS[slot]}",
        maker=part.maker if part else "",
        sku=part.sku if part else "",
        is_kept=is_kept,
        smaller=change("smaller" if slot not in ("mast", "fuselage") else "shorter", "smaller"),
        larger=change("larger" if slot not in ("mast", "fuselage") else "longer", "larger"),
        out_of_stock="" if is_kept else _out_of_stock(fitter, kit, slot),
        reduced="" if part is None else _reduced(fitter, kit, slot),
        ruler=ruler_of(targets[slot], kit.gear_in(slot)),
    )


def _out_of_stock(fitter: Fitter, kit: Kit, slot: str) -> str:
    best = fitter.best_ignoring_stock(slot)
    if best is None or fitter.shelf.is_free(best) or best.sku == kit.bought[slot].sku:
        return ""
    verdict_now, verdict_best = (
        fitter.fitting.sizing.judge(kit.bought[slot].gear),
        fitter.fitting.sizing.judge(best.gear),
    )
    if getattr(verdict_best, "misfit", 0.0) >= getattr(verdict_now, "misfit", 0.0):
        return ""
    nearer = f"{best.name} ({size_words(best.gear)}) would be nearer still, but is out of stock"
    return f"{nearer}; this is the nearest in stock that fits the rest."


def _reduced(fitter: Fitter, kit: Kit, slot: str) -> str:
    part = kit.bought[slot]
    line = next(line for line in kit.price.lines if line.sku == part.sku)
    reduction = fitter.shelf.catalogue.reduction_of(part, fitter.today)
    if reduction is None or line.charged != reduction.now:
        return ""
    terms = fitter.shelf.catalogue.policy.shop
    return (
        f"Reduced by {reduction.percent:.0f} % to {money_words(reduction.now, terms)}; the lowest price in the 30 days before "
        f"was {money_words(reduction.prior, terms)}."
    )


def _others(fitter: Fitter, kit: Kit) -> tuple[OtherKit, ...]:
    choice = fitter.choose()
    others: dict[tuple[str, ...], OtherKit] = {}
    for use, words in OTHERS.items():
        other: Kit | None = getattr(choice, use)
        if other is not None and other.skus != kit.skus:
            others.setdefault(other.skus, OtherKit(use, words, other.price.balance))
    return tuple(others.values())


def _next_step(fitter: Fitter) -> tuple[tuple[str, str], ...]:
    later = fitter.next_step()
    if later is None:
        return ()
    return tuple((SLOT_WORDS[slot], size_words(later.gear_in(slot))) for slot in CORE_SLOTS)


def _stronger_wing(fitter: Fitter, kit: Kit) -> tuple[str, str, str] | None:
    """The hand wing for stronger wind to offer beside a kept one: SKU, words, and whether it is in already."""
    wanted = fitter.fitting.stronger_wind_m2
    if wanted is None:
        return None
    if "hand_wing" in kit.bought:
        part = kit.bought["hand_wing"]
        return part.sku, f"{part.name}, {size_words(part.gear)}", "in"
    free = fitter.shelf.core["hand_wing"]
    if not free:
        return None
    part = min(free, key=lambda wing: (abs(wing.gear.size - wanted), wing.price_on(fitter.today), wing.sku))
    return part.sku, f"{part.name}, {size_words(part.gear)}", ""
