"""Serve the pages with uvicorn."""

import uvicorn

from app.cli.migrate import tables_are_current
from app.errors import Refusal
from app.main import create_app
from app.settings import Settings
from app.web.page import read_every_template


def serve_command(*, host: str, port: int) -> int:
    """`temperbook serve`: one process; SQLite and PostgreSQL alike.

    Raises:
        Refusal: the tables are missing or older than this program.
    """
    settings = Settings()
    if not tables_are_current(settings.database_url):
        raise Refusal(
            "The database's tables are missing or older than this program. Run 'temperbook "
            "migrate' first (after a backup), then serve again."
        )
    print(f"Temperbook for {settings.shop_name}: http://{host}:{port}/  (stop with Ctrl-C)")
    app = create_app(settings)
    read_every_template(app.state.templates)
    uvicorn.run(app, host=host, port=port, log_level="warning")
    return 0
