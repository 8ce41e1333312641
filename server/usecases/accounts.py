"""Signing in and out, second factors, sessions, links for new and locked-out people; every deed is written down.

Verbs that hash a password take the `Shop` and do so between two short units of work: while a hash is made nobody waits for the
database. What was read before is read again under a lock before anything is changed. The other verbs are one unit of work.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from server.domain.accounts import (
    KNOWN_FOR,
    MOST_SESSIONS,
    NOBODYS_NAMES,
    OWNER_LINK_LIFE,
    PER_ACCOUNT,
    PER_ADDRESS,
    REFRESH,
    ROLES,
    STAFF_LINK_LIFE,
    UNKNOWN_KEPT,
    Role,
    SessionTimes,
    Stage,
    Throttle,
    counted_as,
    failures_now,
    is_link_live,
    is_live,
    is_spent,
    name_key,
    password_faults,
    read_name,
    shortest_password,
    wait_left,
)
from server.domain.errors import Conflict, Fault, InvalidInput, NotAllowed, NotFound, NotSignedIn, TooMany
from server.persistence import accounts as store
from server.persistence.tables import AccountRow, DeedRow, FailureRow, SessionRow
from server.security.common import common_passwords
from server.security.passwords import Passwords
from server.security.tokens import digest_of, new_secret, pseudonym
from server.security.totp import accepted_step, new_seed, provisioning_uri
from server.usecases.work import Shop, Work

security_log = logging.getLogger("slackwater.security")

RECOVERY, ADDED = "recovery link made", "account added as"
WRONG = (Fault("password", "Name and password do not belong together."),)
LOCKED = (
    "Too many tries in a row have failed, so no more are taken. The owner makes a link by which a new password is set; "
    "the owner's own is made by the command owner-link on the shop's computer."
)
WRONG_CODE = (Fault("code", "This code is wrong, too old or already used.", "the six digits shown now"),)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A new session: its token, to be kept by the browser alone, and whether a code must follow before it opens anything."""

    token: str
    needs_code: bool


@dataclass(frozen=True, slots=True)
class Account:
    """Who is signed in, by which session."""

    id: int
    name: str
    role: Role
    has_factor: bool
    session_id: int


@dataclass(frozen=True, slots=True)
class OpenSession:
    """One open session as its holder sees it."""

    id: int
    address: str
    started_at: datetime
    seen_at: datetime
    is_this: bool


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who works here, or did, as the owner sees them; `is_locked` after too many tries that failed."""

    id: int
    name: str
    role: Role
    has_password: bool
    has_factor: bool
    sessions: int
    is_locked: bool
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class Deed:
    """Who did what to whom, when, and from which address of the network."""

    at: datetime
    who: str
    what: str
    whom: str
    address: str


@dataclass(frozen=True, slots=True)
class Welcome:
    """What a one-time link is for: whose password, the fewest characters of it, and whether a second factor is forgotten."""

    name: str
    shortest: int
    forgets_factor: bool


@dataclass(frozen=True, slots=True)
class Enrolment:
    """A seed offered for a second factor, the address that an authenticator reads, and the session's token from now on."""

    seed: str
    uri: str
    token: str


# Links: the only way in for a new account, and for one that is locked out.


def make_owner_link(work: Work, name: str) -> str:
    """The token of a one-time link by which the first owner sets a password; good for an hour, and ends earlier ones.

    Raises `Conflict` once an owner can sign in: others are added by an owner, or recovered.
    """
    shown = read_name(name)
    if store.lock_owners(work.session):
        raise Conflict([Fault("name", "The shop has an owner. Recover that account, or let the owner add another.")])
    row = store.account_named(work.session, name_key(shown))
    if row is None:
        row = _new_account(work, shown, "owner")
    elif row.role != "owner" or row.ended_at is not None:
        raise Conflict([Fault("name", "This name is another account's.")])
    return _new_link(work, row, OWNER_LINK_LIFE, work.actor, "owner link made")


