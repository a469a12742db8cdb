"""How much solder a printed aperture leaves on its pad."""

import math
from dataclasses import dataclass

from app.numerics.errors import NumericsError

# Practice, from memory: about 80 % at an area ratio of 0.66; not in IPC-7525.
USUAL_TRANSFER_EFFICIENCY = 0.80
# A paste maker's page: about 90 % by weight and 50 % by volume. Reckoned with flux of 1.0 g/cm³:
# 55 % for SAC305 at 7.4 g/cm³, 52 % for tin-lead at 8.4 g/cm³.
USUAL_METAL_SHARE = 0.50
TRANSFER_STATUS = "from memory; confirm against your copy"
METAL_SHARE_STATUS = "seen in a public restatement"

_LARGEST_MM = 100.0


class UnusablePaste(NumericsError):
    """A size or share of a paste deposit outside its range."""


@dataclass(frozen=True, slots=True)
class PasteDeposit:
    """Volumes in mm³: of the aperture, of the paste printed, of the metal that will melt."""

    aperture_mm3: float
    paste_mm3: float
    metal_mm3: float


def compute_deposit(
    open_area_mm2: float,
    foil_mm: float,
    *,
    transfer_efficiency: float = USUAL_TRANSFER_EFFICIENCY,
    metal_share: float = USUAL_METAL_SHARE,
) -> PasteDeposit:
    """Return what one aperture of `open_area_mm2` in a foil of `foil_mm` leaves.

    Aperture volume = area × foil; paste = that × transfer efficiency (printed over theoretical
    volume, above 0 and at most 1.5); metal = paste × its share by volume, above 0 and at most 1.
    Raises UnusablePaste.
    """
    _check_range("open_area_mm2", open_area_mm2, _LARGEST_MM**2)
    _check_range("foil_mm", foil_mm, _LARGEST_MM)
    _check_range("transfer_efficiency", transfer_efficiency, 1.5)
    _check_range("metal_share", metal_share, 1.0)
    aperture = open_area_mm2 * foil_mm
    paste = aperture * transfer_efficiency
    return PasteDeposit(aperture_mm3=aperture, paste_mm3=paste, metal_mm3=paste * metal_share)


def compute_metal_share(
    weight_share: float, *, alloy_g_per_cm3: float, flux_g_per_cm3: float = 1.0
) -> float:
    """Share of metal by volume from its share by weight (0 to 1) and the two densities.

    (w/ρm) / (w/ρm + (1 − w)/ρf). Flux at 1.0 g/cm³ is common practice, no source. Raises
    UnusablePaste.
    """
    _check_range("weight_share", weight_share, 1.0)
    _check_range("alloy_g_per_cm3", alloy_g_per_cm3, 25.0)
    _check_range("flux_g_per_cm3", flux_g_per_cm3, 25.0)
    metal = weight_share / alloy_g_per_cm3
    return metal / (metal + (1.0 - weight_share) / flux_g_per_cm3)


def compute_round_area_mm2(diameter_mm: float) -> float:
    """Area of a round aperture; raises UnusablePaste unless 0 to 100 mm."""
    _check_range("diameter_mm", diameter_mm, _LARGEST_MM)
    return math.pi * diameter_mm**2 / 4.0


def _check_range(name: str, value: float, largest: float) -> None:
    if not 0.0 < value <= largest:
        raise UnusablePaste(f"{name} must be above 0 and at most {largest:g}, not {value:g}.")
