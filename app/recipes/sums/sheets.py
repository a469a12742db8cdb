"""Which fields the form of each sum has, and what works it out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from app.recipes.sums.asked import AskedValues
from app.recipes.sums.figures import Sum
from app.recipes.sums.joint import JointAsked, work_out_joint
from app.recipes.sums.lumped import BodyShape, LumpedAsked, work_out_lumped
from app.recipes.sums.materials import MATERIALS, MaterialKey
from app.recipes.sums.stencil import (
    USUAL_METAL_PCT,
    USUAL_TRANSFER_PCT,
    StencilAsked,
    work_out_stencil,
)

Choices = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Ask:
    """One field of a form; `usual` stands in it when the address says nothing."""

    name: str
    label: str
    hint: str = ""
    unit: str = ""
    usual: str = ""
    choices: Choices = ()
    is_length: bool = False


@dataclass(frozen=True)
class AskGroup:
    """Fields that belong together."""

    title: str
    asks: tuple[Ask, ...]
    hint: str = ""


@dataclass(frozen=True)
class SumSheet:
    """One sum: its words, its fields, an example whose result is known, and what works it out."""

    name: str
    title: str
    lead: str
    groups: tuple[AskGroup, ...]
    model: type[AskedValues]
    work_out: Callable[[Mapping[str, str]], Sum]
    example: Mapping[str, str]
    example_words: str

    @property
    def href(self) -> str:
        """The sum's address without any values."""
        return f"/recipes/sums/{self.name}"

    @property
    def example_href(self) -> str:
        """The address of the example."""
        return f"{self.href}?{urlencode(self.example)}"

    @property
    def asks(self) -> tuple[Ask, ...]:
        """All fields, in the order of the form."""
        return tuple(ask for group in self.groups for ask in group.asks)

    def needs(self, name: str) -> bool:
        """Whether a field must be given."""
        return self.model.model_fields[name].is_required()

    def is_whole(self, texts: Mapping[str, str]) -> bool:
        """Whether every field that must be given is."""
        return all(texts.get(ask.name, "").strip() for ask in self.asks if self.needs(ask.name))


_SHAPES: Final[Choices] = (("rect", "rectangle"), ("square", "square"), ("round", "round"))
_SIDE: Final = "0.05 to 30 mm"


def _length(name: str, label: str, hint: str, usual: str = "") -> Ask:
    return Ask(name, label, hint=hint, usual=usual, is_length=True)


_SHARES: Final = (
    Ask(
        "transfer_pct",
        "Transfer efficiency",
        "1 to 150; about 80 at an area ratio of 0.66: from memory, confirm on your own prints",
        "%",
        f"{USUAL_TRANSFER_PCT:g}",
    ),
    Ask(
        "metal_pct",
        "Metal, by volume",
        "1 to 100; about 50 at 90 % by weight: seen on a paste maker's page",
        "%",
        f"{USUAL_METAL_PCT:g}",
    ),
)
_OPENING: Final = (
    _length("length", "Length, side or diameter", _SIDE),
    _length("width", "Width", f"{_SIDE}; a rectangle needs it"),
    _length("foil_thickness", "Foil thickness", "0.02 to 1 mm"),
)

STENCIL: Final = SumSheet(
    "stencil",
    "Stencil apertures",
    "Will paste leave the aperture, and how much solder does it bring?",
    (
        AskGroup(
            "Aperture",
            (
                Ask("shape", "Shape", choices=_SHAPES, usual="rect"),
                *_OPENING,
                Ask("count", "How many", "1 to 5000", usual="1"),
            ),
        ),
        AskGroup("Paste", _SHARES),
    ),
    StencilAsked,
    work_out_stencil,
    {"shape": "rect", "length": "0.30 mm", "width": "0.25 mm", "foil_thickness": "0.10 mm"},
    "0.30 by 0.25 mm in a foil of 0.10 mm",
)

