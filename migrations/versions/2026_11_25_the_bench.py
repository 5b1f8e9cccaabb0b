"""The bench: instruments, drafts, requests for corrections, studies of testers, custody.

Why: a tester's certificate and a block count only when a second person has accepted them, a failed
check takes a tester out of use, and what is keyed outlives a lost network. Recorded figures
touched: none.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

# New tables whose rows are never changed or removed.
TABLES = (
    "baseline",
    "correction_answer",
    "correction_request",
    "coupon_trouble",
    "quarantine_lift",
    "study_closing",
    "study_reading",
    "tester_quarantine",
    "tester_study",
    "thermometer",
    "thermometer_certificate",
    "trouble_answer",
)

# New columns of tables that are there already; the last part is the row they refer to, if any.
COLUMNS: Sequence[tuple[str, str, sa.types.TypeEngine, str | None]] = (
    ("bench_session", "thermometer_id", sa.Integer(), "thermometer.id"),
    ("coupon", "diameter_mm", sa.Text(), None),
    (
        "hold",
        "cause",
        sa.Enum(
            "a tester failed its check",
            "a coupon is missing, unmarked or doubled",
            name="holdcause",
            native_enum=False,
            length=80,
        ),
        None,
    ),
    ("reading", "indentation", sa.Text(), None),
    ("reading", "late_reason", sa.Text(), None),
    ("reading", "evidence", sa.Text(), None),
    ("reading", "evidence_sha256", sa.String(length=64), "report_file.sha256"),
    ("reference_block", "expanded_uncertainty", sa.Text(), None),
    ("reference_block", "indents_most", sa.Integer(), None),
    ("reference_block", "certified_at_c", sa.Text(), None),
    ("reference_block", "report_sha256", sa.String(length=64), "report_file.sha256"),
    ("report_review", "tester_certificate_id", sa.Integer(), "tester_certificate.id"),
    ("report_review", "block_id", sa.Integer(), "reference_block.id"),
    ("report_review", "thermometer_certificate_id", sa.Integer(), "thermometer_certificate.id"),
    ("retest", "plan", sa.Text(), None),
    ("retest", "signature_id", sa.Integer(), "signature.id"),
    (
        "tester",
        "build",
        sa.Enum("fixed", "portable", name="build", native_enum=False, length=80),
        None,
    ),
    ("tester", "measures_from", sa.Text(), None),
    ("tester", "measures_to", sa.Text(), None),
    ("tester", "resolution", sa.Text(), None),
    ("tester", "accuracy", sa.Text(), None),
    ("tester", "indenter", sa.String(length=60), None),
    ("tester", "force_n", sa.Text(), None),
    ("tester", "ball_mm", sa.Text(), None),
    ("tester", "asymmetry_percent", sa.Text(), None),
    ("tester", "probe", sa.String(length=60), None),
    ("tester", "check_every_min", sa.Integer(), None),
    ("tester_certificate", "as_found", sa.Text(), None),
    ("tester_certificate", "as_left", sa.Text(), None),
    ("tester_certificate", "as_found_within", sa.Boolean(), None),
    ("tester_certificate", "corrections", sa.Text(), None),
    ("tester_certificate", "report_sha256", sa.String(length=64), "report_file.sha256"),
    ("void_request", "evidence_sha256", sa.String(length=64), "report_file.sha256"),
)

# A report has one review; the index comes with the column.
REVIEWED = (
    "block_id",
    "tester_certificate_id",
    "thermometer_certificate_id",
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
        "thermometer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_thermometer_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_thermometer_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_thermometer")),
        sa.UniqueConstraint("code", name=op.f("uq_thermometer_code")),
    )
    op.create_table(
        "tester_study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tester_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("parts", sa.Text(), nullable=False),
        sa.Column("operators", sa.Text(), nullable=False),
        sa.Column("trials", sa.Integer(), nullable=False),
        sa.Column("opened_by_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["opened_by_id"], ["person.id"], name=op.f("fk_tester_study_opened_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_tester_study_tester_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester_study")),
    )
    op.create_index(op.f("ix_tester_study_tester_id"), "tester_study", ["tester_id"], unique=False)
    op.create_table(
        "thermometer_certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("thermometer_id", sa.Integer(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("largest_error_c", sa.Text(), nullable=True),
        sa.Column("report_sha256", sa.String(length=64), nullable=True),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_thermometer_certificate_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["report_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_thermometer_certificate_report_sha256"),
        ),
        sa.ForeignKeyConstraint(
            ["thermometer_id"],
            ["thermometer.id"],
            name=op.f("fk_thermometer_certificate_thermometer_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_thermometer_certificate")),
    )
    op.create_index(
        op.f("ix_thermometer_certificate_thermometer_id"),
        "thermometer_certificate",
        ["thermometer_id"],
        unique=False,
    )
    op.create_table(
        "baseline",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("readings", sa.Text(), nullable=False),
        sa.Column("coupon_c", sa.Text(), nullable=True),
        sa.Column("block_c", sa.Text(), nullable=True),
        sa.Column("submission", sa.String(length=64), nullable=False),
        sa.Column("taken_by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["coupon_id"], ["coupon.id"], name=op.f("fk_baseline_coupon_id")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["bench_session.id"], name=op.f("fk_baseline_session_id")
        ),
        sa.ForeignKeyConstraint(
            ["taken_by_id"], ["person.id"], name=op.f("fk_baseline_taken_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_baseline")),
        sa.UniqueConstraint("submission", name=op.f("uq_baseline_submission")),
    )
    op.create_index(op.f("ix_baseline_coupon_id"), "baseline", ["coupon_id"], unique=False)
    op.create_index(op.f("ix_baseline_session_id"), "baseline", ["session_id"], unique=False)
    op.create_table(
        "entry_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("fields", sa.Text(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_entry_draft_coupon_id")
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["bench_session.id"], name=op.f("fk_entry_draft_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry_draft")),
        sa.UniqueConstraint(
            "session_id", "coupon_id", name=op.f("uq_entry_draft_session_id_coupon_id")
        ),
    )
    op.create_table(
        "study_closing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("closed_by_id", sa.Integer(), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["closed_by_id"], ["person.id"], name=op.f("fk_study_closing_closed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["study_id"], ["tester_study.id"], name=op.f("fk_study_closing_study_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_closing")),
        sa.UniqueConstraint("study_id", name=op.f("uq_study_closing_study_id")),
    )
    op.create_table(
        "study_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("operator_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(length=40), nullable=False),
        sa.Column("trial", sa.Integer(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["person.id"], name=op.f("fk_study_reading_operator_id")
        ),
        sa.ForeignKeyConstraint(
            ["study_id"], ["tester_study.id"], name=op.f("fk_study_reading_study_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_reading")),
        sa.UniqueConstraint(
            "study_id",
            "operator_id",
            "part",
            "trial",
            name=op.f("uq_study_reading_study_id_operator_id_part_trial"),
        ),
    )
    op.create_table(
        "coupon_trouble",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=True),
        sa.Column("other_id", sa.Integer(), nullable=True),
        sa.Column(
            "kind",
            sa.Enum(
                "missing",
                "found without a mark",
                "its mark is on two coupons",
                name="troublekind",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("reported_by_id", sa.Integer(), nullable=False),
        sa.Column("reported_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_coupon_trouble_coupon_id")
        ),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_coupon_trouble_load_id")),
        sa.ForeignKeyConstraint(
            ["other_id"], ["coupon.id"], name=op.f("fk_coupon_trouble_other_id")
        ),
        sa.ForeignKeyConstraint(
            ["panel_id"], ["panel.id"], name=op.f("fk_coupon_trouble_panel_id")
        ),
        sa.ForeignKeyConstraint(
            ["reported_by_id"], ["person.id"], name=op.f("fk_coupon_trouble_reported_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coupon_trouble")),
    )
    op.create_index(
        op.f("ix_coupon_trouble_coupon_id"), "coupon_trouble", ["coupon_id"], unique=False
    )
    op.create_index(op.f("ix_coupon_trouble_load_id"), "coupon_trouble", ["load_id"], unique=False)
    op.create_index(
        op.f("ix_coupon_trouble_panel_id"), "coupon_trouble", ["panel_id"], unique=False
    )
    op.create_table(
        "tester_quarantine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tester_id", sa.Integer(), nullable=False),
        sa.Column("check_id", sa.Integer(), nullable=True),
        sa.Column("operator_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("placed_by_id", sa.Integer(), nullable=False),
        sa.Column("placed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["check_id"], ["block_check.id"], name=op.f("fk_tester_quarantine_check_id")
        ),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["person.id"], name=op.f("fk_tester_quarantine_operator_id")
        ),
        sa.ForeignKeyConstraint(
            ["placed_by_id"], ["person.id"], name=op.f("fk_tester_quarantine_placed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_tester_quarantine_tester_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester_quarantine")),
    )
    op.create_index(
        op.f("ix_tester_quarantine_tester_id"), "tester_quarantine", ["tester_id"], unique=False
    )
    op.create_table(
        "correction_request",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("indentation", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("evidence_sha256", sa.String(length=64), nullable=True),
        sa.Column("submission", sa.String(length=64), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["asked_by_id"], ["person.id"], name=op.f("fk_correction_request_asked_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["evidence_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_correction_request_evidence_sha256"),
        ),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_correction_request_reading_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_correction_request")),
        sa.UniqueConstraint("submission", name=op.f("uq_correction_request_submission")),
    )
    op.create_index(
        op.f("ix_correction_request_reading_id"), "correction_request", ["reading_id"], unique=False
    )
    op.create_table(
        "quarantine_lift",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quarantine_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("lifted_by_id", sa.Integer(), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["lifted_by_id"], ["person.id"], name=op.f("fk_quarantine_lift_lifted_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["quarantine_id"],
            ["tester_quarantine.id"],
            name=op.f("fk_quarantine_lift_quarantine_id"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_quarantine_lift_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quarantine_lift")),
        sa.UniqueConstraint("quarantine_id", name=op.f("uq_quarantine_lift_quarantine_id")),
    )
    op.create_table(
        "trouble_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trouble_id", sa.Integer(), nullable=False),
        sa.Column(
            "outcome",
            sa.Enum(
                "shown to be this coupon",
                "no evidence",
                "a spare stands in",
                name="troubleoutcome",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("spare_id", sa.Integer(), nullable=True),
        sa.Column("named_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("answered_by_id", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["answered_by_id"], ["person.id"], name=op.f("fk_trouble_answer_answered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_trouble_answer_signature_id")
        ),
        sa.ForeignKeyConstraint(
            ["spare_id"], ["coupon.id"], name=op.f("fk_trouble_answer_spare_id")
        ),
        sa.ForeignKeyConstraint(
            ["named_id"], ["coupon.id"], name=op.f("fk_trouble_answer_named_id")
        ),
        sa.ForeignKeyConstraint(
            ["trouble_id"], ["coupon_trouble.id"], name=op.f("fk_trouble_answer_trouble_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trouble_answer")),
        sa.UniqueConstraint("trouble_id", name=op.f("uq_trouble_answer_trouble_id")),
    )
    op.create_table(
        "correction_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("request_id", sa.Integer(), nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=True),
        sa.Column("answered_by_id", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["answered_by_id"], ["person.id"], name=op.f("fk_correction_answer_answered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_correction_answer_reading_id")
        ),
        sa.ForeignKeyConstraint(
            ["request_id"], ["correction_request.id"], name=op.f("fk_correction_answer_request_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_correction_answer")),
        sa.UniqueConstraint("request_id", name=op.f("uq_correction_answer_request_id")),
    )
    _add_columns()
    for column in REVIEWED:
        op.create_index(f"ix_report_review_{column}", "report_review", [column], unique=True)
    _keep(TABLES)


def downgrade() -> None:
    for column in REVIEWED:
        op.drop_index(f"ix_report_review_{column}", table_name="report_review")
    changed = list(dict.fromkeys(table for table, *_ in COLUMNS))
    for table in changed:
        with op.batch_alter_table(table) as batch:
            for name in (name for of, name, *_ in COLUMNS if of == table):
                batch.drop_column(name)
    if not _on_postgresql():
        _keep(changed)
    op.drop_table("correction_answer")
    op.drop_table("trouble_answer")
    op.drop_table("quarantine_lift")
    op.drop_index(op.f("ix_correction_request_reading_id"), table_name="correction_request")
    op.drop_table("correction_request")
    op.drop_index(op.f("ix_tester_quarantine_tester_id"), table_name="tester_quarantine")
    op.drop_table("tester_quarantine")
    op.drop_index(op.f("ix_coupon_trouble_panel_id"), table_name="coupon_trouble")
    op.drop_index(op.f("ix_coupon_trouble_load_id"), table_name="coupon_trouble")
    op.drop_index(op.f("ix_coupon_trouble_coupon_id"), table_name="coupon_trouble")
    op.drop_table("coupon_trouble")
    op.drop_table("study_reading")
    op.drop_table("study_closing")
    op.drop_table("entry_draft")
    op.drop_index(op.f("ix_baseline_session_id"), table_name="baseline")
    op.drop_index(op.f("ix_baseline_coupon_id"), table_name="baseline")
    op.drop_table("baseline")
    op.drop_index(
        op.f("ix_thermometer_certificate_thermometer_id"), table_name="thermometer_certificate"
    )
    op.drop_table("thermometer_certificate")
    op.drop_index(op.f("ix_tester_study_tester_id"), table_name="tester_study")
    op.drop_table("tester_study")
    op.drop_table("thermometer")
