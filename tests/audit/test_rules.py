"""The stored form of an entry: these bytes are hashed, and can never be spelt another way."""

from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.audit.rules import (
    Actor,
    BoardLink,
    Subject,
    Tale,
    compute_commitment,
    read_body,
    spell_body,
)
from app.audit.verifier import verify_entries
from app.core.canonical_json import JsonValue, spell_canonical_json
from app.numerics.merkle import hash_leaf
from tests.audit.synthetic_log import tell, write

TALE = Tale(
    at=datetime(2026, 3, 4, 14, 20, 7, 5, tzinfo=timezone(timedelta(hours=1))),
    actor=Actor(3, "ab" * 32, ("auditor", "operator"), "token 12"),
    action="jobs.sign_step",
    subject=Subject("step", 41),
    job_id=9,
    board_id=7,
    details={"peak_c": 243.0, "lots": ["F-2231"], "remark": "Düse N-15", "held": False, "by": None},
)
LINK = BoardLink(7, 2, bytes(range(32)))
# Typed in, not computed: an entry that was written once must be read in this form for ever.
GOLDEN = (
    '{"action":"jobs.sign_step",'
    '"actor":{"account":3,"person":"'
    "abababababababababababababababababababababababababababababababab"
    '","roles":["auditor","operator"],"via":"token 12"},'
    '"at":"2026-03-04T13:20:07.000005Z",'
    '"board":{"id":7,"number":2,"previous":"'
    "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f"
    '"},'
    '"details":{"by":null,"held":false,"lots":["F-2231"],"peak_c":243,"remark":"Düse N-15"},'
    '"format":1,"job":9,"seq":23,"subject":{"id":41,"kind":"step"}}'
).encode()
GOLDEN_BARE = (
    b'{"action":"accounts.add","actor":{"account":null,"person":null,"roles":[],'
    b'"via":"terminal"},"at":"2026-03-04T09:00:00.000000Z","board":null,"details":{},"format":1,'
    b'"job":null,"seq":1,"subject":{"id":1,"kind":"account"}}'
)
GOLDEN_LEAF = "0e6628c6ae7604a970b647803d54fb21f4db24bc2879162f6fda6ea554a3da70"


def test_an_entry_is_stored_in_these_bytes() -> None:
    assert spell_body(TALE, seq=23, link=LINK) == GOLDEN


def test_an_entry_without_board_job_and_details_is_stored_in_these_bytes() -> None:
    bare = Tale(
        datetime(2026, 3, 4, 9, tzinfo=UTC),
        Actor(None, None, (), "terminal"),
        "accounts.add",
        Subject("account", 1),
    )
    assert spell_body(bare, seq=1, link=None) == GOLDEN_BARE


def test_the_leaf_of_these_bytes_is_theirs_behind_a_zero() -> None:
    # RFC 9162, section 2.1.1.
    assert hash_leaf(GOLDEN) == sha256(b"\x00" + GOLDEN).digest()
    assert hash_leaf(GOLDEN).hex() == GOLDEN_LEAF


def test_the_first_entry_of_a_board_has_none_before_it() -> None:
    body = spell_body(TALE, seq=1, link=BoardLink(7, 1, None))
    assert b'"board":{"id":7,"number":1,"previous":null}' in body


def test_what_was_spelt_is_read_back() -> None:
    said = read_body(GOLDEN)
    assert said["details"] == TALE.details
    assert said["subject"] == {"kind": "step", "id": 41}
    assert spell_canonical_json(said) == GOLDEN


@pytest.mark.parametrize("body", [b"[]", b'"text"', b"1", b"null"])
def test_a_body_that_is_no_object_is_no_entry(body: bytes) -> None:
    with pytest.raises(TypeError, match="JSON object"):
        read_body(body)


@pytest.mark.parametrize("body", [b"", b"{", b"\xff", b'{"a": }'])
def test_a_body_that_is_no_json_cannot_be_read(body: bytes) -> None:
    with pytest.raises(ValueError, match=r".+"):
        read_body(body)


@pytest.mark.parametrize("number", [2.0**53, 1e20, -3e17, 999999999999999900000.0, 1e21, 5e-324])
def test_a_large_number_in_an_entry_raises_no_false_alarm(number: float) -> None:
    assert verify_entries(write([tell(1, measured=number)])).is_whole


details = st.dictionaries(
    st.text(st.characters(codec="utf-8"), max_size=8),
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8"), max_size=20)
    | st.lists(st.floats(allow_nan=False, allow_infinity=False), max_size=4),
    max_size=6,
)


@given(details)
def test_whatever_an_entry_tells_it_is_whole_when_read_again(told: dict[str, JsonValue]) -> None:
    tale = Tale(TALE.at, TALE.actor, TALE.action, TALE.subject, details=told)
    assert verify_entries(write([tale, tale])).is_whole
    assert read_body(spell_body(tale, seq=1, link=None))["details"] == told


def test_a_commitment_opens_with_its_salt_and_names_alone() -> None:
    salt = bytes(range(16))
    made = compute_commitment(salt=salt, username="odile", name="Odile Maasland")
    assert made == sha256(salt + b'{"name":"Odile Maasland","username":"odile"}').hexdigest()
    others = {
        compute_commitment(salt=salt, username="odile", name="Odile Maaslund"),
        compute_commitment(salt=salt, username="odille", name="Odile Maasland"),
        compute_commitment(salt=bytes(16), username="odile", name="Odile Maasland"),
    }
    assert made not in others
    assert len(others) == 3
