"""Accounts on both databases: links, sign-in, second factor, sessions, recovery, and the record of all of it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Barrier
from typing import TypeVar

import pyotp
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError
from sqlmodel import select

from server.domain.errors import (
    Conflict,
    InvalidInput,
    NotAllowed,
    NotFound,
    NotSignedIn,
    SlackwaterError,
    TooMany,
)
from server.persistence.accounts import account_named, load_accounts
from server.persistence.tables import FailureRow, LinkRow, SessionRow
from server.security.passwords import Cost, Passwords
from server.usecases import accounts as verbs
from server.usecases.privacy import sweep
from server.usecases.work import Shop, Work
from tests.builders_accounts import load_deeds
from tests.builders_shop import Clock

CHEAP = Passwords(Cost(memory_kib=8, passes=1, lanes=1))
WORDS, OTHER_WORDS = "nine wet ropes on a quay", "seven dry oars in a shed"
HOME = "192.0.2.1"
T = TypeVar("T")


def did(shop: Shop, verb: Callable[..., T], *given: object, **named: object) -> T:
    """What a verb that is one unit of work answers."""
    with shop.writing("command") as work:
        return verb(work, *given, **named)


def enter(shop: Shop, name: str = "Orla", password: str = WORDS, address: str = HOME) -> verbs.SignedIn:
    return verbs.sign_in(shop, CHEAP, name, password, address)


def owner(shop: Shop) -> str:
    """The token of the first owner's session."""
    verbs.use_link(shop, CHEAP, did(shop, verbs.make_owner_link, "Orla"), WORDS)
    return enter(shop).token


def staff(shop: Shop, by: str, name: str = "Fergal") -> str:
    verbs.use_link(shop, CHEAP, did(shop, verbs.add_staff, by, name), WORDS)
    return enter(shop, name).token


def number(shop: Shop, name: str) -> int:
    with shop.reading() as work:
        row = account_named(work.session, name.casefold())
    assert row is not None
    assert row.id is not None
    return row.id


def with_factor(shop: Shop, clock: Clock, token: str) -> tuple[str, pyotp.TOTP]:
    """A session after a second factor was set a minute ago, and its device."""
    offered = verbs.begin_second_factor(shop, CHEAP, token, WORDS)
    device = pyotp.TOTP(offered.seed)
    token = did(shop, verbs.set_second_factor, offered.token, device.at(clock.now))
    clock.forward(minutes=1)
    return token, device


def both(first: Callable[[], object], second: Callable[[], object]) -> list[object]:
    """What two calls answer that start together; an error of ours is an answer."""
    barrier = Barrier(2)

    def run(call: Callable[[], object]) -> object:
        barrier.wait(5)
        try:
            return call()
        except SlackwaterError as error:
            return error

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(run, (first, second)))


def who(shop: Shop, token: str) -> str | None:
    account = verbs.session_of(shop, token)
    return account.name if account else None


def test_the_first_owner_comes_by_a_link_that_works_once_and_an_hour(shop: Shop, clock: Clock) -> None:
    old = did(shop, verbs.make_owner_link, "Orla")
    clock.forward(minutes=60)
    with pytest.raises(NotFound):
        verbs.use_link(shop, CHEAP, old, WORDS)
    first = did(shop, verbs.make_owner_link, "Orla")
    second = did(shop, verbs.make_owner_link, " orla ")
    with pytest.raises(NotFound):
        verbs.use_link(shop, CHEAP, first, WORDS)
    with pytest.raises(InvalidInput):
        verbs.use_link(shop, CHEAP, second, "Two Herons Watersports")
    verbs.use_link(shop, CHEAP, second, WORDS)
    with pytest.raises(NotFound):
        verbs.use_link(shop, CHEAP, second, OTHER_WORDS)
    account = verbs.session_of(shop, enter(shop).token)
    assert account is not None
    assert (account.name, account.role, account.has_factor) == ("Orla", "owner", False)
    with pytest.raises(Conflict):
        did(shop, verbs.make_owner_link, "Nessa")


def test_one_link_used_twice_at_once_sets_one_password(shop: Shop) -> None:
    link = did(shop, verbs.make_owner_link, "Orla")
    answers = both(
        lambda: verbs.use_link(shop, CHEAP, link, WORDS), lambda: verbs.use_link(shop, CHEAP, link, OTHER_WORDS)
    )
    assert sorted(type(answer).__name__ for answer in answers) == ["NoneType", "NotFound"]
    enter(shop, password=(WORDS, OTHER_WORDS)[answers.index(None)])