JOINT: Final = SumSheet(
    "joint",
    "Collapsed ball",
    "How high is the part when it is set down, and when its balls have melted?",
    (
        AskGroup(
            "Ball and pads",
            (
                _length("ball", "Ball diameter", "0.02 to 5 mm, before it is mounted"),
                _length("ball_tolerance", "Ball, ±", "0 to 1 mm", "0 mm"),
                _length("package_pad", "Package pad, diameter", "0.02 to 5 mm"),
                _length("package_pad_tolerance", "Package pad, ±", "0 to 1 mm", "0 mm"),
                _length("board_pad", "Board pad, diameter", "0.02 to 5 mm"),
                _length("board_pad_tolerance", "Board pad, ±", "0 to 1 mm", "0 mm"),
            ),
        ),
        AskGroup(
            "Paste, where it is printed",
            (
                Ask("shape", "Aperture", choices=_SHAPES),
                *_OPENING,
                _length("foil_tolerance", "Height of the paste, ±", "0 to 1 mm", "0 mm"),
                *_SHARES,
                Ask("metal_tolerance_pct", "Solder from paste, ±", "0 to 100", "%", "0"),
            ),
            hint="Leave shape, sizes and foil empty where there is no paste.",
        ),
    ),
    JointAsked,
    work_out_joint,
    {"ball": "0.60 mm", "package_pad": "0.50 mm", "board_pad": "0.50 mm"},
    "a ball of 0.60 mm on pads of 0.50 mm",
)

_BODY_SHAPES: Final[Choices] = (
    (BodyShape.PLATE_BOTH, "plate, heated on both faces"),
    (BodyShape.PLATE_ONE, "plate, heated on one face"),
    (BodyShape.SPHERE, "sphere"),
    (BodyShape.MASS_PER_AREA, "mass per heated area"),
)
_MATERIALS: Final[Choices] = (
    *((key, f"{found.label} ({found.status})") for key, found in MATERIALS.items()),
    (MaterialKey.TYPED, "values typed below"),
)

LUMPED: Final = SumSheet(
    "lumped",
    "Heating and cooling",
    "How fast does a body follow the gas, and does one temperature stand for all of it?",
    (
        AskGroup(
            "Body",
            (
                Ask("shape", "Shape", choices=_BODY_SHAPES, usual=BodyShape.PLATE_BOTH),
                _length("size", "Thickness or diameter", "0.001 to 100 mm"),
                Ask(
                    "mass_kg_m2", "Mass per heated area", "0.001 to 1000; instead of size", "kg/m²"
                ),
                Ask("material", "Material", choices=_MATERIALS, usual=MaterialKey.LAMINATE),
            ),
        ),
        AskGroup(
            "Material, typed",
            (
                Ask("density_kg_m3", "Density ρ", "1 to 25000", "kg/m³"),
                Ask("specific_heat_j_kg_k", "Specific heat c", "10 to 20000", "J/(kg·K)"),
                Ask("conductivity_w_m_k", "Conductivity k", "0.01 to 3000", "W/(m·K)"),
            ),
            hint="Only where the material is “values typed below”.",
        ),
        AskGroup(
            "Surroundings",
            (
                Ask("film_w_m2_k", "Film coefficient h", "0.1 to 100000", "W/(m²·K)"),
                Ask("gas_c", "Gas", "-200 to 1500", "°C"),
                Ask("emissivity", "Emissivity", "0 to 1; 0 is without radiation", usual="0"),
                Ask("walls_c", "Walls", "-200 to 1500; empty is as the gas", "°C"),
            ),
        ),
        AskGroup(
            "Temperature of the body",
            (
                Ask("from_c", "From", "-200 to 1500", "°C", "25"),
                Ask("to_c", "To", "-200 to 1500", "°C"),
            ),
        ),
    ),
    LumpedAsked,
    work_out_lumped,
    {
        "shape": "sphere",
        "size": "0.705882 mm",
        "material": "bead",
        "film_w_m2_k": "400",
        "gas_c": "200",
        "emissivity": "0",
        "from_c": "25",
        "to_c": "199",
    },
    "the thermocouple bead of Incropera & DeWitt, Example 5.1",
)

SHEETS: Final = (STENCIL, JOINT, LUMPED)
