"""A furnace record that replaces another is signed, and says why on its own row.

Why: which record of a load stands decides over its panels, so whoever puts another in its place
answers for that with a signature; the reason was kept in the trail's note alone. Records from
before keep both columns empty. Recorded figures touched: none.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

TABLE = "furnace_record"

# New columns; the last part is the row they refer to, if any.
COLUMNS: Sequence[tuple[str, sa.types.TypeEngine, str | None]] = (
    ("reason", sa.Text(), None),
    ("signature_id", sa.Integer(), "signature.id"),
)


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _keep() -> None:
    """Put the triggers back on SQLite's table, whose rows are never changed or removed."""
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {TABLE}_no_{act.lower()} BEFORE {act} ON {TABLE} BEGIN "
            f"SELECT RAISE(ABORT, '{TABLE} rows are never changed or removed'); END"
        )


def upgrade() -> None:
    for name, kind, target in COLUMNS:
        if target is None:
            op.add_column(TABLE, sa.Column(name, kind, nullable=True))
            continue
        parent, column = target.split(".")
        if _on_postgresql():
            op.add_column(TABLE, sa.Column(name, kind, nullable=True))
            op.create_foreign_key(f"fk_{TABLE}_{name}", TABLE, parent, [name], [column])
        else:
            # SQLite takes the reference with the column; rows and triggers stay as they are.
            written = kind.compile(dialect=op.get_bind().dialect)
            op.execute(
                f"ALTER TABLE {TABLE} ADD COLUMN {name} {written} "
                f"CONSTRAINT fk_{TABLE}_{name} REFERENCES {parent} ({column})"
            )


def downgrade() -> None:
    with op.batch_alter_table(TABLE) as batch:
        for name, *_ in COLUMNS:
            batch.drop_column(name)
    if not _on_postgresql():
        _keep()
