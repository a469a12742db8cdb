"""The invented plant: its people, benches, assemblies, parts and supplies.

Threnmoor builds and repairs instruments for lakes and rivers. Every proper name is coined.
"""

from dataclasses import dataclass
from typing import Final

PLANT_NAME: Final = "Threnmoor Lake & River Instruments"
TIME_ZONE: Final = "Europe/Vienna"


@dataclass(frozen=True)
class Person:
    """One account of the demo; roles are spelt as the house spells them."""

    username: str
    name: str
    roles: tuple[str, ...]


@dataclass(frozen=True)
class Bench:
    """One hot-gas bench; its logger writes the named dialect of logger_files."""

    code: str
    name: str
    dialect: str
    sample_rate_hz: int
    has_nitrogen: bool


@dataclass(frozen=True)
class Part:
    """One part number; sizes in mm, temperatures in °C. `ball_alloy` is None without balls."""

    part_number: str
    description: str
    package: str
    length_mm: float
    width_mm: float
    height_mm: float
    pitch_mm: float | None
    ball_alloy: str | None
    moisture_level: str
    classification_c: int
    max_body_c: int
    reflow_cycles: int

    @property
    def is_array(self) -> bool:
        """Whether its joints lie beneath the body."""
        return self.package in {"BGA", "CSP", "QFN", "LGA"}


@dataclass(frozen=True)
class Assembly:
    """One assembly at one revision; sizes in mm."""

    part_number: str
    revision: str
    name: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    layers: int
    joint_alloy: str
    finish: str
    notes: str


@dataclass(frozen=True)
class Supply:
    """Something that is used up by the lot; `shelf_life_days` counts from receipt."""

    code: str
    kind: str
    name: str
    shelf_life_days: int


PEOPLE: Final = (
    Person("maren.thystrup", "Maren Thystrup", ("operator",)),
    Person("jorin.valbekk", "Jorin Valbekk", ("operator",)),
    Person("tessaly.ombrecht", "Tessaly Ombrecht", ("operator",)),
    Person("hanno.quistwald", "Hanno Quistwald", ("operator",)),
    Person("ilva.drosten", "Ilva Drosten", ("engineer",)),
    Person("benedek.farrowmill", "Benedek Farrowmill", ("engineer",)),
    Person("suna.orrelund", "Suna Orrelund", ("engineer", "operator")),
    Person("corvin.haslebrand", "Corvin Haslebrand", ("auditor",)),
    Person("petra.lindenquell", "Petra Lindenquell", ("administrator",)),
)

BENCHES: Final = (
    Bench("HERON", "Heron bench, by the window", "comma_seconds", 4, has_nitrogen=True),
    Bench("GREBE", "Grebe bench, middle", "semicolon_clock", 2, has_nitrogen=False),
    Bench("DIPPER", "Dipper bench, by the bake ovens", "tab_milliseconds", 5, has_nitrogen=True),
)
# The Dipper bench got another logger part way through the half year.
REPLACED_LOGGER_BENCH: Final = "DIPPER"
REPLACED_LOGGER_DIALECT: Final = "iso_datetime"

ASSEMBLIES: Final = (
    Assembly(
        "BRELNA-120", "C", "Lake level gauge, main board",
        120.0, 80.0, 1.6, 8, "SAC305", "ENIG",
        "Deployed in a float; conformal coating is peeled off before rework.",
    ),
    Assembly(
        "TOVQUIN-075", "B", "River flow meter, acoustic front end",
        90.0, 60.0, 1.6, 6, "SAC305", "immersion silver",
        "Transducer connector J1 is not to be heated above 200 °C.",
    ),
    Assembly(
        "OSSAREL-310", "D", "Water quality sonde, controller",
        140.0, 100.0, 2.4, 12, "SAC305", "ENIG",
        "Heavy ground planes: the board wants a long soak from below.",
    ),
)  # fmt: skip

# Classification temperatures follow thickness and volume as lead-free parts are classed in
# J-STD-020 (table from memory: under 1.6 mm 260 °C; 1.6 to 2.5 mm and 350 to 2000 mm³ 250 °C).
ARRAY_PARTS: Final = (
    Part("OSTWEN-B324", "Tide processor", "BGA", 15.0, 15.0, 1.7, 0.8, "SAC305", "3",
         250, 250, 3),
    Part("VRYLO-B100", "Memory, 100 balls", "BGA", 9.0, 9.0, 1.2, 0.8, "SAC305", "3",
         260, 260, 3),
    Part("VRYLO-B196", "Memory, 196 balls", "BGA", 12.0, 12.0, 1.4, 0.8, "SAC305", "3",
         260, 255, 3),
    Part("MEZZUL-B484", "Spectrum processor", "BGA", 23.0, 23.0, 2.2, 1.0, "SAC405", "4",
         250, 250, 3),
    Part("PLIQUA-C49", "Radio, chip scale", "CSP", 3.3, 3.3, 0.6, 0.4, "SAC305", "1",
         260, 260, 3),
    Part("NARVLET-C81", "Echo timer, chip scale", "CSP", 4.1, 4.1, 0.7, 0.4, "SAC305", "1",
         260, 260, 3),
    Part("DRUMVEL-Q48", "Power manager", "QFN", 7.0, 7.0, 0.9, 0.5, None, "2",
         260, 260, 3),
    Part("SKVELDA-Q32", "Transducer driver", "QFN", 5.0, 5.0, 0.85, 0.5, None, "2",
         260, 260, 3),
    Part("HOMQUE-L28", "Tilt sensor", "LGA", 5.2, 4.2, 1.0, 0.65, None, "3",
         260, 255, 3),
    Part("TRAUVIK-L60", "Power stage", "LGA", 8.0, 8.0, 1.3, 0.8, None, "3",
         260, 250, 2),
)  # fmt: skip


