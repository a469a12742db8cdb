"""Everything a plant may set, read once from the environment; a wrong value stops the start."""

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

PREFIX = "WICKBOOK_"


def _check_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError("write a zone of the IANA list, like Europe/Vienna or UTC")
    return name


class Settings(BaseSettings):
    """The plant's settings; each is read from `WICKBOOK_` plus its name in capitals."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True)

    database_url: Annotated[
        str,
        Field(
            pattern=r"^(sqlite:///|postgresql\+psycopg://)",
            description="sqlite:///file or postgresql+psycopg://user@host/name",
        ),
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
    faults = [f"{name}: no such setting" for name in sorted(_list_own_names() - known)]
    try:
        settings = Settings()
    except ValidationError as error:
        faults += [
            f"{PREFIX}{str(fault['loc'][0]).upper()}: {fault['msg']}, not {fault['input']!r}"
            for fault in error.errors()
        ]
    if faults:
        raise SystemExit(spell_faults(faults))
    return settings


def spell_faults(faults: Iterable[str]) -> str:
    """Spell the faults the way a person reads them on the terminal."""
    return "Wickbook cannot start:\n" + "\n".join(f"  {fault}" for fault in faults)


def _list_own_names() -> set[str]:
    return {name.upper() for name in os.environ if name.upper().startswith(PREFIX)}
