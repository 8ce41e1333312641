"""What whoever watches over the shop is told of it as it is now: numbers, and nobody in them."""

from __future__ import annotations

from server.domain.errors import OutOfReach
from server.outside.levels import Level
from server.persistence.catalogue import versions_at
from server.persistence.messages import count_by_state, oldest_waiting
from server.persistence.outages import answering
from server.persistence.stock import count_open_holds
from server.usecases.work import Shop, Work

WATCHER = "watcher"


def levels(shop: Shop) -> tuple[Level, ...]:
    """The shop in numbers; where its database does not answer, that alone."""
    try:
        with answering(), shop.reading(WATCHER) as work:
            return (_answers(1), *_levels(work))
    except OutOfReach:
        return (_answers(0),)


def _answers(number: int) -> Level:
    return Level("slackwater_database_up", "Whether the database answers.", {"": number})


def _levels(work: Work) -> tuple[Level, ...]:
    catalogue, policy = versions_at(work.session, work.now)
    oldest = oldest_waiting(work.session)
    waited = (work.now - oldest).total_seconds() if oldest else 0
    return (
        Level("slackwater_messages", "Messages that are kept, by their state.", count_by_state(work.session), "state"),
        Level(
            "slackwater_messages_longest_wait_seconds", "How long the oldest waiting message has waited.", {"": waited}
        ),
        Level("slackwater_holds_open", "Holds of parts that are open.", {"": count_open_holds(work.session, work.now)}),
        Level("slackwater_catalogue_version", "Version of the catalogue in force.", {"": catalogue}),
        Level("slackwater_policy_version", "Version of the policy in force.", {"": policy}),
    )