def _chip(code: str, description: str, package: str) -> Part:
    length_mm, width_mm, height_mm = _CHIP_SIZES_MM[package]
    return Part(
        code, description, package, length_mm, width_mm, height_mm, None, None, "1", 260, 260, 3,
    )  # fmt: skip


# Nominal body sizes of the usual package outlines, common practice, no source.
_CHIP_SIZES_MM: Final = {
    "0402": (1.0, 0.5, 0.35),
    "0603": (1.6, 0.8, 0.45),
    "0805": (2.0, 1.25, 0.9),
    "1210": (3.2, 2.5, 1.8),
    "SOT-23": (2.9, 2.4, 1.0),
    "SOIC-8": (6.0, 4.9, 1.6),
    "XTAL-3225": (3.2, 2.5, 0.8),
    "CONN-10": (14.0, 5.5, 4.2),
    "CONN-24": (28.0, 6.5, 4.6),
    "IND-5050": (5.0, 5.0, 3.0),
}

SMALL_PARTS: Final = (
    _chip("ZELQUOR-R0402-10K", "Resistor 10 kΩ 1 %", "0402"),
    _chip("ZELQUOR-R0603-49R9", "Resistor 49.9 Ω 1 %", "0603"),
    _chip("ZELQUOR-R0603-4K7", "Resistor 4.7 kΩ 1 %", "0603"),
    _chip("ZELQUOR-R0805-0R1", "Resistor 0.1 Ω, current sense", "0805"),
    _chip("ZELQUOR-C0402-100N", "Capacitor 100 nF 16 V", "0402"),
    _chip("ZELQUOR-C0603-1U", "Capacitor 1 µF 25 V", "0603"),
    _chip("ZELQUOR-C0603-12P", "Capacitor 12 pF 50 V", "0603"),
    _chip("ZELQUOR-C1210-47U", "Capacitor 47 µF 10 V", "1210"),
    _chip("ZELQUOR-D23", "Diode, dual", "SOT-23"),
    _chip("ZELQUOR-T23", "Transistor, switch", "SOT-23"),
    _chip("FENVARD-A8", "Amplifier, dual", "SOIC-8"),
    _chip("FENVARD-E8", "Identity memory", "SOIC-8"),
    _chip("QUORLITH-X24", "Crystal 24 MHz", "XTAL-3225"),
    _chip("QUORLITH-X32", "Crystal 32 MHz", "XTAL-3225"),
    _chip("ULMBRIG-J10", "Connector, 10 ways", "CONN-10"),
    _chip("ULMBRIG-J24", "Connector, 24 ways", "CONN-24"),
    _chip("ZELQUOR-L5050-6U8", "Inductor 6.8 µH", "IND-5050"),
)
PARTS: Final = ARRAY_PARTS + SMALL_PARTS

SUPPLIES: Final = (
    Supply("HALVQUILL-T", "flux", "Halvquill tacky flux, no-clean", 365),
    Supply("STRANDOLIN-4", "paste", "Strandolin paste SAC305, powder type 4", 180),
    Supply("MIRECLAR", "cleaner", "Mireclar flux remover", 540),
    Supply("TARNBRAID", "wick", "Tarnbraid wick, 2.5 mm, fluxed", 720),
)


def get_part(part_number: str) -> Part:
    """Return the part of that number; KeyError if the plant has none."""
    return _PART_OF[part_number]


def get_assembly(part_number: str) -> Assembly:
    """Return the assembly of that number; KeyError if the plant has none."""
    return _ASSEMBLY_OF[part_number]


def list_people(role: str) -> tuple[Person, ...]:
    """List the people who hold a role, in the order of the table."""
    return tuple(person for person in PEOPLE if role in person.roles)


_PART_OF: Final = {part.part_number: part for part in PARTS}
_ASSEMBLY_OF: Final = {assembly.part_number: assembly for assembly in ASSEMBLIES}
