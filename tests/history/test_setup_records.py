"""Accounts, tokens, parts and benches changed past the log: each is found, and named."""

from dataclasses import replace
from datetime import timedelta

import pytest

from app.accounts import own_service, service
from app.accounts.permissions import Role
from app.accounts.queries import find_account
from app.accounts.rules import Person
from app.accounts.schemas import TokenFields
from app.core.db import Sessions
from app.history.sweep import count_records, sweep
from app.materials.schemas import PartFields
from app.materials.service import add_part, edit_part
from app.plant.schemas import BenchFields
from app.plant.service import add_bench, edit_bench, reinstate_bench, retire_bench
from tests.conftest import MovableClock
from tests.history.conftest import Tamper

PART = PartFields.model_validate(
    {"part_number": "VRYLO-B200", "title": "Level processor", "package_type": "BGA"}
)


def list_differences(sessions: Sessions) -> list[str]:
    return [str(one) for swept in sweep(sessions) for one in swept.differences]


@pytest.fixture(autouse=True)
def told(sessions: Sessions, clock: MovableClock, ada: Person, odile: Person, edda: Person) -> None:
    """Let Ada and Odile do everything with accounts, tokens, parts and benches that there is."""
    with sessions.write.begin() as session:
        clock.advance(minutes=5)
        odile, edda = replace(odile, session_id=1), replace(edda, session_id=3)
        now = clock()
        accounts = {name: find_account(session, name) for name in ("odile", "edda", "anselm")}
        first, second, third = accounts["odile"], accounts["edda"], accounts["anselm"]
        assert first is not None
        assert second is not None
        assert third is not None
        fields = TokenFields.model_validate({"name": "Scale", "roles": ["operator"], "days": 30})
        for name in ("Scale", "Printer", "Lamp"):
            named = fields.model_copy(update={"name": name})
            own_service.add_token(session, named, person=odile, most_days=90, now=now)
        of_edda = TokenFields.model_validate({"name": "Oven", "roles": ["engineer"], "days": 30})
        own_service.add_token(session, of_edda, person=edda, most_days=90, now=now)
        own_service.revoke_token(session, 2, person=odile, now=clock.advance(minutes=1))
        wider = {Role.OPERATOR, Role.ENGINEER}
        now = clock.advance(minutes=1)
        service.change_roles(session, first, wider, actor=ada.actor, now=now)
        service.rename(
            session, first, username="odile", name="Odile Marn", actor=ada.actor, now=now
        )
        service.disable(session, second, actor=ada.actor, now=now)
        service.disable(session, third, actor=ada.actor, now=now)
        now = clock.advance(minutes=1)
        service.enable(session, third, actor=ada.actor, now=now)
        service.enable(session, second, actor=ada.actor, now=now)
        service.disable(session, second, actor=ada.actor, now=clock.advance(minutes=1))
        part = add_part(session, PART, person=ada, now=now)
        for edit in ({"length_mm": 15.0}, {"title": "Tide processor", "moisture_level": "3"}):
            changed = PART.model_dump() | {"length_mm": 15.0} | edit
            fields_after = PartFields.model_validate(changed)
            edit_part(session, part, fields_after, person=ada, now=clock.advance(minutes=1))
        for code in ("HERON", "GREBE", "TERN"):
            said = BenchFields(code=code, title="By the window")
            bench = add_bench(session, said, person=ada, now=now)
            said = BenchFields(code=code, title="By the door", has_nitrogen=True)
            edit_bench(session, bench, said, person=ada, now=now + timedelta(minutes=1))
            if code != "TERN":
                retire_bench(session, bench, person=ada, now=now + timedelta(minutes=2))
            if code == "GREBE":
                reinstate_bench(session, bench, person=ada, now=now + timedelta(minutes=3))


def test_what_was_done_through_the_services_differs_in_nothing(sessions: Sessions) -> None:
    assert list_differences(sessions) == []


