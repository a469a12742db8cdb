"""The shape of a ball that has melted between two round pads, and the height it leaves.

A sphere cut off by both pads, of the ball's volume and what paste adds. It knows no weight and no
balance of surface tension, so that a heavy part comes to rest lower; solder wets all of each pad
and nothing else. Segment volume π·H/6·(3·a1² + 3·a2² + H²): any handbook of geometry; the
truncated sphere as a joint: Goldmann, IBM J. Res. Develop. 13(3), 1969 (from memory), and
Heinrich et al., ASME J. Electron. Packag. 118, 1996 (abstract seen).
"""

import math
from dataclasses import dataclass

from app.numerics.errors import NumericsError

MM_PER_THOUSANDTH_INCH = 0.0254
_SMALLEST_MM, _LARGEST_MM = 1e-4, 100.0


class UnusableJoint(NumericsError):
    """A size or tolerance of a joint outside its range."""


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Half widths in mm (0 or more) of ball and pad diameters, and of the metal volume in mm³."""

    ball_mm: float = 0.0
    package_pad_mm: float = 0.0
    board_pad_mm: float = 0.0
    metal_mm3: float = 0.0


@dataclass(frozen=True, slots=True)
class Height:
    """A height in mm with its tolerance, ±, by the first derivatives.

    `worst_mm` adds the parts' absolute values; `likely_mm` adds their squares (parts that do not
    depend on each other).
    """

    mm: float
    worst_mm: float
    likely_mm: float

    @property
    def thousandths(self) -> float:
        """The height in thousandths of an inch."""
        return self.mm / MM_PER_THOUSANDTH_INCH

    @property
    def worst_thousandths(self) -> float:
        """The worst tolerance in thousandths of an inch."""
        return self.worst_mm / MM_PER_THOUSANDTH_INCH

    @property
    def likely_thousandths(self) -> float:
        """The likely tolerance in thousandths of an inch."""
        return self.likely_mm / MM_PER_THOUSANDTH_INCH


@dataclass(frozen=True, slots=True)
class Joint:
    """A collapsed ball: all lengths in mm, volume in mm³.

    `centre_mm` is how far the sphere's centre is above the board pad; outside 0 to the stand-off
    the joint is widest at a pad. The derivatives are of the stand-off, by ball and pad diameters
    (mm/mm) and by metal volume (mm/mm³).
    """

    ball_mm: float
    package_pad_mm: float
    board_pad_mm: float
    volume_mm3: float
    stand_off_mm: float
    radius_mm: float
    centre_mm: float
    by_ball: float
    by_package_pad: float
    by_board_pad: float
    by_metal: float

    @property
    def largest_diameter_mm(self) -> float:
        """Width of the joint where it is widest."""
        if 0.0 <= self.centre_mm <= self.stand_off_mm:
            return 2.0 * self.radius_mm
        return max(self.package_pad_mm, self.board_pad_mm)

    @property
    def collapse(self) -> float:
        """Share of the ball's diameter that is lost: 1 − stand-off / ball."""
        return 1.0 - self.stand_off_mm / self.ball_mm


@dataclass(frozen=True, slots=True)
class PlacementHeights:
    """From board pad to package pad: when the part is set down, and after its balls have melted.

    `drop` is the difference, which the part must be free to fall.
    """

    before: Height
    after: Height
    drop: Height


def compute_joint(
    ball_mm: float, *, package_pad_mm: float, board_pad_mm: float, metal_mm3: float = 0.0
) -> Joint:
    """Shape of a ball of `ball_mm` diameter melted between two pads (mm), with metal from paste.

    H³ + 3·s·H = D³, where s = a1² + a2² (pad radii) and D³ = d³ + 6·V/π, solved as
    H = 2·√s·sinh(asinh(D³ / (2·s^1.5)) / 3), which loses no digits for small pads. Sizes 0.0001
    to 100 mm, metal 0 or more. Raises UnusableJoint.
    """
    _check_size(ball_mm=ball_mm, package_pad_mm=package_pad_mm, board_pad_mm=board_pad_mm)
    if not 0.0 <= metal_mm3 <= _LARGEST_MM**3:
        raise UnusableJoint(f"metal_mm3 must be 0 or more, not {metal_mm3:g}.")
    package_a, board_a = package_pad_mm / 2.0, board_pad_mm / 2.0
    pads = package_a**2 + board_a**2
    cube = ball_mm**3 + 6.0 * metal_mm3 / math.pi
    height = _solve_height(cube, pads)
    centre = (height**2 + package_a**2 - board_a**2) / (2.0 * height)
    yielding = height**2 + pads
    return Joint(
        ball_mm=ball_mm,
        package_pad_mm=package_pad_mm,
        board_pad_mm=board_pad_mm,
        volume_mm3=math.pi * cube / 6.0,
        stand_off_mm=height,
        radius_mm=math.hypot(board_a, centre),
        centre_mm=centre,
        by_ball=ball_mm**2 / yielding,
        by_package_pad=-height * package_pad_mm / (2.0 * yielding),
        by_board_pad=-height * board_pad_mm / (2.0 * yielding),
        by_metal=2.0 / (math.pi * yielding),
    )


