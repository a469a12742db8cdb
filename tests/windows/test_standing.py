"""What a site may never exceed, by its part, its neighbours and its alloy."""

from datetime import datetime

import pytest
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.materials.rules import MoistureLevel, PackageType
from app.materials.schemas import PartFields
from app.materials.service import add_part
from app.recipes.windows.classification import Process
from app.windows.body import LineStatus, WindowText
from app.windows.standing import PartFacts, Standing, find_process, list_standing_windows, stand_for
from tests.windows.conftest import Make

SAC305 = "Sn96.5Ag3.0Cu0.5 (SAC305)"
KNOWN = PartFacts("P-1", length_mm=15, width_mm=15, height_mm=1.7)


def map_keys(standing: Standing) -> dict[str, float | None]:
    """Return key → the upper limit of the peak."""
    return {one.key: one.window.limits[0].upper for one in standing.windows}


@pytest.mark.parametrize(
    ("alloy", "process"),
    [
        (SAC305, Process.PB_FREE),
        ("Sn63Pb37", Process.SNPB),
        ("Sn62Pb36Ag2", Process.SNPB),
        ("Pb-free, maker's own", Process.PB_FREE),
        ("unheard of", Process.PB_FREE),
    ],
)
def test_the_profile_goes_by_the_alloy(alloy: str, process: Process) -> None:
    assert find_process(alloy) is process


def test_a_part_of_known_size_is_held_against_its_classification() -> None:
    # 1.7 mm and 15 × 15 × 1.7 = 382.5 mm³: 250 °C (J-STD-020 Table 4-2, public restatement).
    standing = stand_for(KNOWN, alloy=SAC305)
    assert map_keys(standing) == {
        "classification-pb-free": 250.0,
        "adjacent-bodies": 200.0,
        "adjacent-joints-sn96-5ag3-0cu0-5-sac305": 217.0,
    }
    assert standing.not_known == ()
    first = standing.windows[0]
    assert first.window.classification_c == 250.0
    assert "confirm against your copy" in first.cautions[0]
    assert all(one.why for one in standing.windows)


def test_what_the_part_states_comes_before_the_table_and_its_own_limit_beside_it() -> None:
    part = PartFacts("P-1", 15, 15, 1.7, classification_c=245, max_body_c=240)
    standing = stand_for(part, alloy=SAC305)
    keys = map_keys(standing)
    assert (keys["classification-pb-free"], keys["part-body"]) == (245, 240)
    row = standing.windows[0].text.rows[0]
    assert row.status is LineStatus.OWN
    assert "J-STD-020 gives 250 °C" in row.note
    assert standing.windows[0].window.classification_c == 245


@pytest.mark.parametrize(
    ("part", "sentence"),
    [
        (None, "linked to no known part"),
        (PartFacts("P-2", length_mm=15), "length, width and height of part P-2 are not"),
        (PartFacts("P-3", 15, 15, 51), "at most 50 mm, not 51"),
        (PartFacts("P-4", classification_c=120), "states a classification temperature of 120 °C"),
    ],
)
def test_what_is_not_known_is_said_and_the_rest_stands(
    part: PartFacts | None, sentence: str
) -> None:
    standing = stand_for(part, alloy=SAC305)
    assert "classification-pb-free" not in map_keys(standing)
    assert "adjacent-bodies" in map_keys(standing)
    assert sentence in standing.not_known[0]


def test_a_stated_temperature_is_enough_without_any_size() -> None:
    standing = stand_for(PartFacts("P-5", classification_c=260), alloy=SAC305)
    assert map_keys(standing)["classification-pb-free"] == 260
    assert standing.windows[0].text.rows[0].note == ""


def test_neighbours_that_take_no_harm_from_moisture_are_not_held_to_200_c() -> None:
    dry = stand_for(KNOWN, alloy=SAC305, neighbour_levels=[MoistureLevel.L1, MoistureLevel.L1])
    assert "adjacent-bodies" not in map_keys(dry)
    assert "moisture sensitivity level 1" in dry.not_known[0]
    for levels in ([MoistureLevel.L1, None], [MoistureLevel.L3], []):
        standing = stand_for(KNOWN, alloy=SAC305, neighbour_levels=levels)
        assert "adjacent-bodies" in map_keys(standing)


def test_an_alloy_that_is_not_tabled_is_named() -> None:
    standing = stand_for(KNOWN, alloy="unheard of")
    assert "“unheard of” has no tabled solidus" in standing.not_known[0]


def test_a_published_own_window_stands_for_the_parts_it_names(
    make: Make, db: Session, ines: Person, now: datetime
) -> None:
    text = WindowText.model_validate(
        {
            "format": 1,
            "is_never_exceed": True,
            "part_numbers": ["OSTWEN-B324"],
            "rows": [{"metric": "peak_c", "roles": ["body"], "upper": 238, "status": "plants_own"}],
        }
    )
    make(RevisionState.PUBLISHED, code="OWN-BODY", text=text)
    make(RevisionState.DRAFT, code="OWN-DRAFT", text=text)
    fields = PartFields(
        part_number="ostwen-b324",
        title="Processor",
        package_type=PackageType.BGA,
        length_mm=15,
        width_mm=15,
        height_mm=1.7,
    )
    part = add_part(db, fields, person=ines, now=now)
    standing = list_standing_windows(db, part, alloy=SAC305)
    own = [one for one in standing.windows if not one.is_built_in]
    assert [(one.key, one.version, one.window.limits[0].upper) for one in own] == [
        ("OWN-BODY", 1, 238)
    ]
    nothing = list_standing_windows(db, None, alloy=SAC305)
    assert all(one.is_built_in for one in nothing.windows)
