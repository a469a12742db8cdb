"""${message[0].upper() + message[1:]}."""

import sqlalchemy as sa
from alembic import op

revision = "${up_revision}"
down_revision = ${"None" if down_revision is None else '"%s"' % down_revision}


def upgrade() -> None:
    ${upgrades or "pass"}


def downgrade() -> None:
    ${downgrades or "pass"}
