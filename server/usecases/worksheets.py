"""The desk's worksheets: begun, written, sent as a link or made a quote's next revision, with the owner's word where it is needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from server.domain.accounts import Role
from server.domain.agreed import Agreed, fitting_digest, swim_digest
from server.domain.drafts import Draft, oldest_kept
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, NotFree, Outdated
from server.domain.kits import Fitter, Kit
from server.domain.learner import SEEN
from server.domain.pricing import Margin, margin_of
from server.domain.quotes import Quote
from server.domain.worksheets import Worksheet, lapses_at, needs_word
from server.persistence.learner import load_draft, save_draft
from server.persistence.quotes import load_quote
from server.persistence.worksheets import load_worksheet, load_worksheets_of, save_worksheet
from server.usecases.fit import fitter_for
from server.usecases.learner import GONE, read_draft
from server.usecases.quotes import issue_quote, locked_quote, read_quote
from server.usecases.work import Work, is_token, new_token

NOTHING_WAITS = "Nothing waits for a word here (any more)."
NO_WORKSHEET = "There is no worksheet at this address (any more)."
SIGNS_OF_TOKEN = 8
MOST_UNREAD = 20_000
UNREAD = "typed_and_unread"
"""Among a worksheet's answers: its whole form as it was typed, while something of it cannot be read."""
WHY_ACCEPTED = "a reason, of at most 300 characters; the customer reads it"


@dataclass(frozen=True, slots=True)
class Written:
    """What is written on a worksheet beside the answers and what was agreed."""

    name: str = ""
    email: str = ""
    phone: str = ""
    note: str = ""
    staff_note: str = ""


@dataclass(frozen=True)
class Worked:
    """What a worksheet comes to today: its kit and margin, and what stands between it and the customer.

    `barred` stops it whoever asks; `needs` are the reasons for which it waits for the owner's word. `kit` is None where no
    parts go together.
    """

    fitter: Fitter
    kit: Kit | None
    margin: Margin | None
    barred: tuple[Fault, ...]
    needs: tuple[str, ...]


# Begun and written.


def begin_worksheet(work: Work, quote_token: str | None = None) -> Worksheet:
    """A new worksheet with a draft of its own: empty, or with the newest revision of a quote to be revised, its parts fixed.

    Raises `NotFound` where there is no such quote.
    """
    token = new_token()
    draft = Draft(token, work.now, work.now)
    sheet = Worksheet(token, work.actor, work.now)
    if quote_token is not None:
        quote = read_quote(work, quote_token)
        fixed = tuple(part.sku for part in quote.kit.parts.values())
        agreed = replace(quote.agreed, fixed=fixed)
        draft = replace(draft, answers=quote.answers, revises=quote_token, agreed=agreed)
        before = load_worksheets_of(work.session, quote_token)
        known = before[-1] if before else sheet
        sheet = replace(
            sheet,
            name=known.name,
            email=known.email,
            phone=known.phone,
            staff_note=known.staff_note,
            quote_token=quote_token,
            revision=quote.revision,
        )
    save_draft(work.session, draft)
    save_worksheet(work.session, sheet)
    work.commit()
    return sheet


def copy_worksheet(work: Work, token: str) -> Worksheet:
    """A new worksheet with all that is written on another, which stays as it is; for a link withdrawn or lapsed, too."""
    sheet, draft = read_worksheet(work, token)
    fresh = new_token()
    copied = Worksheet(
        fresh,
        work.actor,
        work.now,
        name=sheet.name,
        email=sheet.email,
        phone=sheet.phone,
        note=sheet.note,
        staff_note=sheet.staff_note,
        quote_token=sheet.quote_token if draft.revises else "",
        revision=sheet.revision if draft.revises else None,
    )
    save_draft(work.session, replace(draft, token=fresh, started_at=work.now, changed_at=work.now, link=None))
    save_worksheet(work.session, copied)
    work.commit()
    return copied


def read_worksheet(work: Work, token: str, *, to_change: bool = False) -> tuple[Worksheet, Draft]:
    """A worksheet and its draft, whatever has become of its link; raises `NotFound`.

    With `to_change` nobody else may change either until this unit of work ends.
    """
    draft = (
        load_draft(work.session, token, oldest_kept(work.now, work.catalogue.policy), to_change=to_change)
        if is_token(token)
        else None
    )
    sheet = load_worksheet(work.session, token, to_change=to_change) if draft is not None else None
    if sheet is None or draft is None:
        raise NotFound("worksheet", NO_WORKSHEET)
    return sheet, draft


