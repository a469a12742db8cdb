"""`wickbook account`: the first administrator, and help for who cannot sign in."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer
from pydantic import BaseModel, ValidationError
from rich.console import Console
from rich.table import Table
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.accounts import service
from app.accounts.passwords.hashing import get_hasher
from app.accounts.passwords.wording import LEAST, MOST
from app.accounts.permissions import Role
from app.accounts.queries import find_account, list_accounts
from app.accounts.rules import parse_username, spell_roles
from app.accounts.schemas import PersonName, Username
from app.audit.service import install_log
from app.core.clock import read_clock
from app.core.db import create_house_engine, open_sessions
from app.core.faults import faults_of
from app.core.refusals import Refusal, Unknown, Unreadable
from app.core.settings import Settings, read_settings

account = typer.Typer(no_args_is_help=True, help="Add, list and reset the accounts of people.")
console = Console(soft_wrap=True, highlight=False, markup=False)


class UsernameUnknown(Unknown):
    """Nobody has this username."""

    code = "accounts.username_unknown"


class _Names(BaseModel):
    username: Username
    name: PersonName


@account.command()
def add(
    username: Annotated[str, typer.Argument(help="2 to 64 letters, digits, dots, - or _.")],
    name: Annotated[str, typer.Argument(help="The full name, as it is to stand in the history.")],
    role: Annotated[list[Role], typer.Option(help="May be given several times.")],
    *,
    generate: Annotated[
        bool, typer.Option("--generate", help="Make a temporary password and print it once.")
    ] = False,
) -> None:
    """Add a person; this is how the first administrator comes to be."""
    settings = read_settings()
    with _one_transaction(settings) as session:
        names = _parse(username, name)
        hasher = get_hasher(settings)
        if generate:
            _, temporary = service.add_person(
                session,
                username=names.username,
                name=names.name,
                roles=role,
                hasher=hasher,
                actor=service.TERMINAL,
                now=read_clock(),
            )
        else:
            service.add_account(
                session,
                username=names.username,
                name=names.name,
                roles=role,
                password=_ask_password(),
                hasher=hasher,
                actor=service.TERMINAL,
                now=read_clock(),
            )
    # Said only once the change is stored.
    console.print(f"{names.username} can sign in as {', '.join(sorted(role))}.")
    if generate:
        console.print(f"Temporary password, shown this once: {temporary}")


@account.command("list")
def show_list() -> None:
    """List everybody who has or had an account."""
    table = Table("username", "name", "roles", "state")
    with _one_transaction(read_settings()) as session:
        for row in list_accounts(session):
            state = "disabled" if row.disabled_at else "enabled"
            table.add_row(row.username, row.name, spell_roles(row.roles), state)
    if not table.row_count:
        console.print("Nobody has an account yet; make the first: wickbook account add --help")
        return
    console.print(table)


@account.command()
def reset(username: Annotated[str, typer.Argument(help="Who needs a new password.")]) -> None:
    """Give a person a temporary password, printed once; their sign-ins end."""
    settings = read_settings()
    with _one_transaction(settings) as session:
        try:
            row = find_account(session, parse_username(username))
        except ValueError:
            row = None
        if row is None:
            raise UsernameUnknown("Nobody has this username; see: wickbook account list")
        temporary = service.reset_password(
            session,
            row,
            hasher=get_hasher(settings),
            actor=service.TERMINAL,
            now=read_clock(),
        )
    console.print(f"Temporary password, shown this once: {temporary}")


@contextmanager
def _one_transaction(settings: Settings) -> Iterator[Session]:
    """Open the command's transaction; a refusal becomes a sentence and exit status 1."""
    engine = create_house_engine(settings.database_url)
    sessions = open_sessions(engine)
    install_log(sessions)
    try:
        with sessions.write.begin() as session:
            yield session
    except Refusal as refusal:
        console.print(f"Not done: {refusal.sentence}")
        raise typer.Exit(1) from None
    except DBAPIError as error:
        console.print(
            f"Not done, the database says: {error.orig}\nIf it is new: wickbook migrate comes first"
        )
        raise typer.Exit(1) from None
    finally:
        engine.dispose()


def _parse(username: str, name: str) -> _Names:
    try:
        return _Names(username=username, name=name)
    except ValidationError as error:
        raise Unreadable(faults_of(error)) from None


def _ask_password() -> str:
    asked = f"Password ({LEAST} to {MOST} characters)"
    typed: str = typer.prompt(asked, hide_input=True, confirmation_prompt=True)
    return typed
