"""${message}.

Why: <one or two sentences>. Recorded figures touched: none (a migration never changes one).

House rules: imports nothing from app; one change; add, backfill, enforce and drop are separate
migrations; upgrade and downgrade; a SQLite batch alter drops the table's triggers: put them back
and test it; tests/migrations/test_<revision>.py where rows exist.
"""

import sqlalchemy as sa
from alembic import op
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    ${downgrades if downgrades else "pass"}