def test_known_and_unknown_names_are_answered_alike(shop: Shop) -> None:
    owner(shop)
    answers = []
    for name in ("Orla", "Nobody"):
        tries = []
        for _ in range(6):
            with pytest.raises((InvalidInput, TooMany)) as caught:
                enter(shop, name, OTHER_WORDS)
            tries.append((type(caught.value), str(caught.value)))
        answers.append(tries)
    assert answers[0] == answers[1]
    assert [kind for kind, _ in answers[0]] == [InvalidInput] * 5 + [TooMany]


def test_after_five_failures_even_the_right_password_waits(shop: Shop, clock: Clock) -> None:
    owner(shop)
    for _ in range(5):
        with pytest.raises(InvalidInput):
            enter(shop, password=OTHER_WORDS, address="192.0.2.2")
    with pytest.raises(TooMany):
        enter(shop, address="192.0.2.3")
    clock.forward(seconds=30)
    assert who(shop, enter(shop, address="192.0.2.3").token) == "Orla"
    with pytest.raises(InvalidInput):
        enter(shop, password=OTHER_WORDS, address="192.0.2.2")


def test_a_stranger_who_knows_a_name_keeps_its_holder_out_nowhere_they_were_before(shop: Shop, clock: Clock) -> None:
    # NIST SP 800-63B-4, section 3.2.2: addresses from which the subscriber was authenticated before.
    owner(shop)
    assert verbs.LOCKED in fail(shop, clock, "Orla", 101, 10)
    with pytest.raises(TooMany):
        enter(shop, address="192.0.2.200")
    for _ in range(5):
        with pytest.raises(InvalidInput):
            enter(shop, password=OTHER_WORDS)
    with pytest.raises(TooMany):
        enter(shop)
    clock.forward(seconds=30)
    assert who(shop, enter(shop).token) == "Orla", "at an address of theirs only its own failures count"
    assert who(shop, enter(shop, address="192.0.2.200").token) == "Orla", "and a sign-in there ends the row everywhere"
    clock.forward(days=31)
    fail(shop, clock, "Orla", 6, 10)
    with pytest.raises(TooMany):
        enter(shop)


def test_of_ipv6_the_network_is_known_and_counted_since_devices_change_their_address_in_it(
    shop: Shop, clock: Clock
) -> None:
    # RFC 8981: temporary addresses; RFC 4291, section 2.5.4: 64 bits of network.
    owner(shop)
    enter(shop, address="2001:db8:0:1::a")
    fail(shop, clock, "Orla", 101, 10)
    assert who(shop, enter(shop, address="2001:db8:0:1:f00::b").token) == "Orla", "another address of the same network"
    for place in range(20):
        with pytest.raises(InvalidInput):
            enter(shop, f"name {place}", address=f"2001:db8:0:2::{place:x}")
    with pytest.raises(TooMany):
        enter(shop, "another name", address="2001:db8:0:2:beef::")


def test_one_address_trying_many_names_waits_and_others_do_not(shop: Shop) -> None:
    owner(shop)
    for place in range(20):
        with pytest.raises(InvalidInput):
            enter(shop, f"name {place}")
    with pytest.raises(TooMany):
        enter(shop)
    enter(shop, address="192.0.2.2")


def test_tries_at_once_are_counted_each(shop: Shop) -> None:
    owner(shop)
    for _ in range(4):
        with pytest.raises(InvalidInput):
            enter(shop, password=OTHER_WORDS)
    answers = both(lambda: enter(shop, password=OTHER_WORDS), lambda: enter(shop, password=OTHER_WORDS))
    assert sorted(type(answer).__name__ for answer in answers) == ["InvalidInput", "TooMany"]


def counted(shop: Shop) -> list[int]:
    with shop.reading() as work:
        return sorted(row.failures for row in work.session.exec(select(FailureRow)) if row.failures)


def fail(shop: Shop, clock: Clock, name: str, times: int, first: int = 10) -> list[str]:
    """What so many wrong passwords are answered with, each after the wait, from another address each."""
    said = []
    for at in range(times):
        clock.forward(minutes=15)
        with pytest.raises((InvalidInput, TooMany)) as caught:
            enter(shop, name, OTHER_WORDS, f"192.0.2.{first + at}")
        said.append(str(caught.value))
    return said


