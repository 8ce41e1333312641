"""Two riders, one kit: who shares with whom, the kit that both would share, and what each gives up by it.

The page of a rider shows nothing of the other's answers: only sizes of the shared kit, and by how much float and take-off change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.drafts import step_of
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.kits import Kit, size_words
from server.domain.learner import REQUIRED
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.shared import SHARED_SLOTS, WING, GivenUp, NotShared, OwnPart, Shared, Side
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.shared import (
    Pair,
    Together,
    own_parts_of,
    part_drafts,
    put_shared,
    read_pair,
    rider_of,
    share_draft,
    share_kit,
)
from server.usecases.work import Work
from server.web.pages.forms import Form, texts_in
from server.web.render import money_words, see_other
from server.web.state import PagesOf, SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)

ONLY_THERE = (
    "The two of you keep gear in different slots, so this kit cannot be kept on your page as it is. Show both pages to the "
    "shop: the quote is made there."
)


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part of the shared kit: who rides it, its size and name."""

    word: str
    size: str
    name: str


@dataclass(frozen=True, slots=True)
class GivenUpShown:
    """What both give up in a slot, in words; a rider sees the size of their own best part, but not the other's."""

    word: str
    size: str
    alone: str
    yours: str
    theirs: str


@dataclass(frozen=True, slots=True)
class InsteadShown:
    """An own part for one rider, the rest shared: what it is, what it costs beside the kit, and what it wins them."""

    words: str
    name: str
    price: str
    misfit: str
    wins: str


@dataclass(frozen=True)
class KitShown:
    """The shared kit as one of the riders sees it."""

    parts: tuple[PartShown, ...]
    yours: tuple[str, ...]
    theirs: tuple[str, ...]
    balance: str
    given_up: tuple[GivenUpShown, ...]
    sum_yours: str
    sum_theirs: str
    price: Cents
    two_kits: Cents | None
    saves: str
    short_of: str
    instead: tuple[InsteadShown, ...]
    notes: tuple[str, ...]
    skus: tuple[str, ...]
    why_not_put: str


@dataclass(frozen=True)
class SharedPage:
    """Two riders' state, and once both are answered the kit they share or why there is none."""

    token: str
    is_joined: bool
    is_first: bool
    address: str
    """The second rider's, for the first to send on."""
    to_answer: str
    """This rider's step that is still to be answered; empty where all is."""
    other_is_answered: bool
    why_none: str
    kit: KitShown | None
    faults: tuple[Fault, ...] = ()


@router.post("/drafts/{token}/share")
def begin_sharing(token: str, shop: ShopOf) -> Response:
    """Make the second rider's draft, or find it, and go to the page of both."""
    with shop.writing() as work:
        share_draft(work, token)
    return see_other(f"/drafts/{token}/shared")


@router.post("/drafts/{token}/part")
def stop_sharing(token: str, shop: ShopOf) -> Response:
    """Part the two drafts; both stay."""
    with shop.writing() as work:
        part_drafts(work, token)
    return see_other(f"/drafts/{token}/shared")


@router.get("/drafts/{token}/shared")
def show_shared(request: Request, token: str, shop: ShopOf, settings: SettingsOf, pages: PagesOf) -> Response:
    """Who shares with whom, and the kit."""
    with shop.reading() as work:
        page = _page(work, token, settings.address)
        return pages.show(request, "shared/shared.html", page, work.catalogue.policy.shop, block="shared")