def add_staff(work: Work, token: str, name: str, role: Role = "staff") -> str:
    """The token of a one-time link by which somebody new sets a password; the owner's alone to make, good for a day."""
    by = _owner(work, token)
    shown = read_name(name)
    if role not in ROLES:
        raise InvalidInput([Fault("role", "There is no such role.", ", ".join(ROLES))])
    if store.account_named(work.session, name_key(shown)) is not None:
        raise Conflict([Fault("name", "There is an account of this name.")])
    return _new_link(work, _new_account(work, shown, role), STAFF_LINK_LIFE, by.name, f"{ADDED} {role}")


def recover_by_owner(work: Work, token: str, account_id: int, *, forget_factor: bool = False) -> str:
    """The token of a one-time link by which an account's holder sets a new password; the owner's alone to make.

    The second factor stays unless the owner, who must know the person, has it forgotten. An owner cannot so recover themselves.
    """
    by = _owner(work, token)
    if by.id == account_id:
        raise NotAllowed("Your own account is recovered by another owner, or by the command.")
    return _recovery(work, _locked(work, account_id), by.name, forget_factor)


def recover_by_command(work: Work, name: str, *, forget_factor: bool = False) -> str:
    """The same, for whoever may run commands on the server; raises `NotFound` for a name that no account has."""
    row = store.account_named(work.session, name_key(name))
    if row is None:
        raise NotFound("name", "There is no account of this name.")
    return _recovery(work, row, work.actor, forget_factor)


def _recovery(work: Work, row: AccountRow, by: str, forget_factor: bool) -> str:
    if row.ended_at is not None:
        raise Conflict([Fault("name", "This account has ended.")])
    what = f"{RECOVERY}, second factor to be forgotten" if forget_factor else RECOVERY
    return _new_link(work, row, OWNER_LINK_LIFE, by, what, forget_factor)


def look_at_link(work: Work, link: str) -> Welcome:
    """What a one-time link is for; raises `NotFound` where it does not work. Looking does not use it up."""
    row, forgets = _linked(work, link)
    return Welcome(row.name, shortest_password(has_factor=row.seed is not None and not forgets), forgets)


def use_link(shop: Shop, passwords: Passwords, link: str, password: str) -> None:
    """Set a password by a one-time link; all sessions of the account end, and nobody is signed in by it.

    Raises `NotFound` for a link that is unknown, used or too old, `InvalidInput` for a password that is refused (the link
    then still works).
    """
    with shop.reading() as work:
        row, forgets = _linked(work, link)
        faults = _password_faults(work, row, password, row.seed is not None and not forgets)
    if faults:
        raise InvalidInput(faults)
    made = passwords.hashed(password)
    with shop.writing() as work:
        account_id = row.id
        assert account_id is not None
        counters = store.lock_failures(work.session, [_account_key(row.name), *_near_keys(work, row)], work.now)
        row = _locked(work, account_id)
        _, forgets_now = _linked(work, link, lock=True)
        if row.seed is None and _password_faults(work, row, password, False):
            raise NotFound("link", "This account has changed meanwhile. Try again.")
        row.password_hash = made
        if forgets_now:
            row.seed = row.seed_offered = None
        store.end_links(work.session, account_id, work.now)
        store.end_sessions(work.session, account_id, work.now)
        for spent in [*counters, *store.lock_failures(work.session, [_proof_key(row), _code_key(row)], work.now)]:
            spent.failures = 0
        what = "password set by link, second factor forgotten" if forgets_now else "password set by link"
        _done(work, row.name, what, row.name)


def _linked(work: Work, link: str, *, lock: bool = False) -> tuple[AccountRow, bool]:
    found = store.link_by(work.session, digest_of(link), lock=lock)
    row = work.session.get(AccountRow, found.account_id) if found else None
    if (
        found is None
        or row is None
        or found.used_at is not None
        or row.ended_at
        or not is_link_live(found.expires_at, work.now)
    ):
        raise NotFound("link", "This link does not work (any more). Ask for a new one.")
    return row, found.forgets_factor


# Signing in.


