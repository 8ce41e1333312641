"""Two riders, one kit: two drafts joined, each with its own address, and the kit that both would share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from server.domain.drafts import Draft, oldest_kept
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.kits import Fitter
from server.domain.learner import REQUIRED
from server.domain.shared import NotShared, Shared, share
from server.persistence.learner import load_draft, save_draft
from server.usecases.fit import fitter_for
from server.usecases.learner import put_parts, read_draft
from server.usecases.work import Work, new_token

A_MOMENT = timedelta(microseconds=1)
CHANGED = "The kit that both would share has changed since you looked at it. This is the one of today."


@dataclass(frozen=True)
class Pair:
    """A rider's draft, and the one it is joined with; None where there is none, or where it is gone."""

    draft: Draft
    other: Draft | None

    @property
    def is_first(self) -> bool:
        """Whether this rider's draft is the one that the other was made for."""
        return self.other is None or self.draft.started_at < self.other.started_at


@dataclass(frozen=True)
class Together:
    """Both riders before the shelf of today, this one at `place` 0 or 1, and the kit they share."""

    riders: tuple[Fitter, Fitter]
    place: int
    shared: Shared | NotShared


def read_pair(work: Work, token: str) -> Pair:
    """The draft at an address and the one joined with it; raises `NotFound` where there is no draft.

    One that was deleted, is too old or is not joined back counts as not joined.
    """
    draft = read_draft(work, token)
    return Pair(draft, _joined_with(work, draft))


def _joined_with(work: Work, draft: Draft) -> Draft | None:
    oldest = oldest_kept(work.now, work.catalogue.policy)
    other = load_draft(work.session, draft.joined, oldest) if draft.joined else None
    return other if other is not None and other.joined == draft.token else None


def share_draft(work: Work, token: str) -> Draft:
    """The second rider's draft: the one joined already, else a new and empty one; raises `NotFound`.

    The new one begins a moment after the first, so that the two keep their order for ever.
    """
    draft = read_draft(work, token, to_change=True)
    joined = _joined_with(work, draft)
    if joined is not None:
        return joined
    begins = max(work.now, draft.started_at + A_MOMENT)
    other = Draft(new_token(), begins, begins, joined=token)
    save_draft(work.session, other)
    save_draft(work.session, replace(draft, joined=other.token, changed_at=work.now))
    work.commit()
    return other


def part_drafts(work: Work, token: str) -> Draft:
    """Stop sharing: both drafts stay, each by itself; raises `NotFound`.

    Both are locked in the order of their addresses, so that two riders who part at once do not wait for each other.
    """
    joined = read_draft(work, token).joined
    work.session.expire_all()  # What is read under the lock shall be read anew.
    oldest = oldest_kept(work.now, work.catalogue.policy)
    wanted = sorted({token, joined} if joined else {token})
    for draft in [load_draft(work.session, one, oldest, to_change=True) for one in wanted]:
        if draft is not None and (draft.token == token or draft.joined == token):
            save_draft(work.session, replace(draft, joined=None))
    work.commit()
    return read_draft(work, token)


def rider_of(work: Work, draft: Draft) -> Fitter | None:
    """A rider before the shelf of today; None while an answer is missing or holds no longer."""
    if any(name not in draft.answers for name in REQUIRED):
        return None
    try:
        return fitter_for(work, draft.answers)
    except InvalidInput:
        return None


def share_kit(work: Work, pair: Pair) -> Together | None:
    """The kit that both riders of a pair would share, the same whichever of them asks; None while one is not answered."""
    if pair.other is None:
        return None
    in_order = (pair.draft, pair.other) if pair.is_first else (pair.other, pair.draft)
    first, second = (rider_of(work, draft) for draft in in_order)
    if first is None or second is None:
        return None
    return Together((first, second), 0 if pair.is_first else 1, share(first, second))


def own_parts_of(together: Together) -> tuple[str, ...]:
    """The SKUs that put the shared kit on this rider's own page.

    Raises `InvalidInput` where they do not make a kit there, as where it builds on gear that only the other rider has.
    """
    if isinstance(together.shared, NotShared):
        raise InvalidInput([Fault("skus", together.shared.reason)])
    kit = together.shared.sides[together.place].kit
    return together.riders[together.place].kit_of(kit.skus).skus


def put_shared(work: Work, token: str, seen: tuple[str, ...]) -> Draft:
    """Put the shared kit that was seen, with the rider's own hand wing, on their page.

    Raises `Conflict` where it is another one by now, `InvalidInput` where it cannot be put there.
    """
    draft = read_draft(work, token, to_change=True)
    together = share_kit(work, Pair(draft, _joined_with(work, draft)))
    skus = own_parts_of(together) if together else ()
    if not together or skus != seen:
        raise Conflict([Fault("skus", CHANGED)])
    return put_parts(work, token, skus)
