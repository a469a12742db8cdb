"""A body in words: the same description serves the page, the print and the comparison."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from app.recipes.body.heating import Zone
from app.recipes.body.lengths import TypedLength, spell_decimal
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.setup import Thermocouple
from app.recipes.body.site import FluxDip, PasteDeposit
from app.recipes.body.stencil import (
    LEAST_AREA_RATIO,
    LEAST_ASPECT_RATIO,
    RATIO_SOURCE,
    Aperture,
    ApertureShape,
    compute_ratios,
)
from app.recipes.body.window import METRICS, BareLimit, Limit, TakenFrom
from app.traces.rules import ChannelRole

NOT_GIVEN = "–"
OFF = "off"
OWN_LIMIT = "the recipe's own; no source stated"


@dataclass(frozen=True)
class Row:
    """One value: what it is called, the value with its unit, and its path in the body."""

    label: str
    value: str
    path: str


@dataclass(frozen=True)
class Section:
    """The rows of one part of the body; labels are unique within it."""

    title: str
    rows: tuple[Row, ...]


def describe_body(body: RecipeBody) -> tuple[Section, ...]:
    """Return every value of a body, spelt with its unit; typed lengths as typed, mm beside."""
    return (
        Section("Applies to", tuple(_describe_where(body))),
        Section("Tooling", tuple(_describe_tooling(body))),
        Section("Thermocouples", tuple(_describe_thermocouples(body))),
        *(_describe_zone(place, zone) for place, zone in enumerate(body.zones)),
        Section("Head heights", tuple(_describe_heights(body))),
        Section("Lift rule", tuple(_describe_lift(body))),
        Section("Site dressing", tuple(_describe_dressing(body))),
        Section("Deposit", tuple(_describe_deposit(body))),
        Section("Placement", tuple(_describe_placement(body))),
        Section("Window", tuple(_describe_window(body))),
        Section("Limits", tuple(_describe_limits(body))),
        Section("Cleaning", tuple(_describe_cleaning(body))),
        Section("Inspection", tuple(_describe_inspection(body))),
        Section("Cautions", tuple(_describe_cautions(body))),
    )


def spell_number(value: float) -> str:
    """Spell a number in its shortest exact form: `90`, `2.5`."""
    return spell_decimal(Decimal(repr(value)))


def spell_limit(limit: BareLimit) -> str:
    """Spell a limit with its unit: `230 to 245 °C`, `at most 3 K/s`."""
    if limit.lower is None and limit.upper is not None:
        return f"at most {spell_number(limit.upper)} {limit.unit}"
    if limit.upper is None and limit.lower is not None:
        return f"at least {spell_number(limit.lower)} {limit.unit}"
    lower, upper = limit.lower or 0.0, limit.upper or 0.0
    return f"{spell_number(lower)} to {spell_number(upper)} {limit.unit}"


def spell_taken_from(limit: Limit) -> str:
    """Spell whose a limit is: the window it came out of with its status and source, or nobody's.

    A limit whose numbers were changed since is the recipe's own, and says what it was.
    """
    taken = limit.taken_from
    if taken is None:
        return OWN_LIMIT
    if limit.is_as_taken:
        return _spell_window(taken)
    was = BareLimit.model_construct(
        metric=limit.metric, roles=limit.roles, lower=taken.lower, upper=taken.upper
    )
    return f"the recipe's own; was {spell_limit(was)} in {_spell_window(taken)}"


def _spell_window(taken: TakenFrom) -> str:
    printed = f"; {taken.source}" if taken.source else ""
    return (
        f"window {taken.window}, version {taken.version} (digest {taken.digest[:12]}…): "
        f"{taken.status}{printed}"
    )


def spell_roles(roles: Iterable[ChannelRole]) -> str:
    """Spell roles for people: `joint, centre; package body`."""
    return "; ".join(role.words for role in roles)


def _text(value: str) -> str:
    return value or NOT_GIVEN


def _listed(values: Iterable[str]) -> str:
    return ", ".join(values) or NOT_GIVEN


def _flag(value: bool) -> str:  # noqa: FBT001 - it is the value that is spelt
    return "yes" if value else "no"


def _unit(value: float | None, unit: str, *, none: str = NOT_GIVEN) -> str:
    return none if value is None else f"{spell_number(value)} {unit}"


def _describe_where(body: RecipeBody) -> Iterable[Row]:
    where = body.applies_to
    revisions = "every revision" if where.revisions is None else ", ".join(where.revisions)
    yield Row("Assembly", where.assembly_part_number, "applies_to.assembly_part_number")
    yield Row("Revisions", revisions, "applies_to.revisions")
    yield Row("Designators", _listed(where.designators), "applies_to.designators")
    yield Row("Part numbers", _listed(where.part_numbers), "applies_to.part_numbers")
    yield Row("Package family", _text(where.package_family), "applies_to.package_family")


def _describe_tooling(body: RecipeBody) -> Iterable[Row]:
    tooling = body.tooling
    length, width = tooling.opening_length_mm, tooling.opening_width_mm
    yield Row("Nozzle", tooling.nozzle, "tooling.nozzle")
    yield Row("Opening length", _unit(length, "mm"), "tooling.opening_length_mm")
    yield Row("Opening width", _unit(width, "mm"), "tooling.opening_width_mm")
    yield Row("Vacuum cup", tooling.vacuum_cup, "tooling.vacuum_cup")
    yield Row("Board support", _text(tooling.board_support), "tooling.board_support")


def _describe_thermocouples(body: RecipeBody) -> Iterable[Row]:
    for place, one in enumerate(body.thermocouples):
        yield Row(one.channel, _spell_thermocouple(one), f"thermocouples.{place}")


def _spell_thermocouple(one: Thermocouple) -> str:
    where = one.role.words + (f" {one.designator}" if one.designator else "")
    named = f"{where}: {one.name}" if one.name else where
    return f"{named} ({'required' if one.required else 'optional'})"


def _describe_zone(place: int, zone: Zone) -> Section:
    at = f"zones.{place}"
    return Section(
        f"Zone {place + 1}: {zone.name}",
        (
            Row("Time", _unit(zone.time_s, "s"), f"{at}.time_s"),
            Row("Top", _unit(zone.top_c, "°C", none=OFF), f"{at}.top_c"),
            Row("Bottom", _unit(zone.bottom_c, "°C", none=OFF), f"{at}.bottom_c"),
            Row("Airflow", _unit(zone.airflow_l_per_min, "l/min"), f"{at}.airflow_l_per_min"),
            Row("Nitrogen", _flag(zone.nitrogen), f"{at}.nitrogen"),
        ),
    )


def _describe_heights(body: RecipeBody) -> Iterable[Row]:
    yield Row("Removal", body.head_heights.removal.spell(), "head_heights.removal")
    yield Row("Placement", body.head_heights.placement.spell(), "head_heights.placement")
    yield Row("Reflow", body.head_heights.reflow.spell(), "head_heights.reflow")


def _describe_lift(body: RecipeBody) -> Iterable[Row]:
    rule = body.lift_rule
    yield Row("All channels of", spell_roles(rule.roles) or NOT_GIVEN, "lift_rule.roles")
    yield Row("Channels", _listed(rule.channels), "lift_rule.channels")
    yield Row("Above", _unit(rule.above_c, "°C"), "lift_rule.above_c")
    yield Row("For", _unit(rule.for_s, "s"), "lift_rule.for_s")


def _describe_dressing(body: RecipeBody) -> Iterable[Row]:
    dressing = body.site_dressing
    yield Row("Tip", dressing.tip, "site_dressing.tip")
    yield Row(
        "Tip temperature",
        _unit(dressing.tip_temperature_c, "°C"),
        "site_dressing.tip_temperature_c",
    )
    yield Row("Wick", _text(dressing.wick), "site_dressing.wick")
    yield Row("Solvent", _text(dressing.solvent), "site_dressing.solvent")
    yield Row("Remarks", _text(dressing.remarks), "site_dressing.remarks")


def _describe_deposit(body: RecipeBody) -> Iterable[Row]:
    deposit = body.deposit
    yield Row("Kind", deposit.kind.replace("_", " "), "deposit.kind")
    if isinstance(deposit, FluxDip):
        yield Row("Flux", deposit.flux, "deposit.flux")
        yield Row("Depth", deposit.depth.spell(), "deposit.depth")
        yield Row("Dwell", _unit(deposit.dwell_s, "s"), "deposit.dwell_s")
    if isinstance(deposit, PasteDeposit):
        yield Row("Alloy", deposit.alloy, "deposit.alloy")
        yield Row("Foil thickness", deposit.foil_thickness.spell(), "deposit.foil_thickness")
        for place, aperture in enumerate(deposit.apertures):
            label = f"Aperture {place + 1}"
            at = f"deposit.apertures.{place}"
            yield Row(label, _spell_aperture(aperture), at)
            yield Row(f"{label}, ratios", spell_ratios(aperture, deposit.foil_thickness), at)


def _spell_aperture(aperture: Aperture) -> str:
    size = aperture.length.spell()
    if aperture.width is not None:
        size = f"{size} × {aperture.width.spell()}"
    if aperture.shape is ApertureShape.ROUND:
        size = f"⌀ {size}"
    named = f" ({aperture.name})" if aperture.name else ""
    return f"{aperture.count} × {aperture.shape} {size}{named}"


def spell_ratios(aperture: Aperture, foil_thickness: TypedLength) -> str:
    """Spell both ratios of an aperture, each held against its limit, with the limits' source."""
    ratios = compute_ratios(aperture, foil_thickness)
    area = _spell_held(ratios.area_ratio, LEAST_AREA_RATIO)
    aspect = _spell_held(ratios.aspect_ratio, LEAST_ASPECT_RATIO)
    return f"area ratio {area}; aspect ratio {aspect} ({RATIO_SOURCE})"