def sign_in(shop: Shop, passwords: Passwords, name: str, password: str, address: str) -> SignedIn:
    """Open a session for a name and password, typed at an address of the network.

    Raises `InvalidInput` alike for a wrong password and an unknown name, and `TooMany` while this name or address has to wait. The try
    is counted before the password is looked at, so that many at once gain nothing. From an address at which the account was signed in
    lately it is counted apart, so that strangers' tries keep nobody out there.
    """
    with shop.writing() as work:
        row = store.account_named(work.session, name_key(name))
        account_id = row.id if row and row.ended_at is None else None
        here = _near_key(row, address) if row else ""
        tried = here if row and here in _near_keys(work, row) else _account_key(name)
        keys = [tried, _account_key(name), _key("address", counted_as(address))]
        of_try, _, of_address = store.lock_failures(work.session, keys, work.now)
        _count_try(work, [(of_try, PER_ACCOUNT), (of_address, PER_ADDRESS)])
        encoded = row.password_hash if row and account_id is not None else None
        work.commit()
    right, renewed = passwords.check(password, encoded)
    with shop.writing() as work:
        if not right or account_id is None:
            _done(work, row.name if row else "unknown", "sign-in refused", address=address)
            raise InvalidInput(WRONG)
        of_try, of_account, of_address = store.lock_failures(work.session, keys, work.now)
        row = store.lock_account(work.session, account_id)
        if row is None or row.ended_at is not None or row.password_hash != encoded:
            raise InvalidInput(WRONG)
        of_try.failures = of_account.failures = 0
        of_address.failures = max(0, of_address.failures - 1)
        if renewed:
            row.password_hash = renewed
        needs_code = row.seed is not None
        token = _new_session(work, row, "password" if needs_code else "full", address)
        _done(work, row.name, "password right, code awaited" if needs_code else "signed in by password", "", address)
        return SignedIn(token, needs_code)


def awaits_code(shop: Shop, token: str) -> bool:
    """Whether a session has passed the password, and a one-time code must follow."""
    with shop.reading() as work:
        return _found(work, token, "password") is not None


def confirm_second_factor(work: Work, token: str, code: str) -> str:
    """Finish a sign-in by a one-time code; the answer is the token of the session from now on, the old one is dead.

    Raises `NotSignedIn` where no sign-in waits for a code, `InvalidInput` for a wrong code, `TooMany` after many of them.
    """
    row, session_row = _signed(work, token, "password")
    _check_code(work, row, code, session_row.address)
    session_row.ended_at = work.now
    fresh = _new_session(work, row, "full", session_row.address)
    _done(work, row.name, "signed in by password and code", "", session_row.address)
    return fresh


def sign_out(work: Work, token: str) -> None:
    """End this session, whole or half-way; one that has ended or run out already stays so."""
    found = store.session_by(work.session, digest_of(token))
    if found is not None and is_live(_times(found[0]), work.now):
        session_row, row = found
        session_row.ended_at = work.now
        _done(work, row.name, "signed out", "", session_row.address)


def session_of(shop: Shop, token: str, *, is_use: bool = True) -> Account | None:
    """Who is signed in by a token, or None; the use is remembered, once a minute at most, so idle time is counted a minute short.

    An open page that asks by itself whether there is news is no use (`is_use` false): it would keep an empty desk signed in.
    """
    with shop.reading() as work:
        found = _found(work, token, "full")
    if found is None:
        return None
    row, session_row = found
    assert row.id is not None
    assert session_row.id is not None
    if is_use and work.now - session_row.seen_at >= REFRESH:
        with shop.writing() as writing:
            store.refresh_session(writing.session, session_row.id, writing.now)
            writing.commit()
    return Account(row.id, row.name, _role(row), row.seed is not None, session_row.id)


# One's own account.


def change_password(shop: Shop, passwords: Passwords, token: str, current: str, new: str) -> str:
    """Change one's own password, knowing the current one; all sessions end, and the answer is the token of a new one."""
    row, address = _proved(shop, passwords, token, current)
    with shop.reading() as work:
        faults = _password_faults(work, row, new, row.seed is not None)
    if faults:
        raise InvalidInput(faults)
    made = passwords.hashed(new)
    with shop.writing() as work:
        now_row = _still(work, token, row)
        assert now_row.id is not None
        if _password_faults(work, now_row, new, now_row.seed is not None):
            raise InvalidInput(WRONG)
        now_row.password_hash = made
        store.end_links(work.session, now_row.id, work.now)
        store.end_sessions(work.session, now_row.id, work.now)
        fresh = _new_session(work, now_row, "full", address)
        _done(work, now_row.name, "password changed", now_row.name, address)
        return fresh


