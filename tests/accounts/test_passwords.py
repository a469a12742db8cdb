"""Which passwords are taken, and how they are kept."""

import pytest

from app.accounts.passwords.hashing import Hasher
from app.accounts.passwords.wording import (
    PasswordRefused,
    check_password,
    get_common_passwords,
    make_temporary_password,
)
from tests.conftest import PASSWORD


@pytest.mark.parametrize(
    "password",
    [
        PASSWORD,
        "seven herons at noon",
        "x7#Lq v9!Tz m2%Kd",
        "ありがとう 水車 小屋 灯り 石橋",
        "a\x00b\tc\x07 odd but typed",
        "lantern" + "f9w2kq7zt",  # nine characters of one's own beside a listed word
        "q8vz" * 2 + "m3tk" * 2 + "!!",
        "s" * 3 + "gh2kx0wpvq7m",
        "é" * 3 + "w5nbt9kxq1zh",
    ],
)
def test_a_password_of_fifteen_characters_of_any_kind_is_taken(password: str) -> None:
    assert check_password(password, username="odile") == password


@pytest.mark.parametrize(
    ("password", "reason"),
    [
        ("w5nbt9kxq1zhcd", "has 15 to 128 characters; this one has 14"),
        ("w5nbt9kxq1zhcd!" * 8 + "123456789", "this one has 129"),
        ("my name is odile today", "must not hold your username"),
        ("MY NAME IS ODILE TODAY", "must not hold your username"),
        ("the big Wickbook of mine", "must not hold “wickbook”"),
        ("passwordpassword", "tried first"),
        ("PassWordPassWord", "tried first"),
        ("password1234567", "tried first"),
        ("P4ssw0rd P4ssw0rd", "tried first"),
        ("dragonmonkey!!!2024", "tried first"),
        ("123456789012345", "tried first"),
        ("aaaaaaaaaaaaaaaaaa", "tried first"),
        ("abcdefghijklmnopq", "tried first"),
        ("xq7xq7xq7xq7xq7xq7", "tried first"),
        ("1qaz2wsx3edc4rfv", "tried first"),
        ("qwertyuiop[]12345", "tried first"),
        ("w5nbt9kxq1zhcd\ud800", "surrogate"),
    ],
)
def test_a_password_that_is_short_long_or_guessed_first_is_refused(
    password: str, reason: str
) -> None:
    with pytest.raises(PasswordRefused) as refused:
        check_password(password, username="odile", field="new_password")
    assert reason in refused.value.sentence
    assert refused.value.field == "new_password"


def test_the_length_is_counted_after_normalisation() -> None:
    decomposed = "e\u0301" * 7 + "w5nbt9k"  # 21 code points typed, 14 characters once composed
    with pytest.raises(PasswordRefused, match="has 14"):
        check_password(decomposed, username="odile")
    composed = check_password("e\u0301" + "w5nbt9kxq1zhcd", username="odile")
    assert composed == "éw5nbt9kxq1zhcd"


def test_the_bundled_list_holds_thousands_and_no_line_of_its_licence() -> None:
    common = get_common_passwords()
    assert len(common) > 9_000
    assert {"password", "123456", "qwerty"} <= common
    assert not any(word.startswith("# ") for word in common)


def test_a_temporary_password_is_taken_even_beside_a_short_username() -> None:
    for username in ("ab", "7k", "odile"):
        made = make_temporary_password(username)
        assert username not in made
        assert check_password(made, username=username) == made


def test_a_hash_is_argon2id_and_is_renewed_when_the_parameters_change() -> None:
    old, new = Hasher(memory_kib=64, passes=1), Hasher(memory_kib=128, passes=1)
    stored = old.hash(PASSWORD)
    assert stored.startswith("$argon2id$v=19$m=64,t=1,p=1$")
    assert old.verify(PASSWORD, stored) == (True, None)
    is_right, renewed = new.verify(PASSWORD, stored)
    assert is_right
    assert renewed is not None
    assert "m=128" in renewed
    assert new.verify(PASSWORD, renewed) == (True, None)


@pytest.mark.parametrize("typed", ["", "wrong", "x" * 5_000, "\ud800", "the password of nobody"])
def test_what_could_not_be_the_password_is_only_wrong(typed: str) -> None:
    hasher = Hasher(memory_kib=64, passes=1)
    assert hasher.verify(typed, hasher.hash(PASSWORD)) == (False, None)


def test_no_password_opens_an_account_that_has_none() -> None:
    hasher = Hasher(memory_kib=64, passes=1)
    for stored in (None, "!", ""):
        assert hasher.verify("the password of nobody at all", stored) == (False, None)


def test_composed_and_decomposed_spellings_are_one_password() -> None:
    hasher = Hasher(memory_kib=64, passes=1)
    assert hasher.verify("cafe\u0301 am Wehr, Tor 2", hasher.hash("café am Wehr, Tor 2"))[0]
