"""What the owner may change, as one frozen value; its defaults are the shop's ordinary terms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from server.domain.colours import LEAST_FOR_TEXT, contrast_ratio, read_colour
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.domain.policy_reader import (
    Reader,
    decimal_between,
    list_of_words,
    mass_knots,
    number_between,
    rates_by_day,
    short_text,
    slots_among,
    time_zone,
    whole_between,
    yes_no,
)
from server.domain.sale_terms import SaleTerms, read_sale_terms
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS

CONDITIONS = ("like_new", "good", "worn", "poor")
SEASONAL = (*CORE_SLOTS, "extras")
HALF = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class IncludedLessons:
    """Lessons that come with a tier: their kind and how many."""

    kind: str
    number: int


@dataclass(frozen=True, slots=True)
class Tier:
    """A package discount: from `at_least` bought parts among `slots` on, `percent` off them, and what is included."""

    name: str
    slots: tuple[str, ...]
    at_least: int
    percent: int
    extras: tuple[str, ...] = ()
    lessons: IncludedLessons | None = None


@dataclass(frozen=True, slots=True)
class LookTerms:
    """The shop's own colours as #rrggbb, on a light and on a dark ground: what can be done, the words on a button of that
    colour, the page, its text, and the ground of money."""

    accent: str = "#1d6b57"
    on_accent: str = "#ffffff"
    paper: str = "#fbfaf5"
    ink: str = "#16323b"
    sand: str = "#f1e9d8"
    dark_accent: str = "#6fc4a8"
    dark_on_accent: str = "#0d201b"
    dark_paper: str = "#11211f"
    dark_ink: str = "#e4ecea"
    dark_sand: str = "#2c2a20"


FIXED_COLOURS: Mapping[str, str] = MappingProxyType(
    {
        "soft": "#52666c",
        "flag": "#a63f24",
        "raised": "#ffffff",
        "water": "#dcebea",
        "dark_soft": "#a3b5b6",
        "dark_flag": "#f0997d",
        "dark_raised": "#1a2d2b",
        "dark_water": "#183531",
    }
)
"""Colours that are the same in every shop but meet its own: quiet text, care, the ground of fields, and water."""
TEXT_ON_GROUND = (
    ("on_accent", "accent"),
    *((text, ground) for text in ("ink", "accent", "soft", "flag") for ground in ("paper", "sand", "raised", "water")),
)


@dataclass(frozen=True, slots=True)
class ShopTerms:
    """Who sells, in which money, by which clock and in which colours."""

    name: str = "Two Herons Watersports"
    place: str = "Tullaveen Strand"
    telephone: str = ""
    email: str = ""
    opening_hours: str = ""
    country: str = "IE"
    locale: str = "en_IE"
    currency: str = "EUR"
    time_zone: str = "Europe/Dublin"
    home_zone: str = "Ireland"
    vat_percent: Decimal = Decimal(23)
    vat_from: tuple[tuple[date, Decimal], ...] = ()
    """Rates that take the place of the first, each from a day on."""
    look: LookTerms = LookTerms()

    def day_of(self, moment: datetime) -> date:
        """The day of a moment in the shop's time zone."""
        return moment.astimezone(ZoneInfo(self.time_zone)).date()

    def vat_on(self, day: date) -> Decimal:
        """The rate of VAT of a day, in per cent."""
        return next((rate for since, rate in reversed(self.vat_from) if since <= day), self.vat_percent)


@dataclass(frozen=True, slots=True)
class FitTerms:
    """Worn mass and reserve in kg and litres, the cap of misfits, their weights, and the hand wing's mass knots."""

    worn_kg: float = 5.0
    reserve_l: float = 5.0
    misfit_cap: float = 2.5
    hand_wing_knots: tuple[tuple[float, float], ...] = ((50.0, 4.0), (70.0, 5.0), (100.0, 6.0))
    weights: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType(
            {"board": 3.0, "mast": 1.0, "fuselage": 1.0, "front_foil": 2.0, "tail": 1.0, "hand_wing": 2.0}
        )
    )


@dataclass(frozen=True, slots=True)
class TradeInTerms:
    """The curve by which used gear loses value, and how much of a purchase it may pay."""

    share: Decimal = Decimal("0.50")
    first_year_extra_loss: Decimal = Decimal("0.10")
    handling: Decimal = Decimal("0.15")
    step: Cents = 500
    expected_loss: Decimal = Decimal("0.10")
    yearly_loss: Mapping[str, Decimal] = field(
        default_factory=lambda: MappingProxyType(
            {
                "board": Decimal("0.22"),
                "mast": Decimal("0.15"),
                "fuselage": Decimal("0.18"),
                "front_foil": Decimal("0.18"),
                "tail": Decimal("0.18"),
                "hand_wing": Decimal("0.35"),
            }
        )
    )
    condition: Mapping[str, Decimal] = field(
        default_factory=lambda: MappingProxyType(
            {"like_new": Decimal("1.0"), "good": Decimal("0.85"), "worn": Decimal("0.6"), "poor": Decimal("0.3")}
        )
    )