def test_the_sweep_forgets_counters_that_count_no_more_and_names_that_nobody_has(shop: Shop, clock: Clock) -> None:
    owner(shop)
    fail(shop, clock, "Orla", 1)
    fail(shop, clock, "Nobody", 2)
    assert counted(shop) == [1, 1, 2, 2]
    clock.forward(hours=25)
    did(shop, sweep)
    assert counted(shop) == [1, 2]
    clock.forward(days=30)
    did(shop, sweep)
    assert counted(shop) == [1], "an account's are forgotten when a sign-in goes well"
    with shop.reading() as work:
        assert work.session.exec(select(SessionRow)).all() == [], "and where somebody was signed in after 30 days"
    enter(shop)
    assert counted(shop) == []


def test_a_hundred_failures_in_a_row_lock_any_name_until_recovery(shop: Shop, clock: Clock) -> None:
    # NIST SP 800-63B-4, section 3.2.2: consecutive failed attempts on a single account are limited to no more than 100.
    token = owner(shop)
    known, unknown = fail(shop, clock, "Orla", 102), fail(shop, clock, "Nobody", 102)
    assert known == unknown
    assert known.index(verbs.LOCKED) == 100
    clock.forward(days=60)
    did(shop, sweep)
    for name in ("Orla", "Nobody"):
        with pytest.raises(TooMany, match="no more are taken"):
            enter(shop, name, WORDS, "192.0.2.200")
    assert who(shop, token) is None
    verbs.use_link(shop, CHEAP, did(shop, verbs.recover_by_command, "Orla"), OTHER_WORDS)
    token = enter(shop, "Orla", OTHER_WORDS).token
    assert [person.is_locked for person in did(shop, verbs.list_people, token)] == [False]


def test_codes_and_the_password_asked_for_again_are_limited_too(shop: Shop, clock: Clock) -> None:
    token, device = with_factor(shop, clock, owner(shop))
    for _ in range(100):
        clock.forward(minutes=15)
        with pytest.raises(InvalidInput):
            did(shop, verbs.confirm_second_factor, enter(shop).token, "not it")
    clock.forward(minutes=15)
    with pytest.raises(TooMany, match="no more are taken"):
        did(shop, verbs.confirm_second_factor, enter(shop).token, device.at(clock.now))
    verbs.use_link(shop, CHEAP, did(shop, verbs.recover_by_command, "Orla"), WORDS)
    token = did(shop, verbs.confirm_second_factor, enter(shop).token, device.at(clock.now))
    for _ in range(100):
        clock.forward(minutes=15)
        if who(shop, token) is None:
            token = did(shop, verbs.confirm_second_factor, enter(shop).token, device.at(clock.now))
        with pytest.raises(InvalidInput):
            verbs.change_password(shop, CHEAP, token, OTHER_WORDS, WORDS)
    clock.forward(minutes=15)
    with pytest.raises(TooMany, match="no more are taken"):
        verbs.change_password(shop, CHEAP, token, WORDS, OTHER_WORDS)
    assert [person.is_locked for person in did(shop, verbs.list_people, token)] == [True]


def test_the_owner_alone_sees_who_works_here_and_who_did_what(shop: Shop) -> None:
    orla = owner(shop)
    fergal = staff(shop, orla, "Fergal Ó Dálaigh")
    with pytest.raises(NotAllowed):
        did(shop, verbs.list_people, fergal)
    with pytest.raises(NotAllowed):
        did(shop, verbs.list_deeds, fergal)
    people = [(one.name, one.role, one.has_password, one.sessions) for one in did(shop, verbs.list_people, orla)]
    assert people == [("Orla", "owner", True, 1), ("Fergal Ó Dálaigh", "staff", True, 1)]
    assert [deed.who for deed in did(shop, verbs.list_deeds, orla)][-1] == "command", "the newest come first"
    found = [(deed.who, deed.what) for deed in did(shop, verbs.list_deeds, orla, " ó dálaigh")]
    assert found == [
        ("Fergal Ó Dálaigh", "signed in by password"),
        ("Fergal Ó Dálaigh", "password set by link"),
        ("Orla", "account added as staff"),
    ]
    assert did(shop, verbs.list_deeds, orla, "nobody so called") == []
    assert len(did(shop, verbs.list_deeds, orla, "", 2)) == 2


