"""Lock holds, the sites and lines of work cards, and placements."""

from migrations.guards import lock_rows, spell_same, unlock_rows

revision = "5e21b7f4c0d9"
down_revision = "c47d5e8813f0"


def upgrade() -> None:
    # A hold is lifted once, by somebody, for a reason.
    placed = spell_same("id", "job_id", "reason", "placed_by_id", "placed_at")
    lock_rows(
        "job_holds",
        unlocked_update=f"{placed} AND OLD.lifted_at IS NULL AND NEW.lifted_at IS NOT NULL"
        " AND NEW.lifted_by_id IS NOT NULL AND NEW.lift_reason IS NOT NULL",
    )
    lock_rows("job_sites")
    lock_rows("job_steps")
    # Which known part stands at a designator may be said later; what the files wrote stays.
    told = ("id", "assembly_id", "designator", "part_number", "value", "package")
    place = ("x_mm", "y_mm", "rotation_deg", "side")
    lock_rows(
        "placements",
        unlocked_update=f"{spell_same(*told, *place)} AND NOT {spell_same('part_id')}",
    )


def downgrade() -> None:
    unlock_rows("placements")
    unlock_rows("job_steps")
    unlock_rows("job_sites")
    unlock_rows("job_holds")
