"""Import a logger's files for a load from the command line."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path

from app.audit.actor import Actor
from app.cli.user_add import ask_password
from app.database import Database
from app.documents.logger.logger_files import LoggerFile
from app.documents.logger.logger_mapping import load_mapping
from app.documents.logger.logger_proposal import propose
from app.errors import BadFile, Refusal
from app.loads import queries
from app.loads.importing.record_forms import layout_chosen
from app.loads.importing.record_wanted import Chosen, Wanted, wanted_of
from app.loads.importing.sources import Source
from app.loads.importing.stated import guess_of
from app.loads.judged import JudgedRecord
from app.loads.service import import_record, note_doubts
from app.people import queries as people
from app.people.service import re_authenticate
from app.requirements import queries as requirements
from app.settings import Settings
from app.web.forms import Typed
from app.web.words import VERDICT_WORDS

EXIT_STATUS = {"conforms": 0, "does_not_conform": 1, "not_proven": 3}
BAD_INPUT = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How the files are read, as far as the command line says.

    ``mapping`` is the identity of an approved mapping, ``layout`` a MAPPING.json stated by hand;
    without both the files are read as they seem to be, but for what else is told.
    """

    mapping: str | None = None
    layout: Path | None = None
    time_column: str | None = None
    fahrenheit: bool = False


def import_record_command(
    load: str, records: Sequence[Path], *, by: str, told: Told, reason: str = ""
) -> int:
    """`temperbook import-record`: 0 conforms, 1 does not, 3 not proven, 2 refused.

    The password comes from the terminal or standard input; it also signs where a record that is
    there already is replaced, for the ``reason`` given.
    """
    settings = Settings()
    database = Database(settings.database_url)
    code, at = load.strip().upper(), datetime.now(UTC)
    sources = [Source(path.name, path) for path in records]
    try:
        password = ask_password(f"Password for {by}: ")
        actor = _signed_in(database, by, password, at=at, zone=settings.zone)
        with database.read() as session:
            wanted = wanted_of(session, queries.load(session, code))
        judged = import_record(
            database,
            code,
            sources,
            _chosen(database, sources, wanted, told, at=at, zone=settings.zone),
            by=actor,
            at=at,
            zone=settings.zone,
            reason=reason,
            password=password,
            max_bytes=settings.upload_limit_mb * 1_000_000,
        )
        note_doubts(database, code, at=at)
    except Refusal as refusal:
        print(refusal.sentence, file=sys.stderr)
        return BAD_INPUT
    finally:
        database.close()
    print("\n".join(_plain(judged)))
    return EXIT_STATUS[judged.verdict]


def _signed_in(
    database: Database, username: str, password: str, *, at: datetime, zone: tzinfo
) -> Actor:
    """The person, once they have given their password, with what they may do on the shop's day.

    Raises:
        Refusal: user name and password do not belong together, or somebody else knows the
            password.
    """
    wrong = Refusal("User name and password do not belong together; nothing was imported.")
    with database.read() as session:
        person = people.find_person(session, username.strip().lower())
        if person is None or not person.active:
            raise wrong
        today = at.astimezone(zone).date()
        actor = people.actor(session, person.username, today=today)
    try:
        re_authenticate(database, actor, password=password, at=at)
    except Refusal:
        raise wrong from None
    if person.password_is_first:
        raise Refusal(
            "Somebody else gave you this password; sign in on the pages and set your own first. "
            "Nothing was imported."
        )
    return actor


def _chosen(
    database: Database,
    sources: Sequence[Source],
    wanted: Wanted,
    told: Told,
    *,
    at: datetime,
    zone: tzinfo,
) -> Chosen:
    """How the files are read: by a mapping, by a paper, or as they seem to be.

    Raises:
        Refusal: no such mapping is in force, or the files do not say how they are to be read.
    """
    if told.mapping is not None:
        with database.read() as session:
            in_force = requirements.mappings_in_force(session, at=at)
        named = told.mapping.strip().upper()
        for one in in_force:
            if one.code == named:
                return Chosen(requirements.mapping_of(one), one.id)
        raise Refusal(f"The mapping {named} is not in force; choose one that is.")
    if told.layout is not None:
        paper = Source(told.layout.name, told.layout)
        return Chosen(load_mapping(paper.read(), filename=paper.name))
    return _as_it_seems([LoggerFile(one.name, one.read()) for one in sources], wanted, told, zone)


def _as_it_seems(files: Sequence[LoggerFile], wanted: Wanted, told: Told, zone: tzinfo) -> Chosen:
    """The layout the files seem to have, and what is told besides."""
    seen = propose(files, zone=str(zone))
    if seen.refusal is not None:
        raise BadFile(seen.refusal)
    guess = guess_of(seen, wanted)
    typed = dict(guess.typed)
    if told.fahrenheit:
        typed["temperature_unit"] = "F"
    name = told.time_column
    if name is not None and name != typed.get("time_column"):
        if name not in seen.columns:
            raise BadFile(
                f"{files[0].name}: there is no column {name}; its columns are "
                f"{', '.join(seen.columns)}."
            )
        at = seen.columns.index(name)
        # A number is elapsed seconds; whatever else it is, the reader says what is wrong with it.
        elapsed = all(_is_number(row[at]) for row in seen.rows if len(row) > at)
        typed |= {"time_column": name, "time_kind": "elapsed" if elapsed else "iso"}
        typed |= {"elapsed_unit": "seconds", "zone": ""} if elapsed else {}
    elif guess.to_state:
        raise BadFile(
            f"{files[0].name}: it does not say everything by itself. {' '.join(guess.to_state)} "
            "Name an approved mapping (--mapping), or state the layout in a file (--layout)."
        )
    return layout_chosen(Typed({field: [text] for field, text in typed.items()}, {}), wanted)


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
