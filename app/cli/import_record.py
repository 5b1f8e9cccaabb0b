"""Import a logger's file for a load from the command line."""

import sys
from datetime import UTC, datetime
from pathlib import Path

from app.audit.actor import Actor
from app.cli.user_add import ask_password
from app.database import Database
from app.documents.logger_preview import sniff
from app.errors import BadFile, Refusal
from app.loads import queries
from app.loads.judged import JudgedRecord
from app.loads.record_wanted import Columns, guessed_columns, wanted_of
from app.loads.service import import_record
from app.people import queries as people
from app.people.service import re_authenticate
from app.settings import Settings
from app.web.words import VERDICT_WORDS

EXIT_STATUS = {"conforms": 0, "does_not_conform": 1, "not_proven": 3}
BAD_INPUT = 2


def import_record_command(
    load: str,
    record: Path,
    *,
    by: str,
    time_column: str | None,
    fahrenheit: bool,
    reason: str = "",
) -> int:
    """`temperbook import-record`: 0 conforms, 1 does not, 3 not proven, 2 refused.

    The password comes from the terminal or standard input. Columns are taken by name; ``reason``
    says why a record that is there already is replaced.
    """
    settings = Settings()
    database = Database(settings.database_url)
    try:
        actor = _signed_in(database, by)
        judged = import_record(
            database,
            load.strip().upper(),
            _bytes_of(record),
            _columns(database, load.strip().upper(), record, time_column, fahrenheit=fahrenheit),
            file_name=record.name,
            by=actor,
            at=datetime.now(UTC),
            zone=settings.zone,
            reason=reason,
            max_bytes=settings.upload_limit_mb * 1_000_000,
        )
    except Refusal as refusal:
        print(refusal.sentence, file=sys.stderr)
        return BAD_INPUT
    finally:
        database.close()
    print("\n".join(_plain(judged)))
    return EXIT_STATUS[judged.verdict]


def _signed_in(database: Database, username: str) -> Actor:
    """The person, once they have given their password.

    Raises:
        Refusal: user name and password do not belong together.
    """
    wrong = Refusal("User name and password do not belong together; nothing was imported.")
    password = ask_password(f"Password for {username}: ")
    with database.read() as session:
        person = people.find_person(session, username.strip().lower())
    if person is None or not person.active:
        raise wrong
    actor = Actor(person.id, person.username, person.full_name, frozenset(person.roles))
    try:
        re_authenticate(database, actor, password=password)
    except Refusal:
        raise wrong from None
    return actor


def _bytes_of(record: Path) -> bytes:
    try:
        return record.read_bytes()
    except FileNotFoundError:
        raise BadFile(f"{record.name}: no such file; check its name and folder.") from None
    except OSError as error:
        why = error.strerror or "unreadable"
        raise BadFile(f"{record.name}: it cannot be read ({why}); check the file.") from None


def _columns(
    database: Database, load: str, record: Path, time_column: str | None, *, fahrenheit: bool
) -> Columns:
    """How the file is read: as it seems to be, unless told."""
    seen = sniff(record, filename=record.name)
    if seen.layout is None or seen.layout.time_column is None:
        raise BadFile(seen.refusal or f"{record.name}: no column of it looks like the time.")
    if time_column is not None and time_column != seen.layout.time_column:
        if time_column not in seen.columns:
            raise BadFile(
                f"{record.name}: there is no column {time_column}; its columns are "
                f"{', '.join(seen.columns)}."
            )
        at = seen.columns.index(time_column)
        # A number is elapsed seconds; whatever else it is, the reader says what is wrong with it.
        elapsed = all(_is_number(row[at]) for row in seen.rows if len(row) > at)
        kind: str = "elapsed_s" if elapsed else "iso"
    else:
        time_column, kind = seen.layout.time_column, seen.layout.time_kind
    with database.read() as session:
        wanted = wanted_of(session, queries.load(session, load))
    return Columns(
        time_column=time_column,
        time_kind="elapsed_s" if kind == "elapsed_s" else "iso",
        temperature_unit="F" if fahrenheit else seen.layout.temperature_unit,
        columns=guessed_columns(seen.columns, wanted),
    )


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _plain(judged: JudgedRecord) -> list[str]:
    """The verdict and every finding with its working."""
    lines = [f"Verdict: {VERDICT_WORDS[judged.verdict]}"]
    for finding in judged.paper["findings"]:
        head = f"{VERDICT_WORDS[finding['outcome']].capitalize()}: {finding['text']}"
        lines += ["", f"{head} [{finding['code']}]"]
        lines += [f"    {line}" for line in finding["working"]]
    return lines
