"""`python -m seed_demo`: what it prints, what it leaves alone, and which days it takes."""

from datetime import UTC, date, datetime

import pytest
import typer
from typer.testing import CliRunner

from seed_demo.__main__ import choose_end, main, spell_accounts
from seed_demo.load_acts import DemoAccount

# Summer midnight at the plant is 22:00 of the day before in UTC.
NOW = datetime(2026, 7, 15, 22, 30, tzinfo=UTC)


def run(url: str, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> tuple[int, str, str]:
    monkeypatch.setenv("WICKBOOK_DATABASE_URL", url)
    command = typer.Typer()
    command.command()(main)
    result = CliRunner().invoke(command, arguments)
    return result.exit_code, result.stdout, result.stderr


def test_a_database_in_use_is_left_alone_and_nothing_is_printed_for_the_accounts_file(
    database_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    status, out, err = run(database_url, monkeypatch)
    assert status == 0
    assert out == ""
    assert "the data are kept" in err


def test_a_database_without_tables_is_to_be_migrated_first(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path_factory.mktemp("bare") / "bare.db"
    status, out, err = run(f"sqlite:///{file}", monkeypatch)
    assert status == 1
    assert out == ""
    assert "wickbook migrate" in err


@pytest.mark.parametrize("day", ["1999-12-31", "2999-01-01", "0001-01-01", "tomorrow"])
def test_a_day_that_cannot_be_the_end_is_refused(
    database_url: str, monkeypatch: pytest.MonkeyPatch, day: str
) -> None:
    status, out, _ = run(database_url, monkeypatch, "--end", day)
    assert status == 2
    assert out == ""


def test_the_story_ends_now_or_at_the_end_of_an_earlier_day() -> None:
    assert choose_end(None, now=NOW) == NOW
    assert choose_end(date(2026, 7, 16), now=NOW) == NOW
    assert choose_end(date(2026, 7, 15), now=NOW) == datetime(2026, 7, 15, 22, tzinfo=UTC)


def test_the_end_cannot_lie_in_the_future() -> None:
    with pytest.raises(typer.BadParameter, match="2026-07-16, not 2026-07-17"):
        choose_end(date(2026, 7, 17), now=NOW)


def test_the_table_of_accounts_holds_role_username_and_password() -> None:
    table = spell_accounts([DemoAccount("ada", "Ada Zellbrook", ("administrator",), "abc-def")])
    assert table.splitlines()[-1].split() == ["administrator", "ada", "abc-def", "Ada", "Zellbrook"]
