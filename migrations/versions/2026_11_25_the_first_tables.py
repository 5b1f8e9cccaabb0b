"""The first tables.

Why: panels, loads, coupons, readings, verdicts, decisions and the trail need somewhere to live.
Recorded figures touched: none.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "identity",
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("given_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_identity")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("username", sa.String(length=64), nullable=False),
        sa.Column("full_name", sa.String(length=120), nullable=False),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("username", name=op.f("uq_person_username")),
    )
    op.create_table(
        "trail_entry",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column("tag", sa.String(length=64), nullable=False),
        sa.Column("about_kind", sa.String(length=40), nullable=False),
        sa.Column("about_code", sa.String(length=64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_trail_entry")),
        sa.UniqueConstraint("hash", name=op.f("uq_trail_entry_hash")),
    )
    op.create_index("ix_trail_entry_about", "trail_entry", ["about_code", "number"], unique=False)
    op.create_index("ix_trail_entry_by_number", "trail_entry", ["by", "number"], unique=False)
    op.create_index("ix_trail_entry_tag_number", "trail_entry", ["tag", "number"], unique=False)
    op.create_table(
        "furnace",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("furnace_class", sa.Integer(), nullable=False),
        sa.Column("uniformity_c", sa.Text(), nullable=False),
        sa.Column("instrumentation_type", sa.String(length=8), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_furnace_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_furnace_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_furnace")),
        sa.UniqueConstraint("code", name=op.f("uq_furnace_code")),
    )
    op.create_table(
        "material_lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("alloy", sa.String(length=40), nullable=False),
        sa.Column("incoming_temper", sa.String(length=40), nullable=False),
        sa.Column("form", sa.String(length=40), nullable=False),
        sa.Column("thickness_mm", sa.Text(), nullable=False),
        sa.Column("surface", sa.String(length=20), nullable=False),
        sa.Column("cast", sa.String(length=60), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_material_lot_code")),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_material_lot_entered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material_lot")),
        sa.UniqueConstraint("code", name=op.f("uq_material_lot_code")),
    )
    op.create_table(
        "reference_block",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("certified_value", sa.Text(), nullable=False),
        sa.Column("permitted_error", sa.Text(), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_reference_block_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_reference_block_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reference_block")),
        sa.UniqueConstraint("code", name=op.f("uq_reference_block_code")),
    )
    op.create_table(
        "requirement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "acceptance table", "cycle", name="requirementkind", native_enum=False, length=80
            ),
            nullable=False,
        ),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_requirement_code")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_requirement")),
        sa.UniqueConstraint("code", name=op.f("uq_requirement_code")),
    )
    op.create_table(
        "sensor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("thermocouple_type", sa.String(length=4), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_sensor_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_sensor_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sensor")),
        sa.UniqueConstraint("code", name=op.f("uq_sensor_code")),
    )
    op.create_table(
        "sign_in",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id")),
        sa.PrimaryKeyConstraint("token_sha256", name=op.f("pk_sign_in")),
    )
    op.create_index(op.f("ix_sign_in_person_id"), "sign_in", ["person_id"], unique=False)
    op.create_table(
        "signature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("printed_name", sa.String(length=120), nullable=False),
        sa.Column(
            "meaning",
            sa.Enum(
                "I have read the evidence and release this panel",
                "I have reviewed this hold and dispose of it as stated",
                "I have compared every value with the controlled source document",
                "I have compared every parameter with the controlled process document",
                "I have reviewed this sensor's failure and exclude it",
                name="meaning",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content_sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_signature_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signature")),
    )
    op.create_index(op.f("ix_signature_person_id"), "signature", ["person_id"], unique=False)
    op.create_table(
        "tester",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("frequency_khz", sa.Text(), nullable=True),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_tester_code")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_tester_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester")),
        sa.UniqueConstraint("code", name=op.f("uq_tester_code")),
    )
    op.create_table(
        "bench_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tester_id", sa.Integer(), nullable=False),
        sa.Column("operator_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["operator_id"], ["person.id"], name=op.f("fk_bench_session_operator_id")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_bench_session_tester_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_session")),
    )
    op.create_index(
        op.f("ix_bench_session_operator_id"), "bench_session", ["operator_id"], unique=False
    )
    op.create_index(
        op.f("ix_bench_session_tester_id"), "bench_session", ["tester_id"], unique=False
    )
    op.create_table(
        "coupon",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("thickness_mm", sa.Text(), nullable=False),
        sa.Column("surface", sa.String(length=20), nullable=False),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_coupon_code")),
        sa.ForeignKeyConstraint(["lot_id"], ["material_lot.id"], name=op.f("fk_coupon_lot_id")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_coupon_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coupon")),
        sa.UniqueConstraint("code", name=op.f("uq_coupon_code")),
    )
    op.create_index(op.f("ix_coupon_lot_id"), "coupon", ["lot_id"], unique=False)
    op.create_table(
        "furnace_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("furnace_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "uniformity survey",
                "system accuracy test",
                "recorder calibration",
                name="furnacecheckkind",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("report", sa.String(length=120), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_furnace_check_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["furnace_id"], ["furnace.id"], name=op.f("fk_furnace_check_furnace_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_furnace_check")),
    )
    op.create_index(
        op.f("ix_furnace_check_furnace_id"), "furnace_check", ["furnace_id"], unique=False
    )
    op.create_table(
        "panel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("drawing", sa.String(length=80), nullable=False),
        sa.Column("order_number", sa.String(length=80), nullable=False),
        sa.Column("target_temper", sa.String(length=40), nullable=False),
        sa.Column("length_mm", sa.Text(), nullable=False),
        sa.Column("width_mm", sa.Text(), nullable=False),
        sa.Column("treatments_most", sa.Integer(), nullable=False),
        sa.Column("treatments_before", sa.Integer(), nullable=False),
        sa.Column(
            "decided",
            sa.Enum(
                "open",
                "released",
                "use as is",
                "rework",
                "repair",
                "return to supplier",
                "scrap",
                name="decided",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("registered_by_id", sa.Integer(), nullable=False),
        sa.Column("registered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_panel_code")),
        sa.ForeignKeyConstraint(["lot_id"], ["material_lot.id"], name=op.f("fk_panel_lot_id")),
        sa.ForeignKeyConstraint(
            ["registered_by_id"], ["person.id"], name=op.f("fk_panel_registered_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel")),
        sa.UniqueConstraint("code", name=op.f("uq_panel_code")),
    )
    op.create_index("ix_panel_decided_id", "panel", ["decided", "id"], unique=False)
    op.create_index(op.f("ix_panel_lot_id"), "panel", ["lot_id"], unique=False)
    op.create_table(
        "requirement_revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("requirement_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.String(length=20), nullable=False),
        sa.Column("paper", sa.Text(), nullable=False),
        sa.Column("paper_sha256", sa.String(length=64), nullable=False),
        sa.Column("shop_rules", sa.Text(), nullable=False),
        sa.Column("source_document", sa.String(length=200), nullable=False),
        sa.Column("written_by_id", sa.Integer(), nullable=False),
        sa.Column("written_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["requirement_id"],
            ["requirement.id"],
            name=op.f("fk_requirement_revision_requirement_id"),
        ),
        sa.ForeignKeyConstraint(
            ["written_by_id"], ["person.id"], name=op.f("fk_requirement_revision_written_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_requirement_revision")),
        sa.UniqueConstraint(
            "requirement_id",
            "revision",
            name=op.f("uq_requirement_revision_requirement_id_revision"),
        ),
    )
    op.create_table(
        "sensor_certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sensor_id", sa.Integer(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("corrections", sa.Text(), nullable=False),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_sensor_certificate_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["sensor_id"], ["sensor.id"], name=op.f("fk_sensor_certificate_sensor_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sensor_certificate")),
    )
    op.create_index(
        op.f("ix_sensor_certificate_sensor_id"), "sensor_certificate", ["sensor_id"], unique=False
    )
    op.create_table(
        "tester_certificate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tester_id", sa.Integer(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("certificate", sa.String(length=120), nullable=False),
        sa.Column("expanded_uncertainty", sa.Text(), nullable=True),
        sa.Column("entered_by_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["entered_by_id"], ["person.id"], name=op.f("fk_tester_certificate_entered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["tester_id"], ["tester.id"], name=op.f("fk_tester_certificate_tester_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tester_certificate")),
    )
    op.create_index(
        op.f("ix_tester_certificate_tester_id"), "tester_certificate", ["tester_id"], unique=False
    )
    op.create_table(
        "block_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column(
            "moment",
            sa.Enum(
                "opening", "interim", "closing", name="checkmoment", native_enum=False, length=80
            ),
            nullable=False,
        ),
        sa.Column("block_id", sa.Integer(), nullable=False),
        sa.Column("readings", sa.Text(), nullable=False),
        sa.Column("block_c", sa.Text(), nullable=True),
        sa.Column("outcome", sa.String(length=20), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["block_id"], ["reference_block.id"], name=op.f("fk_block_check_block_id")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_block_check_by_id")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["bench_session.id"], name=op.f("fk_block_check_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_block_check")),
    )
    op.create_index(op.f("ix_block_check_block_id"), "block_check", ["block_id"], unique=False)
    op.create_index(op.f("ix_block_check_session_id"), "block_check", ["session_id"], unique=False)
    op.create_table(
        "coupon_verdict",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("table_revision_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("provisional", sa.Boolean(), nullable=False),
        sa.Column("paper", sa.Text(), nullable=False),
        sa.Column("inputs_sha256", sa.String(length=64), nullable=False),
        sa.Column("rules_version", sa.String(length=20), nullable=False),
        sa.Column("judged_by_id", sa.Integer(), nullable=False),
        sa.Column("judged_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_coupon_verdict_coupon_id")
        ),
        sa.ForeignKeyConstraint(
            ["judged_by_id"], ["person.id"], name=op.f("fk_coupon_verdict_judged_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["table_revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_coupon_verdict_table_revision_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coupon_verdict")),
    )
    op.create_index(
        "ix_coupon_verdict_coupon_id_id", "coupon_verdict", ["coupon_id", "id"], unique=False
    )
    op.create_table(
        "custody_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column(
            "step",
            sa.Enum(
                "cut and marked",
                "placed on the panel",
                "recovered",
                "handed over to the bench",
                "shelved",
                "missing",
                name="custody",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("place", sa.String(length=80), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_custody_step_by_id")),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_custody_step_coupon_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_custody_step")),
    )
    op.create_index(
        "ix_custody_step_coupon_id_id", "custody_step", ["coupon_id", "id"], unique=False
    )
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "released",
                "no departure found",
                "use as is",
                "rework",
                "repair",
                "return to supplier",
                "scrap",
                name="decisionkind",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("evidence_sha256", sa.String(length=64), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.Column("decided_by_id", sa.Integer(), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["decided_by_id"], ["person.id"], name=op.f("fk_decision_decided_by_id")
        ),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_decision_panel_id")),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_decision_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decision")),
        sa.UniqueConstraint("panel_id", "number", name=op.f("uq_decision_panel_id_number")),
        sa.UniqueConstraint("signature_id", name=op.f("uq_decision_signature_id")),
    )
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("placed_by_id", sa.Integer(), nullable=False),
        sa.Column("placed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_hold_panel_id")),
        sa.ForeignKeyConstraint(["placed_by_id"], ["person.id"], name=op.f("fk_hold_placed_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
    )
    op.create_index(op.f("ix_hold_panel_id"), "hold", ["panel_id"], unique=False)
    op.create_table(
        "load",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("furnace_id", sa.Integer(), nullable=False),
        sa.Column("cycle_revision_id", sa.Integer(), nullable=False),
        sa.Column("planned_start", sa.DateTime(timezone=True), nullable=False),
        sa.Column("planned_by_id", sa.Integer(), nullable=False),
        sa.Column("planned_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["identity.code"], name=op.f("fk_load_code")),
        sa.ForeignKeyConstraint(
            ["cycle_revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_load_cycle_revision_id"),
        ),
        sa.ForeignKeyConstraint(["furnace_id"], ["furnace.id"], name=op.f("fk_load_furnace_id")),
        sa.ForeignKeyConstraint(
            ["planned_by_id"], ["person.id"], name=op.f("fk_load_planned_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load")),
        sa.UniqueConstraint("code", name=op.f("uq_load_code")),
    )
    op.create_index(op.f("ix_load_cycle_revision_id"), "load", ["cycle_revision_id"], unique=False)
    op.create_index(op.f("ix_load_furnace_id"), "load", ["furnace_id"], unique=False)
    op.create_table(
        "requirement_verification",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("verified_by_id", sa.Integer(), nullable=False),
        sa.Column("verified_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("in_force_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_requirement_verification_revision_id"),
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"],
            ["signature.id"],
            name=op.f("fk_requirement_verification_signature_id"),
        ),
        sa.ForeignKeyConstraint(
            ["verified_by_id"],
            ["person.id"],
            name=op.f("fk_requirement_verification_verified_by_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_requirement_verification")),
        sa.UniqueConstraint("revision_id", name=op.f("uq_requirement_verification_revision_id")),
    )
    op.create_table(
        "requirement_withdrawal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("withdrawn_by_id", sa.Integer(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_requirement_withdrawal_revision_id"),
        ),
        sa.ForeignKeyConstraint(
            ["withdrawn_by_id"],
            ["person.id"],
            name=op.f("fk_requirement_withdrawal_withdrawn_by_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_requirement_withdrawal")),
        sa.UniqueConstraint("revision_id", name=op.f("uq_requirement_withdrawal_revision_id")),
    )
    op.create_table(
        "retest",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("sets_required", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("opened_by_id", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["coupon_id"], ["coupon.id"], name=op.f("fk_retest_coupon_id")),
        sa.ForeignKeyConstraint(
            ["opened_by_id"], ["person.id"], name=op.f("fk_retest_opened_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_retest")),
    )
    op.create_index(op.f("ix_retest_coupon_id"), "retest", ["coupon_id"], unique=False)
    op.create_table(
        "hold_lift",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("decision_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["decision_id"], ["decision.id"], name=op.f("fk_hold_lift_decision_id")
        ),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"], name=op.f("fk_hold_lift_hold_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold_lift")),
        sa.UniqueConstraint("hold_id", name=op.f("uq_hold_lift_hold_id")),
    )
    op.create_index(op.f("ix_hold_lift_decision_id"), "hold_lift", ["decision_id"], unique=False)
    op.create_table(
        "leak_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("start_kpa", sa.Text(), nullable=False),
        sa.Column("end_kpa", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Text(), nullable=False),
        sa.Column("limit_kpa", sa.Text(), nullable=False),
        sa.Column("outcome", sa.String(length=20), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_leak_check_by_id")),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_leak_check_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_leak_check_panel_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_leak_check")),
    )
    op.create_index("ix_leak_check_load_id_id", "leak_check", ["load_id", "id"], unique=False)
    op.create_index(op.f("ix_leak_check_panel_id"), "leak_check", ["panel_id"], unique=False)
    op.create_table(
        "load_coupon",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(length=40), nullable=False),
        sa.Column("x", sa.Text(), nullable=False),
        sa.Column("y", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["coupon_id"], ["coupon.id"], name=op.f("fk_load_coupon_coupon_id")
        ),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_load_coupon_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_load_coupon_panel_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_coupon")),
        sa.UniqueConstraint("coupon_id", name=op.f("uq_load_coupon_coupon_id")),
    )
    op.create_index(op.f("ix_load_coupon_load_id"), "load_coupon", ["load_id"], unique=False)
    op.create_index(op.f("ix_load_coupon_panel_id"), "load_coupon", ["panel_id"], unique=False)
    op.create_table(
        "load_panel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("table_revision_id", sa.Integer(), nullable=False),
        sa.Column("former", sa.String(length=80), nullable=False),
        sa.Column("treatment_number", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_load_panel_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_load_panel_panel_id")),
        sa.ForeignKeyConstraint(
            ["table_revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_load_panel_table_revision_id"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_panel")),
        sa.UniqueConstraint("load_id", "panel_id", name=op.f("uq_load_panel_load_id_panel_id")),
    )
    op.create_index(op.f("ix_load_panel_panel_id"), "load_panel", ["panel_id"], unique=False)
    op.create_index(
        op.f("ix_load_panel_table_revision_id"), "load_panel", ["table_revision_id"], unique=False
    )
    op.create_table(
        "load_sensor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("sensor_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=True),
        sa.Column("channel", sa.String(length=40), nullable=False),
        sa.Column(
            "role",
            sa.Enum("load", "control", name="sensorrole", native_enum=False, length=80),
            nullable=False,
        ),
        sa.Column("station", sa.String(length=40), nullable=False),
        sa.Column("x", sa.Text(), nullable=True),
        sa.Column("y", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_load_sensor_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_load_sensor_panel_id")),
        sa.ForeignKeyConstraint(
            ["sensor_id"], ["sensor.id"], name=op.f("fk_load_sensor_sensor_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_sensor")),
        sa.UniqueConstraint("load_id", "channel", name=op.f("uq_load_sensor_load_id_channel")),
        sa.UniqueConstraint("load_id", "sensor_id", name=op.f("uq_load_sensor_load_id_sensor_id")),
    )
    op.create_index(op.f("ix_load_sensor_sensor_id"), "load_sensor", ["sensor_id"], unique=False)
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("coupon_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("coupon_c", sa.Text(), nullable=True),
        sa.Column("block_c", sa.Text(), nullable=True),
        sa.Column("frequency_khz", sa.Text(), nullable=True),
        sa.Column("spacing_confirmed", sa.Boolean(), nullable=True),
        sa.Column("report", sa.String(length=120), nullable=True),
        sa.Column("retest_id", sa.Integer(), nullable=True),
        sa.Column("set_number", sa.Integer(), nullable=True),
        sa.Column("submission", sa.String(length=64), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("taken_by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["coupon_id"], ["coupon.id"], name=op.f("fk_reading_coupon_id")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["reading.id"], name=op.f("fk_reading_replaces_id")
        ),
        sa.ForeignKeyConstraint(["retest_id"], ["retest.id"], name=op.f("fk_reading_retest_id")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["bench_session.id"], name=op.f("fk_reading_session_id")
        ),
        sa.ForeignKeyConstraint(
            ["taken_by_id"], ["person.id"], name=op.f("fk_reading_taken_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_reading_replaces_id")),
    )
    op.create_index("ix_reading_coupon_id_id", "reading", ["coupon_id", "id"], unique=False)
    op.create_index(op.f("ix_reading_retest_id"), "reading", ["retest_id"], unique=False)
    op.create_index(op.f("ix_reading_session_id"), "reading", ["session_id"], unique=False)
    op.create_index(op.f("ix_reading_submission"), "reading", ["submission"], unique=False)
    op.create_index(op.f("ix_reading_taken_by_id"), "reading", ["taken_by_id"], unique=False)
    op.create_table(
        "stored_file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("compression", sa.String(length=10), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("stored_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_stored_file_load_id")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_stored_file")),
    )
    op.create_index(op.f("ix_stored_file_load_id"), "stored_file", ["load_id"], unique=False)
    op.create_table(
        "unwrapping",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("panel_id", sa.Integer(), nullable=False),
        sa.Column("bag_intact", sa.Boolean(), nullable=False),
        sa.Column("surface_clear", sa.Boolean(), nullable=True),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_unwrapping_by_id")),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_unwrapping_load_id")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_unwrapping_panel_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unwrapping")),
    )
    op.create_index(
        "ix_unwrapping_load_id_panel_id_id",
        "unwrapping",
        ["load_id", "panel_id", "id"],
        unique=False,
    )
    op.create_index(op.f("ix_unwrapping_panel_id"), "unwrapping", ["panel_id"], unique=False)
    op.create_table(
        "furnace_record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("file_sha256", sa.String(length=64), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("length_s", sa.Text(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("trace_sha256", sa.String(length=64), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("imported_by_id", sa.Integer(), nullable=False),
        sa.Column("imported_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["stored_file.sha256"], name=op.f("fk_furnace_record_file_sha256")
        ),
        sa.ForeignKeyConstraint(
            ["imported_by_id"], ["person.id"], name=op.f("fk_furnace_record_imported_by_id")
        ),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name=op.f("fk_furnace_record_load_id")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["furnace_record.id"], name=op.f("fk_furnace_record_replaces_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_furnace_record")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_furnace_record_replaces_id")),
    )
    op.create_index(
        op.f("ix_furnace_record_file_sha256"), "furnace_record", ["file_sha256"], unique=False
    )
    op.create_index(op.f("ix_furnace_record_load_id"), "furnace_record", ["load_id"], unique=False)
    op.create_table(
        "sensor_exclusion",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_sensor_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signature_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_sensor_exclusion_by_id")),
        sa.ForeignKeyConstraint(
            ["load_sensor_id"], ["load_sensor.id"], name=op.f("fk_sensor_exclusion_load_sensor_id")
        ),
        sa.ForeignKeyConstraint(
            ["signature_id"], ["signature.id"], name=op.f("fk_sensor_exclusion_signature_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sensor_exclusion")),
        sa.UniqueConstraint("load_sensor_id", name=op.f("uq_sensor_exclusion_load_sensor_id")),
    )
    op.create_table(
        "void_request",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column(
            "cause",
            sa.Enum(
                "reference check failed",
                "indenter or probe slipped",
                "too close to an edge or another indent",
                "wrong coupon measured",
                "surface not prepared",
                "temperatures not equal",
                name="voidcause",
                native_enum=False,
                length=80,
            ),
            nullable=False,
        ),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["asked_by_id"], ["person.id"], name=op.f("fk_void_request_asked_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_void_request_reading_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_void_request")),
    )
    op.create_index(
        op.f("ix_void_request_reading_id"), "void_request", ["reading_id"], unique=False
    )
    op.create_table(
        "record_trace",
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_record_trace_record_id")
        ),
        sa.PrimaryKeyConstraint("record_id", name=op.f("pk_record_trace")),
    )
    op.create_table(
        "record_verdict",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("cycle_revision_id", sa.Integer(), nullable=False),
        sa.Column("cycle_as_judged", sa.Text(), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("paper", sa.Text(), nullable=False),
        sa.Column("paper_sha256", sa.String(length=64), nullable=False),
        sa.Column("rules_version", sa.String(length=20), nullable=False),
        sa.Column("judged_by_id", sa.Integer(), nullable=False),
        sa.Column("judged_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["cycle_revision_id"],
            ["requirement_revision.id"],
            name=op.f("fk_record_verdict_cycle_revision_id"),
        ),
        sa.ForeignKeyConstraint(
            ["judged_by_id"], ["person.id"], name=op.f("fk_record_verdict_judged_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["record_id"], ["furnace_record.id"], name=op.f("fk_record_verdict_record_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_verdict")),
    )
    op.create_index(
        op.f("ix_record_verdict_record_id"), "record_verdict", ["record_id"], unique=False
    )
    op.create_table(
        "void_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("request_id", sa.Integer(), nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("answered_by_id", sa.Integer(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["answered_by_id"], ["person.id"], name=op.f("fk_void_answer_answered_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["request_id"], ["void_request.id"], name=op.f("fk_void_answer_request_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_void_answer")),
        sa.UniqueConstraint("request_id", name=op.f("uq_void_answer_request_id")),
    )


def downgrade() -> None:
    op.drop_table("void_answer")
    op.drop_index(op.f("ix_record_verdict_record_id"), table_name="record_verdict")
    op.drop_table("record_verdict")
    op.drop_table("record_trace")
    op.drop_index(op.f("ix_void_request_reading_id"), table_name="void_request")
    op.drop_table("void_request")
    op.drop_table("sensor_exclusion")
    op.drop_index(op.f("ix_furnace_record_load_id"), table_name="furnace_record")
    op.drop_index(op.f("ix_furnace_record_file_sha256"), table_name="furnace_record")
    op.drop_table("furnace_record")
    op.drop_index(op.f("ix_unwrapping_panel_id"), table_name="unwrapping")
    op.drop_index("ix_unwrapping_load_id_panel_id_id", table_name="unwrapping")
    op.drop_table("unwrapping")
    op.drop_index(op.f("ix_stored_file_load_id"), table_name="stored_file")
    op.drop_table("stored_file")
    op.drop_index(op.f("ix_reading_taken_by_id"), table_name="reading")
    op.drop_index(op.f("ix_reading_submission"), table_name="reading")
    op.drop_index(op.f("ix_reading_session_id"), table_name="reading")
    op.drop_index(op.f("ix_reading_retest_id"), table_name="reading")
    op.drop_index("ix_reading_coupon_id_id", table_name="reading")
    op.drop_table("reading")
    op.drop_index(op.f("ix_load_sensor_sensor_id"), table_name="load_sensor")
    op.drop_table("load_sensor")
    op.drop_index(op.f("ix_load_panel_table_revision_id"), table_name="load_panel")
    op.drop_index(op.f("ix_load_panel_panel_id"), table_name="load_panel")
    op.drop_table("load_panel")
    op.drop_index(op.f("ix_load_coupon_panel_id"), table_name="load_coupon")
    op.drop_index(op.f("ix_load_coupon_load_id"), table_name="load_coupon")
    op.drop_table("load_coupon")
    op.drop_index(op.f("ix_leak_check_panel_id"), table_name="leak_check")
    op.drop_index("ix_leak_check_load_id_id", table_name="leak_check")
    op.drop_table("leak_check")
    op.drop_index(op.f("ix_hold_lift_decision_id"), table_name="hold_lift")
    op.drop_table("hold_lift")
    op.drop_index(op.f("ix_retest_coupon_id"), table_name="retest")
    op.drop_table("retest")
    op.drop_table("requirement_withdrawal")
    op.drop_table("requirement_verification")
    op.drop_index(op.f("ix_load_furnace_id"), table_name="load")
    op.drop_index(op.f("ix_load_cycle_revision_id"), table_name="load")
    op.drop_table("load")
    op.drop_index(op.f("ix_hold_panel_id"), table_name="hold")
    op.drop_table("hold")
    op.drop_table("decision")
    op.drop_index("ix_custody_step_coupon_id_id", table_name="custody_step")
    op.drop_table("custody_step")
    op.drop_index("ix_coupon_verdict_coupon_id_id", table_name="coupon_verdict")
    op.drop_table("coupon_verdict")
    op.drop_index(op.f("ix_block_check_session_id"), table_name="block_check")
    op.drop_index(op.f("ix_block_check_block_id"), table_name="block_check")
    op.drop_table("block_check")
    op.drop_index(op.f("ix_tester_certificate_tester_id"), table_name="tester_certificate")
    op.drop_table("tester_certificate")
    op.drop_index(op.f("ix_sensor_certificate_sensor_id"), table_name="sensor_certificate")
    op.drop_table("sensor_certificate")
    op.drop_table("requirement_revision")
    op.drop_index(op.f("ix_panel_lot_id"), table_name="panel")
    op.drop_index("ix_panel_decided_id", table_name="panel")
    op.drop_table("panel")
    op.drop_index(op.f("ix_furnace_check_furnace_id"), table_name="furnace_check")
    op.drop_table("furnace_check")
    op.drop_index(op.f("ix_coupon_lot_id"), table_name="coupon")
    op.drop_table("coupon")
    op.drop_index(op.f("ix_bench_session_tester_id"), table_name="bench_session")
    op.drop_index(op.f("ix_bench_session_operator_id"), table_name="bench_session")
    op.drop_table("bench_session")
    op.drop_table("tester")
    op.drop_index(op.f("ix_signature_person_id"), table_name="signature")
    op.drop_table("signature")
    op.drop_index(op.f("ix_sign_in_person_id"), table_name="sign_in")
    op.drop_table("sign_in")
    op.drop_table("sensor")
    op.drop_table("requirement")
    op.drop_table("reference_block")
    op.drop_table("material_lot")
    op.drop_table("furnace")
    op.drop_index("ix_trail_entry_tag_number", table_name="trail_entry")
    op.drop_index("ix_trail_entry_by_number", table_name="trail_entry")
    op.drop_index("ix_trail_entry_about", table_name="trail_entry")
    op.drop_table("trail_entry")
    op.drop_table("person")
    op.drop_table("identity")