def write_worksheet(
    work: Work,
    token: str,
    answers: Mapping[str, Any],
    agreed: Agreed,
    written: Written,
    mass_unit: str = "",
    unread: Sequence[tuple[str, str]] = (),
) -> tuple[Worksheet, Draft]:
    """Put what was typed on an open worksheet; raises `Conflict` once it was sent or waits for the owner.

    Where something of it could not be read, `unread` is the whole form, field by field, so that nothing typed is lost.
    """
    sheet, draft = with_written(*_open_sheet(work, token), answers, agreed, written, mass_unit, unread)
    draft = replace(draft, changed_at=work.now)
    save_draft(work.session, draft)
    save_worksheet(work.session, sheet)
    work.commit()
    return sheet, draft


def with_written(
    sheet: Worksheet,
    draft: Draft,
    answers: Mapping[str, Any],
    agreed: Agreed,
    written: Written,
    mass_unit: str = "",
    unread: Sequence[tuple[str, str]] = (),
) -> tuple[Worksheet, Draft]:
    """A worksheet and its draft as they would be with what was typed on them; nothing is kept yet."""
    told = {name: value for name, value in draft.answers.items() if name == SEEN}
    told |= {name: value for name, value in answers.items() if value is not None}
    if unread and sum(len(name) + len(text) for name, text in unread) <= MOST_UNREAD:
        told[UNREAD] = [[name, text] for name, text in unread if text]
    agreed = replace(agreed, swim_talked_for=swim_digest(told) if agreed.swim_talked else "")
    draft = replace(draft, answers=told, agreed=agreed, picks=(), mass_unit=mass_unit or draft.mass_unit)
    sheet = replace(
        sheet,
        name=written.name,
        email=written.email,
        phone=written.phone,
        note=written.note,
        staff_note=written.staff_note,
    )
    return sheet, draft


def unread_on(draft: Draft) -> list[tuple[str, str]]:
    """The form as it was last typed on a worksheet, field by field, while something of it cannot be read; else nothing."""
    return [(name, text) for name, text in draft.answers.get(UNREAD, ())]


def _open_sheet(work: Work, token: str) -> tuple[Worksheet, Draft]:
    sheet, draft = read_worksheet(work, token, to_change=True)
    if sheet.state_at(work.now) != "open":
        words = "This worksheet was sent or waits for the owner: begin a new one from it to change something."
        raise Conflict([Fault("worksheet", words)])
    return sheet, draft


# What it comes to.


def worked_out(work: Work, draft: Draft) -> Worked:
    """What a worksheet comes to today, its discount as it was typed; raises `InvalidInput` where answers are missing or wrong."""
    answers = {name: value for name, value in draft.answers.items() if name != UNREAD}
    fitter = fitter_for(work, answers, draft.revises, draft.agreed, is_bound=False)
    kit = fitter.with_fixed()
    if kit is None:
        return Worked(fitter, None, None, (Fault("skus", fitter.why_no_kit(), "parts that fit together"),), ())
    margin = margin_of(kit.price, fitter.answers, work.catalogue, draft.agreed)
    barred = [
        Fault("skus", refusal.reason, "parts that fit together and float the learner home") for refusal in kit.barring
    ]
    barred += [
        Fault("skus", f"{part.name} ({part.sku}) is not free to be sold today.", "a part in stock")
        for part in kit.bought.values()
        if not fitter.shelf.is_free(part)
    ]
    if not kit.is_sound and not draft.agreed.why:
        barred.append(
            Fault("why", "This kit has parts that the model refuses or ranks low: say why they are in.", WHY_ACCEPTED)
        )
    return Worked(fitter, kit, margin, tuple(barred), needs_word(draft.agreed, kit.price, margin, work.catalogue))


def _settled(draft: Draft, worked: Worked) -> Draft:
    """The draft with its kit settled: a kit that is not sound is vouched for whole, with the answers it was put together for.

    Delivery agreed is bound to where it goes.
    """
    kit, agreed = worked.kit, draft.agreed.bound_to(worked.fitter.answers)
    if kit is None or kit.is_sound:
        return replace(draft, agreed=replace(agreed, vouched_for=""))
    return replace(draft, agreed=replace(agreed, fixed=kit.skus, vouched_for=fitting_digest(draft.answers)))


