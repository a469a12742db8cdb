"""How large a part's body is, as far as its package's name says so; for drawings alone."""

import re
from typing import Final

from app.boards.rules import CELL_LENGTH_MAX, is_array_package

# Chip sizes by inch code, in mm along and across. Common practice, no source.
_CHIPS_MM: Final = {
    "01005": (0.4, 0.2),
    "0201": (0.6, 0.3),
    "0204": (0.5, 1.0),
    "0306": (0.8, 1.6),
    "0402": (1.0, 0.5),
    "0404": (1.0, 1.0),
    "0508": (1.25, 2.0),
    "0603": (1.6, 0.8),
    "0612": (1.6, 3.2),
    "0805": (2.0, 1.25),
    "1008": (2.5, 2.0),
    "1206": (3.2, 1.6),
    "1210": (3.2, 2.5),
    "1806": (4.5, 1.6),
    "1808": (4.5, 2.0),
    "1812": (4.5, 3.2),
    "1825": (4.5, 6.4),
    "2010": (5.0, 2.5),
    "2220": (5.7, 5.0),
    "2225": (5.7, 6.4),
    "2512": (6.3, 3.2),
}
_BODY_MM_MIN: Final = 0.1
_BODY_MM_MAX: Final = 200.0

_NUMBER: Final = r"(\d{1,3}(?:\.\d{1,3})?)"
# C_0402_1005Metric, CP_EIA-3216-18: length and width in tenths of a millimetre.
_METRIC: Final = re.compile(r"(?<!\d)(\d\d)(\d\d)_?metric|EIA-?(\d\d)(\d\d)(?=-)", re.IGNORECASE)
# QFN-48-1EP_7x7mm, BGA-256_17.0x17.0mm, 7x7x0.9mm; what follows EP is the exposed pad.
_SPELT: Final = re.compile(
    rf"(?<![\d.xX])(EP|Layout|Mask|Pad|Via)?{_NUMBER}(?:mm)?x{_NUMBER}(?:x{_NUMBER})?mm",
    re.IGNORECASE,
)
# Without mm only where both numbers have a point: 1x12 counts pins.
_SPELT_BARE: Final = re.compile(
    r"(?<![\d.xX])(EP)?(\d{1,2}\.\d{1,3})x(\d{1,2}\.\d{1,3})(?![\dx])", re.IGNORECASE
)
# Naming convention of IPC-7351, from memory: CAPC1005X55 in tenths, QFN50P700X700X90 and
# BGA256C100P16X16_1700X1700X170 in hundredths of a millimetre.
_IPC_CHIP: Final = re.compile(r"(?:CAPC|RESC|INDC|LEDC|DIOC|CAPMP?|BEADC)(\d\d)(\d\d)X\d", re.I)
_IPC_AREA: Final = re.compile(
    r"(?:QFN|DFN|SON|LGA|PQFN)\d{2,3}P(\d{3,4})X(\d{3,4})X\d|(?:BGA|LGA)\d[^_]*_(\d{3,4})X(\d{3,4})X\d",
    re.IGNORECASE,
)
_CHIP: Final = re.compile(rf"(?<![\dxX.])({'|'.join(_CHIPS_MM)})(?![\d.])")
_PACKAGE_LIKE: Final = re.compile(
    r"\b(?:SOT|SOIC|SO|TSSOP|SSOP|MSOP|QFP|LQFP|TQFP|TO|DPAK|SMA|SMB|SMC|SOD|DIP|MELF)-?\d?", re.I
)


def guess_body_mm(package: str) -> tuple[float, float] | None:
    """Return the body's size along x and along y at rotation 0 in mm, from the name alone.

    By convention only: metric codes, sizes spelt in the name, inch codes of chips. None where
    the name says nothing, or says something below 0.1 or above 200 mm.
    """
    name = package[:CELL_LENGTH_MAX]
    for find in (_find_metric, _find_spelt, _find_ipc, _find_chip):
        size = find(name)
        if size is not None and all(_BODY_MM_MIN <= side <= _BODY_MM_MAX for side in size):
            return size
    return None


def is_package_like(text: str) -> bool:
    """Tell whether a cell looks like the name of a package."""
    return (
        guess_body_mm(text) is not None
        or is_array_package(text)
        or _PACKAGE_LIKE.search(text[:CELL_LENGTH_MAX]) is not None
    )


def _find_metric(name: str) -> tuple[float, float] | None:
    match = _METRIC.search(name)
    if match is None:
        return None
    return int(match[1] or match[3]) / 10, int(match[2] or match[4]) / 10


def _find_spelt(name: str) -> tuple[float, float] | None:
    for pattern in (_SPELT, _SPELT_BARE):
        for match in pattern.finditer(name):
            if not match[1]:
                return float(match[2]), float(match[3])
    return None


def _find_ipc(name: str) -> tuple[float, float] | None:
    chip = _IPC_CHIP.search(name)
    if chip is not None:
        return int(chip[1]) / 10, int(chip[2]) / 10
    area = _IPC_AREA.search(name)
    if area is None:
        return None
    return int(area[1] or area[3]) / 100, int(area[2] or area[4]) / 100


def _find_chip(name: str) -> tuple[float, float] | None:
    match = _CHIP.search(name)
    return _CHIPS_MM[match[1]] if match else None
