"""A served house and a real Chromium in front of it."""

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect, sync_playwright
from sqlalchemy import select

from app.accounts.passwords.hashing import get_hasher
from app.accounts.tables import Account
from app.audit.rules import Actor, Subject
from app.audit.service import append
from app.core.clock import read_clock
from app.core.db import Sessions
from app.core.settings import Settings
from app.main import create_app

PASSWORD = "a lantern under the weir"
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PATIENCE_MS = 20_000

Visit = Callable[..., Page]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Return the system's browser, without a screen."""
    program = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    assert program is not None, "no Chromium is installed: install the package chromium"
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def address(settings: Settings, sessions: Sessions) -> Iterator[str]:
    """Serve the test's own house with the real clock, and return its address."""
    hasher = get_hasher(settings)
    with sessions.write.begin() as session:
        for account in session.scalars(select(Account)):
            account.password_hash = hasher.hash(PASSWORD)
        append(
            session,
            action="accounts.set_passwords",
            subject=Subject("account", 1),
            actor=Actor(None, None, (), "terminal"),
            now=read_clock(),
        )
    house = create_app(settings)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(house, port=port, log_level="warning"))
    thread = threading.Thread(target=server.run)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server.started
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(20)
    house.state.sessions.engine.dispose()


@pytest.fixture
def visit(chromium: Browser, address: str) -> Iterator[Visit]:
    """Return a function that signs somebody in, in a browser window of their own.

    A page that logs an error to the console fails the test.
    """
    errors: list[str] = []

    def note(kind: str, text: str) -> None:
        # The browser itself logs an answer of 422, which a refused form has.
        if kind == "error" and "status of 422" not in text:
            errors.append(text)

    def sign_in(username: str, *, width: int = 1280, height: int = 900) -> Page:
        context = chromium.new_context(
            base_url=address, viewport={"width": width, "height": height}, accept_downloads=True
        )
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", lambda said: note(said.type, said.text))
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto("/sign-in")
        page.get_by_label("Username").fill(username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("button", name="Sign out")).to_be_visible()
        return page

    yield sign_in
    assert errors == []
    for context in chromium.contexts:
        context.close()
