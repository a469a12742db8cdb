"""Materials that a body may be made of, each with where its numbers were seen."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.recipes.sums.figures import FROM_MEMORY, SEEN


class MaterialKey(StrEnum):
    """The materials of the table, and `typed` for values of one's own."""

    COPPER = "copper"
    LAMINATE = "laminate"
    MOULDING = "moulding"
    ALUMINA = "alumina"
    SAC305 = "sac305"
    ALUMINIUM = "aluminium"
    BEAD = "bead"
    TYPED = "typed"


@dataclass(frozen=True)
class Material:
    """Density in kg/m³, specific heat in J/(kg·K), conductivity in W/(m·K), near 25 °C."""

    label: str
    density_kg_m3: float
    specific_heat_j_kg_k: float
    conductivity_w_m_k: float
    source: str
    status: str


_HANDBOOKS: Final = "handbook values"
_TEXTBOOK: Final = "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, Example"

# Every value from memory is round; what is not pure metal varies between makers by tens of percent.
MATERIALS: Final = {
    MaterialKey.COPPER: Material("Copper", 8930, 385, 400, _HANDBOOKS, FROM_MEMORY),
    MaterialKey.LAMINATE: Material(
        "FR-4 laminate, through its thickness", 1850, 1100, 0.3, _HANDBOOKS, FROM_MEMORY
    ),
    MaterialKey.MOULDING: Material(
        "Epoxy moulding compound", 1900, 900, 0.8, _HANDBOOKS, FROM_MEMORY
    ),
    MaterialKey.ALUMINA: Material("Alumina ceramic, 96 %", 3700, 850, 24, _HANDBOOKS, FROM_MEMORY),
    MaterialKey.SAC305: Material("SAC305 solder", 7400, 230, 58, _HANDBOOKS, FROM_MEMORY),
    MaterialKey.ALUMINIUM: Material(
        "Aluminium panel of the textbook", 2770, 875, 177, f"{_TEXTBOOK} 5.3", SEEN
    ),
    MaterialKey.BEAD: Material(
        "Thermocouple bead of the textbook", 8500, 400, 20, f"{_TEXTBOOK} 5.1", SEEN
    ),
}
