"""Forgetting: what is kept of people is deleted when the policy's days are over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from server.domain.drafts import oldest_kept
from server.domain.numbers import DRAFT_BEGUN, QUOTE_KEPT
from server.domain.periods import months_after
from server.persistence.assessments import forget_sentences_before
from server.persistence.calls import forget_calls_before
from server.persistence.learner import delete_drafts_before
from server.persistence.lessons import forget_bookings_before
from server.persistence.messages import delete_messages_settled_before
from server.persistence.numbers import add_to_tally
from server.persistence.quotes import delete_quotes_good_until
from server.persistence.reservations import end_lapsed_reservations, forget_reservations_before
from server.persistence.sales import forget_sales_before
from server.persistence.stock import forget_contacts_before
from server.usecases.accounts import forget_failures
from server.usecases.stock import release_lapsed
from server.usecases.work import Work


@dataclass(frozen=True, slots=True)
class Swept:
    """How much was swept: drafts and quotes deleted, contacts forgotten, expired holds written off in the ledger."""

    drafts: int
    quotes: int
    contacts: int
    holds: int

    @property
    def is_nothing(self) -> bool:
        """Whether there was nothing to do."""
        return not (self.drafts or self.quotes or self.contacts or self.holds)


def sweep(work: Work) -> Swept:
    """Delete what is older than the policy keeps, and counters of failed sign-ins that count no more, in one transaction.

    How many drafts were begun and quotes kept on each day stays counted, without anybody in it. Nothing else depends on the sweep:
    drafts too old are not found, and expired holds count no more, by the clock in the query.
    """
    policy = work.catalogue.policy
    contacts_kept_since = work.now - timedelta(days=policy.contact_days)
    quotes_kept_from = work.today - timedelta(days=policy.quote_days)
    holds = release_lapsed(work) + end_lapsed_reservations(work.session, work.now)
    contacts = (
        forget_contacts_before(work.session, contacts_kept_since)
        + forget_calls_before(work.session, contacts_kept_since)
        + forget_sentences_before(work.session, contacts_kept_since)
        + forget_bookings_before(work.session, contacts_kept_since)
        + forget_reservations_before(work.session, contacts_kept_since)
        + delete_messages_settled_before(work.session, contacts_kept_since)
        + forget_sales_before(work.session, months_after(work.today, -12 * policy.sales.kept_years))
    )
    begun = delete_drafts_before(work.session, oldest_kept(work.now, policy))
    kept = delete_quotes_good_until(work.session, quotes_kept_from)
    stay_counted(work, [moment for moment, revises in begun if not revises], kept)
    forget_failures(work)
    work.commit()
    return Swept(len(begun), len(kept), contacts, holds)


def stay_counted(work: Work, begun: Iterable[datetime], kept: Iterable[datetime]) -> None:
    """Count drafts begun and quotes kept that are deleted, by the day; the caller commits."""
    day_of = work.catalogue.policy.shop.day_of
    add_to_tally(work.session, DRAFT_BEGUN, [day_of(moment) for moment in begun])
    add_to_tally(work.session, QUOTE_KEPT, [day_of(moment) for moment in kept])
