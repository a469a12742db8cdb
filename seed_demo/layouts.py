"""Where the parts of each assembly sit: large ones by hand, small ones on a free grid."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from seed_demo.plant import Assembly, get_assembly, get_part

_GRID_X_MM: Final = 5.0
_GRID_Y_MM: Final = 4.0
_EDGE_MM: Final = 4.0
_GAP_MM: Final = 0.5


@dataclass(frozen=True)
class Placed:
    """One part on the board: centre in mm from the lower left corner, seen from the top."""

    designator: str
    part_number: str
    x_mm: float
    y_mm: float
    rotation_deg: int
    side: str

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Left, lower, right and upper edge of the body."""
        part = get_part(self.part_number)
        across, up = part.length_mm, part.width_mm
        if self.rotation_deg % 180:
            across, up = up, across
        return (
            self.x_mm - across / 2,
            self.y_mm - up / 2,
            self.x_mm + across / 2,
            self.y_mm + up / 2,
        )


_FIXED: Final = {
    "BRELNA-120": (
        Placed("U1", "OSTWEN-B324", 55.0, 45.0, 0, "top"),
        Placed("U2", "VRYLO-B100", 76.0, 46.0, 90, "top"),
        Placed("U3", "PLIQUA-C49", 100.0, 62.0, 0, "top"),
        Placed("U4", "DRUMVEL-Q48", 26.0, 30.0, 270, "top"),
        Placed("Y1", "QUORLITH-X24", 55.0, 33.0, 0, "top"),
        Placed("Y2", "QUORLITH-X32", 100.0, 56.0, 0, "top"),
        Placed("J1", "ULMBRIG-J24", 60.0, 72.0, 0, "top"),
        Placed("J2", "ULMBRIG-J10", 8.0, 40.0, 90, "top"),
        Placed("L1", "ZELQUOR-L5050-6U8", 26.0, 20.0, 0, "top"),
        Placed("U5", "FENVARD-E8", 88.0, 28.0, 0, "top"),
        Placed("U6", "FENVARD-A8", 60.0, 20.0, 90, "bottom"),
    ),
    "TOVQUIN-075": (
        Placed("U1", "VRYLO-B196", 38.0, 32.0, 0, "top"),
        Placed("U2", "NARVLET-C81", 56.0, 36.0, 0, "top"),
        Placed("U3", "SKVELDA-Q32", 70.0, 22.0, 90, "top"),
        Placed("U4", "HOMQUE-L28", 20.0, 46.0, 0, "bottom"),
        Placed("Y1", "QUORLITH-X32", 56.0, 28.0, 90, "top"),
        Placed("J1", "ULMBRIG-J10", 80.0, 40.0, 90, "top"),
        Placed("J2", "ULMBRIG-J24", 30.0, 8.0, 0, "top"),
        Placed("U5", "FENVARD-A8", 70.0, 34.0, 0, "top"),
        Placed("U6", "FENVARD-E8", 20.0, 36.0, 0, "bottom"),
    ),
    "OSSAREL-310": (
        Placed("U1", "MEZZUL-B484", 66.0, 54.0, 0, "top"),
        Placed("U2", "VRYLO-B196", 94.0, 58.0, 90, "top"),
        Placed("U5", "TRAUVIK-L60", 28.0, 26.0, 0, "top"),
        Placed("U7", "DRUMVEL-Q48", 40.0, 78.0, 180, "top"),
        Placed("Y1", "QUORLITH-X24", 66.0, 36.0, 0, "top"),
        Placed("L1", "ZELQUOR-L5050-6U8", 28.0, 38.0, 0, "top"),
        Placed("L2", "ZELQUOR-L5050-6U8", 40.0, 68.0, 0, "top"),
        Placed("J1", "ULMBRIG-J24", 70.0, 92.0, 0, "top"),
        Placed("J2", "ULMBRIG-J24", 132.0, 50.0, 90, "top"),
        Placed("J3", "ULMBRIG-J10", 8.0, 60.0, 90, "top"),
        Placed("U3", "FENVARD-A8", 110.0, 30.0, 0, "top"),
        Placed("U4", "FENVARD-A8", 110.0, 30.0, 0, "bottom"),
        Placed("U6", "FENVARD-E8", 94.0, 74.0, 90, "top"),
        Placed("U8", "VRYLO-B196", 114.0, 58.0, 90, "top"),
    ),
}

