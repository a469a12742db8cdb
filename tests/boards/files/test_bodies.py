"""Body sizes as the names of packages tell them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.boards.files import guess_body_mm


# Sizes spelt in the names themselves; inch codes by common practice, no source.
@pytest.mark.parametrize(
    ("package", "size_mm"),
    [
        ("C_0402_1005Metric", (1.0, 0.5)),
        ("C_01005_0402Metric", (0.4, 0.2)),
        ("R_2512_6332Metric", (6.3, 3.2)),
        ("CP_EIA-3216-18_Kind-A", (3.2, 1.6)),
        ("0402", (1.0, 0.5)),
        ("R0603", (1.6, 0.8)),
        ("0404LED_RGB", (1.0, 1.0)),
        ("QFN-48-1EP_7x7mm", (7.0, 7.0)),
        ("QFN-16-1EP_3x3mm_P0.5mm_EP1.75x1.75mm", (3.0, 3.0)),
        ("BGA-256_17.0x17.0mm", (17.0, 17.0)),
        ("BGA-96_9.0x13.0mm_Layout2x3x16_P0.8mm", (9.0, 13.0)),
        ("LGA-14_2.5x3x0.86mm", (2.5, 3.0)),
        ("Oscillator_2.5x2.0", (2.5, 2.0)),
        ("CAPC1005X55N", (1.0, 0.5)),
        ("QFN50P700X700X90-49N", (7.0, 7.0)),
        ("BGA256C100P16X16_1700X1700X170", (17.0, 17.0)),
        ("SOT-23", None),
        ("PinHeader_1x12_P2.54mm_Vertical", None),
        ("JST_B2B_1x02-1MP_P2.00mm", None),
        ("R-PVQFN-N24_EP2.05x3.1mm", None),
        ("Fiducial_0.75mm_Mask1.5mm", None),
        ("R_Array_4x0603", None),
        ("QFN-48_700x700mm", None),
        ("csBGA285", None),
        ("microsd_1040310811", None),
        ("", None),
    ],
)
def test_the_name_tells_the_body(package: str, size_mm: tuple[float, float] | None) -> None:
    assert guess_body_mm(package) == size_mm


@given(st.text(max_size=60))
def test_any_name_gives_a_size_within_bounds_or_none(package: str) -> None:
    size = guess_body_mm(package)
    assert size is None or all(0.1 <= side <= 200 for side in size)
