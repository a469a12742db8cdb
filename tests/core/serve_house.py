"""Serves a house whose clock stands still, in a process of its own that a test can kill."""

from importlib import import_module

import uvicorn

from app.core.settings import Settings
from app.main import PAGES, ROUTES, create_app
from tests.conftest import NOW

# Imported once, by the process that the houses are forked from.
for name in (*PAGES, *ROUTES):
    import_module(name)


def serve(database_url: str, socket: str) -> None:
    """Serve until killed."""
    settings = Settings(database_url=database_url, argon2_memory_kib=64, argon2_passes=1)
    uvicorn.run(create_app(settings, clock=lambda: NOW), uds=socket, log_level="critical")
