"""Check the trail and everything bound to it."""

from app.audit.verify import verify_trail
from app.database import Database
from app.loads.live.live_queries import broken_chains
from app.main import create_app
from app.release.queries.decisions import misstated
from app.settings import Settings


def verify_command() -> int:
    """`temperbook verify`: print what was checked and every difference; 0 it holds, 1 not."""
    settings = Settings()
    create_app(settings)  # so that the tables of every subject are known
    database = Database(settings.database_url)
    with database.read() as session:
        report = verify_trail(session)
        for problem in (*misstated(session), *broken_chains(session)):
            report.found(problem)
    for problem in report.problems:
        print(problem)
    word = "holds" if report.holds else "DOES NOT HOLD"
    print(f"The trail {word}: {report.entries} entries over {report.rows} rows checked.")
    print(f"Its head is {report.head}; keep it outside this database to find a rollback.")
    return 0 if report.holds else 1