@router.post("/drafts/{token}/shared")
def put_on_my_page(
    request: Request, token: str, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """Put the shared kit that was seen on this rider's page; what stands against it is said here."""
    with shop.writing() as work:
        try:
            put_shared(work, token, tuple(texts_in(form, "sku")[:20]))
        except (InvalidInput, Conflict) as error:
            page = replace(_page(work, token, settings.address), faults=error.faults)
            status = 409 if isinstance(error, Conflict) else 422
            return pages.show(
                request, "shared/shared.html", page, work.catalogue.policy.shop, block="shared", status=status
            )
    return see_other(f"/drafts/{token}/kit")


def _page(work: Work, token: str, address: str) -> SharedPage:
    pair = read_pair(work, token)
    together = share_kit(work, pair)
    shared = together.shared if together else None
    return SharedPage(
        token=token,
        is_joined=pair.other is not None,
        is_first=pair.is_first,
        address=f"{address}/drafts/{pair.other.token}/you" if pair.other and pair.is_first else "",
        to_answer=_to_answer(work, pair),
        other_is_answered=pair.other is not None and rider_of(work, pair.other) is not None,
        why_none=shared.reason if isinstance(shared, NotShared) else "",
        kit=_shown(together, shared, work.catalogue.policy.shop) if together and isinstance(shared, Shared) else None,
    )


def _to_answer(work: Work, pair: Pair) -> str:
    missing = [name for name in REQUIRED if name not in pair.draft.answers]
    if missing:
        return step_of(missing[0])
    return "" if rider_of(work, pair.draft) else step_of(REQUIRED[0])


def _shown(together: Together, shared: Shared, terms: ShopTerms) -> KitShown:
    place = together.place
    mine, theirs = shared.sides[place], shared.sides[1 - place]
    skus, why_not_put = _to_put(together)
    my_figures, their_figures = _figures(mine), _figures(theirs)
    return KitShown(
        parts=tuple(_parts(shared, place)),
        yours=_for_you(mine),
        theirs=_for_the_other(theirs),
        balance=_balance(my_figures, their_figures),
        given_up=tuple(_given_up(mine, theirs)),
        sum_yours=_figure(sum(my_figures)) if my_figures else "",
        sum_theirs=_figure(sum(their_figures)) if their_figures else "",
        price=shared.price,
        two_kits=shared.two_kits,
        saves=_saves(shared, terms),
        short_of=" and ".join(SLOT_WORDS[slot] for slot in shared.short_of),
        instead=tuple(_instead(one, place, terms) for one in shared.instead),
        notes=(*shared.notes, *mine.kit.notes),
        skus=skus,
        why_not_put=why_not_put,
    )


def _to_put(together: Together) -> tuple[tuple[str, ...], str]:
    try:
        return own_parts_of(together), ""
    except InvalidInput:
        return (), ONLY_THERE


def _parts(shared: Shared, place: int) -> list[PartShown]:
    mine, theirs = shared.sides[place].kit, shared.sides[1 - place].kit
    rows = []
    for slot in SHARED_SLOTS:
        part = shared.parts.get(slot)
        owner = "your own" if shared.kept_by.get(slot) == place else "the other rider’s own"
        name = f"{part.name}, {part.maker}" if part else f"{owner}, nothing to buy"
        rows.append(PartShown(SLOT_WORDS[slot], size_words(mine.gear_in(slot)), name))
    rows.append(PartShown("hand wing, yours", size_words(mine.gear_in(WING)), _wing_name(mine, "your own")))
    other = PartShown("hand wing, the other’s", size_words(theirs.gear_in(WING)), _wing_name(theirs, "their own"))
    return [*rows, other]


def _wing_name(kit: Kit, owner: str) -> str:
    part = kit.bought.get(WING)
    return f"{part.name}, {part.maker}" if part else f"{owner}, nothing to buy"


# --- what it means for each


def _for_you(side: Side) -> tuple[str, ...]:
    kit, own = side.kit, side.own
    board, foil = size_words(kit.gear_in("board")), size_words(kit.gear_in("front_foil"))
    spare = kit.float_margin_l
    if spare >= 0:
        floats = f"The board of {board} floats you home on your knees with {spare:.0f} litres to spare, in flat water"
    else:
        floats = f"The board of {board} is too small to kneel on at rest by {-spare:.0f} litres: it brings you home lying down"
    lifts = f"The front foil of {foil} lifts you off at {kit.takeoff_kn:.1f} knots"
    wing = size_words(kit.gear_in(WING))
    if own is None:
        return f"{floats}.", f"{lifts}.", f"Your hand wing is one of {wing}.", "Alone you would have no kit today."
    alone = f"the {size_words(own.gear_in('board'))} you would have alone"
    floats += f": {_litres(side.margin_change_l)} than {alone}." if _litres(side.margin_change_l) else ", as alone."
    lifts += f", {_knots(side.takeoff_change_kn)} than alone." if _knots(side.takeoff_change_kn) else ", as alone."
    if side.wing_is_unchanged:
        return floats, lifts, f"Your hand wing of {wing} is the one you would have alone."
    return floats, lifts, f"Your hand wing is one of {wing}, in place of {size_words(own.gear_in(WING))} alone."


def _for_the_other(side: Side) -> tuple[str, ...]:
    """Changes alone: what floats them, and where they take off, would tell their weight."""
    wing = size_words(side.kit.gear_in(WING))
    if side.own is None:
        return ("Alone they would have no kit today.", f"Their hand wing is one of {wing}.")
    litres, knots = _litres(side.margin_change_l), _knots(side.takeoff_change_kn)
    floats = (
        f"The board floats them with {litres} than one of their own" if litres else "The board floats them as alone"
    )
    lifts = f"They take off {knots} than alone" if knots else "They take off as alone"
    same = "the one they would have alone" if side.wing_is_unchanged else "not of the size they would have alone"
    return f"{floats}.", f"{lifts}.", f"Their hand wing of {wing} is {same}."


def _litres(change: float) -> str:
    """Litres of float more or less, in words; empty where there is no difference to speak of."""
    litres = round(abs(change))
    return f"{litres} {'litre' if litres == 1 else 'litres'} {'more' if change > 0 else 'less'}" if litres else ""


def _knots(change: float) -> str:
    """Knots of take-off speed later or earlier, in words; empty where there is no difference to speak of."""
    shown = f"{abs(change):.1f}"
    return (
        ""
        if shown == "0.0"
        else f"{shown} {'knot' if shown == '1.0' else 'knots'} {'later' if change > 0 else 'earlier'}"
    )


# --- who gives up how much


def _figures(side: Side) -> list[float]:
    """What is given up slot by slot as it is shown, so that the column adds up."""
    return [round(one.misfit, 1) for one in side.given_up]


def _figure(value: float) -> str:
    return "0" if abs(value) < 0.05 else f"{value:.1f}".replace("-", "−")


def _given_up(mine: Side, theirs: Side) -> list[GivenUpShown]:
    def words(given: Sequence[GivenUp], place: int) -> str:
        return _figure(round(given[place].misfit, 1)) if given else ""

    rows = []
    for place, slot in enumerate(CORE_SLOTS):
        shared = mine.kit.gear_in(slot)
        own = mine.own.gear_in(slot) if mine.own else None
        alone = size_words(own) if own and own.size != shared.size else ""
        size = "each their own" if slot == WING else size_words(shared)
        rows.append(
            GivenUpShown(SLOT_WORDS[slot], size, alone, words(mine.given_up, place), words(theirs.given_up, place))
        )
    return rows


def _balance(mine: Sequence[float], theirs: Sequence[float]) -> str:
    if not mine or not theirs:
        return ""
    yours, others = sum(mine), sum(theirs)
    if max(yours, others) < 0.05:
        return "Neither of you gives anything up to speak of."
    if abs(yours - others) < 0.05:
        return f"You both give up the same: {_figure(yours)}."
    who = "You give" if yours > others else "The other rider gives"
    return f"{who} up more: {_figure(max(yours, others))} against {_figure(min(yours, others))}."


# --- what it costs, and would cost instead


def _saves(shared: Shared, terms: ShopTerms) -> str:
    if shared.two_kits is None or shared.two_kits == shared.price:
        return ""
    between = shared.two_kits - shared.price
    return f"{money_words(abs(between), terms)} {'less' if between > 0 else 'more'} than two whole kits"


def _instead(one: OwnPart, place: int, terms: ShopTerms) -> InsteadShown:
    is_mine = one.rider == place
    litres, knots = _litres(one.margin_change_l), _knots(one.takeoff_change_kn)
    wins = [f"{litres} float" if litres else "", f"take-off {knots}" if knots else ""]
    name = ""
    if is_mine:
        name = f"{one.part.name}, {size_words(one.part.gear)}" if one.part else "the one you have already"
    return InsteadShown(
        words=f"{SLOT_WORDS[one.slot]} for {'you' if is_mine else 'the other'}",
        name=name,
        price=money_words(one.price, terms) if one.part else "nothing to pay",
        misfit=_figure(round(one.misfit_won, 1)),
        wins=", ".join(word for word in wins if word),
    )
