"""Sign the trail's head from the command line, for whoever keeps it elsewhere."""

from datetime import UTC, datetime
from pathlib import Path

from app.database import Database
from app.errors import BadFile
from app.settings import Settings
from app.trail.service import key_place, open_key, sign_head

_ASKED_BY = "command line"
"""Whoever may read the key file may sign; the trail says that nobody signed in for it."""


def head_command(out: Path | None) -> int:
    """`temperbook head`: sign the root over every entry so far and print it, or write it to a file.

    Raises:
        BadFile: the key cannot be used, or the file exists already or cannot be written.
    """
    if out is not None and out.exists():
        raise BadFile(f"{out} exists already; a head is never overwritten. Name another file.")
    settings = Settings()
    key = open_key(key_place(settings))
    database = Database(settings.database_url)
    at = datetime.now(UTC)
    head = sign_head(database, key, by=_ASKED_BY, at=at, shop=settings.shop_name)
    if out is None:
        print(head.text, end="")
        return 0
    try:
        out.write_text(head.text, encoding="utf-8")
    except OSError as problem:
        raise BadFile(f"{out} cannot be written: {problem.strerror}. Nothing is in it.") from None
    print(f"The head over {head.size} entries is in {out}; keep it away from this machine.")
    return 0
