"""Versions of the policy: at once or from a day on, taken back before it, and the rate of VAT by the day."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from server.domain.errors import Conflict, InvalidInput, NotFound
from server.persistence.policies import load_vat_rates
from server.usecases.policies import change_policy, drop_policy, list_versions, terms_of
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.work import Shop
from tests.builders_shop import Clock, learner


def terms(shop: Shop, **shop_terms: Any) -> dict[str, Any]:
    """The terms in force, with some of the shop's own in place of theirs."""
    with shop.reading() as work:
        found = terms_of(work, work.catalogue.policy.version)
    return {**found, "shop": {**found["shop"], **shop_terms}}


def days_good(shop: Shop, days: int) -> dict[str, Any]:
    return {**terms(shop), "quotes": {"price_good_days": days}}


def changed(shop: Shop, wanted: dict[str, Any], from_day: date | None = None, shown: int = 1) -> int:
    with shop.writing("Orla") as work:
        return change_policy(work, wanted, from_day, "a reason", shown)


def in_force(shop: Shop) -> tuple[int, int]:
    with shop.reading() as work:
        return work.catalogue.policy.version, work.catalogue.policy.price_good_days


def test_a_change_holds_at_once_and_quotes_keep_the_version_they_were_made_under(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    assert changed(shop, days_good(shop, 3)) == 2
    assert in_force(shop) == (2, 3)
    with shop.reading() as work:
        kept = read_quote(work, quote.token)
    assert (kept.policy_version, kept.valid_until) == (1, quote.valid_until)


def test_a_version_takes_effect_when_its_day_begins_in_the_shops_zone_for_every_process(
    shop: Shop, clock: Clock
) -> None:
    other = Shop(shop.sessions, clock)
    changed(shop, days_good(shop, 3), date(2027, 7, 1))
    assert in_force(shop) == in_force(other) == (1, 14)
    clock.set("2027-06-30T22:59+00:00")
    assert in_force(shop) == (1, 14)
    clock.set("2027-06-30T23:00+00:00")
    assert in_force(shop) == in_force(other) == (2, 3)


def test_a_change_at_once_holds_until_the_day_of_one_that_waits(shop: Shop, clock: Clock) -> None:
    changed(shop, days_good(shop, 3), date(2026, 12, 1))
    changed(shop, days_good(shop, 5))
    assert in_force(shop) == (3, 5)
    clock.set("2026-12-01T12:00+00:00")
    assert in_force(shop) == (2, 3)
    changed(shop, days_good(shop, 7), shown=2)
    assert in_force(shop) == (4, 7)


def test_a_version_is_taken_back_before_its_day_and_not_after(shop: Shop, clock: Clock) -> None:
    first, second = (changed(shop, days_good(shop, days), date(2026, 12, 1)) for days in (3, 4))
    with shop.writing("Orla") as work:
        drop_policy(work, second)
    clock.set("2026-12-01T12:00+00:00")
    assert in_force(shop) == (first, 3)
    with shop.writing("Orla") as work, pytest.raises(Conflict, match="taken effect"):
        drop_policy(work, first)
    with shop.writing("Orla") as work, pytest.raises(NotFound):
        drop_policy(work, 99)
    with shop.reading() as work:
        assert [(one.version, one.note, one.dropped_by) for one in list_versions(work)] == [
            (1, "", ""),
            (2, "a reason", ""),
            (3, "a reason", "Orla"),
        ]


@pytest.mark.parametrize(
    ("shop_terms", "from_day", "shown", "error", "field"),
    [
        ({"home_zone": "Nowhere"}, None, 1, InvalidInput, "shop.home_zone"),
        ({"currency": "XXXX"}, None, 1, InvalidInput, "shop.currency"),
        ({"vat_percent": 200}, None, 1, InvalidInput, "shop.vat_percent"),
        ({"vat_from": [["2027-01-01", 21], ["2026-01-01", 20]]}, None, 1, InvalidInput, "shop.vat_from"),
        ({"vat_from": [["soon", 21]]}, None, 1, InvalidInput, "shop.vat_from"),
        ({}, date(2026, 11, 24), 1, InvalidInput, "from_day"),
        ({}, date(2036, 1, 1), 1, InvalidInput, "from_day"),
        ({}, None, 7, Conflict, "shown"),
    ],
)
def test_terms_and_days_that_cannot_be_change_nothing(
    shop: Shop,
    shop_terms: dict[str, Any],
    from_day: date | None,
    shown: int,
    error: type[InvalidInput] | type[Conflict],
    field: str,
) -> None:
    wanted = terms(shop, **shop_terms)
    with pytest.raises(error) as raised:
        changed(shop, wanted, from_day, shown)
    assert isinstance(raised.value, (InvalidInput, Conflict))
    assert [fault.field for fault in raised.value.faults] == [field]
    assert in_force(shop) == (1, 14)


def test_the_rate_of_vat_changes_by_the_day_within_a_version_and_for_the_books(shop: Shop, clock: Clock) -> None:
    changed(shop, terms(shop, vat_from=[["2026-12-01", 21], ["2027-01-01", "13.5"]]))
    rates = []
    for day in ("2026-11-30", "2026-12-01", "2027-01-01"):
        clock.set(f"{day}T12:00+00:00")
        with shop.writing() as work:
            vat = issue_quote(work, learner()).kit.price.vat
        rates.append([share.rate for share in vat])
    assert rates == [[Decimal(23)], [Decimal(21)], [Decimal("13.5")]]
    with shop.reading() as work:
        found = load_vat_rates(work.session)
    assert [rate for _, rate in found] == [Decimal(23), Decimal(21), Decimal("13.5")]
    assert [since.date().isoformat() for since, _ in found][1:] == ["2026-12-01", "2027-01-01"]
