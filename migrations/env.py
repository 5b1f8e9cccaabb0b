"""Run the migrations. They never import the program's own types: see render_item."""

from typing import Any

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import create_engine, pool
from sqlalchemy.engine import make_url
from sqlalchemy.types import TypeDecorator

import app.audit.records
import app.bench.records
import app.equipment.records
import app.loads.live.live_records
import app.loads.records
import app.loads.trouble_records
import app.panels.records
import app.people.records
import app.release.records
import app.requirements.records
import app.trail.records  # noqa: F401 - so that every subject's tables are known
from app.database import Base


def render_item(kind: str, thing: Any, autogen: AutogenContext) -> Any:
    """Write our column types as what the database stores, so a migration stands alone."""
    if kind == "type" and isinstance(thing, TypeDecorator):
        return f"sa.{thing.impl_instance!r}"
    return False


def run() -> None:
    """Upgrade in one transaction; triggers are re-made by the migration that needs it."""
    url = make_url(context.config.get_main_option("sqlalchemy.url") or "sqlite:///:memory:")
    if url.get_backend_name() == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    engine = create_engine(url, poolclass=pool.NullPool)
    with engine.connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_item=render_item,
            compare_type=True,
        )
        with context.begin_transaction():
            context.run_migrations()


run()
