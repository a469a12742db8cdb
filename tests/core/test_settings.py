"""A wrong setting stops the start with a line that says what to write."""

import pytest
from pydantic import ValidationError

from app.core.settings import PREFIX, Settings, read_settings

WRONG = [
    ("DATABASE_URL", "", "write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME"),
    ("DATABASE_URL", "mysql://h/n", "write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME"),
    ("DATABASE_URL", "sqlite:///", "write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME"),
    ("DATABASE_URL", "sqlite:///:memory:", "write sqlite:///FILE or postgresql"),
    ("DATABASE_URL", "postgresql+psycopg://u@h:door/n", "write sqlite:///FILE or postgresql"),
    ("DATABASE_URL", "postgresql+psycopg://u@h", "write sqlite:///FILE or postgresql"),
    ("PLANT_NAME", "", "must have at least 1 characters"),
    ("PLANT_NAME", "x" * 81, "may have at most 80 characters"),
    ("PLANT_ZONE", "Mars/Olympus", "write a zone of the IANA list, like Europe/Vienna, not 'Mars"),
    ("PLANT_ZONE", "../../etc/passwd", "write a zone of the IANA list, like Europe/Vienna"),
    ("HTTPS_ONLY", "perhaps", "must be yes or no, not perhaps"),
    ("SESSION_HOURS", "a day", "must be a whole number, not a day"),
    ("SESSION_HOURS", "0", "must be at least 1, not 0"),
    ("SESSION_HOURS", "169", "must be at most 168, not 169"),
    ("BODY_LIMIT_KB", "15", "must be at least 16, not 15"),
    ("UPLOAD_LIMIT_MB", "NaN", "must be a whole number, not NaN"),
    ("UPLOAD_LIMIT_MB", "9" * 5_000, "must be a whole number of at most 10 digits"),
]


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in Settings.model_fields:
        monkeypatch.delenv(PREFIX + name.upper(), raising=False)


def read_refusal() -> list[str]:
    with pytest.raises(SystemExit) as stopped:
        read_settings()
    first, *lines = str(stopped.value.code).split("\n")
    assert first == "Wickbook cannot start:"
    return [line.strip() for line in lines]


def test_without_any_setting_the_defaults_are_sound() -> None:
    settings = read_settings()
    assert settings == Settings()
    assert settings.is_sqlite
    assert settings.zone.key == "UTC"


@pytest.mark.parametrize(("name", "value", "said"), WRONG)
def test_a_wrong_value_stops_the_start_and_says_what_to_write(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str, said: str
) -> None:
    monkeypatch.setenv(PREFIX + name, value)
    (line,) = read_refusal()
    assert line.startswith(f"{PREFIX}{name}: {said}")
    assert len(line) < 200


def test_every_number_has_a_least_and_a_most(monkeypatch: pytest.MonkeyPatch) -> None:
    numbers = [name for name, field in Settings.model_fields.items() if field.annotation is int]
    assert len(numbers) > 5
    for far in ("-1", "999999999"):
        for name in numbers:
            monkeypatch.setenv(PREFIX + name.upper(), far)
        assert len(read_refusal()) == len(numbers)


@pytest.mark.parametrize(
    ("misspelt", "meant"),
    [("PLANT_NAMES", "PLANT_NAME"), ("PLANTZONE", "PLANT_ZONE"), ("DATABASE_URI", "DATABASE_URL")],
)
def test_a_misspelt_name_stops_the_start_and_the_right_one_is_named(
    monkeypatch: pytest.MonkeyPatch, misspelt: str, meant: str
) -> None:
    monkeypatch.setenv(PREFIX + misspelt, "1")
    assert read_refusal() == [f"{PREFIX}{misspelt}: no such setting; write {PREFIX}{meant}"]


def test_a_name_like_no_other_stops_the_start_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "COFFEE", "strong")
    assert read_refusal() == [f"{PREFIX}COFFEE: no such setting"]


def test_all_faults_are_told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "COFFEE", "strong")
    monkeypatch.setenv(PREFIX + "PLANT_ZONE", "Mars")
    monkeypatch.setenv(PREFIX + "TOKEN_DAYS", "0")
    assert len(read_refusal()) == 3


def test_a_password_in_a_wrong_address_is_not_repeated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "DATABASE_URL", "postgres://wickbook:weir-lantern@db/house")
    assert "weir-lantern" not in "".join(read_refusal())


@pytest.mark.parametrize(
    "url",
    [
        "sqlite:///wickbook.db",
        "sqlite:////srv/wickbook/wickbook.db",
        "postgresql+psycopg://wickbook@db/house",
        "postgresql+psycopg://wickbook:pw@db:5433/house?sslmode=require",
        "postgresql+psycopg://wickbook@/house?host=/run/postgresql",
    ],
)
def test_every_address_of_a_database_that_keeps_is_let_in(
    monkeypatch: pytest.MonkeyPatch, url: str
) -> None:
    monkeypatch.setenv(PREFIX + "DATABASE_URL", url)
    assert read_settings().database_url == url


def test_settings_do_not_change_while_the_service_runs() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        Settings().plant_name = "Another"  # type: ignore[misc]