@pytest.mark.parametrize("name", ["Or\x00la", "Or\udc80la", "", "x" * 50_000])
def test_what_cannot_be_a_name_is_answered_as_an_unknown_one(shop: Shop, name: str) -> None:
    owner(shop)
    with pytest.raises(InvalidInput, match="do not belong together"):
        enter(shop, name)


def test_once_set_the_second_factor_is_asked_for(shop: Shop, clock: Clock) -> None:
    _, device = with_factor(shop, clock, owner(shop))
    half = enter(shop)
    assert half.needs_code
    assert who(shop, half.token) is None
    with pytest.raises(NotSignedIn):
        did(shop, verbs.list_sessions, half.token)
    with pytest.raises(InvalidInput):
        did(shop, verbs.confirm_second_factor, half.token, "000000" if device.at(clock.now) != "000000" else "1" * 6)
    full = did(shop, verbs.confirm_second_factor, half.token, device.at(clock.now))
    assert who(shop, full) == "Orla"
    with pytest.raises(NotSignedIn):
        did(shop, verbs.confirm_second_factor, half.token, device.at(clock.now))
    again = enter(shop)
    with pytest.raises(InvalidInput):
        did(shop, verbs.confirm_second_factor, again.token, device.at(clock.now))
    clock.forward(minutes=10)
    with pytest.raises(NotSignedIn):
        did(shop, verbs.confirm_second_factor, again.token, device.at(clock.now))


def test_of_two_sign_ins_with_one_code_at_once_one_passes(shop: Shop, clock: Clock) -> None:
    _, device = with_factor(shop, clock, owner(shop))
    for _ in range(5):
        clock.forward(minutes=1)
        one, two, code = enter(shop).token, enter(shop).token, device.at(clock.now)
        finish = partial(did, shop, verbs.confirm_second_factor)
        answers = both(partial(finish, one, code), partial(finish, two, code))
        assert sorted(type(answer).__name__ for answer in answers) == ["InvalidInput", "str"]


def test_guessing_codes_has_to_wait_though_the_password_is_known(shop: Shop, clock: Clock) -> None:
    _, device = with_factor(shop, clock, owner(shop))
    for _ in range(5):
        with pytest.raises(InvalidInput):
            did(shop, verbs.confirm_second_factor, enter(shop).token, "not it")
    with pytest.raises(TooMany):
        did(shop, verbs.confirm_second_factor, enter(shop).token, device.at(clock.now))


def test_another_factor_wants_password_and_a_code_of_the_first(shop: Shop, clock: Clock) -> None:
    first = owner(shop)
    elsewhere = enter(shop).token
    token, device = with_factor(shop, clock, first)
    assert who(shop, elsewhere) is None, "a new factor ends what was opened without it"
    with pytest.raises(InvalidInput):
        verbs.begin_second_factor(shop, CHEAP, token, OTHER_WORDS, device.at(clock.now))
    with pytest.raises(InvalidInput):
        verbs.begin_second_factor(shop, CHEAP, token, WORDS)
    offered = verbs.begin_second_factor(shop, CHEAP, token, WORDS, device.at(clock.now))
    assert "otpauth://totp/" in offered.uri
    assert (who(shop, token), who(shop, offered.token)) == (None, "Orla"), "who was proved anew has a new token"
    fresh = did(shop, verbs.set_second_factor, offered.token, pyotp.TOTP(offered.seed).at(clock.now))
    assert (who(shop, offered.token), who(shop, fresh)) == (None, "Orla")


def test_a_session_ends_when_idle_and_after_twelve_hours(shop: Shop, clock: Clock) -> None:
    token = owner(shop)
    for _ in range(28):
        clock.forward(minutes=25)
        assert who(shop, token) == "Orla"
    clock.forward(minutes=20)
    assert who(shop, token) is None
    token = enter(shop).token
    clock.forward(minutes=30)
    assert who(shop, token) is None


def test_signing_out_ends_the_session_for_good(shop: Shop) -> None:
    token = owner(shop)
    did(shop, verbs.sign_out, token)
    did(shop, verbs.sign_out, token)
    assert who(shop, token) is None
    assert who(shop, "") is None


