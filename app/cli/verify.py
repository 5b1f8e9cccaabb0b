"""Check the trail and everything bound to it, and a head that was kept outside."""

from pathlib import Path

from app.audit.verify import TrailReport, verify_trail
from app.database import Database
from app.errors import BadFile
from app.loads.live.live_queries import broken_chains
from app.main import create_app
from app.release.queries.decisions import misstated
from app.settings import Settings
from app.trail.queries.heads import HeadReport, check_head, misfitting_heads
from app.trail.rules.head_text import read_head, read_key


def verify_command(head: Path | None = None, key: str | None = None) -> int:
    """`temperbook verify`: print what was checked and every difference; 0 it holds, 1 not.

    Raises:
        BadFile: the head cannot be read, or is none.
    """
    signed = None if head is None else read_head(_text(head))
    if key is not None and signed is None:
        raise BadFile("A key is compared with a head's: name the head's file by --head too.")
    trusted = read_key(key or "")
    settings = Settings()
    create_app(settings)  # so that the tables of every subject are known
    database = Database(settings.database_url)
    outside = None
    with database.read() as session:
        report = verify_trail(session)
        for problem in (
            *misstated(session),
            *broken_chains(session),
            *misfitting_heads(session),
        ):
            report.found(problem)
        if signed is not None:
            outside = check_head(session, signed, trusted=trusted)
    _print(report, outside)
    return 0 if report.holds and (outside is None or outside.holds) else 1


def _text(head: Path) -> str:
    try:
        return head.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise BadFile(f"{head} cannot be read as a text in UTF-8; name a head's file.") from None


def _print(report: TrailReport, outside: HeadReport | None) -> None:
    for problem in report.problems:
        print(problem)
    word = "holds" if report.holds else "DOES NOT HOLD"
    print(f"The trail {word}: {report.entries} entries over {report.rows} rows checked.")
    if outside is None:
        print(f"Its head is {report.head}; keep it outside this database to find a rollback.")
        return
    for problem in outside.problems:
        print(problem)
    head = outside.head
    when = f"{head.signed_at:%Y-%m-%d %H:%M} UTC"
    word = "keeps" if outside.holds else "DOES NOT KEEP"
    print(f"It {word} the head over {head.size} entries, signed {when} by key {head.key_id}.")
