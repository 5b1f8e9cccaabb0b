"""What was entered wrongly of a material lot is corrected by two people.

Why: a lot entered as bare may turn out to be clad on its certificate, after its load ran. A request
with both sets of figures, its evidence and a second person's signed answer are rows of their own;
the lot, and the coupons that have a figure of it, then change in those figures and in nothing else,
and no row of them goes. Recorded figures touched: none.
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

# Tables that are new, whose rows are never changed or removed.
TABLES = ("lot_correction", "lot_correction_answer")

# Tables no row of which could change until now: what stays for good of a row, and what may become
# what an approved correction of its lot says.
LET_GO = {
    "material_lot": ("id", "code", "received_on", "entered_by_id", "entered_at"),
    "coupon": ("id", "code", "lot_id", "diameter_mm", "registered_by_id", "registered_at"),
}
FIGURES = {
    "material_lot": (
        "alloy",
        "incoming_temper",
        "form",
        "thickness_mm",
        "surface",
        "cast",
        "certificate",
    ),
    "coupon": ("thickness_mm", "surface"),
}


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _keep(table: str) -> None:
    """Put the triggers on a table whose rows are never changed or removed."""
    if _on_postgresql():
        op.execute(
            f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_stays_whole BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
        return
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
            f"SELECT RAISE(ABORT, '{table} rows are never changed or removed'); END"
        )


def _approved(table: str) -> str:
    """The statement that finds an approved correction which says what the row becomes.

    A lot takes every figure of it; a coupon each of its two, or keeps its own.
    """
    is_lot = table == "material_lot"
    said = (
        "(asked.\"after\"::json)->>'{}'"
        if _on_postgresql()
        else ("json_extract(asked.\"after\", '$.{}')")
    )
    figures = " AND ".join(
        f"NEW.{name} = {said.format(name)}"
        if is_lot
        else f"NEW.{name} IN (OLD.{name}, {said.format(name)})"
        for name in FIGURES[table]
    )
    lot = "OLD.id" if is_lot else "OLD.lot_id"
    return (
        "SELECT 1 FROM lot_correction AS asked JOIN lot_correction_answer AS made "  # noqa: S608 - names
        f"ON made.correction_id = asked.id "
        f"WHERE asked.lot_id = {lot} AND made.approved AND {figures}"
    )


def _let_go(table: str, kept: tuple[str, ...]) -> None:
    """Let a row's figures become what an approved correction says, and change nothing else."""
    columns = ", ".join(kept)
    if _on_postgresql():
        op.execute(
            f"CREATE FUNCTION refuse_uncorrected_{table}() RETURNS trigger LANGUAGE plpgsql AS $$ "
            f"BEGIN IF NOT EXISTS ({_approved(table)}) THEN "
            "RAISE EXCEPTION '% rows are never changed or removed but by an approved correction', "
            "TG_TABLE_NAME; END IF; RETURN NEW; END $$"
        )
        op.execute(f"DROP TRIGGER {table}_stays ON {table}")
        for name, act, function in (
            ("stays", "DELETE", "refuse_change"),
            ("keeps", f"UPDATE OF {columns}", "refuse_change"),
            ("corrected", "UPDATE", f"refuse_uncorrected_{table}"),
        ):
            op.execute(
                f"CREATE TRIGGER {table}_{name} BEFORE {act} ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION {function}()"
            )
        return
    op.execute(f"DROP TRIGGER {table}_no_update")
    refused = f"BEGIN SELECT RAISE(ABORT, '{table} rows are never changed or removed but"
    op.execute(
        f"CREATE TRIGGER {table}_keeps BEFORE UPDATE OF {columns} ON {table} "
        f"{refused} in their figures'); END"
    )
    op.execute(
        f"CREATE TRIGGER {table}_corrected BEFORE UPDATE ON {table} "
        f"WHEN NOT EXISTS ({_approved(table)}) {refused} by an approved correction'); END"
    )


def _as_before(table: str) -> None:
    """The triggers as migration 0002 made them."""
    if _on_postgresql():
        for name in ("stays", "keeps", "corrected"):
            op.execute(f"DROP TRIGGER {table}_{name} ON {table}")
        op.execute(f"DROP FUNCTION refuse_uncorrected_{table}()")
        op.execute(
            f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        return
    op.execute(f"DROP TRIGGER {table}_keeps")
    op.execute(f"DROP TRIGGER {table}_corrected")
    op.execute(
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN "
        f"SELECT RAISE(ABORT, '{table} rows are never changed or removed'); END"
    )


def upgrade() -> None:
    op.create_table(
        "lot_correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("after", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("evidence_sha256", sa.String(length=64), nullable=True),
        sa.Column("upstream_hold_id", sa.Integer(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["asked_by_id"], ["person.id"], name=op.f("fk_lot_correction_asked_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["evidence_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_lot_correction_evidence_sha256"),
        ),
        sa.ForeignKeyConstraint(
            ["lot_id"], ["material_lot.id"], name=op.f("fk_lot_correction_lot_id")
        ),
        sa.ForeignKeyConstraint(
            ["upstream_hold_id"],
            ["upstream_hold.id"],
            name=op.f("fk_lot_correction_upstream_hold_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_correction")),
    )
    op.create_index(op.f("ix_lot_correction_lot_id"), "lot_correction", ["lot_id"], unique=False)
    op.create_table(
        "lot_correction_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("correction_id", sa.Integer(), nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("coupons", sa.Text(), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("answered_by_id", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["answered_by_id"], ["person.id"], name=op.f("fk_lot_correction_answer_answered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["correction_id"],
            ["lot_correction.id"],
            name=op.f("fk_lot_correction_answer_correction_id"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_lot_correction_answer_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_correction_answer")),
        sa.UniqueConstraint("correction_id", name=op.f("uq_lot_correction_answer_correction_id")),
    )
    for table in TABLES:
        _keep(table)
    for table, kept in LET_GO.items():
        _let_go(table, kept)


def downgrade() -> None:
    for table in LET_GO:
        _as_before(table)
    op.drop_table("lot_correction_answer")
    op.drop_index(op.f("ix_lot_correction_lot_id"), table_name="lot_correction")
    op.drop_table("lot_correction")
