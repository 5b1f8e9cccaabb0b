"""Bring the tables to this version, by the migrations that ship with the program."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from app.database import Database
from app.settings import Settings, shipped


def alembic_config(database_url: str) -> Config:
    """The migrations' configuration for one database; needs no file of its own."""
    config = Config()
    config.set_main_option("script_location", str(shipped("migrations")))
    # '%' would be read as an interpolation by the configuration's parser.
    config.set_main_option("sqlalchemy.url", database_url.replace("%", "%%"))
    return config


def migrate(database_url: str) -> None:
    """Create or upgrade the tables of ``database_url``."""
    if database_url.startswith("sqlite:///"):
        Path(database_url.removeprefix("sqlite:///")).parent.mkdir(parents=True, exist_ok=True)
    command.upgrade(alembic_config(database_url), "head")


def migrate_command() -> int:
    """`temperbook migrate`."""
    settings = Settings()
    migrate(settings.database_url)
    print("The tables are up to date.")
    return 0


def tables_are_current(database_url: str) -> bool:
    """Whether the database stands at the newest migration."""
    newest = ScriptDirectory.from_config(alembic_config(database_url)).get_current_head()
    database = Database(database_url)
    try:
        with database.engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision() == newest
    finally:
        database.close()