# Sent, or made the next revision.


def finish_worksheet(work: Work, token: str, role: Role) -> tuple[Worksheet, Quote | None]:
    """Send it as a link, or make it the next revision of the quote it revises (the second value).

    What staff may not decide waits for the owner's word instead; what the owner finishes has it. Raises `InvalidInput` (answers
    missing or wrong), `Conflict` with what bars it, `Outdated` where the quote was changed meanwhile.
    """
    sheet, draft = _open_sheet(work, token)
    return _finish(work, sheet, draft, is_owner=role == "owner")


def word_about(work: Work, sheet: Worksheet, draft: Draft) -> str:
    """What a word would be given for: what was asked at which moment, and the margin it has now. Empty while nothing waits."""
    if sheet.asked_at is None:
        return ""
    margin = worked_out(work, draft).margin
    return f"{sheet.asked_at.isoformat()} {margin.percent if margin else ''}"


def give_word(work: Work, token: str, about: str) -> tuple[Worksheet, Quote | None]:
    """The owner gives their word for what they had before them (`about`, of `word_about`), and it is finished.

    Raises like `finish_worksheet`, and `Conflict` where nothing waits, or something else does than was looked at.
    """
    sheet, draft = read_worksheet(work, token, to_change=True)
    if sheet.state_at(work.now) != "waiting":
        raise Conflict([Fault("worksheet", NOTHING_WAITS)])
    if word_about(work, sheet, draft) != about:
        raise Conflict([Fault("worksheet", "It has changed since you looked at it. Look at it again, then decide.")])
    return _finish(work, sheet, draft, is_owner=True)


def _finish(work: Work, sheet: Worksheet, draft: Draft, *, is_owner: bool) -> tuple[Worksheet, Quote | None]:
    if unread_on(draft):
        raise InvalidInput(
            [Fault("worksheet", "Something typed on this worksheet cannot be read: put it right first.")]
        )
    worked = worked_out(work, draft)
    if worked.barred:
        raise NotFree(worked.barred) if all(f.field == "skus" for f in worked.barred) else Conflict(worked.barred)
    draft = _settled(draft, worked)
    assert worked.kit is not None
    assert worked.margin is not None
    by = sheet.made_by if draft.agreed.by == "" else draft.agreed.by
    agreed = replace(draft.agreed, by=by, word_by="", word_margin_percent=None)
    if worked.needs and not is_owner:
        sheet = replace(sheet, asked_at=work.now, asked_by=work.actor, refused_at=None, refused_because="")
        save_draft(work.session, replace(draft, agreed=agreed, changed_at=work.now))
        save_worksheet(work.session, sheet)
        _deed(work, "asked for the owner's word", sheet)
        work.commit()
        return sheet, None
    if worked.needs:
        _deed(work, f"gave their word, margin {worked.margin.percent} %", sheet)
        agreed = replace(agreed, word_by=work.actor, word_margin_percent=worked.margin.percent)
    draft = replace(draft, agreed=agreed, changed_at=work.now)
    if draft.revises is not None:
        return _revise(work, sheet, draft, worked.kit)
    sheet = replace(
        sheet, sent_at=work.now, sent_by=by or work.actor, lapses_at=lapses_at(work.now, work.catalogue.policy)
    )
    save_draft(work.session, draft)
    save_worksheet(work.session, sheet)
    _deed(work, "made a link", sheet)
    work.commit()
    return sheet, None


def _deed(work: Work, what: str, sheet: Worksheet) -> None:
    """Write down for good who did what, to which quote or worksheet: never a customer's name, nor an address that leads somewhere."""
    quote = load_quote(work.session, sheet.quote_token) if sheet.quote_token else None
    about = f"quote {quote.code}" if quote is not None else f"worksheet {sheet.token[:SIGNS_OF_TOKEN]}"
    work.note_deed(what, about)


