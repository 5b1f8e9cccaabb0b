"""The evidence around a furnace record: reports and their review, starts and ends, live rows.

Why: a report counts only when a second person has reviewed it, a load has a start and an end, a
record may come in several files or grow row by row, and a cancelled load frees its coupons, so
that a coupon may stand in more than one plan. Recorded figures touched: none.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

# New tables whose rows are never changed or removed.
TABLES = (
    "furnace_qualification",
    "gauge_certificate",
    "layout_confirmation",
    "live_anchor",
    "live_closing",
    "live_record",
    "live_rows",
    "load_cancellation",
    "load_end",
    "load_start",
    "logger_token",
    "lot_exception",
    "maintenance_event",
    "photograph",
    "record_doubts",
    "record_file",
    "record_summary",
    "report_file",
    "report_review",
    "surface_finding",
    "token_revocation",
    "trace_mark",
    "vacuum_gauge",
)

# New columns of tables that are there already; the last part is the row they refer to, if any.
COLUMNS: Sequence[tuple[str, str, sa.types.TypeEngine, str | None]] = (
    ("furnace_check", "made_to_class", sa.String(length=8), None),
    ("furnace_check", "made_to_type", sa.String(length=8), None),
    ("furnace_check", "interval", sa.Text(), None),
    ("furnace_check", "results", sa.Text(), None),
    ("furnace_check", "report_sha256", sa.String(length=64), "report_file.sha256"),
    ("furnace_record", "mapping_revision_id", sa.Integer(), "requirement_revision.id"),
    ("furnace_record", "notes", sa.Text(), None),
    ("leak_check", "gauge_id", sa.Integer(), "vacuum_gauge.id"),
    ("leak_check", "typed", sa.Text(), None),
    ("load", "planned_end", sa.DateTime(timezone=True), None),
    ("load", "vacuum_gauge_id", sa.Integer(), "vacuum_gauge.id"),
    ("load_panel", "x_mm", sa.Text(), None),
    ("load_panel", "y_mm", sa.Text(), None),
    ("load_panel", "turned", sa.Boolean(), None),
    ("requirement_verification", "sample", sa.Text(), None),
    ("sensor_certificate", "report_sha256", sa.String(length=64), "report_file.sha256"),
)


def _on_postgresql() -> bool:
    return op.get_bind().dialect.name == "postgresql"


def _keep(tables: Sequence[str]) -> None:
    """Put the triggers on tables whose rows are never changed or removed."""
    for table in tables:
        if _on_postgresql():
            op.execute(
                f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            )
            op.execute(
                f"CREATE TRIGGER {table}_stays_whole BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
            continue
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} rows are never changed or removed'); END"
            )


def _add_columns() -> None:
    for table, name, kind, target in COLUMNS:
        if target is None:
            op.add_column(table, sa.Column(name, kind, nullable=True))
        elif _on_postgresql():
            parent, column = target.split(".")
            op.add_column(table, sa.Column(name, kind, nullable=True))
            op.create_foreign_key(f"fk_{table}_{name}", table, parent, [name], [column])
        else:
            # SQLite takes the reference with the column; rows and triggers stay as they are.
            parent, column = target.split(".")
            written = kind.compile(dialect=op.get_bind().dialect)
            op.execute(
                f"ALTER TABLE {table} ADD COLUMN {name} {written} "
                f"CONSTRAINT fk_{table}_{name} REFERENCES {parent} ({column})"
            )


def upgrade() -> None:
    op.create_table(
        "report_file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.Column("media_type", sa.String(length=80), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_report_file")),
    )
    op.create_table(
        "vacuum_gauge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_vacuum_gauge_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_vacuum_gauge_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vacuum_gauge")),
        sa.UniqueConstraint("code", name=op.f("uq_vacuum_gauge_code")),
    )
    op.create_table(
        "furnace_qualification",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("furnace_id", sa.Integer(), nullable=False),
        sa.Column("procedure_id", sa.Integer(), nullable=False),
        sa.Column("furnace_class", sa.String(length=8), nullable=False),
        sa.Column("instrumentation_type", sa.String(length=8), nullable=False),
        sa.Column("in_force_from", sa.Date(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_furnace_qualification_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["furnace_id"], ["furnace.id"], name=op.f("fk_furnace_qualification_furnace_id")
        ),
        sa.ForeignKeyConstraint(
            ["procedure_id"], ["requirement.id"], name=op.f("fk_furnace_qualification_procedure_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_furnace_qualification")),
    )
    op.create_index(
        op.f("ix_furnace_qualification_furnace_id"),
        "furnace_qualification",
        ["furnace_id"],
        unique=False,
    )
    op.create_table(
        "gauge_certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("largest_error_kpa", sa.Text(), nullable=True),
        sa.Column("report_sha256", sa.String(length=64), nullable=True),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_gauge_certificate_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["gauge_id"], ["vacuum_gauge.id"], name=op.f("fk_gauge_certificate_gauge_id")
        ),
        sa.ForeignKeyConstraint(
            ["report_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_gauge_certificate_report_sha256"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gauge_certificate")),
    )
    op.create_index(
        op.f("ix_gauge_certificate_gauge_id"), "gauge_certificate", ["gauge_id"], unique=False
    )
    op.create_table(
        "logger_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("furnace_id", sa.Integer(), nullable=False),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("issued_by_id", sa.Integer(), nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answers_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["answers_id"], ["person.id"], name=op.f("fk_logger_token_answers_id")
        ),
        sa.ForeignKeyConstraint(
            ["furnace_id"], ["furnace.id"], name=op.f("fk_logger_token_furnace_id")
        ),
        sa.ForeignKeyConstraint(
            ["issued_by_id"], ["person.id"], name=op.f("fk_logger_token_issued_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_logger_token")),
        sa.UniqueConstraint("name", name=op.f("uq_logger_token_name")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_logger_token_token_sha256")),
    )
    op.create_index(
        op.f("ix_logger_token_furnace_id"), "logger_token", ["furnace_id"], unique=False
    )
    op.create_table(
        "maintenance_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("furnace_id", sa.Integer(), nullable=False),
        sa.Column("event", sa.String(length=120), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("asks_for", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_maintenance_event_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["furnace_id"], ["furnace.id"], name=op.f("fk_maintenance_event_furnace_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_event")),
    )
    op.create_index(
        op.f("ix_maintenance_event_furnace_id"), "maintenance_event", ["furnace_id"], unique=False
    )
    op.create_table(
        "lot_exception",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_lot_exception_by_id")),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_lot_exception_coupon_id")
        ),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_lot_exception_panel_id")),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_lot_exception_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_exception")),
        sa.UniqueConstraint(
            "coupon_id", "panel_id", name=op.f("uq_lot_exception_coupon_id_panel_id")
        ),
    )
    op.create_index(op.f("ix_lot_exception_panel_id"), "lot_exception", ["panel_id"], unique=False)
    op.create_table(
        "report_review",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("furnace_check_id", sa.Integer(), nullable=True),
        sa.Column("sensor_certificate_id", sa.Integer(), nullable=True),
        sa.Column("gauge_certificate_id", sa.Integer(), nullable=True),
        sa.Column("qualification_id", sa.Integer(), nullable=True),
        sa.Column("accepted", sa.Boolean(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("reviewed_by_id", sa.Integer(), nullable=False),
        sa.Column("reviewed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["furnace_check_id"],
            ["furnace_check.id"],
            name=op.f("fk_report_review_furnace_check_id"),
        ),
        sa.ForeignKeyConstraint(
            ["gauge_certificate_id"],
            ["gauge_certificate.id"],
            name=op.f("fk_report_review_gauge_certificate_id"),
        ),
        sa.ForeignKeyConstraint(
            ["qualification_id"],
            ["furnace_qualification.id"],
            name=op.f("fk_report_review_qualification_id"),
        ),
        sa.ForeignKeyConstraint(
            ["reviewed_by_id"], ["person.id"], name=op.f("fk_report_review_reviewed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["sensor_certificate_id"],
            ["sensor_certificate.id"],
            name=op.f("fk_report_review_sensor_certificate_id"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_report_review_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report_review")),
        sa.UniqueConstraint("furnace_check_id", name=op.f("uq_report_review_furnace_check_id")),
        sa.UniqueConstraint(
            "gauge_certificate_id", name=op.f("uq_report_review_gauge_certificate_id")
        ),
        sa.UniqueConstraint("qualification_id", name=op.f("uq_report_review_qualification_id")),
        sa.UniqueConstraint(
            "sensor_certificate_id", name=op.f("uq_report_review_sensor_certificate_id")
        ),
    )
    op.create_table(
        "token_revocation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("revoked_by_id", sa.Integer(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["revoked_by_id"], ["person.id"], name=op.f("fk_token_revocation_revoked_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["token_id"], ["logger_token.id"], name=op.f("fk_token_revocation_token_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token_revocation")),
        sa.UniqueConstraint("token_id", name=op.f("uq_token_revocation_token_id")),
    )
    op.create_table(
        "live_record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_live_record_load_id")),
        sa.ForeignKeyConstraint(
            ["token_id"], ["logger_token.id"], name=op.f("fk_live_record_token_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_live_record")),
        sa.UniqueConstraint("load_id", name=op.f("uq_live_record_load_id")),
    )
    op.create_table(
        "load_cancellation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_load_cancellation_by_id")),
        sa.ForeignKeyConstraint(
            ["load_id"], ["load.id"], name=op.f("fk_load_cancellation_load_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_cancellation")),
        sa.UniqueConstraint("load_id", name=op.f("uq_load_cancellation_load_id")),
    )
    op.create_table(
        "load_end",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_load_end_by_id")),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_load_end_load_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_end")),
        sa.UniqueConstraint("load_id", name=op.f("uq_load_end_load_id")),
    )
    op.create_table(
        "load_start",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_load_start_by_id")),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_load_start_load_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_start")),
        sa.UniqueConstraint("load_id", name=op.f("uq_load_start_load_id")),
    )
    op.create_table(
        "live_anchor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("live_id", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("chain_sha256", sa.String(length=64), nullable=False),
        sa.Column("anchored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["live_id"], ["live_record.id"], name=op.f("fk_live_anchor_live_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_live_anchor")),
    )
    op.create_index(op.f("ix_live_anchor_live_id"), "live_anchor", ["live_id"], unique=False)
    op.create_table(
        "live_rows",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("live_id", sa.Integer(), nullable=False),
        sa.Column("first_row", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("chain_sha256", sa.String(length=64), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["live_id"], ["live_record.id"], name=op.f("fk_live_rows_live_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_live_rows")),
        sa.UniqueConstraint("live_id", "first_row", name=op.f("uq_live_rows_live_id_first_row")),
    )
    op.create_table(
        "surface_finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unwrapping_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=80), nullable=False),
        sa.Column("x", sa.Text(), nullable=False),
        sa.Column("y", sa.Text(), nullable=False),
        sa.Column("size_mm", sa.Text(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["unwrapping_id"], ["unwrapping.id"], name=op.f("fk_surface_finding_unwrapping_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surface_finding")),
    )
    op.create_index(
        op.f("ix_surface_finding_unwrapping_id"), "surface_finding", ["unwrapping_id"], unique=False
    )
    op.create_table(
        "layout_confirmation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["by_id"], ["person.id"], name=op.f("fk_layout_confirmation_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_layout_confirmation_record_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_layout_confirmation_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layout_confirmation")),
        sa.UniqueConstraint("record_id", name=op.f("uq_layout_confirmation_record_id")),
    )
    op.create_table(
        "live_closing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("live_id", sa.Integer(), nullable=False),
        sa.Column("file_sha256", sa.String(length=64), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("closed_by_id", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["closed_by_id"], ["person.id"], name=op.f("fk_live_closing_closed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["live_id"], ["live_record.id"], name=op.f("fk_live_closing_live_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_live_closing")),
        sa.UniqueConstraint("live_id", name=op.f("uq_live_closing_live_id")),
    )
    op.create_table(
        "photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("surface_finding_id", sa.Integer(), nullable=True),
        sa.Column("caption", sa.String(length=200), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.Column("media_type", sa.String(length=40), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_photograph_by_id")),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_photograph_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_photograph_panel_id")),
        sa.ForeignKeyConstraint(
            ["surface_finding_id"],
            ["surface_finding.id"],
            name=op.f("fk_photograph_surface_finding_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photograph")),
    )
    op.create_index(
        "ix_photograph_load_id_panel_id", "photograph", ["load_id", "panel_id"], unique=False
    )
    op.create_index(op.f("ix_photograph_panel_id"), "photograph", ["panel_id"], unique=False)
    op.create_index(
        op.f("ix_photograph_surface_finding_id"), "photograph", ["surface_finding_id"], unique=False
    )
    op.create_table(
        "record_doubts",
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_record_doubts_record_id")
        ),
        sa.PrimaryKeyConstraint("record_id", name=op.f("pk_record_doubts")),
    )
    op.create_table(
        "record_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("file_sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_file.sha256"], name=op.f("fk_record_file_file_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_record_file_record_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_file")),
        sa.UniqueConstraint(
            "record_id", "position", name=op.f("uq_record_file_record_id_position")
        ),
    )
    op.create_index(
        op.f("ix_record_file_file_sha256"), "record_file", ["file_sha256"], unique=False
    )
    op.create_table(
        "trace_mark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=False),
        sa.Column("mark", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_trace_mark_record_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trace_mark")),
    )
    op.create_index(op.f("ix_trace_mark_mark"), "trace_mark", ["mark"], unique=False)
    op.create_index(op.f("ix_trace_mark_record_id"), "trace_mark", ["record_id"], unique=False)
    op.create_table(
        "record_summary",
        sa.Column("verdict_id", sa.Integer(), nullable=False),
        sa.Column("paper", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["verdict_id"], ["record_verdict.id"], name=op.f("fk_record_summary_verdict_id")
        ),
        sa.PrimaryKeyConstraint("verdict_id", name=op.f("pk_record_summary")),
    )
    _add_columns()
    with op.batch_alter_table("load_coupon") as batch:
        batch.drop_constraint("uq_load_coupon_coupon_id", type_="unique")
        batch.create_index("ix_load_coupon_coupon_id", ["coupon_id"], unique=False)
    _keep(TABLES)
    if not _on_postgresql():
        _keep(("load_coupon",))  # The table was made anew, and its triggers went with it.


def downgrade() -> None:
    """Fails where a coupon stands in two plans: the older form cannot hold that."""
    with op.batch_alter_table("load_coupon") as batch:
        batch.drop_index("ix_load_coupon_coupon_id")
        batch.create_unique_constraint("uq_load_coupon_coupon_id", ["coupon_id"])
    changed = list(dict.fromkeys(table for table, *_ in COLUMNS))
    for table in changed:
        with op.batch_alter_table(table) as batch:
            for name in (name for of, name, *_ in COLUMNS if of == table):
                batch.drop_column(name)
    if not _on_postgresql():
        _keep(("load_coupon", *changed))
    op.drop_table("record_summary")
    op.drop_index(op.f("ix_trace_mark_record_id"), table_name="trace_mark")
    op.drop_index(op.f("ix_trace_mark_mark"), table_name="trace_mark")
    op.drop_table("trace_mark")
    op.drop_index(op.f("ix_record_file_file_sha256"), table_name="record_file")
    op.drop_table("record_file")
    op.drop_table("record_doubts")
    op.drop_index(op.f("ix_photograph_surface_finding_id"), table_name="photograph")
    op.drop_index(op.f("ix_photograph_panel_id"), table_name="photograph")
    op.drop_index("ix_photograph_load_id_panel_id", table_name="photograph")
    op.drop_table("photograph")
    op.drop_table("live_closing")
    op.drop_table("layout_confirmation")
    op.drop_index(op.f("ix_surface_finding_unwrapping_id"), table_name="surface_finding")
    op.drop_table("surface_finding")
    op.drop_table("live_rows")
    op.drop_index(op.f("ix_live_anchor_live_id"), table_name="live_anchor")
    op.drop_table("live_anchor")
    op.drop_table("load_start")
    op.drop_table("load_end")
    op.drop_table("load_cancellation")
    op.drop_table("live_record")
    op.drop_table("token_revocation")
    op.drop_table("report_review")
    op.drop_index(op.f("ix_lot_exception_panel_id"), table_name="lot_exception")
    op.drop_table("lot_exception")
    op.drop_index(op.f("ix_maintenance_event_furnace_id"), table_name="maintenance_event")
    op.drop_table("maintenance_event")
    op.drop_index(op.f("ix_logger_token_furnace_id"), table_name="logger_token")
    op.drop_table("logger_token")
    op.drop_index(op.f("ix_gauge_certificate_gauge_id"), table_name="gauge_certificate")
    op.drop_table("gauge_certificate")
    op.drop_index(op.f("ix_furnace_qualification_furnace_id"), table_name="furnace_qualification")
    op.drop_table("furnace_qualification")
    op.drop_table("vacuum_gauge")
    op.drop_table("report_file")
