"""Turns at something that one at a time may use, waited for without holding a thread."""

import asyncio
import threading
from collections import deque
from types import TracebackType
from typing import Self


class Turns:
    """An async context manager: whoever enters first leaves first.

    Unlike asyncio's own lock it serves waiters of several event loops, as there are when the
    service is called from more than one thread.
    """

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._is_taken = False
        self._waiting: deque[tuple[asyncio.AbstractEventLoop, asyncio.Future[None]]] = deque()

    def is_taken(self) -> bool:
        """Say whether somebody is inside or about to be."""
        with self._guard:
            return self._is_taken

    async def __aenter__(self) -> Self:
        """Wait for the turn; a waiter that is cancelled passes it on."""
        loop = asyncio.get_running_loop()
        with self._guard:
            if not self._is_taken:
                self._is_taken = True
                return self
            called = loop.create_future()
            self._waiting.append((loop, called))
        try:
            await called
        except asyncio.CancelledError:
            self._give_up(loop, called)
            raise
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Pass the turn to the one who has waited longest."""
        self._pass_on()

    def _give_up(self, loop: asyncio.AbstractEventLoop, called: "asyncio.Future[None]") -> None:
        with self._guard:
            if (loop, called) in self._waiting:
                self._waiting.remove((loop, called))
                return
        # It was called in the moment it gave up: the turn was its own, and goes on.
        self._pass_on()

    def _pass_on(self) -> None:
        while True:
            with self._guard:
                if not self._waiting:
                    self._is_taken = False
                    return
                loop, called = self._waiting.popleft()
            try:
                loop.call_soon_threadsafe(_call, called)
            except RuntimeError:
                # Its loop is closed: nobody waits there any more.
                continue
            return


def _call(waiter: "asyncio.Future[None]") -> None:
    if not waiter.done():
        waiter.set_result(None)
