"""Usernames, roles, who may change whom, and the waits after failures."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.accounts.permissions import Action, NotPermitted, Role
from app.accounts.rules import (
    LastAdministrator,
    NoRole,
    OwnAccount,
    PasswordMustChange,
    Person,
    RolesTooWide,
    SignInNeeded,
    check_may_disable,
    check_role_change,
    check_token_roles,
    parse_username,
)
from app.accounts.throttle import Attempt, compute_left_s, compute_wait_s, group_address
from tests.conftest import NOW

ADMINISTRATOR = frozenset({Role.ADMINISTRATOR})
OPERATOR = frozenset({Role.OPERATOR})


def make_person(*, must_change: bool = False, session_id: int | None = 1) -> Person:
    return Person(
        account_id=1,
        username="odile",
        name="Odile Maasland",
        commitment="0" * 64,
        roles=OPERATOR,
        via="session",
        csrf="mark",
        session_id=session_id,
        must_change=must_change,
    )


@pytest.mark.parametrize(
    ("typed", "stored"),
    [
        ("Odile", "odile"),
        ("ＯＤＩＬＥ", "odile"),
        (" odile.m-2_x ", "odile.m-2_x"),
        ("STRAẞE", "strasse"),
        ("Ærø", "ærø"),
    ],
)
def test_one_person_has_one_spelling(typed: str, stored: str) -> None:
    assert parse_username(typed) == stored


@pytest.mark.parametrize("typed", ["", "o", "x" * 65, "o dile", "odile@x", "o\x00d", "o\ud800d"])
def test_a_username_of_other_characters_or_lengths_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match=r"character"):
        parse_username(typed)


@given(st.text(max_size=70))
def test_parsing_a_username_twice_changes_nothing(text: str) -> None:
    try:
        once = parse_username(text)
    except ValueError:
        return
    assert parse_username(once) == once


def test_nobody_gives_themselves_a_role_but_may_lay_one_down() -> None:
    both = ADMINISTRATOR | OPERATOR
    with pytest.raises(OwnAccount):
        check_role_change(
            before=ADMINISTRATOR, after=both, is_own=True, is_last_administrator=False
        )
    check_role_change(before=both, after=OPERATOR, is_own=True, is_last_administrator=False)
    check_role_change(before=OPERATOR, after=both, is_own=False, is_last_administrator=False)


def test_the_last_administrator_stays_one_and_stays_enabled() -> None:
    with pytest.raises(LastAdministrator):
        check_role_change(
            before=ADMINISTRATOR, after=OPERATOR, is_own=False, is_last_administrator=True
        )
    with pytest.raises(LastAdministrator):
        check_may_disable(is_own=False, is_last_administrator=True)
    with pytest.raises(OwnAccount):
        check_may_disable(is_own=True, is_last_administrator=False)
    check_may_disable(is_own=False, is_last_administrator=False)


def test_a_token_has_some_of_its_owners_roles_and_no_other() -> None:
    assert check_token_roles([Role.OPERATOR], own=OPERATOR | ADMINISTRATOR) == OPERATOR
    with pytest.raises(RolesTooWide):
        check_token_roles([Role.ENGINEER], own=OPERATOR)
    with pytest.raises(NoRole):
        check_token_roles([], own=OPERATOR)


def test_with_a_temporary_password_only_ones_own_account_opens() -> None:
    person = make_person(must_change=True)
    person.check_may(Action.OWN_ACCOUNT)
    assert not person.may(Action.READ)
    with pytest.raises(PasswordMustChange):
        person.check_may(Action.READ)
    with pytest.raises(NotPermitted):
        make_person().check_may(Action.RECIPES_WRITE)


def test_a_token_cannot_do_what_takes_a_sign_in() -> None:
    make_person().check_signed_in()
    with pytest.raises(SignInNeeded):
        make_person(session_id=None).check_signed_in()


def test_waits_double_after_five_failures_up_to_their_limit() -> None:
    waits = [compute_wait_s(failures, most_s=300) for failures in range(16)]
    assert waits == [0, 0, 0, 0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300]
    assert compute_wait_s(1_000_000, most_s=30) == 30


@given(failures=st.integers(0, 10**9), passed_s=st.floats(0, 400), most_s=st.integers(1, 300))
def test_no_number_of_failures_makes_a_wait_longer_than_its_limit(
    failures: int, passed_s: float, most_s: int
) -> None:
    last_at = NOW - timedelta(seconds=passed_s)
    left_s = compute_left_s(failures, last_at=last_at, now=NOW, most_s=most_s)
    assert 0 <= left_s <= most_s
    if passed_s >= most_s:
        assert left_s == 0


def test_where_an_account_signed_in_lately_only_its_own_failures_there_count() -> None:
    attempt = Attempt("odile", "10.0.0.7")
    assert attempt.list_limits(is_known=True) == {attempt.pair_key: 300}
    assert attempt.list_limits(is_known=False)[attempt.account_key] == 30
    assert len(set(attempt.list_keys())) == 3


@pytest.mark.parametrize(
    ("address", "group"),
    [
        ("10.0.0.7", "10.0.0.7"),
        ("::ffff:10.0.0.7", "10.0.0.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("testclient", "testclient"),
        ("", ""),
    ],
)
def test_a_network_of_sixty_four_bits_counts_as_one_address(address: str, group: str) -> None:
    assert group_address(address) == group