def test_sessions_are_listed_and_ended_by_their_holder_or_the_owner(shop: Shop) -> None:
    first = owner(shop)
    second = enter(shop, address="192.0.2.9").token
    fergal = staff(shop, first)
    mine = did(shop, verbs.list_sessions, second)
    assert [(one.address, one.is_this) for one in mine] == [(HOME, False), ("192.0.2.9", True)]
    with pytest.raises(NotFound):
        verbs.end_session(shop, CHEAP, fergal, mine[0].id, WORDS)
    with pytest.raises(NotAllowed):
        did(shop, verbs.end_all_sessions, fergal, number(shop, "Orla"))
    with pytest.raises(InvalidInput):
        verbs.end_session(shop, CHEAP, second, mine[0].id, OTHER_WORDS)
    assert who(shop, first) == "Orla", "nobody is signed out by whoever does not know the password"
    fresh = verbs.end_session(shop, CHEAP, second, mine[0].id, WORDS)
    assert [who(shop, token) for token in (first, second, fresh)] == [None, None, "Orla"]
    did(shop, verbs.end_all_sessions, fresh, number(shop, "Fergal"))
    assert who(shop, fergal) is None
    with pytest.raises(InvalidInput):
        verbs.end_own_sessions(shop, CHEAP, fresh, OTHER_WORDS)
    verbs.end_own_sessions(shop, CHEAP, fresh, WORDS)
    assert who(shop, fresh) is None


def test_of_more_than_ten_sessions_the_oldest_ends(shop: Shop, clock: Clock) -> None:
    tokens = [owner(shop)]
    for _ in range(10):
        clock.forward(seconds=1)
        tokens.append(enter(shop).token)
    assert [who(shop, token) for token in tokens] == [None] + ["Orla"] * 10


def test_changing_the_password_takes_the_old_one_and_ends_all_sessions(shop: Shop) -> None:
    first = owner(shop)
    second = enter(shop).token
    with pytest.raises(InvalidInput):
        verbs.change_password(shop, CHEAP, first, OTHER_WORDS, OTHER_WORDS)
    with pytest.raises(InvalidInput):
        verbs.change_password(shop, CHEAP, first, WORDS, "short")
    fresh = verbs.change_password(shop, CHEAP, first, WORDS, OTHER_WORDS)
    assert [who(shop, token) for token in (first, second, fresh)] == [None, None, "Orla"]
    with pytest.raises(InvalidInput):
        enter(shop)
    enter(shop, password=OTHER_WORDS)


def test_a_new_role_ends_the_sessions_and_the_last_owner_stays(shop: Shop) -> None:
    orla = owner(shop)
    fergal = staff(shop, orla)
    with pytest.raises(NotAllowed):
        did(shop, verbs.add_staff, fergal, "Nessa")
    with pytest.raises(NotAllowed):
        did(shop, verbs.change_role, fergal, number(shop, "Fergal"), "owner")
    for verb, given in ((verbs.change_role, ("staff",)), (verbs.end_account, ())):
        with pytest.raises(Conflict):
            did(shop, verb, orla, number(shop, "Orla"), *given)
    did(shop, verbs.change_role, orla, number(shop, "Fergal"), "owner")
    assert who(shop, fergal) is None
    fergal = enter(shop, "Fergal").token
    did(shop, verbs.end_account, fergal, number(shop, "Orla"))
    assert who(shop, orla) is None
    with pytest.raises(InvalidInput):
        enter(shop)


def test_two_owners_cannot_unmake_each_other_at_once(shop: Shop) -> None:
    orla = owner(shop)
    staff(shop, orla)
    did(shop, verbs.change_role, orla, number(shop, "Fergal"), "owner")
    fergal = enter(shop, "Fergal").token
    ids = number(shop, "Orla"), number(shop, "Fergal")
    both(
        lambda: did(shop, verbs.change_role, orla, ids[1], "staff"),
        lambda: did(shop, verbs.change_role, fergal, ids[0], "staff"),
    )
    with shop.reading() as work:
        assert [row.role for row in load_accounts(work.session)].count("owner") == 1


def test_recovery_sets_a_password_and_keeps_the_second_factor(shop: Shop, clock: Clock) -> None:
    token, _ = with_factor(shop, clock, owner(shop))
    with pytest.raises(NotAllowed):
        did(shop, verbs.recover_by_owner, token, number(shop, "Orla"))
    with pytest.raises(NotFound):
        did(shop, verbs.recover_by_command, "Nobody")
    verbs.use_link(shop, CHEAP, did(shop, verbs.recover_by_command, "ORLA"), OTHER_WORDS)
    assert who(shop, token) is None
    assert enter(shop, password=OTHER_WORDS).needs_code
    lost = did(shop, verbs.recover_by_command, "Orla", forget_factor=True)
    with pytest.raises(InvalidInput):
        verbs.use_link(shop, CHEAP, lost, "vq7 rope")
    verbs.use_link(shop, CHEAP, lost, WORDS)
    assert not enter(shop).needs_code