def begin_second_factor(shop: Shop, passwords: Passwords, token: str, password: str, code: str = "") -> Enrolment:
    """Offer a seed for a new second factor, knowing the password, and a code of the present factor where there is one.

    Nothing changes until `set_second_factor` hears a code of the new seed.
    """
    row, address = _proved(shop, passwords, token, password)
    with shop.writing() as work:
        now_row = _still(work, token, row)
        if now_row.seed is not None:
            _check_code(work, now_row, code, address)
        now_row.seed_offered = seed = new_seed()
        fresh = _renewed(work, token)
        _done(work, now_row.name, "second factor offered", now_row.name, address)
        return Enrolment(seed, provisioning_uri(seed, now_row.name, work.catalogue.policy.shop.name), fresh)


def set_second_factor(work: Work, token: str, code: str) -> str:
    """Take the offered seed as second factor once a code of it is right; all sessions end, the answer is a new one's token.

    From then on every sign-in asks for a code. No verb takes a factor off but recovery.
    """
    row, session_row = _signed(work, token, "full")
    assert row.id is not None
    if row.seed_offered is None:
        raise Conflict([Fault("code", "No second factor is being set. Begin anew.")])
    _check_code(work, row, code, session_row.address, offered=True)
    row.seed, row.seed_offered = row.seed_offered, None
    store.end_sessions(work.session, row.id, work.now)
    fresh = _new_session(work, row, "full", session_row.address)
    _done(work, row.name, "second factor set", row.name, session_row.address)
    return fresh


def list_sessions(work: Work, token: str) -> list[OpenSession]:
    """One's own open sessions, oldest first."""
    row, this = _signed(work, token, "full", lock=False)
    assert row.id is not None
    listed = []
    for one in store.open_sessions(work.session, row.id):
        if is_live(_times(one), work.now):
            assert one.id is not None
            listed.append(OpenSession(one.id, one.address, one.started_at, one.seen_at, one.id == this.id))
    return listed


def end_session(shop: Shop, passwords: Passwords, token: str, session_id: int, password: str) -> str:
    """End another session of one's own, knowing the password; the answer is this session's token from now on.

    Raises `NotFound` alike for others' sessions, for unknown ones and for those that have ended.
    """
    row, address = _proved(shop, passwords, token, password)
    with shop.writing() as work:
        now_row = _still(work, token, row)
        that = work.session.get(SessionRow, session_id)
        if that is None or that.ended_at is not None or that.account_id != now_row.id:
            raise NotFound("session", "There is no such session.")
        that.ended_at = work.now
        fresh = _renewed(work, token)
        _done(work, now_row.name, "session ended", now_row.name, address)
        return fresh


def end_own_sessions(shop: Shop, passwords: Passwords, token: str, password: str) -> None:
    """End all sessions of one's own, this one too, knowing the password."""
    row, address = _proved(shop, passwords, token, password)
    with shop.writing() as work:
        now_row = _still(work, token, row)
        assert now_row.id is not None
        store.end_sessions(work.session, now_row.id, work.now)
        _done(work, now_row.name, "all sessions ended", now_row.name, address)


def end_all_sessions(work: Work, token: str, account_id: int) -> None:
    """End all sessions of anybody's account: the owner's alone to do."""
    by = _owner(work, token)
    whose = work.session.get(AccountRow, account_id)
    if whose is None:
        raise NotFound("account", "There is no such account.")
    store.end_sessions(work.session, account_id, work.now)
    _done(work, by.name, "all sessions ended", whose.name)


# The owner's.


def list_people(work: Work, token: str) -> list[Person]:
    """Everybody who works here or did, in the order they came; the owner's alone to see."""
    _seen_by_owner(work, token)
    return [_person(work, row) for row in store.load_accounts(work.session)]


