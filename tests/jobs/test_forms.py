"""What the forms of a work card make of what was typed."""

import pytest

from app.jobs.pages.forms import is_as_asked


@pytest.mark.parametrize("used", ["0.040 in (1.016 mm)", "0.040 in"])
def test_a_height_is_the_recipe_s_with_or_without_its_millimetres(used: str) -> None:
    assert is_as_asked(used, "0.040 in (1.016 mm)")


@pytest.mark.parametrize("used", ["0.041 in", "1.016 mm", ""])
def test_another_height_is_not_the_recipe_s(used: str) -> None:
    assert not is_as_asked(used, "0.040 in (1.016 mm)")
