"""Gathers what the clearance looks at: the job's sites, parts, recipes, bench and past heats."""

from sqlalchemy.orm import Session

from app.core.settings import Settings
from app.jobs.clearance import JobCase, PartLimits, SiteCase
from app.jobs.queries import SiteCard, WorkCard, count_heats, count_reworks
from app.plant.tables import Bench
from app.recipes.queries import get_body
from app.recipes.rules import fits


def compose_case(session: Session, card: WorkCard, bench: Bench, settings: Settings) -> JobCase:
    """Return the job as it stands before heat at a bench."""
    hold = card.open_hold
    return JobCase(
        is_held=hold is not None,
        hold_reason=hold.reason if hold else "",
        is_scrapped=card.job.board.scrapped_at is not None,
        bench_code=bench.code,
        bench_has_nitrogen=bench.has_nitrogen,
        reworks_allowed=settings.reworks_per_site,
        sites=tuple(_compose_site(session, card, site) for site in card.sites),
    )


def _compose_site(session: Session, card: WorkCard, site: SiteCard) -> SiteCase:
    revision = site.job_site.revision
    body = get_body(revision)
    placement = site.job_site.site.placement
    assembly = card.job.board.assembly
    part = placement.part
    return SiteCase(
        designator=placement.designator,
        recipe_code=f"{revision.recipe.code} rev {revision.number}",
        body=body,
        state=revision.state,
        fit=fits(
            body,
            assembly_part_number=assembly.part_number,
            assembly_revision=assembly.revision,
            designator=placement.designator,
            part_number=placement.part_number or None,
        ),
        part=None
        if part is None
        else PartLimits(
            part.part_number, part.classification_c, part.max_body_c, part.reflow_cycles_allowed
        ),
        heats=count_heats(session, site.job_site.site_id),
        reworks=count_reworks(session, site.job_site.site_id, before_job_id=card.job.id),
    )
