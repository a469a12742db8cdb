"""A bounded fuzzer: the corpus cut, spliced, doubled and overwritten, the same on every run."""

import random

import pytest

from app.core.refusals import Refusal
from app.traces.files import find_outline, read_logger_file
from app.traces.rules import ReadingChoices
from tests.traces.files.corpus import READ, REFUSED
from tests.traces.files.test_fuzz import PIECES, check_said, check_whole

ROUNDS = 1_600
LONGEST = 20_000
SEEDS = [
    *(case.content() for case in READ.values() for _ in range(3)),
    *(content for case in REFUSED.values() if 0 < len(content := case.content()) <= LONGEST),
]


def cut(rng: random.Random, content: bytes) -> bytes:
    return content[: rng.randrange(len(content) + 1)]


def overwrite(rng: random.Random, content: bytes) -> bytes:
    start = rng.randrange(len(content) + 1)
    other = rng.choice((b"", rng.choice(PIECES), rng.randbytes(rng.randrange(9))))
    return content[:start] + other + content[start + rng.randrange(12) :]


def double(rng: random.Random, content: bytes) -> bytes:
    start = rng.randrange(len(content) + 1)
    end = start + rng.randrange(60)
    return content[:end] + content[start:end] * rng.randrange(1, 9) + content[end:]


def splice(rng: random.Random, content: bytes) -> bytes:
    other: bytes = rng.choice(SEEDS)
    return content[: rng.randrange(len(content) + 1)] + other[rng.randrange(len(other)) :]


def shuffle(rng: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    rng.shuffle(lines)
    return b"\n".join(lines)


ACCIDENTS = (cut, overwrite, overwrite, double, splice, shuffle)


@pytest.mark.parametrize("seed", range(4))
def test_accidents_of_all_kinds_are_read_or_refused(seed: int) -> None:
    rng = random.Random(seed)  # noqa: S311 - the same accidents on every run
    read = refused = 0
    for _ in range(ROUNDS // 4):
        content: bytes = rng.choice(SEEDS)
        for _ in range(rng.randrange(1, 4)):
            content = rng.choice(ACCIDENTS)(rng, content)[:LONGEST]
        find_outline(content, choices=ReadingChoices())
        try:
            reading = read_logger_file(content)
        except Refusal as refusal:
            check_said(refusal)
            refused += 1
        else:
            check_whole(reading)
            read += 1
    assert read > ROUNDS // 40
    assert refused > ROUNDS // 40