def compute_stand_off(joint: Joint, tolerances: Tolerances) -> Height:
    """Stand-off with its tolerance from those of ball, pads and metal. Raises UnusableJoint."""
    _check_tolerances(tolerances)
    return _spread(joint.stand_off_mm, _parts_after(joint, tolerances))


def compute_placement_heights(
    joint: Joint, tolerances: Tolerances, *, paste_mm: float = 0.0, paste_tolerance_mm: float = 0.0
) -> PlacementHeights:
    """Heights between the pads before and after melting, and the drop between.

    Before: the ball is a sphere of its own volume cut off by the package pad alone,
    h³ + 3·a²·h = d³, and stands on paste of height `paste_mm` (0 or more; pressed in by nothing).
    What ball and package pad do to both heights partly cancels in the drop. Raises UnusableJoint.
    """
    _check_tolerances(tolerances)
    for name, value in (("paste_mm", paste_mm), ("paste_tolerance_mm", paste_tolerance_mm)):
        if not 0.0 <= value <= _LARGEST_MM:
            raise UnusableJoint(f"{name} must be 0 to {_LARGEST_MM:g} mm, not {value:g}.")
    package_a = joint.package_pad_mm / 2.0
    standing = _solve_height(joint.ball_mm**3, package_a**2)
    yielding = standing**2 + package_a**2
    before = (
        joint.ball_mm**2 / yielding * tolerances.ball_mm,
        -standing * joint.package_pad_mm / (2.0 * yielding) * tolerances.package_pad_mm,
        0.0,
        0.0,
        paste_tolerance_mm,
    )
    after = (*_parts_after(joint, tolerances), 0.0)
    drop = tuple(one - other for one, other in zip(before, after, strict=True))
    height = standing + paste_mm
    return PlacementHeights(
        before=_spread(height, before),
        after=_spread(joint.stand_off_mm, after),
        drop=_spread(height - joint.stand_off_mm, drop),
    )


def trace_outline(joint: Joint, *, count: int = 41) -> tuple[tuple[float, float], ...]:
    """List (half width, height above the board pad) in mm from board to package, to be drawn.

    `count` is 2 to 10,000. Raises UnusableJoint.
    """
    if not 2 <= count <= 10_000:  # noqa: PLR2004 - two ends at least
        raise UnusableJoint(f"count must be 2 to 10000, not {count}.")
    package_a, board_a = joint.package_pad_mm / 2.0, joint.board_pad_mm / 2.0
    shares = [place / (count - 1) for place in range(count)]
    # R² − (z − c)², so written that it loses no digits where the sphere is far larger than a pad.
    widths = [
        math.sqrt(
            (1.0 - share) * board_a**2
            + share * package_a**2
            + share * (1.0 - share) * joint.stand_off_mm**2
        )
        for share in shares
    ]
    return tuple(
        (width, share * joint.stand_off_mm) for width, share in zip(widths, shares, strict=True)
    )


def _solve_height(cube: float, pads: float) -> float:
    root = math.sqrt(pads)
    return 2.0 * root * math.sinh(math.asinh(cube / (2.0 * pads * root)) / 3.0)


def _parts_after(joint: Joint, tolerances: Tolerances) -> tuple[float, float, float, float]:
    return (
        joint.by_ball * tolerances.ball_mm,
        joint.by_package_pad * tolerances.package_pad_mm,
        joint.by_board_pad * tolerances.board_pad_mm,
        joint.by_metal * tolerances.metal_mm3,
    )


def _spread(height_mm: float, parts: tuple[float, ...]) -> Height:
    return Height(
        height_mm, worst_mm=sum(abs(part) for part in parts), likely_mm=math.hypot(*parts)
    )


def _check_size(**sizes: float) -> None:
    for name, size in sizes.items():
        if not _SMALLEST_MM <= size <= _LARGEST_MM:
            raise UnusableJoint(
                f"{name} must be {_SMALLEST_MM:g} to {_LARGEST_MM:g} mm, not {size:g}."
            )


def _check_tolerances(tolerances: Tolerances) -> None:
    for name in ("ball_mm", "package_pad_mm", "board_pad_mm", "metal_mm3"):
        value: float = getattr(tolerances, name)
        if not 0.0 <= value <= _LARGEST_MM:
            raise UnusableJoint(f"Tolerance {name} must be 0 to {_LARGEST_MM:g}, not {value:g}.")
