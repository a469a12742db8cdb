"""Everything a plant may set, read once from the environment; a wrong value stops the start."""

import os
import re
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Final
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from app.core.faults import faults_of

PREFIX = "WICKBOOK_"


_DATABASE_URL: Final = re.compile(r"sqlite:///(?!:memory:)[^?#]+|postgresql\+psycopg://.+")


def _check_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError(f"write a zone of the IANA list, like Europe/Vienna, not {name[:60]!r}")
    return name


def _check_database_url(url: str) -> str:
    """Refuse what is no address of a database that keeps; the sentence repeats no password."""
    try:
        is_address = bool(_DATABASE_URL.fullmatch(url) and make_url(url).database)
    except (ArgumentError, ValueError):
        is_address = False
    if not is_address:
        raise ValueError("write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME")
    return url


class Settings(BaseSettings):
    """The plant's settings; each is read from `WICKBOOK_` plus its name in capitals."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True)

    database_url: Annotated[
        str,
        Field(description="sqlite:///file or postgresql+psycopg://user@host/name"),
        AfterValidator(_check_database_url),
    ] = "sqlite:///.wickbook/wickbook.db"
    plant_name: Annotated[str, Field(min_length=1, max_length=80)] = "Our plant"
    plant_zone: Annotated[str, AfterValidator(_check_zone)] = "UTC"
    https_only: bool = False
    trusted_proxies: Annotated[str, Field(max_length=400)] = "127.0.0.1"

    session_idle_minutes: Annotated[int, Field(ge=1, le=1_440)] = 60
    session_hours: Annotated[int, Field(ge=1, le=168)] = 12
    token_days: Annotated[int, Field(ge=1, le=366)] = 90
    # OWASP password storage: argon2id with 19 MiB, 2 passes, 1 lane is the least to choose.
    argon2_memory_kib: Annotated[int, Field(ge=64, le=1_048_576)] = 19_456
    argon2_passes: Annotated[int, Field(ge=1, le=20)] = 2

    upload_limit_mb: Annotated[int, Field(ge=1, le=256)] = 32
    body_limit_kb: Annotated[int, Field(ge=16, le=16_384)] = 1_024
    trace_row_limit: Annotated[int, Field(ge=1_000, le=2_000_000)] = 500_000

    reworks_per_site: Annotated[int, Field(ge=1, le=20)] = 2

    @property
    def zone(self) -> ZoneInfo:
        """The plant's time zone."""
        return ZoneInfo(self.plant_zone)

    @property
    def is_sqlite(self) -> bool:
        """Whether the database is a file of the service's own."""
        return self.database_url.startswith("sqlite")

    @property
    def sqlite_file(self) -> Path | None:
        """The database file, where there is one."""
        return Path(self.database_url.removeprefix("sqlite:///")) if self.is_sqlite else None


def read_settings() -> Settings:
    """Read the settings, or leave the program with one line per fault."""
    known = {PREFIX + name.upper() for name in Settings.model_fields}
    # A misspelt name would otherwise be ignored, and its default silently used.
    faults = [_spell_unknown(name, known) for name in sorted(_list_own_names() - known)]
    try:
        settings = Settings()
    except ValidationError as error:
        faults += [f"{PREFIX}{fault.field.upper()}: {fault.sentence}" for fault in faults_of(error)]
    if faults:
        raise SystemExit(spell_faults(faults))
    return settings


def spell_faults(faults: Iterable[str]) -> str:
    """Spell the faults the way a person reads them on the terminal."""
    return "Wickbook cannot start:\n" + "\n".join(f"  {fault}" for fault in faults)


def _spell_unknown(name: str, known: Iterable[str]) -> str:
    close = get_close_matches(name, list(known), n=1, cutoff=0.85)
    return f"{name}: no such setting" + (f"; write {close[0]}" if close else "")


def _list_own_names() -> set[str]:
    return {name.upper() for name in os.environ if name.upper().startswith(PREFIX)}
