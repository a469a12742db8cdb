"""An edit names the version it was made from, or is refused with both."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.conditional import (
    EditedMeanwhile,
    VersionNotStated,
    check_if_match,
    check_version,
    spell_etag,
)
from app.web.problems import get_status


@pytest.mark.parametrize("tag", ['"3"', 'W/"3"', ' "3" ', "3"])
def test_every_form_of_the_present_version_is_let_in(tag: str) -> None:
    check_if_match(tag, 3)


def test_an_edit_without_a_version_is_asked_for_one() -> None:
    with pytest.raises(VersionNotStated, match='send If-Match: "3"') as refused:
        check_if_match(None, 3)
    assert refused.value.field == "If-Match"
    assert get_status(VersionNotStated) == 428


@pytest.mark.parametrize("tag", ['"2"', 'W/"2"', '"4"', "*", "", '"3", "2"', '"03"', "x" * 90])
def test_any_other_version_is_refused(tag: str) -> None:
    with pytest.raises(EditedMeanwhile, match="it is now 3"):
        check_if_match(tag, 3)
    assert get_status(EditedMeanwhile) == 412


def test_the_refusal_names_both_versions() -> None:
    with pytest.raises(EditedMeanwhile, match="you saw version 2, it is now 3"):
        check_if_match('"2"', 3)


def test_a_long_version_is_not_repeated_in_full() -> None:
    with pytest.raises(EditedMeanwhile) as refused:
        check_version("9" * 4_000, 3)
    assert "9" * 20 in refused.value.sentence
    assert "9" * 21 not in refused.value.sentence


@given(st.integers(1, 2**31 - 1), st.integers(1, 2**31 - 1))
def test_a_tag_that_was_given_opens_its_own_version_alone(given_out: int, present: int) -> None:
    if given_out == present:
        check_if_match(spell_etag(given_out), present)
    else:
        with pytest.raises(EditedMeanwhile):
            check_if_match(spell_etag(given_out), present)