def test_the_owner_recovers_staff_who_are_locked_out(shop: Shop) -> None:
    orla = owner(shop)
    staff(shop, orla)
    for _ in range(5):
        with pytest.raises(InvalidInput):
            enter(shop, "Fergal", OTHER_WORDS)
    verbs.use_link(shop, CHEAP, did(shop, verbs.recover_by_owner, orla, number(shop, "Fergal")), OTHER_WORDS)
    enter(shop, "Fergal", OTHER_WORDS)


def test_a_hash_of_another_cost_is_renewed_at_sign_in(shop: Shop) -> None:
    owner(shop)
    verbs.sign_in(shop, Passwords(Cost(memory_kib=16, passes=1, lanes=1)), "Orla", WORDS, HOME)
    with shop.reading() as work:
        row = account_named(work.session, "orla")
    assert row is not None
    assert "m=16,t=1,p=1" in str(row.password_hash)


def _everything(work: Work) -> str:
    rows = [*load_deeds(work.session), *work.session.exec(select(SessionRow)), *work.session.exec(select(LinkRow))]
    return "\n".join(repr(row) for row in rows)


def test_deeds_say_who_did_what_and_no_secret_is_stored_plain(shop: Shop, clock: Clock) -> None:
    link = did(shop, verbs.make_owner_link, "Orla")
    verbs.use_link(shop, CHEAP, link, WORDS)
    with pytest.raises(InvalidInput):
        enter(shop, "my password typed as name", OTHER_WORDS)
    token, device = with_factor(shop, clock, enter(shop).token)
    did(shop, verbs.add_staff, token, "Fergal")
    with shop.reading() as work:
        deeds = [(deed.who, deed.what, deed.whom) for deed in load_deeds(work.session)]
        stored = _everything(work)
    assert deeds == [
        ("command", "owner link made", "Orla"),
        ("Orla", "password set by link", "Orla"),
        ("unknown", "sign-in refused", ""),
        ("Orla", "signed in by password", ""),
        ("Orla", "second factor offered", "Orla"),
        ("Orla", "second factor set", "Orla"),
        ("Orla", "account added as staff", "Fergal"),
    ]
    for secret in (link, token, WORDS, OTHER_WORDS, device.secret, "my password"):
        assert secret not in stored


@pytest.mark.parametrize("statement", ["UPDATE deed SET who = 'nobody'", "DELETE FROM deed"])
def test_the_database_keeps_every_deed(shop: Shop, statement: str) -> None:
    owner(shop)
    with shop.writing() as work, pytest.raises(DatabaseError, match="a deed stays"):
        work.session.connection().execute(text(statement))


@pytest.mark.parametrize("undone", ["demoted", "ended"])
def test_links_made_by_an_owner_who_is_none_any_more_do_not_work(shop: Shop, undone: str) -> None:
    orla = owner(shop)
    staff(shop, orla)
    verbs.use_link(shop, CHEAP, did(shop, verbs.add_staff, orla, "Nuala", "owner"), WORDS)
    nuala = enter(shop, "Nuala").token
    with shop.reading() as work:
        numbers = {row.name: row.id for row in load_accounts(work.session)}
    recovery = did(shop, verbs.recover_by_owner, nuala, numbers["Fergal"])
    added = did(shop, verbs.add_staff, nuala, "Dara")
    of_orla = did(shop, verbs.add_staff, orla, "Eimear")
    if undone == "demoted":
        did(shop, verbs.change_role, orla, numbers["Nuala"], "staff")
    else:
        did(shop, verbs.end_account, orla, numbers["Nuala"])
    for link in (recovery, added):
        with pytest.raises(NotFound):
            verbs.use_link(shop, CHEAP, link, OTHER_WORDS)
    verbs.use_link(shop, CHEAP, of_orla, OTHER_WORDS)
    fresh = did(shop, verbs.recover_by_owner, orla, numbers["Fergal"])
    verbs.use_link(shop, CHEAP, fresh, OTHER_WORDS)