@dataclass(frozen=True, slots=True)
class LessonTerms:
    """When lessons are held, called off, and what a learner's calling off costs; winds in knots, hours before the start.

    Twelve knots and gusts of 25 are common practice of the trade, without a source.
    """

    without_wind: tuple[str, ...] = ("tow",)
    least_mean_kn: float = 12.0
    most_gust_kn: float = 25.0
    provisional_call_hour: int = 18
    final_call_hours: int = 2
    call_off_hours: int = 24
    kept_if_late: Decimal = Decimal(1)
    kept_if_missed: Decimal = Decimal(1)


DEFAULT_TIERS = (
    Tier(
        "Whole kit",
        CORE_SLOTS,
        6,
        22,
        ("pump", "board_leash", "wing_leash", "covers", "tool_kit"),
        IncludedLessons("private", 3),
    ),
    Tier(
        "Kit with one part of your own",
        CORE_SLOTS,
        5,
        16,
        ("pump", "board_leash", "wing_leash"),
        IncludedLessons("private", 1),
    ),
    Tier("Foil only", ("mast", "fuselage", "front_foil", "tail"), 4, 10),
)


@dataclass(frozen=True, slots=True)
class Policy:
    """All that the owner decides; passed in wherever a rule needs it, and frozen into every quote by its version."""

    shop: ShopTerms = ShopTerms()
    fit: FitTerms = field(default_factory=FitTerms)
    tiers: tuple[Tier, ...] = DEFAULT_TIERS
    trade_in: TradeInTerms = field(default_factory=TradeInTerms)
    markdown_wins_ties: bool = True
    margin_floor_percent: Decimal = Decimal(5)
    refund_window_days: int = 45
    price_good_days: int = 14
    draft_days: int = 30
    hold_unconfirmed_hours: int = 2
    hold_confirmed_days: int = 7
    contact_days: int = 90
    quote_days: int = 400
    staff_discount_percent: Decimal = Decimal(5)
    staff_see_margin: bool = False
    lessons: LessonTerms = LessonTerms()
    sales: SaleTerms = field(default_factory=SaleTerms)
    end_of_season_value: Mapping[str, Decimal] = field(
        default_factory=lambda: MappingProxyType(dict.fromkeys(SEASONAL, HALF))
    )
    version: int = 0

    def on(self, day: date) -> Policy:
        """The policy as it holds on a day: itself, but for the rate of VAT where that changes by the day."""
        rate = self.shop.vat_on(day)
        return self if rate == self.shop.vat_percent else replace(self, shop=replace(self.shop, vat_percent=rate))

    @property
    def full_tier(self) -> Tier | None:
        """The tier of the whole kit: all six core parts bought."""
        whole = [t for t in self.tiers if t.at_least == len(CORE_SLOTS) and set(t.slots) == set(CORE_SLOTS)]
        return max(whole, key=lambda tier: tier.percent, default=None)


def _lessons(value: Any) -> IncludedLessons:
    if not isinstance(value, Mapping) or set(value) != {"kind", "number"}:
        raise ValueError
    return IncludedLessons(short_text(value["kind"]), whole_between(1, 99)(value["number"]))


def _tier(reader: Reader) -> Tier:
    core = ", ".join(CORE_SLOTS)
    usual: tuple[str, ...] = CORE_SLOTS
    slots = reader.take("slots", usual, slots_among(CORE_SLOTS), f"a list of core slots: {core}")
    tier = Tier(
        name=reader.take("name", "Kit", short_text, "text"),
        slots=slots,
        at_least=reader.take(
            "at_least", len(slots), whole_between(1, len(slots) or 1), f"a whole number from 1 to {len(slots)}"
        ),
        percent=reader.take("percent", 0, whole_between(0, 90), "a whole number from 0 to 90"),
        extras=reader.take("extras", (), slots_among(EXTRA_SLOTS), "a list of extra slots: " + ", ".join(EXTRA_SLOTS)),
        lessons=reader.take("lessons", None, _lessons, '{ kind = "private", number = 3 }'),
    )
    reader.refuse_the_rest()
    return tier


def _tiers(reader: Reader) -> tuple[Tier, ...]:
    rows = reader.take("tiers", None, lambda value: [dict(row) for row in value], "[[tiers]] tables")
    if rows is None:
        return DEFAULT_TIERS
    tiers = []
    for place, row in enumerate(rows, start=1):
        inner = Reader(row, f"tiers[{place}].")
        inner.faults = reader.faults
        tiers.append(_tier(inner))
    return tuple(tiers)