def test_each_record_is_counted_once(sessions: Sessions) -> None:
    with sessions.read() as session:
        total = count_records(session)
    assert sum(swept.count for swept in sweep(sessions)) == total


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        (
            "UPDATE accounts SET roles = 'administrator' WHERE username = 'odile'",
            "account odile: its roles is administrator, and entry",
        ),
        ("UPDATE accounts SET roles = 'king' WHERE username = 'ines'", "account ines: its roles"),
        (
            "UPDATE accounts SET disabled_at = NULL WHERE username = 'edda'",
            "account edda: its disabling is nothing",
        ),
        (
            "UPDATE accounts SET disabled_at = '2026-01-01 00:00:00' WHERE username = 'anselm'",
            "account anselm: its disabling is 2026-01-01",
        ),
        (
            "UPDATE accounts SET created_at = '2026-01-01 00:00:00' WHERE username = 'ines'",
            "account ines: its moment of adding",
        ),
        (
            "UPDATE api_tokens SET expires_at = '2036-01-01 00:00:00' WHERE id = 1",
            "token 1 (Scale): its expiry is 2036-01-01",
        ),
        ("UPDATE api_tokens SET revoked_at = NULL WHERE id = 2", "token 2 (Printer): its end is"),
        ("UPDATE api_tokens SET revoked_at = NULL WHERE id = 4", "token 4 (Oven): its end is"),
        ("UPDATE api_tokens SET revoked_at = created_at WHERE id = 3", "token 3 (Lamp): its end"),
        ("UPDATE api_tokens SET roles = 'engineer' WHERE id = 1", "token 1 (Scale): its roles"),
        ("UPDATE api_tokens SET account_id = 1 WHERE id = 4", "token 4 (Oven): its owner is 1"),
        ("DELETE FROM api_tokens WHERE id = 2", "token 2: entry"),
        ("UPDATE parts SET title = 'x' WHERE part_number = 'VRYLO-B200'", "its title is x"),
        ("UPDATE parts SET length_mm = 16", "part VRYLO-B200: its length mm is 16"),
        ("UPDATE parts SET moisture_level = NULL", "its moisture level is nothing"),
        ("UPDATE parts SET package_type = 'QFN'", "its package type is QFN"),
        ("UPDATE parts SET reflow_cycles_allowed = 9", "its reflow cycles allowed is 9"),
        ("UPDATE parts SET part_number = 'X' WHERE part_number = 'VRYLO-B200'", "part X: its part"),
        ("UPDATE benches SET title = 'x' WHERE code = 'TERN'", "bench TERN: its title is x"),
        ("UPDATE benches SET code = 'SWAN' WHERE code = 'TERN'", "bench SWAN: its code is SWAN"),
        (
            "UPDATE benches SET has_nitrogen = (1 = 0) WHERE code = 'TERN'",
            "bench TERN: its has nitrogen",
        ),
        ("UPDATE benches SET retired_at = NULL WHERE code = 'HERON'", "bench HERON: its retiring"),
        (
            "UPDATE benches SET retired_at = created_at WHERE code = 'GREBE'",
            "bench GREBE: its retiring",
        ),
        (
            "UPDATE benches SET measuring_chain = '{}' WHERE code = 'TERN'",
            "bench TERN: its measuring chain",
        ),
        ("DELETE FROM benches WHERE code = 'TERN'", "its record is gone"),
    ],
)
def test_a_changed_record_is_found_and_named(
    sessions: Sessions, tamper: Tamper, statement: str, named: str
) -> None:
    tamper(statement)
    found = list_differences(sessions)
    assert any(named in sentence for sentence in found), found


SLIPPED_IN = {
    "bench SLIPPED": (
        "INSERT INTO benches (id, version, code, title, has_nitrogen, created_at)"
        " VALUES (99, 1, 'SLIPPED', 'In', (1 = 0), '2026-01-01 00:00:00')"
    ),
    "token 99 (Own)": (
        "INSERT INTO api_tokens (id, account_id, name, secret_digest, roles, created_at,"
        " expires_at) SELECT 99, account_id, 'Own', 'x', roles, created_at, expires_at"
        " FROM api_tokens WHERE id = 1"
    ),
    "account ghost": (
        "INSERT INTO accounts (id, version, username, name, commitment, roles, password_hash,"
        " must_change_password, created_at) SELECT 99, 1, 'ghost', name, commitment, roles,"
        " '!', (1 = 0), created_at FROM accounts WHERE username = 'ada'"
    ),
}


@pytest.mark.parametrize("named", SLIPPED_IN)
def test_a_record_that_nobody_told_of_is_named(
    sessions: Sessions, tamper: Tamper, named: str
) -> None:
    tamper(SLIPPED_IN[named])
    assert f"{named}: no entry of the log tells of it" in list_differences(sessions)


def test_an_account_that_took_another_ones_name_is_named(
    sessions: Sessions, tamper: Tamper
) -> None:
    tamper("UPDATE accounts SET username = 'gone', name = 'Gone' WHERE username = 'ines'")
    tamper(
        "UPDATE accounts SET username = 'ines', (name, commitment) ="
        " (SELECT name, commitment FROM name_cards WHERE username = 'ines')"
        " WHERE username = 'odile'"
    )
    assert any(
        sentence.startswith("account ines: its name's commitment is")
        for sentence in list_differences(sessions)
    )


def test_a_row_that_cannot_be_read_is_named_and_not_a_crash(
    sessions: Sessions, tamper: Tamper, database: str
) -> None:
    if database != "sqlite":
        pytest.skip("PostgreSQL keeps no text for a moment")
    tamper("UPDATE api_tokens SET expires_at = 'soon' WHERE id = 3")
    found = list_differences(sessions)
    assert found == ["token 3: what is stored of it cannot be read: it was changed"]
