"""Every link that a page shows opens for the person it is shown to, over a house with a demo."""

import re
from collections import deque
from collections.abc import Iterator
from html.parser import HTMLParser
from http import HTTPStatus
from typing import Final

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.accounts.access import COOKIE
from app.core.settings import Settings
from app.main import create_app
from tests.conftest import CAST, Databases, MovableClock

# Pages of one shape look alike: a few of each are enough.
PAGES_OF_A_SHAPE: Final = 6


class Links(HTMLParser):
    """Collects where a page leads."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        """Take the address of a link."""
        address = dict(attributes).get("href") or ""
        if tag == "a" and address.startswith("/"):
            self.found.add(address.partition("#")[0])


@pytest.fixture(scope="module")
def demo_house(databases: Databases, with_demo: str) -> Iterator[FastAPI]:
    """Return a house with a few of the demo's jobs, where the cast is signed in."""
    url = databases.create(with_demo)
    house = create_app(
        Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1), clock=MovableClock()
    )
    yield house
    house.state.sessions.engine.dispose()
    databases.drop(url)


def follow(client: TestClient, start: str) -> tuple[int, dict[str, str]]:
    """Follow links from a page; return how many opened, and each that did not with its page."""
    shapes: dict[str, int] = {}
    came_from = {start: ""}
    waiting, dead = deque([start]), {}
    opened = 0
    while waiting:
        address = waiting.popleft()
        answer = client.get(address)
        if answer.status_code >= HTTPStatus.BAD_REQUEST:
            dead[address] = f"{answer.status_code} on {came_from[address]}"
            continue
        opened += 1
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        for link in sorted(Links(answer.text).found - came_from.keys()):
            shape = re.sub(r"\d+", "N", link.partition("?")[0])
            shapes[shape] = shapes.get(shape, 0) + 1
            if shapes[shape] <= PAGES_OF_A_SHAPE:
                came_from[link] = address
                waiting.append(link)
    return opened, dead


@pytest.mark.parametrize("username", [name for name, _, _ in CAST])
def test_every_link_opens_for_whom_it_is_shown_to(demo_house: FastAPI, username: str) -> None:
    client = TestClient(demo_house, cookies={COOKIE: f"secret of {username}"})
    opened, dead = follow(client, "/bench")
    assert dead == {}
    assert opened > 40