def _look(reader: Reader) -> LookTerms:
    usual = LookTerms()
    before = len(reader.faults)
    accepted = "a colour as # and six hexadecimal digits, such as #1d6b57"
    colours = {
        row.name: reader.take(row.name, getattr(usual, row.name), read_colour, accepted) for row in fields(usual)
    }
    reader.refuse_the_rest()
    if len(reader.faults) == before:
        reader.faults += _too_faint({**FIXED_COLOURS, **colours}, reader)
    return LookTerms(**colours)


def _too_faint(colours: Mapping[str, str], reader: Reader) -> list[Fault]:
    """A fault for each key of the table whose colour leaves a text too faint, with the worst of its pairs."""
    worst: dict[str, tuple[float, str, str]] = {}
    for dark in ("", "dark_"):
        for text, ground in ((dark + text, dark + ground) for text, ground in TEXT_ON_GROUND):
            ratio = contrast_ratio(colours[text], colours[ground])
            if ratio < LEAST_FOR_TEXT:
                to_blame = text if text in reader.source else ground
                worst[to_blame] = min((ratio, text, ground), worst.get(to_blame, (LEAST_FOR_TEXT, "", "")))
    return [
        Fault(
            f"{reader.at}{key}",
            f"Text in {text} {colours[text]} on {ground} {colours[ground]} is too faint: a contrast of {_below(ratio)} to 1.",
            f"colours with a contrast of at least {LEAST_FOR_TEXT:g} to 1 (WCAG 2.2, 1.4.3)",
        )
        for key, (ratio, text, ground) in worst.items()
    ]


def _below(ratio: float) -> str:
    """A ratio to a hundredth, never rounded up to what is accepted."""
    return f"{min(ratio, LEAST_FOR_TEXT - 0.01):.2f}"


def _shop(reader: Reader, look: LookTerms) -> ShopTerms:
    usual = ShopTerms()
    shop = ShopTerms(
        name=reader.take("name", usual.name, short_text, "text"),
        place=reader.take("place", usual.place, short_text, "text"),
        telephone=reader.take("telephone", "", short_text, "text"),
        email=reader.take("email", "", short_text, "text"),
        opening_hours=reader.take("opening_hours", "", short_text, "text"),
        country=reader.take("country", usual.country, short_text, "a country code of two letters (ISO 3166)"),
        locale=reader.take("locale", usual.locale, short_text, "a locale such as en_IE"),
        currency=reader.take("currency", usual.currency, short_text, "a currency code of three letters (ISO 4217)"),
        time_zone=reader.take("time_zone", usual.time_zone, time_zone, "a time zone such as Europe/Dublin"),
        home_zone=reader.take("home_zone", usual.home_zone, short_text, "a zone of delivery.csv"),
        vat_percent=reader.take(
            "vat_percent", usual.vat_percent, decimal_between("0", "100"), "per cent from 0 to 100"
        ),
        vat_from=reader.take("vat_from", (), rates_by_day, 'pairs by rising day, such as [["2027-01-01", 21]]'),
        look=look,
    )
    reader.refuse_the_rest()
    return shop


def _fit(reader: Reader) -> FitTerms:
    usual = FitTerms()
    weights = reader.table("weights")
    terms = FitTerms(
        worn_kg=reader.take("worn_kg", usual.worn_kg, number_between(0, 30), "kg from 0 to 30"),
        reserve_l=reader.take("reserve_l", usual.reserve_l, number_between(0, 60), "litres from 0 to 60"),
        misfit_cap=reader.take("misfit_cap", usual.misfit_cap, number_between(0.01, 100), "a number from 0.01 to 100"),
        hand_wing_knots=reader.take(
            "hand_wing_knots", usual.hand_wing_knots, mass_knots, "two or more pairs [kg, m2] by rising mass"
        ),
        weights=MappingProxyType(
            {
                slot: weights.take(slot, usual.weights[slot], number_between(0.01, 100), "a number from 0.01 to 100")
                for slot in CORE_SLOTS
            }
        ),
    )
    weights.refuse_the_rest()
    reader.refuse_the_rest()
    return terms


