"""Refuse to change or remove what is on record.

Why: readings, verdicts, signatures, decisions, files and the trail are never altered; a correction
is a row of its own. The database itself refuses, whoever asks. Recorded figures touched: none.
"""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# As the tables stood at this migration; a test compares this list with what the program says.
TABLES = (
    "bench_session",
    "block_check",
    "coupon",
    "coupon_verdict",
    "custody_step",
    "decision",
    "furnace",
    "furnace_check",
    "furnace_record",
    "hold",
    "hold_lift",
    "identity",
    "leak_check",
    "load",
    "load_coupon",
    "load_panel",
    "load_sensor",
    "material_lot",
    "reading",
    "record_trace",
    "record_verdict",
    "reference_block",
    "requirement",
    "requirement_revision",
    "requirement_verification",
    "requirement_withdrawal",
    "retest",
    "sensor",
    "sensor_certificate",
    "sensor_exclusion",
    "signature",
    "stored_file",
    "tester",
    "tester_certificate",
    "trail_entry",
    "unwrapping",
    "void_answer",
    "void_request",
)


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ "
            "BEGIN RAISE EXCEPTION '% rows are never changed or removed', TG_TABLE_NAME; END $$"
        )
        for table in TABLES:
            op.execute(
                f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            )
            op.execute(
                f"CREATE TRIGGER {table}_stays_whole BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
        return
    for table in TABLES:
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, '{table} rows are never changed or removed'); END"
            )


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for table in TABLES:
            op.execute(f"DROP TRIGGER {table}_stays ON {table}")
            op.execute(f"DROP TRIGGER {table}_stays_whole ON {table}")
        op.execute("DROP FUNCTION refuse_change()")
        return
    for table in TABLES:
        for act in ("update", "delete"):
            op.execute(f"DROP TRIGGER {table}_no_{act}")