def find_person(work: Work, token: str, account_id: int) -> Person:
    """One of them; raises `NotFound` where there is none of this number."""
    _seen_by_owner(work, token)
    row = work.session.get(AccountRow, account_id)
    if row is None:
        raise NotFound("account", "There is no such account.")
    return _person(work, row)


def list_deeds(work: Work, token: str, name: str = "", most: int = 200) -> list[Deed]:
    """The newest deeds, newest first; with a name, those of and to everybody in whose name it stands. The owner's alone to see."""
    _seen_by_owner(work, token)
    key = name_key(name)
    names = [one for one in store.names_in_deeds(work.session) if key in name_key(one)] if key else None
    return [_deed(row) for row in store.newest_deeds(work.session, most, names)]


def change_role(work: Work, token: str, account_id: int, role: Role) -> None:
    """Give an account another role and end its sessions, and the links it made as an owner; the last owner stays one (`Conflict`)."""
    if role not in ROLES:
        raise InvalidInput([Fault("role", "There is no such role.", ", ".join(ROLES))])
    by, row = _by_owner(work, token, account_id, keeps_owner=role == "owner")
    if role != "owner":
        _end_links_by(work, row)
    row.role = role
    store.end_sessions(work.session, account_id, work.now)
    _done(work, by.name, f"role changed to {role}", row.name)


def end_account(work: Work, token: str, account_id: int) -> None:
    """Let an account sign in no more and end its sessions, its links and those it made; the last owner stays (`Conflict`)."""
    by, row = _by_owner(work, token, account_id, keeps_owner=False)
    row.ended_at = work.now
    _end_links_by(work, row)
    store.end_links(work.session, account_id, work.now)
    store.end_sessions(work.session, account_id, work.now)
    _done(work, by.name, "account ended", row.name)


def forget_failures(work: Work) -> None:
    """Tidy away counters that count no more, those of names that no account has, and old sessions; the caller commits.

    As many failures as lock an account are kept under any name, so that the answer to it tells nothing.
    """
    assert PER_ADDRESS.forgotten_after is not None
    store.forget_failures_before(work.session, work.now - PER_ADDRESS.forgotten_after, "address")
    store.forget_failures_before(work.session, work.now - KNOWN_FOR, "near")
    store.forget_sessions_before(work.session, work.now - KNOWN_FOR)
    known = [_account_key(row.name) for row in store.load_accounts(work.session)]
    unknown_before = work.now - UNKNOWN_KEPT
    store.forget_failures_before(work.session, unknown_before, "account", fewer_than=PER_ACCOUNT.most, kept=known)


def _by_owner(work: Work, token: str, account_id: int, *, keeps_owner: bool) -> tuple[AccountRow, AccountRow]:
    """The acting owner and the account, after all owners are locked in one order, so that two cannot unmake each other."""
    owners = store.lock_owners(work.session)
    by = _owner(work, token)
    row = _locked(work, account_id)
    if not keeps_owner and [owner.id for owner in owners] == [account_id]:
        raise Conflict([Fault("role", "The shop needs an owner: this is the last one.")])
    return by, row


def _seen_by_owner(work: Work, token: str) -> None:
    """Raises unless the owner looks; nothing is locked, for nothing is changed."""
    row, _ = _signed(work, token, "full", lock=False)
    if row.role != "owner":
        raise NotAllowed("Only the owner may see this.")


def _person(work: Work, row: AccountRow) -> Person:
    assert row.id is not None
    sessions = [one for one in store.open_sessions(work.session, row.id) if is_live(_times(one), work.now)]
    keys = [_account_key(row.name), *_near_keys(work, row), _proof_key(row), _code_key(row)]
    counted = store.failures_under(work.session, keys)
    is_locked = any(is_spent(PER_ACCOUNT, failures) for failures in counted.values())
    has_password, has_factor = row.password_hash is not None, row.seed is not None
    return Person(row.id, row.name, _role(row), has_password, has_factor, len(sessions), is_locked, row.ended_at)


def _deed(row: DeedRow) -> Deed:
    return Deed(row.at, row.who, row.what, row.whom, row.address)


# What the verbs share.


