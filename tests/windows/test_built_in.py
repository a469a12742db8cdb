"""The built-in windows, as data: J-STD-020 and J-STD-033 as public restatements print them."""

import pytest

from app.recipes.windows.classification import ImpossiblePackage
from app.windows.body import LineStatus
from app.windows.built_in import (
    Package,
    compute_text_digest,
    get_built_in,
    list_built_ins,
)
from app.windows.rules import BuiltInUnknown, PackageNotStated

LEAD_FREE = "classification-pb-free"


def test_every_key_is_one_windows_and_leads_to_it() -> None:
    lines = list_built_ins()
    assert len({line.key for line in lines}) == len(lines) > 25
    for line in lines:
        package = Package(1.0, 100.0) if line.needs_package else None
        found = get_built_in(line.key, package)
        assert (found.name, found.version) == (line.name, line.version)
        assert found.text.is_never_exceed is line.is_never_exceed
        assert found.text.cautions == line.cautions
        assert found.digest == compute_text_digest(found.text)


def test_what_is_from_memory_says_so_in_its_line() -> None:
    for line in list_built_ins():
        found = get_built_in(line.key, Package(1.0, 100.0))
        statuses = {row.status for row in found.text.rows}
        is_told = "from memory; confirm against your copy" in line.cautions
        assert is_told is (LineStatus.MEMORY in statuses)


@pytest.mark.parametrize(
    ("key", "thickness_mm", "volume_mm3", "tc", "is_edge"),
    [
        # J-STD-020 Table 4-2 (lead-free) and 4-1 (tin-lead), public restatements of rev D.
        (LEAD_FREE, 1.2, 300.0, 260.0, False),
        (LEAD_FREE, 2.0, 1000.0, 250.0, False),
        (LEAD_FREE, 3.0, 400.0, 245.0, False),
        (LEAD_FREE, 2.0, 2500.0, 245.0, False),
        (LEAD_FREE, 1.6, 350.0, 250.0, True),
        (LEAD_FREE, 2.5, 2000.0, 245.0, True),
        ("classification-snpb", 1.0, 300.0, 235.0, False),
        ("classification-snpb", 2.5, 300.0, 220.0, True),
    ],
)
def test_a_body_is_classified_by_its_cell_and_on_an_edge_by_the_lower_value(
    key: str, thickness_mm: float, volume_mm3: float, tc: float, *, is_edge: bool
) -> None:
    found = get_built_in(key, Package(thickness_mm, volume_mm3))
    assert found.found is not None
    assert found.text.classification_c == tc
    assert found.text.rows[0].upper == tc
    assert found.found.is_edge_decided is is_edge
    assert ("the lower" in found.text.rows[0].note) is is_edge


def test_a_profile_without_its_body_is_refused_at_both_fields() -> None:
    with pytest.raises(PackageNotStated) as caught:
        get_built_in(LEAD_FREE)
    assert [one.field for one in caught.value.faults] == ["thickness_mm", "volume_mm3"]
    with pytest.raises(ImpossiblePackage, match="at most 50 mm, not 51"):
        get_built_in(LEAD_FREE, Package(51, 1))


def test_an_unknown_key_is_refused() -> None:
    with pytest.raises(BuiltInUnknown, match="nonsense"):
        get_built_in("nonsense")


def test_neighbours_stay_below_200_c() -> None:
    # J-STD-033 clause 6, as a part maker's data sheet restates it.
    row = get_built_in("adjacent-bodies").text.rows[0]
    assert (row.upper, row.unit, row.document) == (200.0, "°C", "J-STD-033")


def test_the_joints_of_sac305_go_by_its_liquidus() -> None:
    # Liquidus 220 °C + 10 to 25 K: common practice, from memory.
    text = get_built_in("joints-sn96-5ag3-0cu0-5-sac305").text
    assert (text.solidus_c, text.liquidus_c) == (217, 220)
    assert (text.rows[0].lower, text.rows[0].upper) == (230, 245)
    assert text.rows[0].status is LineStatus.MEMORY
