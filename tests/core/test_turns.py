"""Turns are taken one at a time, in order, also from several event loops."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from app.core.turns import Turns


def test_waiters_are_served_in_the_order_they_came() -> None:
    served: list[int] = []

    async def take(turns: Turns, number: int) -> None:
        async with turns:
            await asyncio.sleep(0)
            served.append(number)

    async def run() -> None:
        turns = Turns()
        await asyncio.gather(*(take(turns, number) for number in range(20)))

    asyncio.run(run())
    assert served == list(range(20))


def test_one_at_a_time_is_inside_from_several_event_loops() -> None:
    turns = Turns()
    inside = 0
    most = 0
    done = 0

    async def take_often() -> None:
        nonlocal inside, most, done
        for _ in range(50):
            async with turns:
                inside += 1
                most = max(most, inside)
                await asyncio.sleep(0)
                inside -= 1
                done += 1

    with ThreadPoolExecutor(6) as pool:
        for running in [pool.submit(lambda: asyncio.run(take_often())) for _ in range(6)]:
            running.result(timeout=60)
    assert most == 1
    assert done == 300


def test_a_waiter_who_gives_up_holds_nobody_up() -> None:
    async def run() -> str:
        turns = Turns()

        async def wait() -> None:
            async with turns:
                pytest.fail("it was cancelled while it waited")

        async with turns:
            waiter = asyncio.create_task(wait())
            await asyncio.sleep(0)
            waiter.cancel()
            await asyncio.gather(waiter, return_exceptions=True)
        async with turns:
            return "served"

    assert asyncio.run(run()) == "served"


def test_a_turn_that_is_left_with_an_error_is_passed_on() -> None:
    async def run() -> str:
        turns = Turns()
        with pytest.raises(KeyError):
            async with turns:
                raise KeyError
        async with turns:
            return "served"

    assert asyncio.run(run()) == "served"