def _role(row: AccountRow) -> Role:
    return "owner" if row.role == "owner" else "staff"


def _key(kind: str, text: str) -> str:
    return f"{kind}:{digest_of(text)}"


def _account_key(name: str) -> str:
    return _key("account", name_key(name))


def _near_key(row: AccountRow, address: str) -> str:
    return _key("near", f"{row.id} {counted_as(address)}")


def _near_keys(work: Work, row: AccountRow) -> list[str]:
    """The keys under which failures at the addresses are counted at which an account was signed in lately."""
    assert row.id is not None
    return list({_near_key(row, one) for one in store.addresses_of(work.session, row.id, work.now - KNOWN_FOR)})


def _proof_key(row: AccountRow) -> str:
    return _key("proof", str(row.id))


def _code_key(row: AccountRow) -> str:
    return _key("code", str(row.id))


def _password_faults(work: Work, row: AccountRow, password: str, has_factor: bool) -> tuple[Fault, ...]:
    context = work.catalogue.policy.shop.name, row.name
    return password_faults(password, context, has_factor, common_passwords())


def _done(work: Work, who: str, what: str, whom: str = "", address: str = "") -> None:
    """Write the deed down, make all of it last, and say it in the log, where accounts are numbers and addresses nobody's."""
    store.write_deed(work.session, work.now, who, what, whom, address)
    numbers = store.numbers_of(work.session, {who, whom})
    work.commit()
    said = {
        "deed": what,
        "who": numbers.get(who, who if who in NOBODYS_NAMES else "unknown"),
        "whom": numbers.get(whom),
        "at": pseudonym(address),
    }
    security_log.info(
        "account", extra={key: value for key, value in said.items() if value and (key != "at" or address)}
    )


def _new_account(work: Work, name: str, role: Role) -> AccountRow:
    row = AccountRow(name=name, name_key=name_key(name), role=role, made_at=work.now)
    work.session.add(row)
    work.session.flush()
    return row


def _new_link(work: Work, row: AccountRow, life: timedelta, by: str, what: str, forgets_factor: bool = False) -> str:
    assert row.id is not None
    store.end_links(work.session, row.id, work.now)
    link = new_secret()
    store.add_link(work.session, row.id, digest_of(link), work.now + life, forgets_factor)
    _done(work, by, what, row.name)
    return link


def _end_links_by(work: Work, row: AccountRow) -> None:
    """Let no link work that somebody made for others, since they no longer answer for them."""
    since = work.now - max(OWNER_LINK_LIFE, STAFF_LINK_LIFE)
    for account_id in store.accounts_linked_by(work.session, row.name, since, (RECOVERY, ADDED)):
        store.end_links(work.session, account_id, work.now)


def _new_session(work: Work, row: AccountRow, stage: Stage, address: str) -> str:
    """A new session's token; of more than ten open sessions the oldest end."""
    assert row.id is not None
    mine = [one for one in store.open_sessions(work.session, row.id) if one.ended_at is None]
    for old in mine[: max(0, len(mine) - MOST_SESSIONS + 1)]:
        old.ended_at = work.now
    token = new_secret()
    store.add_session(work.session, row.id, digest_of(token), stage, address, work.now)
    return token


def _renewed(work: Work, token: str) -> str:
    """Another token for a session whose holder was just proved anew; the old one opens nothing any more."""
    found = store.session_by(work.session, digest_of(token))
    assert found is not None
    fresh = new_secret()
    found[0].digest = digest_of(fresh)
    return fresh


def _times(row: SessionRow) -> SessionTimes:
    return SessionTimes("full" if row.stage == "full" else "password", row.started_at, row.seen_at)


def _found(work: Work, token: str, stage: Stage) -> tuple[AccountRow, SessionRow] | None:
    found = store.session_by(work.session, digest_of(token))
    if found is None or found[0].stage != stage or not is_live(_times(found[0]), work.now):
        return None
    return found[1], found[0]