def _spell_held(ratio: Decimal, least: Decimal) -> str:
    """Spell a ratio cut to two digits, so that none is shown to reach what it does not."""
    word = "reaches" if ratio >= least else "is below"
    return f"{ratio.quantize(Decimal('0.01'), ROUND_FLOOR)} {word} {least}"


def _describe_placement(body: RecipeBody) -> Iterable[Row]:
    placement = body.placement
    height = placement.height.spell() if placement.height is not None else NOT_GIVEN
    yield Row("Offset x", placement.offset_x.spell(), "placement.offset_x")
    yield Row("Offset y", placement.offset_y.spell(), "placement.offset_y")
    yield Row("Rotation", f"{spell_number(placement.rotation_deg)}°", "placement.rotation_deg")
    yield Row("Force", _unit(placement.force_n, "N"), "placement.force_n")
    yield Row("Height", height, "placement.height")
    if placement.height_tolerance is not None:
        tolerance = f"± {placement.height_tolerance.spell()}"
        yield Row("Height tolerance", tolerance, "placement.height_tolerance")


def _describe_window(body: RecipeBody) -> Iterable[Row]:
    window = body.window
    tc = _unit(window.classification_c, "°C")
    yield Row("Alloy", window.alloy, "window.alloy")
    yield Row("Solidus", _unit(window.solidus_c, "°C"), "window.solidus_c")
    yield Row("Liquidus", _unit(window.liquidus_c, "°C"), "window.liquidus_c")
    yield Row("Slopes taken over", _unit(window.ramp_window_s, "s"), "window.ramp_window_s")
    yield Row("Soak from", _unit(window.soak_min_c, "°C"), "window.soak_min_c")
    yield Row("Soak to", _unit(window.soak_max_c, "°C"), "window.soak_max_c")
    yield Row("Classification temperature", tc, "window.classification_c")