def _trade_in(reader: Reader) -> TradeInTerms:
    usual = TradeInTerms()
    share, accepted = decimal_between("0", "1"), "a share from 0 to 1"
    losses, conditions = reader.table("yearly_loss"), reader.table("condition")
    first_year = reader.take("first_year_extra_loss", usual.first_year_extra_loss, share, accepted)
    fitting = decimal_between("0", str(1 - first_year))
    terms = TradeInTerms(
        share=reader.take("share", usual.share, share, accepted),
        first_year_extra_loss=first_year,
        handling=reader.take("handling", usual.handling, share, accepted),
        step=reader.take(
            "step", usual.step, lambda value: int(decimal_between("0.01", "1000")(value) * 100), "money up to 1000.00"
        ),
        expected_loss=reader.take("expected_loss", usual.expected_loss, share, accepted),
        yearly_loss=MappingProxyType(
            {
                slot: losses.take(slot, usual.yearly_loss[slot], fitting, f"a share from 0 to {1 - first_year}")
                for slot in CORE_SLOTS
            }
        ),
        condition=MappingProxyType(
            {word: conditions.take(word, usual.condition[word], share, accepted) for word in CONDITIONS}
        ),
    )
    for table in (losses, conditions, reader):
        table.refuse_the_rest()
    return terms


def _lesson_terms(reader: Reader) -> LessonTerms:
    usual = LessonTerms()
    share, accepted = decimal_between("0", "1"), "a share from 0 to 1"
    knots, hours = "knots from 0 to 60", "whole hours from 0 to 168"
    terms = LessonTerms(
        without_wind=reader.take("without_wind", usual.without_wind, list_of_words, "a list of kinds of lesson"),
        least_mean_kn=reader.take("least_mean_kn", usual.least_mean_kn, number_between(0, 60), knots),
        most_gust_kn=reader.take("most_gust_kn", usual.most_gust_kn, number_between(0, 60), knots),
        provisional_call_hour=reader.take(
            "provisional_call_hour",
            usual.provisional_call_hour,
            whole_between(0, 23),
            "a whole hour of the day from 0 to 23",
        ),
        final_call_hours=reader.take("final_call_hours", usual.final_call_hours, whole_between(0, 168), hours),
        call_off_hours=reader.take("call_off_hours", usual.call_off_hours, whole_between(0, 168), hours),
        kept_if_late=reader.take("kept_if_late", usual.kept_if_late, share, accepted),
        kept_if_missed=reader.take("kept_if_missed", usual.kept_if_missed, share, accepted),
    )
    reader.refuse_the_rest()
    return terms


def policy_from(source: Mapping[str, Any], version: int = 0) -> Policy:
    """A policy from its tables (as read from `policy.toml`); a key left out keeps the ordinary term.

    Raises `InvalidInput` with a fault for each key that is unknown or out of range.
    """
    top = Reader(source)
    pricing, deposit, quotes = top.table("pricing"), top.table("deposit"), top.table("quotes")
    retention, ordering, desk = top.table("retention"), top.table("ordering"), top.table("desk")
    season = ordering.table("end_of_season_value")
    days = "whole days from 1 to 730"
    policy = Policy(
        shop=_shop(top.table("shop"), _look(top.table("look"))),
        fit=_fit(top.table("fit")),
        tiers=_tiers(top),
        trade_in=_trade_in(top.table("trade_in")),
        markdown_wins_ties=pricing.take("markdown_wins_ties", True, yes_no, "true or false"),
        margin_floor_percent=pricing.take(
            "margin_floor_percent", Decimal(5), decimal_between("0", "100"), "per cent from 0 to 100"
        ),
        refund_window_days=deposit.take("refund_window_days", 45, whole_between(0, 3650), "whole days from 0 to 3650"),
        price_good_days=quotes.take("price_good_days", 14, whole_between(0, 730), "whole days from 0 to 730"),
        draft_days=quotes.take("draft_days", 30, whole_between(1, 730), days),
        hold_unconfirmed_hours=quotes.take(
            "hold_unconfirmed_hours", 2, whole_between(1, 168), "whole hours from 1 to 168"
        ),
        hold_confirmed_days=quotes.take("hold_confirmed_days", 7, whole_between(1, 730), days),
        contact_days=retention.take("contact_days", 90, whole_between(1, 3650), "whole days from 1 to 3650"),
        quote_days=retention.take("quote_days", 400, whole_between(1, 3650), "whole days from 1 to 3650"),
        staff_discount_percent=desk.take(
            "staff_discount_percent", Decimal(5), decimal_between("0", "100"), "per cent from 0 to 100"
        ),
        lessons=_lesson_terms(top.table("lessons")),
        sales=read_sale_terms(top.table("sales")),
        staff_see_margin=desk.take("staff_see_margin", False, yes_no, "true or false"),
        end_of_season_value=MappingProxyType(
            {slot: season.take(slot, HALF, decimal_between("0", "1"), "a share from 0 to 1") for slot in SEASONAL}
        ),
        version=version,
    )
    for table in (pricing, deposit, quotes, retention, season, ordering, desk, top):
        table.refuse_the_rest()
    if top.faults:
        raise InvalidInput(top.faults)
    return policy