def _revise(work: Work, sheet: Worksheet, draft: Draft, kit: Kit) -> tuple[Worksheet, Quote]:
    assert draft.revises is not None
    newest = locked_quote(work, draft.revises)
    if newest.revision != sheet.revision:
        words = (
            f"The quote was changed meanwhile: it is at revision {newest.revision}, and this began from {sheet.revision}. "
            "Look at what changed, then take it as read."
        )
        raise Outdated([Fault("revision", words)])
    sheet = replace(sheet, sent_at=work.now, sent_by=work.actor, lapses_at=work.now)
    save_draft(work.session, draft)
    save_worksheet(work.session, sheet)
    _deed(work, f"made revision {newest.revision + 1} of quote {newest.code}", sheet)
    quote = issue_quote(
        work, draft.answers, kit.skus, revises=draft.revises, agreed=draft.agreed, is_bound=False, draft=draft.token
    )
    return sheet, quote


def take_as_read(work: Work, token: str, revision: int) -> None:
    """Go on from a newer revision of the quote whose changes were looked at; what is on the worksheet stays.

    Raises `Conflict` where the quote has no such revision, or it is older than the one gone on from.
    """
    sheet, _ = _open_sheet(work, token)
    newest = read_quote(work, sheet.quote_token).revision if sheet.quote_token else 0
    if sheet.revision is None or not sheet.revision <= revision <= newest:
        raise Conflict([Fault("revision", "There is no such newer revision to go on from.", "the one that was shown")])
    save_worksheet(work.session, replace(sheet, revision=revision))
    work.commit()


def revision_started_from(work: Work, sheet: Worksheet) -> Quote | None:
    """The revision that a worksheet began from, or None where it revises nothing."""
    if sheet.revision is None:
        return None
    return load_quote(work.session, sheet.quote_token, sheet.revision)


# The owner's word, and taking back.


def refuse_word(work: Work, token: str, because: str) -> Worksheet:
    """The owner says no, and why; staff may change the worksheet and ask again. Raises `Conflict` where nothing waits."""
    if not 1 <= len(because) <= 300 or not because.isprintable():
        raise InvalidInput(
            [Fault("because", "A reason is needed, so that staff know what to change.", "1 to 300 characters")]
        )
    sheet, _ = read_worksheet(work, token, to_change=True)
    if sheet.state_at(work.now) != "waiting":
        raise Conflict([Fault("worksheet", NOTHING_WAITS)])
    sheet = replace(sheet, asked_at=None, refused_at=work.now, refused_because=because)
    save_worksheet(work.session, sheet)
    _deed(work, "refused their word", sheet)
    work.commit()
    return sheet


def take_back(work: Work, token: str) -> Worksheet:
    """Take a worksheet that waits for the owner back, to change it; raises `Conflict` where it does not wait."""
    sheet, _ = read_worksheet(work, token, to_change=True)
    if sheet.state_at(work.now) != "waiting":
        raise Conflict([Fault("worksheet", NOTHING_WAITS)])
    sheet = replace(sheet, asked_at=None)
    save_worksheet(work.session, sheet)
    work.commit()
    return sheet


def withdraw_link(work: Work, token: str) -> Worksheet:
    """Make a link that was given lead nowhere from now on; a quote that came of it stays. Raises `Conflict` where none was given."""
    sheet, draft = read_worksheet(work, token, to_change=True)
    if sheet.sent_at is None or draft.revises is not None:
        raise Conflict([Fault("worksheet", "No link was given from this worksheet.")])
    if sheet.withdrawn_at is None:
        sheet = replace(sheet, withdrawn_at=work.now)
        save_worksheet(work.session, sheet)
        _deed(work, "took a link back", sheet)
    work.commit()
    return sheet


def open_link(work: Work, token: str) -> Draft:
    """The draft behind a link that was given to somebody; raises `NotFound` where none was, `Lapsed` where it leads nowhere any more.

    It changes nothing, so that a program that looks at links in messages opens nothing.
    """
    draft = read_draft(work, token)
    if draft.link is None:
        raise NotFound("draft", GONE)
    return draft


def remember_opened(work: Work, token: str) -> None:
    """Remember when somebody first looked at what was sent to them; raises `NotFound` or `Lapsed` like the link itself."""
    open_link(work, token)
    sheet, _ = read_worksheet(work, token, to_change=True)
    if sheet.opened_at is None:
        save_worksheet(work.session, replace(sheet, opened_at=work.now))
    work.commit()
