"""What an administrator does on the pages of people."""

import re

import pytest
from sqlalchemy import select

from app.accounts.rules import Person
from app.accounts.tables import Account
from app.audit.tables import AuditEntry, NameCard
from tests.accounts.conftest import BrowseFrom, type_in
from tests.conftest import Look, SignedIn

FIELDS = {"username": "Mirte", "name": "Mirte Oldenkamp", "roles": ["operator", "auditor"]}


def get_version(look: Look, person: Person) -> str:
    return str(look(select(Account.version).where(Account.id == person.account_id))[0])


def test_a_new_person_signs_in_with_the_temporary_password_and_must_change_it(
    signed_in: SignedIn, ada: Person, browse_from: BrowseFrom, look: Look
) -> None:
    page = signed_in(ada).post("/setup/people", data=FIELDS).text
    temporary = re.findall(r"<code>([^<]+)</code>", page)[0]
    client = browse_from("10.0.0.7")
    assert type_in(client, "mirte", temporary) == 303
    assert client.get("/").headers["location"] == "/me/password"
    account = look(select(Account).where(Account.username == "mirte"))[0]
    card = look(select(NameCard).where(NameCard.commitment == account.commitment))[0]
    assert (card.account_id, card.name) == (account.id, "Mirte Oldenkamp")
    entry = look(select(AuditEntry).where(AuditEntry.action == "accounts.add"))[-1]
    assert entry.actor_id == ada.account_id
    assert b"Mirte" not in entry.body
    assert account.commitment.encode() in entry.body


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"username": "odile"}, "belongs to another account already"),
        ({"username": "ODILE"}, "belongs to another account already"),
        ({"username": "m"}, "must have 2 to 64 characters"),
        ({"username": "mir te"}, "may hold letters"),
        ({"name": ""}, "Full name is missing"),
        ({"name": "n" * 121}, "may have at most 120 characters"),
        ({"name": "a\x00b"}, "no text may hold"),
        ({"roles": []}, "must have at least 1 entries"),
        ({"roles": ["king"]}, "Put this right"),
    ],
)
def test_a_refused_person_keeps_what_was_typed(
    signed_in: SignedIn, ada: Person, look: Look, changed: dict[str, object], sentence: str
) -> None:
    answer = signed_in(ada).post("/setup/people", data={**FIELDS, **changed})
    assert answer.status_code == 422
    assert sentence in answer.text
    assert len(look(select(Account))) == 5


def test_only_administrators_see_people(signed_in: SignedIn, ines: Person, ada: Person) -> None:
    assert signed_in(ines).get("/setup/people").status_code == 403
    page = signed_in(ada).get("/setup/people").text
    assert "Odile Maasland" in page
    assert "engineer" in page


def test_a_new_name_gets_a_card_of_its_own_and_the_old_entries_keep_theirs(
    signed_in: SignedIn, ada: Person, odile: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = f"/setup/people/{odile.account_id}"
    fields = {"username": "odile", "name": "Odile Vaarting", "version": get_version(look, odile)}
    assert client.post(path, data=fields).status_code == 303
    cards = look(select(NameCard.name).where(NameCard.username == "odile").order_by(NameCard.name))
    assert cards == ["Odile Maasland", "Odile Vaarting"]
    account = look(select(Account).where(Account.id == odile.account_id))[0]
    assert account.commitment != odile.commitment
    entry = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert odile.commitment.encode() in entry.body
    assert account.commitment.encode() in entry.body
    assert b"Vaarting" not in entry.body


def test_the_second_of_two_edits_is_refused_with_both_versions(
    signed_in: SignedIn, ada: Person, odile: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = f"/setup/people/{odile.account_id}"
    seen = get_version(look, odile)
    first = client.post(f"{path}/roles", data={"roles": ["engineer"], "version": seen})
    assert first.status_code == 303
    second = client.post(path, data={"username": "odile", "name": "Other", "version": seen})
    assert second.status_code == 422
    assert f"you saw version {seen}, it is now" in second.text
    assert look(select(Account.name).where(Account.id == odile.account_id)) == ["Odile Maasland"]


def test_roles_hold_from_the_next_request_on(
    signed_in: SignedIn, ada: Person, odile: Person, look: Look
) -> None:
    assert signed_in(odile).get("/setup/people").status_code == 403
    data = {"roles": ["administrator"], "version": get_version(look, odile)}
    signed_in(ada).post(f"/setup/people/{odile.account_id}/roles", data=data)
    assert signed_in(odile).get("/setup/people").status_code == 200


def test_nobody_gives_themselves_a_role_and_the_last_administrator_keeps_theirs(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = f"/setup/people/{ada.account_id}"
    version = get_version(look, ada)
    widened = {"roles": ["administrator", "engineer"], "version": version}
    answer = client.post(f"{path}/roles", data=widened)
    assert answer.status_code == 422
    assert "cannot be given to oneself (engineer)" in answer.text
    laid_down = client.post(f"{path}/roles", data={"roles": ["auditor"], "version": version})
    assert laid_down.status_code == 422
    refused = client.post(f"{path}/disablement")
    assert refused.status_code == 409
    assert "This is the last administrator" in refused.text
    assert client.post(f"{path}/password-reset").status_code == 403
    row = look(select(Account).where(Account.id == ada.account_id))[0]
    assert (row.roles, row.disabled_at, str(row.version)) == (ada.roles, None, version)


def test_a_disabled_person_is_out_at_once_and_stays_named(
    signed_in: SignedIn, ada: Person, odile: Person
) -> None:
    theirs, client = signed_in(odile), signed_in(ada)
    path = f"/setup/people/{odile.account_id}"
    assert theirs.get("/me").status_code == 200
    assert client.post(f"{path}/disablement").status_code == 303
    assert theirs.get("/me").headers["location"] == "/sign-in"
    assert "Odile Maasland" in client.get("/setup/people").text
    assert "disabled" in client.get(path).text
    assert client.post(f"{path}/password-reset").status_code == 409
    assert client.post(f"{path}/enablement").status_code == 303
    # Enabled again, she signs in anew: what ran before stays ended.
    assert theirs.get("/me").headers["location"] == "/sign-in"


def test_a_reset_ends_sign_ins_and_shows_the_password_once(
    signed_in: SignedIn, ada: Person, odile: Person, browse_from: BrowseFrom
) -> None:
    theirs, client = signed_in(odile), signed_in(ada)
    page = client.post(f"/setup/people/{odile.account_id}/password-reset").text
    temporary = re.findall(r"<code>([^<]+)</code>", page)[0]
    assert theirs.get("/me").headers["location"] == "/sign-in"
    assert temporary not in client.get(f"/setup/people/{odile.account_id}").text
    assert type_in(browse_from("10.0.0.7"), "odile", temporary) == 303


def test_unknown_people_are_not_found(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    assert client.get("/setup/people/4711").status_code == 404
    for ending in ("", "/roles", "/disablement", "/enablement", "/password-reset"):
        assert client.post(f"/setup/people/4711{ending}").status_code == 404
    assert client.get("/setup/people/99999999999999").status_code == 422
    assert client.get("/setup/people?cursor=x").status_code == 422
