"""Authority: orders, second keying, authorisations, holds on anything, nonconformances, heads.

Why: nobody acts alone where two are needed, a hold on what panels rest on reaches them all, and a
departure is disposed of only with the answers it needs. A draft found wrong can be written again
under its own name, so the name of a revision is no longer unique by itself. Recorded figures
touched: none.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

# New tables whose rows are never changed or removed.
TABLES = (
    "authorisation",
    "authorisation_end",
    "corrective_action",
    "corrective_action_check",
    "customer_notice",
    "customer_order",
    "disposition_proposal",
    "machine_token",
    "machine_token_end",
    "nonconformance",
    "order_requirement",
    "panel_descent",
    "place",
    "proposal_answer",
    "scrap_record",
    "scrap_witness",
    "second_keying",
    "trail_review",
    "trail_review_line",
    "tree_head",
    "tree_key",
    "upstream_hold",
    "upstream_hold_lift",
    "whereabouts",
)

# New columns of tables that are there already; the last part is the row they refer to, if any.
COLUMNS: Sequence[tuple[str, str, sa.types.TypeEngine, str | None]] = (
    ("decision", "proposal_id", sa.Integer(), "disposition_proposal.id"),
    ("decision", "authorisation_id", sa.Integer(), "authorisation.id"),
    ("hold", "upstream_hold_id", sa.Integer(), "upstream_hold.id"),
    ("load_panel", "governed", sa.Text(), None),
    ("person", "identity_number", sa.String(length=40), None),
    ("person", "password_is_first", sa.Boolean(), None),
    ("person", "totp_secret", sa.String(length=64), None),
    ("unwrapping", "contour_gap_mm", sa.Text(), None),
    ("unwrapping", "contour_limit_mm", sa.Text(), None),
)

# Of the tables that change, the one whose rows may.
CHANGES = ("person",)

ONE_NAME = "uq_requirement_revision_requirement_id_revision"
ONE_ATTEMPT = "uq_requirement_revision_requirement_id_revision_attempt"


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
        "sign_in_try",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("username", sa.String(length=64), nullable=False),
        sa.Column("browser", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_try")),
    )
    op.create_index(
        "ix_sign_in_try_username_browser_at",
        "sign_in_try",
        ["username", "browser", "at"],
        unique=False,
    )
    op.create_table(
        "trail_seen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail_seen")),
    )
    op.create_table(
        "tree_key",
        sa.Column("key_id", sa.String(length=16), nullable=False),
        sa.Column("public_key", sa.String(length=64), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("registered_by", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("key_id", name=op.f("pk_tree_key")),
    )
    op.create_table(
        "customer_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=80), nullable=False),
        sa.Column("customer", sa.String(length=120), nullable=False),
        sa.Column("placed_on", sa.Date(), nullable=False),
        sa.Column("later_revisions_allowed", sa.Boolean(), nullable=False),
        sa.Column("rework_needs_customer", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_customer_order_entered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer_order")),
        sa.UniqueConstraint("number", name=op.f("uq_customer_order_number")),
    )
    op.create_table(
        "known_browser",
        sa.Column("mark_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_known_browser_person_id")
        ),
        sa.PrimaryKeyConstraint("mark_sha256", name=op.f("pk_known_browser")),
    )
    op.create_index(
        op.f("ix_known_browser_person_id"), "known_browser", ["person_id"], unique=False
    )
    op.create_table(
        "machine_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column(
            "scope",
            sa.Enum(
                "read signed tree heads",
                "read where panels stand",
                name="scope",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("issued_by_id", sa.Integer(), nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["issued_by_id"], ["person.id"], name=op.f("fk_machine_token_issued_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine_token")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_machine_token_token_sha256")),
    )
    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("is_quarantine", sa.Boolean(), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_place_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_place_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("code", name=op.f("uq_place_code")),
    )
    op.create_table(
        "tree_head",
        sa.Column("size", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("root_sha256", sa.String(length=64), nullable=False),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("key_id", sa.String(length=16), nullable=False),
        sa.Column("shop", sa.String(length=120), nullable=False),
        sa.Column("signature", sa.String(length=128), nullable=False),
        sa.Column("asked_by", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["key_id"], ["tree_key.key_id"], name=op.f("fk_tree_head_key_id")),
        sa.PrimaryKeyConstraint("size", name=op.f("pk_tree_head")),
    )
    op.create_table(
        "upstream_hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "material_lot",
                "load",
                "furnace",
                "sensor",
                "vacuum_gauge",
                "tester",
                "reference_block",
                "thermometer",
                "acceptance_table",
                "cycle",
                "pyrometry_procedure",
                "logger_mapping",
                "correction_table",
                "person",
                name="holdon",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.String(length=20), nullable=True),
        sa.Column("since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("panels_found", sa.Integer(), nullable=False),
        sa.Column("placed_by_id", sa.Integer(), nullable=False),
        sa.Column("placed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["placed_by_id"], ["person.id"], name=op.f("fk_upstream_hold_placed_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upstream_hold")),
    )
    op.create_index("ix_upstream_hold_kind_code", "upstream_hold", ["kind", "code"], unique=False)
    op.create_table(
        "authorisation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column(
            "task",
            sa.Enum(
                "hardness testing",
                "conductivity testing",
                "surface search",
                "release of panels",
                "disposition of held panels",
                "use as is and repair on behalf of the design organisation",
                "verification of requirements",
                "review of reports and certificates",
                name="task",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("grounds", sa.Text(), nullable=False),
        sa.Column("granted_by_id", sa.Integer(), nullable=False),
        sa.Column("granted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["granted_by_id"], ["person.id"], name=op.f("fk_authorisation_granted_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_authorisation_person_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_authorisation_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_authorisation")),
    )
    op.create_index(
        op.f("ix_authorisation_person_id"), "authorisation", ["person_id"], unique=False
    )
    op.create_table(
        "machine_token_end",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("ended_by_id", sa.Integer(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["ended_by_id"], ["person.id"], name=op.f("fk_machine_token_end_ended_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["token_id"], ["machine_token.id"], name=op.f("fk_machine_token_end_token_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine_token_end")),
        sa.UniqueConstraint("token_id", name=op.f("uq_machine_token_end_token_id")),
    )
    op.create_table(
        "order_requirement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("requirement_id", sa.Integer(), nullable=False),
        sa.Column("stated_revision", sa.String(length=20), nullable=True),
        sa.Column("is_extra", sa.Boolean(), nullable=False),
        sa.Column("clause", sa.String(length=200), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_order_requirement_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["order_id"], ["customer_order.id"], name=op.f("fk_order_requirement_order_id")
        ),
        sa.ForeignKeyConstraint(
            ["requirement_id"], ["requirement.id"], name=op.f("fk_order_requirement_requirement_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_requirement")),
    )
    op.create_index(
        op.f("ix_order_requirement_order_id"), "order_requirement", ["order_id"], unique=False
    )
    op.create_table(
        "trail_review",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_number", sa.Integer(), nullable=False),
        sa.Column("last_number", sa.Integer(), nullable=False),
        sa.Column("exceptions", sa.Integer(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("reviewed_by_id", sa.Integer(), nullable=False),
        sa.Column("reviewed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["reviewed_by_id"], ["person.id"], name=op.f("fk_trail_review_reviewed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_trail_review_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail_review")),
    )
    op.create_index(
        op.f("ix_trail_review_last_number"), "trail_review", ["last_number"], unique=False
    )
    op.create_table(
        "upstream_hold_lift",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("upstream_hold_id", sa.Integer(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("lifted_by_id", sa.Integer(), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["lifted_by_id"], ["person.id"], name=op.f("fk_upstream_hold_lift_lifted_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_upstream_hold_lift_signature_id")
        ),
        sa.ForeignKeyConstraint(
            ["upstream_hold_id"],
            ["upstream_hold.id"],
            name=op.f("fk_upstream_hold_lift_upstream_hold_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upstream_hold_lift")),
        sa.UniqueConstraint(
            "upstream_hold_id", name=op.f("uq_upstream_hold_lift_upstream_hold_id")
        ),
    )
    op.create_table(
        "authorisation_end",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("authorisation_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("ended_by_id", sa.Integer(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["authorisation_id"],
            ["authorisation.id"],
            name=op.f("fk_authorisation_end_authorisation_id"),
        ),
        sa.ForeignKeyConstraint(
            ["ended_by_id"], ["person.id"], name=op.f("fk_authorisation_end_ended_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_authorisation_end")),
        sa.UniqueConstraint("authorisation_id", name=op.f("uq_authorisation_end_authorisation_id")),
    )
    op.create_table(
        "nonconformance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("requirement", sa.Text(), nullable=False),
        sa.Column("containment", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("evidence_sha256", sa.String(length=64), nullable=False),
        sa.Column("opened_by_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_nonconformance_code")),
        sa.ForeignKeyConstraint(
            ["opened_by_id"], ["person.id"], name=op.f("fk_nonconformance_opened_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["panel_id"], ["panel.id"], name=op.f("fk_nonconformance_panel_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_nonconformance")),
        sa.UniqueConstraint("code", name=op.f("uq_nonconformance_code")),
    )
    op.create_index(
        op.f("ix_nonconformance_panel_id"), "nonconformance", ["panel_id"], unique=False
    )
    op.create_table(
        "panel_descent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "divided from it",
                "the same panel under a new mark",
                name="descent",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_panel_descent_by_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_panel_descent_panel_id")),
        sa.ForeignKeyConstraint(
            ["parent_id"], ["panel.id"], name=op.f("fk_panel_descent_parent_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_panel_descent_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel_descent")),
        sa.UniqueConstraint("panel_id", name=op.f("uq_panel_descent_panel_id")),
    )
    op.create_index(
        op.f("ix_panel_descent_parent_id"), "panel_descent", ["parent_id"], unique=False
    )
    op.create_table(
        "scrap_record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("marking", sa.Text(), nullable=False),
        sa.Column("made_unusable", sa.Text(), nullable=False),
        sa.Column("photograph_sha256", sa.String(length=64), nullable=False),
        sa.Column("done_by_id", sa.Integer(), nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["done_by_id"], ["person.id"], name=op.f("fk_scrap_record_done_by_id")
        ),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_scrap_record_panel_id")),
        sa.ForeignKeyConstraint(
            ["photograph_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_scrap_record_photograph_sha256"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_scrap_record_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scrap_record")),
        sa.UniqueConstraint("panel_id", name=op.f("uq_scrap_record_panel_id")),
    )
    op.create_table(
        "second_keying",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.Column("differences", sa.Text(), nullable=False),
        sa.Column("keyed_by_id", sa.Integer(), nullable=False),
        sa.Column("keyed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["keyed_by_id"], ["person.id"], name=op.f("fk_second_keying_keyed_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["revision_id"], ["requirement_revision.id"], name=op.f("fk_second_keying_revision_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_second_keying_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_second_keying")),
    )
    op.create_index(
        op.f("ix_second_keying_revision_id"), "second_keying", ["revision_id"], unique=False
    )
    op.create_table(
        "trail_review_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("review_id", sa.Integer(), nullable=False),
        sa.Column("entry_number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["review_id"], ["trail_review.id"], name=op.f("fk_trail_review_line_review_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail_review_line")),
    )
    op.create_index(
        op.f("ix_trail_review_line_review_id"), "trail_review_line", ["review_id"], unique=False
    )
    op.create_table(
        "whereabouts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("brought_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_whereabouts_by_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_whereabouts_panel_id")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_whereabouts_place_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_whereabouts")),
    )
    op.create_index("ix_whereabouts_panel_id_id", "whereabouts", ["panel_id", "id"], unique=False)
    op.create_table(
        "corrective_action",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("nonconformance_id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("owner_id", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_corrective_action_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["nonconformance_id"],
            ["nonconformance.id"],
            name=op.f("fk_corrective_action_nonconformance_id"),
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["person.id"], name=op.f("fk_corrective_action_owner_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrective_action")),
    )
    op.create_index(
        op.f("ix_corrective_action_nonconformance_id"),
        "corrective_action",
        ["nonconformance_id"],
        unique=False,
    )
    op.create_table(
        "customer_notice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("nonconformance_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("content_sha256", sa.String(length=64), nullable=False),
        sa.Column("drafted_by_id", sa.Integer(), nullable=False),
        sa.Column("drafted_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["drafted_by_id"], ["person.id"], name=op.f("fk_customer_notice_drafted_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["nonconformance_id"],
            ["nonconformance.id"],
            name=op.f("fk_customer_notice_nonconformance_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer_notice")),
    )
    op.create_index(
        op.f("ix_customer_notice_nonconformance_id"),
        "customer_notice",
        ["nonconformance_id"],
        unique=False,
    )
    op.create_table(
        "disposition_proposal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("nonconformance_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column(
            "disposition",
            sa.Enum(
                "released",
                "no departure found",
                "use as is",
                "rework",
                "repair",
                "return to supplier",
                "scrap",
                "release confirmed",
                "release withdrawn",
                name="decisionkind",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("instructions", sa.Text(), nullable=False),
        sa.Column("evidence_sha256", sa.String(length=64), nullable=False),
        sa.Column("proposed_by_id", sa.Integer(), nullable=False),
        sa.Column("proposed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["nonconformance_id"],
            ["nonconformance.id"],
            name=op.f("fk_disposition_proposal_nonconformance_id"),
        ),
        sa.ForeignKeyConstraint(
            ["proposed_by_id"], ["person.id"], name=op.f("fk_disposition_proposal_proposed_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disposition_proposal")),
        sa.UniqueConstraint(
            "nonconformance_id",
            "number",
            name=op.f("uq_disposition_proposal_nonconformance_id_number"),
        ),
    )
    op.create_table(
        "scrap_witness",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scrap_record_id", sa.Integer(), nullable=False),
        sa.Column("witness_id", sa.Integer(), nullable=False),
        sa.Column("witnessed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["scrap_record_id"], ["scrap_record.id"], name=op.f("fk_scrap_witness_scrap_record_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_scrap_witness_signature_id")
        ),
        sa.ForeignKeyConstraint(
            ["witness_id"], ["person.id"], name=op.f("fk_scrap_witness_witness_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scrap_witness")),
        sa.UniqueConstraint("scrap_record_id", name=op.f("uq_scrap_witness_scrap_record_id")),
    )
    op.create_table(
        "corrective_action_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("action_id", sa.Integer(), nullable=False),
        sa.Column("effective", sa.Boolean(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("checked_by_id", sa.Integer(), nullable=False),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["action_id"],
            ["corrective_action.id"],
            name=op.f("fk_corrective_action_check_action_id"),
        ),
        sa.ForeignKeyConstraint(
            ["checked_by_id"], ["person.id"], name=op.f("fk_corrective_action_check_checked_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_corrective_action_check_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrective_action_check")),
    )
    op.create_index(
        op.f("ix_corrective_action_check_action_id"),
        "corrective_action_check",
        ["action_id"],
        unique=False,
    )
    op.create_table(
        "proposal_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("proposal_id", sa.Integer(), nullable=False),
        sa.Column(
            "capacity",
            sa.Enum(
                "quality",
                "supervision",
                "design organisation",
                "customer",
                name="capacity",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("approves", sa.Boolean(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("document", sa.String(length=200), nullable=False),
        sa.Column("document_sha256", sa.String(length=64), nullable=True),
        sa.Column("answered_by_id", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("authorisation_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["answered_by_id"], ["person.id"], name=op.f("fk_proposal_answer_answered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["authorisation_id"],
            ["authorisation.id"],
            name=op.f("fk_proposal_answer_authorisation_id"),
        ),
        sa.ForeignKeyConstraint(
            ["document_sha256"],
            ["report_file.sha256"],
            name=op.f("fk_proposal_answer_document_sha256"),
        ),
        sa.ForeignKeyConstraint(
            ["proposal_id"],
            ["disposition_proposal.id"],
            name=op.f("fk_proposal_answer_proposal_id"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_proposal_answer_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proposal_answer")),
        sa.UniqueConstraint(
            "proposal_id", "capacity", name=op.f("uq_proposal_answer_proposal_id_capacity")
        ),
    )
    _add_columns()
    op.create_index(op.f("ix_hold_upstream_hold_id"), "hold", ["upstream_hold_id"], unique=False)
    op.create_index("ix_trail_entry_at_number", "trail_entry", ["at", "number"], unique=False)
    # SQLite writes the table anew for this, and its triggers go with the old one.
    with op.batch_alter_table("requirement_revision") as batch:
        batch.add_column(sa.Column("attempt", sa.Integer(), server_default="1", nullable=False))
        batch.add_column(sa.Column("again_because", sa.Text(), nullable=True))
        batch.drop_constraint(ONE_NAME, type_="unique")
        batch.create_unique_constraint(ONE_ATTEMPT, ["requirement_id", "revision", "attempt"])
    if not _on_postgresql():
        _keep(["requirement_revision"])
    _keep(TABLES)


def downgrade() -> None:
    op.drop_index("ix_trail_entry_at_number", table_name="trail_entry")
    op.drop_index(op.f("ix_hold_upstream_hold_id"), table_name="hold")
    changed = list(dict.fromkeys(table for table, *_ in COLUMNS))
    for table in changed:
        with op.batch_alter_table(table) as batch:
            for name in (name for of, name, *_ in COLUMNS if of == table):
                batch.drop_column(name)
    with op.batch_alter_table("requirement_revision") as batch:
        batch.drop_constraint(ONE_ATTEMPT, type_="unique")
        batch.drop_column("attempt")
        batch.drop_column("again_because")
        batch.create_unique_constraint(ONE_NAME, ["requirement_id", "revision"])
    if not _on_postgresql():
        _keep([*(table for table in changed if table not in CHANGES), "requirement_revision"])
    op.drop_table("proposal_answer")
    op.drop_index(
        op.f("ix_corrective_action_check_action_id"), table_name="corrective_action_check"
    )
    op.drop_table("corrective_action_check")
    op.drop_table("scrap_witness")
    op.drop_table("disposition_proposal")
    op.drop_index(op.f("ix_customer_notice_nonconformance_id"), table_name="customer_notice")
    op.drop_table("customer_notice")
    op.drop_index(op.f("ix_corrective_action_nonconformance_id"), table_name="corrective_action")
    op.drop_table("corrective_action")
    op.drop_index("ix_whereabouts_panel_id_id", table_name="whereabouts")
    op.drop_table("whereabouts")
    op.drop_index(op.f("ix_trail_review_line_review_id"), table_name="trail_review_line")
    op.drop_table("trail_review_line")
    op.drop_index(op.f("ix_second_keying_revision_id"), table_name="second_keying")
    op.drop_table("second_keying")
    op.drop_table("scrap_record")
    op.drop_index(op.f("ix_panel_descent_parent_id"), table_name="panel_descent")
    op.drop_table("panel_descent")
    op.drop_index(op.f("ix_nonconformance_panel_id"), table_name="nonconformance")
    op.drop_table("nonconformance")
    op.drop_table("authorisation_end")
    op.drop_table("upstream_hold_lift")
    op.drop_index(op.f("ix_trail_review_last_number"), table_name="trail_review")
    op.drop_table("trail_review")
    op.drop_index(op.f("ix_order_requirement_order_id"), table_name="order_requirement")
    op.drop_table("order_requirement")
    op.drop_table("machine_token_end")
    op.drop_index(op.f("ix_authorisation_person_id"), table_name="authorisation")
    op.drop_table("authorisation")
    op.drop_index("ix_upstream_hold_kind_code", table_name="upstream_hold")
    op.drop_table("upstream_hold")
    op.drop_table("tree_head")
    op.drop_table("place")
    op.drop_table("machine_token")
    op.drop_index(op.f("ix_known_browser_person_id"), table_name="known_browser")
    op.drop_table("known_browser")
    op.drop_table("customer_order")
    op.drop_table("tree_key")
    op.drop_table("trail_seen")
    op.drop_index("ix_sign_in_try_username_browser_at", table_name="sign_in_try")
    op.drop_table("sign_in_try")
