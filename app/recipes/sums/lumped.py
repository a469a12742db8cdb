"""How fast a body follows the gas around it, and whether one temperature may stand for it."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Final, Self

from pydantic import Field, model_validator

from app.numerics.lumped import (
    LARGEST_BIOT,
    Body,
    LumpedSum,
    Surroundings,
    compute_lumped,
    compute_steady_c,
    compute_time_to,
)
from app.numerics.values import Measured, NotReached
from app.recipes.body.fields import refuse_at
from app.recipes.sums.asked import AskedValues, AsTyped, BodyText, get_mm, read_asked
from app.recipes.sums.figures import EXACT, SEEN, Figure, Held, Sum, spell_digits
from app.recipes.sums.materials import MATERIALS, Material, MaterialKey
from app.recipes.sums.picture_lumped import draw_course

TEXTBOOK: Final = "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5"


class BodyShape(StrEnum):
    """What the body's volume is over the area that takes heat."""

    PLATE_BOTH = "plate_both"
    PLATE_ONE = "plate_one"
    SPHERE = "sphere"
    MASS_PER_AREA = "mass_per_area"


# Volume over area is the size divided by this.
_PART_OF_SIZE: Final = {
    BodyShape.PLATE_BOTH: ("thickness / 2", 2.0),
    BodyShape.PLATE_ONE: ("thickness", 1.0),
    BodyShape.SPHERE: ("diameter / 6", 6.0),
}
_OF_MATERIAL: Final = ("density_kg_m3", "specific_heat_j_kg_k", "conductivity_w_m_k")

# -200 to 1500 °C holds every bench and every example; common practice, no source.
Celsius = Annotated[float, Field(ge=-200, le=1500), AsTyped]


class LumpedAsked(AskedValues):
    """A body, what surrounds it, and from where to where its temperature is to go.

    Density 1 to 25,000 kg/m³, specific heat 10 to 20,000 J/(kg·K), conductivity 0.01 to 3000
    W/(m·K), size 0.001 to 100 mm or mass 0.001 to 1000 kg/m², film coefficient 0.1 to 100,000
    W/(m²·K), emissivity 0 to 1.
    """

    material: MaterialKey
    density_kg_m3: Annotated[float, Field(ge=1, le=25_000), AsTyped] | None = None
    specific_heat_j_kg_k: Annotated[float, Field(ge=10, le=20_000), AsTyped] | None = None
    conductivity_w_m_k: Annotated[float, Field(ge=0.01, le=3000), AsTyped] | None = None
    shape: BodyShape
    size: BodyText | None = None
    mass_kg_m2: Annotated[float, Field(ge=0.001, le=1000), AsTyped] | None = None
    film_w_m2_k: Annotated[float, Field(ge=0.1, le=100_000), AsTyped]
    gas_c: Celsius
    emissivity: Annotated[float, Field(ge=0, le=1), AsTyped] = 0.0
    walls_c: Celsius | None = None
    from_c: Celsius
    to_c: Celsius

    @model_validator(mode="after")
    def _check_body(self) -> Self:
        is_typed = self.material is MaterialKey.TYPED
        for name in _OF_MATERIAL:
            if is_typed and getattr(self, name) is None:
                refuse_at(name, sentence="must be given when the material is typed")
            if not is_typed and getattr(self, name) is not None:
                refuse_at(name, sentence="may be given only when the material is typed")
        is_mass = self.shape is BodyShape.MASS_PER_AREA
        if (self.mass_kg_m2 is not None) is not is_mass:
            refuse_at("mass_kg_m2", sentence="must be given for mass per area, and for it alone")
        if (self.size is None) is not is_mass:
            refuse_at("size", sentence="must be given, except for mass per area")
        if self.walls_c is not None and self.emissivity == 0.0:
            refuse_at("walls_c", sentence="counts only with an emissivity above 0")
        return self


def work_out_lumped(texts: Mapping[str, str]) -> Sum:
    """Work the sum out from the texts of an address. Raises SumUnreadable."""
    return compute_lumped_sum(read_asked(LumpedAsked, texts))


def compute_lumped_sum(asked: LumpedAsked) -> Sum:
    """Return time constant, Biot number, steady temperature and the time to a temperature."""
    material = find_material(asked)
    body = Body(
        material.density_kg_m3,
        material.specific_heat_j_kg_k,
        material.conductivity_w_m_k,
        length_m=_compute_length_m(asked, material),
    )
    around = Surroundings(
        gas_c=asked.gas_c,
        film_w_per_m2_k=asked.film_w_m2_k,
        walls_c=asked.walls_c,
        emissivity=asked.emissivity,
    )
    steady_c = compute_steady_c(around)
    hottest_c = max(asked.from_c, steady_c)
    lump = compute_lumped(body, around, body_c=hottest_c)
    taken = compute_time_to(body, around, from_c=asked.from_c, to_c=asked.to_c)
    time_s = taken.value if isinstance(taken, Measured) else None
    return Sum(
        figures=_list_figures(asked, lump, body, taken, steady_c=steady_c),
        says=lump.sentence,
        holds=lump.holds,
        remarks=tuple(_remark(material, asked, lump)),
        picture=draw_course(
            body,
            around,
            from_c=asked.from_c,
            to_c=asked.to_c,
            steady_c=steady_c,
            time_s=time_s,
            holds=lump.holds,
        ),
    )


