"""Write a new migration from what the tables should be (contributors only)."""

import sys

from alembic import command

from app.cli.migrate import alembic_config, migrate
from app.settings import Settings


def main(message: str) -> None:
    """Compare the named database, brought up to date, with the tables as declared."""
    url = Settings().database_url
    migrate(url)
    config = alembic_config(url)
    config.set_main_option("file_template", "%%(year)d_%%(month).2d_%%(day).2d_%%(slug)s")
    command.revision(config, message=message, autogenerate=True)


if __name__ == "__main__":
    main(sys.argv[1])