def _signed(work: Work, token: str, stage: Stage, *, lock: bool = True) -> tuple[AccountRow, SessionRow]:
    """The account and session of a token; with the account locked, both are read anew."""
    found = _found(work, token, stage)
    if found is not None and lock:
        assert found[0].id is not None
        store.lock_account(work.session, found[0].id)
        work.session.expire(found[1])
        found = _found(work, token, stage)
    if found is None:
        raise NotSignedIn("Please sign in.")
    return found


def _owner(work: Work, token: str) -> AccountRow:
    """The owner who acts, after all owners are locked in one order, so that two who act on each other do not block for ever."""
    store.lock_owners(work.session)
    row, _ = _signed(work, token, "full")
    if row.role != "owner":
        raise NotAllowed("Only the owner may do this.")
    return row


def _locked(work: Work, account_id: int) -> AccountRow:
    row = store.lock_account(work.session, account_id)
    if row is None or row.ended_at is not None:
        raise NotFound("account", "There is no such account.")
    return row


def _count_try(work: Work, counted: list[tuple[FailureRow, Throttle]]) -> None:
    """Count a try as failed until it goes well; raises `TooMany`, counting nothing, while one of the counters has to wait.

    One that is spent waits for recovery, under any name alike.
    """
    if any(is_spent(rule, row.failures) for row, rule in counted):
        security_log.warning("tries are taken no more", extra={"counted": _kinds(counted)})
        raise TooMany("name", LOCKED)
    waits = [wait_left(rule, row.failures, row.last_at, work.now) for row, rule in counted]
    if max(waits) > timedelta(0):
        security_log.warning("a try has to wait", extra={"counted": _kinds(counted)})
        raise TooMany("name", f"Too many tries that failed. Wait {_wait_words(max(waits))}, then try again.")
    for row, rule in counted:
        row.failures = failures_now(rule, row.failures, row.last_at, work.now) + 1
        row.last_at = work.now


def _kinds(counted: list[tuple[FailureRow, Throttle]]) -> dict[str, int]:
    """How many failures each kind of counter holds, without whose they are."""
    return {row.key.partition(":")[0]: row.failures for row, _ in counted}


def _wait_words(wait: timedelta) -> str:
    """A wait in whole seconds, from two minutes on in whole minutes, rounded up."""
    seconds = -(-wait // timedelta(seconds=1))
    if seconds >= 120:
        return f"{-(-seconds // 60)} minutes"
    return "a second" if seconds == 1 else f"{seconds} seconds"


def _proved(shop: Shop, passwords: Passwords, token: str, password: str) -> tuple[AccountRow, str]:
    """The account of a session whose holder knows the password again, and where the session was opened; throttled as sign-in is."""
    with shop.writing() as work:
        row, session_row = _signed(work, token, "full")
        (counter,) = store.lock_failures(work.session, [_proof_key(row)], work.now)
        _count_try(work, [(counter, PER_ACCOUNT)])
        work.commit()
    right, _ = passwords.check(password, row.password_hash)
    with shop.writing() as work:
        if not right:
            _done(work, row.name, "password refused", row.name, session_row.address)
            raise InvalidInput([Fault("current", "This is not the current password.")])
        (counter,) = store.lock_failures(work.session, [_proof_key(row)], work.now)
        counter.failures = 0
        work.commit()
    return row, session_row.address


def _still(work: Work, token: str, before: AccountRow) -> AccountRow:
    """The account of a session, locked; raises `NotSignedIn` where its password is not the one that was proved."""
    row, _ = _signed(work, token, "full")
    if row.password_hash != before.password_hash:
        raise NotSignedIn("Please sign in.")
    return row


def _check_code(work: Work, row: AccountRow, code: str, address: str, *, offered: bool = False) -> None:
    """Accept a code of a locked account once; a refusal is counted, written down and committed."""
    seed = row.seed_offered if offered else row.seed
    (counter,) = store.lock_failures(work.session, [_code_key(row)], work.now)
    _count_try(work, [(counter, PER_ACCOUNT)])
    # An offered seed has given no code yet, so any step of it is new.
    step = accepted_step(seed, code, work.now, -1 if offered else row.last_step) if seed else None
    if step is None:
        _done(work, row.name, "code refused", row.name, address)
        raise InvalidInput(WRONG_CODE)
    counter.failures = 0
    row.last_step = step