def find_material(asked: LumpedAsked) -> Material:
    """Return the material of the table, or one of the typed values."""
    tabled = MATERIALS.get(asked.material)
    if tabled is not None:
        return tabled
    density, heat, conductivity = (float(getattr(asked, name)) for name in _OF_MATERIAL)
    return Material("Typed values", density, heat, conductivity, "your own", "as typed")


def _compute_length_m(asked: LumpedAsked, material: Material) -> float:
    """Return volume over heated area in metres."""
    if asked.mass_kg_m2 is not None:
        return asked.mass_kg_m2 / material.density_kg_m3
    return get_mm(asked.size or "") / 1000 / _PART_OF_SIZE[asked.shape][1]


def _list_figures(
    asked: LumpedAsked,
    lump: LumpedSum,
    body: Body,
    taken: Measured | NotReached,
    *,
    steady_c: float,
) -> tuple[Figure, ...]:
    has_radiation = asked.emissivity > 0.0
    film = "(h + h_rad)" if has_radiation else "h"
    size = _PART_OF_SIZE.get(asked.shape, ("mass per area / ρ", 1.0))[0]
    held = Held(f"at most {LARGEST_BIOT:g}", lump.holds)
    # What rests on a sum that does not hold says so beside its number.
    doubt = "" if lump.holds else " (the sum does not hold)"
    time_s = taken.value if isinstance(taken, Measured) else None
    spelled = (
        taken.reason if isinstance(taken, NotReached) else f"{_spell_time(taken.value)}{doubt}"
    )
    radiation = lump.radiation_w_per_m2_k
    figures = [
        Figure(
            "time_constant",
            "Time constant",
            lump.time_constant_s,
            "s",
            f"{_spell_time(lump.time_constant_s)}{doubt}",
            f"ρ · c · L / {film}",
            TEXTBOOK,
            SEEN,
        ),
        Figure(
            "biot",
            "Biot number",
            lump.biot,
            "",
            spell_digits(lump.biot, 3),
            f"{film} · L / k, held against {LARGEST_BIOT:g}",
            TEXTBOOK,
            SEEN,
            held=held,
        ),
        Figure(
            "time_to",
            f"Time from {asked.from_c:g} to {asked.to_c:g} °C",
            time_s,
            "s",
            spelled,
            "∫ ρ·c·L / net flux dT, by Gauss and Legendre"
            if has_radiation
            else "τ · ln((T₀ − T∞) / (T − T∞))",
            TEXTBOOK,
            SEEN,
        ),
        Figure(
            "steady",
            "Temperature it tends to",
            steady_c,
            "°C",
            f"{steady_c:.1f} °C",
            "where gas and walls give and take the same" if has_radiation else "that of the gas",
            TEXTBOOK,
            SEEN,
        ),
        Figure(
            "length",
            "Volume over heated area",
            body.length_m * 1000,
            "mm",
            f"{spell_digits(body.length_m * 1000)} mm",
            f"L = {size}",
            TEXTBOOK,
            EXACT,
        ),
    ]
    if has_radiation:
        figures.append(
            Figure(
                "radiation",
                "Radiation's share of h",
                radiation,
                "W/(m²·K)",
                f"{spell_digits(radiation, 3)} W/(m²·K)",
                "ε·σ·(T + Tw)·(T² + Tw²) in kelvin, at the hottest of the way",
                TEXTBOOK,
                SEEN,
            )
        )
    return tuple(figures)


def _remark(material: Material, asked: LumpedAsked, lump: LumpedSum) -> list[str]:
    remarks = [
        (
            f"{material.label}: ρ {material.density_kg_m3:g} kg/m³, c "
            f"{material.specific_heat_j_kg_k:g} J/(kg·K), k {material.conductivity_w_m_k:g} "
            f"W/(m·K): {material.source}, {material.status}."
        ),
        (
            "The film coefficient h of a nozzle is seldom known better than to a third (common "
            "practice, no source): take it from a measured time constant where you can."
        ),
        (
            "No heat flows to the rest of the board, none is taken up in melting, and no property "
            "changes with temperature."
        ),
    ]
    if asked.emissivity > 0.0:
        remarks.append(
            "With radiation the time constant and the Biot number hold at the hottest of the way; "
            "the time is exact for radiation that changes on the way."
        )
    if not lump.holds:
        remarks.append(
            "The inside lags behind the surface: the surface is faster and the core slower than "
            "these figures. Measure instead, with a thermocouple in the core."
        )
    return remarks


def _spell_time(value_s: float) -> str:
    return f"{spell_digits(value_s, 3)} s"
