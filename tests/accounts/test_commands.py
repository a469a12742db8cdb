"""`wickbook account` on a terminal."""

import pytest
from alembic import command
from alembic.config import Config
from fastapi.testclient import TestClient
from sqlalchemy import select
from typer.testing import CliRunner, Result

from app.accounts.commands import account
from app.accounts.permissions import Role
from app.accounts.rules import Person
from app.accounts.tables import Account
from app.audit.queries import iterate_entries
from app.audit.tables import AuditEntry
from app.audit.verifier import verify_entries
from app.core.db import Sessions, create_house_engine
from app.core.settings import Settings
from app.main import create_app
from tests.accounts.conftest import type_in
from tests.conftest import PASSWORD, Databases, Look


@pytest.fixture
def wickbook(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> "Wickbook":
    return Wickbook(settings.database_url, monkeypatch)


class Wickbook:
    """The command, on the test's own database."""

    def __init__(self, url: str, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("WICKBOOK_DATABASE_URL", url)
        monkeypatch.setenv("WICKBOOK_ARGON2_MEMORY_KIB", "64")
        monkeypatch.setenv("WICKBOOK_ARGON2_PASSES", "1")

    def run(self, *words: str, typed: str = "") -> Result:
        """Run `wickbook account …` with what is typed at its prompts."""
        return CliRunner().invoke(account, list(words), input=typed)


def test_the_terminal_adds_an_administrator_who_can_sign_in(
    wickbook: Wickbook, nobody: TestClient, look: Look
) -> None:
    done = wickbook.run(
        "add",
        "Mirte",
        "Mirte Oldenkamp",
        "--role",
        "administrator",
        "--role",
        "auditor",
        typed=f"{PASSWORD}\n{PASSWORD}\n",
    )
    assert done.exit_code == 0, done.output
    assert PASSWORD not in done.output
    assert "mirte can sign in as administrator, auditor." in done.output
    row = look(select(Account).where(Account.username == "mirte"))[0]
    assert row.roles == {Role.ADMINISTRATOR, Role.AUDITOR}
    assert not row.must_change_password
    entry = look(select(AuditEntry).order_by(AuditEntry.seq.desc()))[0]
    assert b'"via":"terminal"' in entry.body
    assert type_in(nobody, "mirte") == 303


def test_a_generated_password_is_printed_once_and_must_be_changed(
    wickbook: Wickbook, nobody: TestClient, look: Look
) -> None:
    done = wickbook.run("add", "mirte", "Mirte Oldenkamp", "--role", "operator", "--generate")
    temporary = done.output.strip().rsplit(" ", 1)[-1]
    assert type_in(nobody, "mirte", temporary) == 303
    assert nobody.get("/").headers["location"] == "/me/password"


@pytest.mark.parametrize(
    ("words", "typed", "sentence"),
    [
        (("odile", "Other"), PASSWORD, "belongs to another account already"),
        (("o", "Other"), PASSWORD, "must have 2 to 64 characters"),
        (("mirte", " "), PASSWORD, "must have 1 to 200 characters"),
        (("mirte", "Mirte"), "too short", "this one has 9"),
        (("mirte", "Mirte"), "passwordpassword", "tried first"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(
    wickbook: Wickbook, look: Look, words: tuple[str, str], typed: str, sentence: str
) -> None:
    done = wickbook.run("add", *words, "--role", "operator", typed=f"{typed}\n{typed}\n")
    assert done.exit_code == 1
    assert sentence in done.output
    assert "Traceback" not in done.output
    assert len(look(select(Account))) == 5


def test_an_account_takes_a_role_that_exists(wickbook: Wickbook) -> None:
    assert wickbook.run("add", "mirte", "Mirte").exit_code == 2
    assert wickbook.run("add", "mirte", "Mirte", "--role", "king").exit_code == 2


def test_the_list_names_everybody(wickbook: Wickbook) -> None:
    told = wickbook.run("list").output
    for word in ("odile", "Odile Maasland", "administrator", "enabled"):
        assert word in told


def test_a_reset_on_the_terminal_lets_a_locked_out_administrator_in(
    wickbook: Wickbook, nobody: TestClient, ada: Person
) -> None:
    temporary = wickbook.run("reset", "ADA").output.strip().rsplit(" ", 1)[-1]
    assert type_in(nobody, "ada", temporary) == 303
    unknown = wickbook.run("reset", "nobody.here")
    assert unknown.exit_code == 1
    assert "Nobody has this username" in unknown.output


def test_a_database_that_was_never_migrated_is_told_of(
    databases: Databases, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = databases.create()
    done = Wickbook(url, monkeypatch).run("list")
    assert done.exit_code == 1
    assert "wickbook migrate comes first" in done.output
    databases.drop(url)


def test_an_empty_house_says_how_to_begin_and_its_first_account_has_a_whole_log(
    databases: Databases, alembic_config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = databases.create()
    engine = create_house_engine(url)
    with engine.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, "head")
    engine.dispose()
    terminal = Wickbook(url, monkeypatch)
    house = create_app(Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1))
    client = TestClient(house, follow_redirects=False)
    assert "wickbook account add" in client.get("/sign-in").text
    assert "make the first" in terminal.run("list").output
    add = ("add", "ada", "Ada Zellbrook", "--role", "administrator")
    assert terminal.run(*add, typed=f"{PASSWORD}\n{PASSWORD}\n").exit_code == 0
    assert "wickbook account add" not in client.get("/sign-in").text
    assert type_in(client, "ada") == 303
    assert client.get("/").headers["location"] == "/setup/people"
    sessions: Sessions = house.state.sessions
    with sessions.read() as session:
        verdict = verify_entries(iterate_entries(session))
    assert (verdict.is_whole, verdict.size) == (True, 2)
    sessions.engine.dispose()
    databases.drop(url)
