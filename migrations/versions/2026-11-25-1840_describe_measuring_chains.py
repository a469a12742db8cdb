"""What a bench's measuring chain is: wire, logger, clock and calibrations."""

import sqlalchemy as sa
from alembic import op

revision = "8a3f60d1b7e2"
down_revision = "5e21b7f4c0d9"


def upgrade() -> None:
    # Added and dropped in place: a table made anew would let go of what points at its rows.
    op.add_column("benches", sa.Column("measuring_chain", sa.JSON(), nullable=True))


def downgrade() -> None:
    op.drop_column("benches", "measuring_chain")
