"""Which passwords are refused: too short, too long, or made of what everybody tries first."""

import secrets
import unicodedata
from collections.abc import Iterable
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Final

from app.core.refusals import Unacceptable

# NIST SP 800-63B-4, 3.1.1.2 (from memory): 15 characters where a password stands alone, at least
# 64 allowed, any Unicode, each code point counted once, after normalisation.
LEAST: Final = 15
MOST: Final = 128
HOUSE_WORD: Final = "wickbook"
# How many different listed words may stand in a password that has little else: common practice.
WORDS_TOO_FEW: Final = 2
# Characters beside listed words and runs that make up for them; no source, our own measure.
OWN_CHARACTERS: Final = 9
RUN_LEAST: Final = 3
_ALPHABET: Final = "abcdefghjkmnpqrstuvwxyz23456789"
_DISGUISES: Final = str.maketrans("@430$51!7", "aaeossiit")
_COMMON_FILE: Final = Path(__file__).parent / "common.txt"


class PasswordRefused(Unacceptable):
    """A new password is too short, too long, or easily guessed."""

    code = "accounts.password_refused"


@cache
def get_common_passwords() -> frozenset[str]:
    """Return the bundled list, casefolded; the file's head names its origin and licence."""
    lines = _COMMON_FILE.read_text("utf-8").splitlines()
    return frozenset(line.casefold() for line in lines if line and not line.startswith("#"))


def normalise_password(text: str) -> str:
    """Return the one spelling of a password: NFC, nothing cut off.

    ValueError for half a surrogate pair, which no encoding can carry.
    """
    if any(unicodedata.category(character) == "Cs" for character in text):
        raise ValueError("holds half of a surrogate pair, which cannot be typed")
    return unicodedata.normalize("NFC", text)


def check_password(text: str, *, username: str, field: str = "password") -> str:
    """Return the normalised password, or refuse with PasswordRefused.

    15 to 128 characters of any kind; not holding the username or the house's name, not common,
    and not a common one that was only lengthened.
    """
    try:
        password = normalise_password(text)
    except ValueError as error:
        raise PasswordRefused(f"The password {error}.", field=field) from None
    if not LEAST <= len(password) <= MOST:
        raise PasswordRefused(
            f"A password has {LEAST} to {MOST} characters; this one has {len(password)}. "
            "A sentence of your own is easy to remember.",
            field=field,
        )
    folded = password.casefold()
    for word, what in ((username.casefold(), "your username"), (HOUSE_WORD, f"“{HOUSE_WORD}”")):
        if word and word in folded:
            raise PasswordRefused(f"A password must not hold {what}.", field=field)
    if is_easily_guessed(folded, get_common_passwords()):
        raise PasswordRefused(
            "This password is among those that are tried first, or one of them made longer; "
            "take several words that do not belong together.",
            field=field,
        )
    return password


def is_easily_guessed(folded: str, common: frozenset[str]) -> bool:
    """Say whether a casefolded password is common, or common ones and runs put end to end.

    That is: at most two different listed words, and fewer than nine characters beside them that
    are in no run (`1234`, `aaaa`, `fedc`). Repeating a block counts as the block alone; digits
    that stand for letters (`p4ssw0rd`) are read as those too.
    """
    spellings = {folded, folded.translate(_DISGUISES)}
    return any(_is_thin(_find_block(spelling), common) for spelling in spellings)


def make_temporary_password(username: str) -> str:
    """Return a random password of 20 unmistakable characters in groups, about 98 bits."""
    while True:
        groups = ("".join(secrets.choice(_ALPHABET) for _ in range(5)) for _ in range(4))
        try:
            return check_password("-".join(groups), username=username)
        except PasswordRefused:
            continue  # it happened to hold a short username


def _is_thin(text: str, common: frozenset[str]) -> bool:
    if text in common:
        return True
    words, rest = _take_words(text, common)
    return len(words) <= WORDS_TOO_FEW and _count_own(rest) < OWN_CHARACTERS


def _find_block(text: str) -> str:
    """Return the shortest block that the text repeats, the last time perhaps cut short."""
    for period in range(1, len(text) // 2 + 1):
        if all(text[place] == text[place % period] for place in range(period, len(text))):
            return text[:period]
    return text


def _take_words(text: str, common: frozenset[str]) -> tuple[set[str], list[str]]:
    """Cut listed words out, the longest first from the left; return them and what is between."""
    words: set[str] = set()
    rest = [""]
    place = 0
    longest = max(map(len, common), default=0)
    while place < len(text):
        ends = range(min(len(text), place + longest), place + 3, -1)
        found = next((text[place:end] for end in ends if text[place:end] in common), None)
        if found is None:
            rest[-1] += text[place]
            place += 1
        else:
            words.add(found)
            rest.append("")
            place += len(found)
    return words, rest


def _count_own(pieces: Iterable[str]) -> int:
    return sum(_count_outside_runs(piece) for piece in pieces)


def _count_outside_runs(text: str) -> int:
    """Count the characters that are in no run of three or more with a step of 0, 1 or -1."""
    inside = [False] * len(text)
    steps = [ord(after) - ord(before) for before, after in pairwise(text)]
    for place in range(len(steps) - RUN_LEAST + 2):
        if steps[place] in {-1, 0, 1} and len(set(steps[place : place + RUN_LEAST - 1])) == 1:
            inside[place : place + RUN_LEAST] = [True] * RUN_LEAST
    return inside.count(False)