# Part number, how many on top, how many below.
_FILLING: Final = {
    "BRELNA-120": (
        ("ZELQUOR-R0402-10K", 14, 8),
        ("ZELQUOR-R0603-49R9", 8, 2),
        ("ZELQUOR-C0402-100N", 16, 14),
        ("ZELQUOR-C0603-1U", 10, 6),
        ("ZELQUOR-C1210-47U", 4, 2),
        ("ZELQUOR-D23", 3, 1),
        ("ZELQUOR-T23", 3, 2),
    ),
    "TOVQUIN-075": (
        ("ZELQUOR-R0603-4K7", 8, 6),
        ("ZELQUOR-R0603-49R9", 6, 4),
        ("ZELQUOR-C0402-100N", 10, 8),
        ("ZELQUOR-C0603-12P", 4, 4),
        ("ZELQUOR-D23", 2, 2),
    ),
    "OSSAREL-310": (
        ("ZELQUOR-R0402-10K", 20, 14),
        ("ZELQUOR-R0603-4K7", 8, 6),
        ("ZELQUOR-R0805-0R1", 4, 0),
        ("ZELQUOR-C0402-100N", 18, 16),
        ("ZELQUOR-C0603-1U", 10, 8),
        ("ZELQUOR-C1210-47U", 6, 2),
        ("ZELQUOR-D23", 2, 2),
        ("ZELQUOR-T23", 4, 0),
    ),
}


def lay_out(assembly_part_number: str) -> tuple[Placed, ...]:
    """Place every part of an assembly; the same every time. KeyError for an unknown assembly."""
    assembly = get_assembly(assembly_part_number)
    dice = random.Random(f"layout of {assembly_part_number}")  # noqa: S311 (no secret)
    placed = list(_FIXED[assembly_part_number])
    free = {side: _list_free_cells(assembly, placed, side=side) for side in ("top", "bottom")}
    for cells in free.values():
        dice.shuffle(cells)
    wanted = [
        (part_number, side)
        for part_number, on_top, below in _FILLING[assembly_part_number]
        for side in ["top"] * on_top + ["bottom"] * below
    ]
    dice.shuffle(wanted)
    numbers: dict[str, int] = {}
    for part_number, side in wanted:
        letter = part_number.split("-")[1][0]
        numbers[letter] = numbers.get(letter, 0) + 1
        x_mm, y_mm = free[side].pop()
        rotation_deg = dice.choice((0, 90, 180, 270))
        placed.append(
            Placed(f"{letter}{numbers[letter]}", part_number, x_mm, y_mm, rotation_deg, side)
        )
    return tuple(placed)


def list_array_sites(assembly_part_number: str) -> tuple[Placed, ...]:
    """List the array packages of an assembly."""
    return tuple(
        part for part in _FIXED[assembly_part_number] if get_part(part.part_number).is_array
    )


def is_overlapping(one: Placed, other: Placed, *, gap_mm: float = 0.0) -> bool:
    """Say whether two bodies on the same side come closer than the gap."""
    if one.side != other.side:
        return False
    left, lower, right, upper = one.box_mm
    left_2, lower_2, right_2, upper_2 = other.box_mm
    return (
        left - gap_mm < right_2
        and left_2 - gap_mm < right
        and lower - gap_mm < upper_2
        and lower_2 - gap_mm < upper
    )


def _list_free_cells(
    assembly: Assembly, placed: Sequence[Placed], *, side: str
) -> list[tuple[float, float]]:
    # The largest filler (1210) stands for whatever will be put there, either way round.
    return [
        (x_mm, y_mm)
        for x_mm, y_mm in _walk_grid(assembly)
        if not any(
            is_overlapping(
                Placed("?", "ZELQUOR-C1210-47U", x_mm, y_mm, turn, side), part, gap_mm=_GAP_MM
            )
            for part in placed
            for turn in (0, 90)
        )
    ]


def _walk_grid(assembly: Assembly) -> Iterator[tuple[float, float]]:
    for column in range(int((assembly.length_mm - 2 * _EDGE_MM) / _GRID_X_MM) + 1):
        for row in range(int((assembly.width_mm - 2 * _EDGE_MM) / _GRID_Y_MM) + 1):
            yield _EDGE_MM + column * _GRID_X_MM, _EDGE_MM + row * _GRID_Y_MM
