"""Create parts, assemblies, boards, benches and traces."""

import sqlalchemy as sa
from alembic import op

from migrations.guards import lock_rows, unlock_rows

revision = "8be20c4f6a11"
down_revision = "3f1c7a90d2b4"


def upgrade() -> None:
    op.create_table(
        "benches",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(64), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("has_nitrogen", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "code <> ''",
            name=op.f("ck_benches_code_said"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_benches")),
        sa.UniqueConstraint("code", name=op.f("uq_benches_code")),
    )
    op.create_table(
        "parts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.String(64), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("package_type", sa.String(24), nullable=False),
        sa.Column("length_mm", sa.Double(), nullable=True),
        sa.Column("width_mm", sa.Double(), nullable=True),
        sa.Column("height_mm", sa.Double(), nullable=True),
        sa.Column("pitch_mm", sa.Double(), nullable=True),
        sa.Column("ball_alloy", sa.String(64), nullable=True),
        sa.Column("moisture_level", sa.String(24), nullable=True),
        sa.Column("classification_c", sa.Double(), nullable=True),
        sa.Column("max_body_c", sa.Double(), nullable=True),
        sa.Column("reflow_cycles_allowed", sa.Integer(), nullable=False),
        sa.Column("notes", sa.String(4000), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "classification_c BETWEEN 100 AND 400",
            name=op.f("ck_parts_classification_in_range"),
        ),
        sa.CheckConstraint(
            "height_mm > 0",
            name=op.f("ck_parts_height_positive"),
        ),
        sa.CheckConstraint(
            "length_mm > 0",
            name=op.f("ck_parts_length_positive"),
        ),
        sa.CheckConstraint(
            "max_body_c BETWEEN 50 AND 400",
            name=op.f("ck_parts_max_body_in_range"),
        ),
        sa.CheckConstraint(
            "moisture_level IN ('1', '2', '2a', '3', '4', '5', '5a', '6')",
            name=op.f("ck_parts_moisture_level_known"),
        ),
        sa.CheckConstraint(
            "package_type IN ('BGA', 'CSP', 'QFN', 'LGA', 'other')",
            name=op.f("ck_parts_package_type_known"),
        ),
        sa.CheckConstraint(
            "part_number <> ''",
            name=op.f("ck_parts_part_number_said"),
        ),
        sa.CheckConstraint(
            "pitch_mm > 0",
            name=op.f("ck_parts_pitch_positive"),
        ),
        sa.CheckConstraint(
            "reflow_cycles_allowed BETWEEN 1 AND 20",
            name=op.f("ck_parts_reflow_cycles_in_range"),
        ),
        sa.CheckConstraint(
            "width_mm > 0",
            name=op.f("ck_parts_width_positive"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_parts")),
        sa.UniqueConstraint("part_number", name=op.f("uq_parts_part_number")),
    )
    op.create_table(
        "bench_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bench_id", sa.Integer(), nullable=False),
        sa.Column("headers_digest", sa.String(64), nullable=False),
        sa.Column("choices", sa.JSON(), nullable=False),
        sa.Column("channel_map", sa.JSON(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["bench_id"], ["benches.id"], name=op.f("fk_bench_readings_bench_id")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_bench_readings_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_readings")),
        sa.UniqueConstraint(
            "bench_id", "headers_digest", name=op.f("uq_bench_readings_bench_id_headers_digest")
        ),
    )
    op.create_table(
        "assemblies",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.String(64), nullable=False),
        sa.Column("revision", sa.String(64), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("length_mm", sa.Double(), nullable=True),
        sa.Column("width_mm", sa.Double(), nullable=True),
        sa.Column("thickness_mm", sa.Double(), nullable=True),
        sa.Column("layers", sa.Integer(), nullable=True),
        sa.Column("alloy", sa.String(64), nullable=False),
        sa.Column("finish", sa.String(64), nullable=False),
        sa.Column("notes", sa.String(4000), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("layout_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("placement_sha256", sa.String(64), nullable=True),
        sa.Column("bill_sha256", sa.String(64), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "layers BETWEEN 1 AND 100",
            name=op.f("ck_assemblies_layers_in_range"),
        ),
        sa.CheckConstraint(
            "length_mm > 0",
            name=op.f("ck_assemblies_length_positive"),
        ),
        sa.CheckConstraint(
            "part_number <> ''",
            name=op.f("ck_assemblies_part_number_said"),
        ),
        sa.CheckConstraint(
            "revision <> ''",
            name=op.f("ck_assemblies_revision_said"),
        ),
        sa.CheckConstraint(
            "thickness_mm > 0",
            name=op.f("ck_assemblies_thickness_positive"),
        ),
        sa.CheckConstraint(
            "width_mm > 0",
            name=op.f("ck_assemblies_width_positive"),
        ),
        sa.ForeignKeyConstraint(
            ["bill_sha256"], ["stored_files.sha256"], name=op.f("fk_assemblies_bill_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["placement_sha256"],
            ["stored_files.sha256"],
            name=op.f("fk_assemblies_placement_sha256"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_assemblies")),
        sa.UniqueConstraint(
            "part_number", "revision", name=op.f("uq_assemblies_part_number_revision")
        ),
    )
    op.create_table(
        "traces",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_sha256", sa.String(64), nullable=False),
        sa.Column("file_name", sa.String(120), nullable=False),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("channels", sa.JSON(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("samples", sa.LargeBinary(), nullable=True),
        sa.Column("samples_sha256", sa.String(64), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "duration_s > 0",
            name=op.f("ck_traces_duration_positive"),
        ),
        sa.CheckConstraint(
            "rows >= 2",
            name=op.f("ck_traces_rows_at_least_two"),
        ),
        sa.CheckConstraint(
            "length(samples_sha256) = 64",
            name=op.f("ck_traces_samples_sha256_whole"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_traces_by_id")),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_files.sha256"], name=op.f("fk_traces_file_sha256")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_traces")),
    )
    op.create_index(op.f("ix_traces_file_sha256"), "traces", ["file_sha256"])
    op.create_table(
        "boards",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(80), nullable=False),
        sa.Column("note", sa.String(4000), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("scrapped_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "serial <> ''",
            name=op.f("ck_boards_serial_said"),
        ),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.id"], name=op.f("fk_boards_assembly_id")
        ),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["accounts.id"], name=op.f("fk_boards_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_boards")),
        sa.UniqueConstraint("assembly_id", "serial", name=op.f("uq_boards_assembly_id_serial")),
    )
    op.create_index(op.f("ix_boards_serial"), "boards", ["serial"])
    op.create_table(
        "layout_drafts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("placement_name", sa.String(120), nullable=True),
        sa.Column("placement_sha256", sa.String(64), nullable=True),
        sa.Column("placement_choices", sa.JSON(), nullable=False),
        sa.Column("bill_name", sa.String(120), nullable=True),
        sa.Column("bill_sha256", sa.String(64), nullable=True),
        sa.Column("bill_choices", sa.JSON(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.id"], name=op.f("fk_layout_drafts_assembly_id")
        ),
        sa.ForeignKeyConstraint(
            ["bill_sha256"], ["stored_files.sha256"], name=op.f("fk_layout_drafts_bill_sha256")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["accounts.id"], name=op.f("fk_layout_drafts_by_id")),
        sa.ForeignKeyConstraint(
            ["placement_sha256"],
            ["stored_files.sha256"],
            name=op.f("fk_layout_drafts_placement_sha256"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layout_drafts")),
    )
    op.create_index(op.f("ix_layout_drafts_assembly_id"), "layout_drafts", ["assembly_id"])
    op.create_table(
        "placements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assembly_id", sa.Integer(), nullable=False),
        sa.Column("designator", sa.String(64), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("part_number", sa.String(200), nullable=False),
        sa.Column("value", sa.String(200), nullable=False),
        sa.Column("package", sa.String(200), nullable=False),
        sa.Column("x_mm", sa.Double(), nullable=True),
        sa.Column("y_mm", sa.Double(), nullable=True),
        sa.Column("rotation_deg", sa.Double(), nullable=True),
        sa.Column("side", sa.String(24), nullable=True),
        sa.CheckConstraint(
            "designator <> ''",
            name=op.f("ck_placements_designator_said"),
        ),
        sa.CheckConstraint(
            "side IN ('top', 'bottom')",
            name=op.f("ck_placements_side_known"),
        ),
        sa.CheckConstraint(
            "(x_mm IS NULL) = (y_mm IS NULL) AND (x_mm IS NULL) = (side IS NULL)",
            name=op.f("ck_placements_placed_wholly_or_not"),
        ),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["assemblies.id"], name=op.f("fk_placements_assembly_id")
        ),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name=op.f("fk_placements_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_placements")),
        sa.UniqueConstraint(
            "assembly_id", "designator", name=op.f("uq_placements_assembly_id_designator")
        ),
    )
    op.create_index(op.f("ix_placements_part_id"), "placements", ["part_id"])
    op.create_table(
        "sites",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("placement_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["boards.id"], name=op.f("fk_sites_board_id")),
        sa.ForeignKeyConstraint(
            ["placement_id"], ["placements.id"], name=op.f("fk_sites_placement_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sites")),
        sa.UniqueConstraint(
            "board_id", "placement_id", name=op.f("uq_sites_board_id_placement_id")
        ),
    )
    op.create_index(op.f("ix_sites_placement_id"), "sites", ["placement_id"])
    lock_rows("traces")


def downgrade() -> None:
    unlock_rows("traces")
    op.drop_table("sites")
    op.drop_table("placements")
    op.drop_table("layout_drafts")
    op.drop_table("boards")
    op.drop_table("traces")
    op.drop_table("assemblies")
    op.drop_table("bench_readings")
    op.drop_table("parts")
    op.drop_table("benches")
