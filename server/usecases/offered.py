"""What parts were offered at today, which stays the price of the day whatever it is put to afterwards."""

from __future__ import annotations

from collections.abc import Collection

from server.domain.policy_book import beginning_of
from server.persistence.offered import lowest_offered
from server.usecases.work import Work


def offered_today(work: Work, skus: Collection[str]) -> dict[str, int]:
    """The lowest price, in cents, at which each part was quoted or sold since the day began in the shop's zone."""
    return lowest_offered(work.session, skus, beginning_of(work.today, work.catalogue.policy.shop.time_zone))