def _describe_limits(body: RecipeBody) -> Iterable[Row]:
    tells = any(limit.taken_from is not None for limit in body.window.limits)
    for place, limit in enumerate(body.window.limits):
        label = METRICS[limit.metric].label
        if limit.roles:
            label = f"{label} ({spell_roles(limit.roles)})"
        yield Row(label, spell_limit(limit), f"window.limits.{place}")
        if tells:
            at = f"window.limits.{place}.taken_from"
            yield Row(f"{label}: whose", spell_taken_from(limit), at)


def _describe_cleaning(body: RecipeBody) -> Iterable[Row]:
    yield Row("Method", body.cleaning.method, "cleaning.method")
    yield Row("Agent", _text(body.cleaning.agent), "cleaning.agent")
    yield Row("Remarks", _text(body.cleaning.remarks), "cleaning.remarks")


def _describe_inspection(body: RecipeBody) -> Iterable[Row]:
    asked = body.inspection
    limit = "–" if asked.void_limit_pct is None else f"{spell_number(asked.void_limit_pct)} %"
    yield Row("Visual", _flag(asked.visual), "inspection.visual")
    yield Row("X-ray", _flag(asked.xray), "inspection.xray")
    yield Row("Void limit, share of joint area", limit, "inspection.void_limit_pct")
    yield Row("Electrical", _flag(asked.electrical), "inspection.electrical")
    yield Row("Remarks", _text(asked.remarks), "inspection.remarks")


def _describe_cautions(body: RecipeBody) -> Iterable[Row]:
    for place, caution in enumerate(body.cautions):
        yield Row(f"Caution {place + 1}", caution, f"cautions.{place}")
