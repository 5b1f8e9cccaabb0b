"""Put a revision of a table, cycle, procedure, mapping or correction table on record."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

from pydantic import ConfigDict
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.records import Identity
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.documents.correction_table import correction_table_to_json, load_correction_table
from app.documents.cycle import cycle_paper_from
from app.documents.logger.logger_mapping import load_mapping, mapping_to_json
from app.documents.paper import Paper, load_paper
from app.documents.pyrometry import load_procedure, procedure_to_json
from app.documents.table import load_table, table_to_json
from app.errors import BadFile, Conflict, refuse
from app.people.rights import Act, require
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.records import Requirement, RequirementKind, RequirementRevision
from app.requirements.rules import ShopRules
from app.requirements.service.kinds import KINDS, Named

LONGEST_REVISION = 20
SHORTEST_REASON = 10
_LOAD_SENSOR = "the load's own sensor"
_OF_THE_LOAD = ("sensors", "corrections")


class _AnyPaper(Paper):
    """A JSON object of any keys: what is looked at before the load's own keys are put in."""

    model_config = ConfigDict(extra="allow")


def write_table(
    database: Database,
    *,
    code: str,
    paper: str | bytes,
    filename: str,
    source_document: str,
    by: Actor,
    at: datetime,
    again: str | None = None,
) -> Named:
    """Put a revision of an acceptance table on record; it judges nothing until it is verified.

    ``paper`` is a TABLE.json; its own ``revision`` names the revision. A new identity is given to
    a new table; a code already on record gets a further revision.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already; ``again`` says why a draft is written again.
    """
    require(by, Act.WRITE_REQUIREMENT)
    table = _read(lambda: load_table(paper, filename=filename))
    named = Named(RequirementKind.ACCEPTANCE_TABLE, as_code(code), table.revision)
    content = table_to_json(table)
    return _write(
        database, named, content, {}, source_document=source_document, again=again, by=by, at=at
    )


def write_cycle(
    database: Database,
    *,
    code: str,
    revision: str,
    paper: str | bytes,
    filename: str,
    shop_rules: ShopRules,
    source_document: str,
    by: Actor,
    at: datetime,
    again: str | None = None,
) -> Named:
    """Put a revision of a cycle on record; no load may use it until it is verified.

    ``paper`` is a CYCLE.json without ``sensors`` and ``corrections``: those belong to each load.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already; ``again`` says why a draft is written again.
    """
    require(by, Act.WRITE_REQUIREMENT)
    shop_rules.check()
    content = _read(lambda: _cycle_content(paper, filename))
    named = Named(RequirementKind.CYCLE, as_code(code), revision.strip())
    rules = shop_rules.as_texts()
    return _write(
        database, named, content, rules, source_document=source_document, again=again, by=by, at=at
    )


def write_procedure(
    database: Database,
    *,
    code: str,
    paper: str | bytes,
    filename: str,
    source_document: str,
    by: Actor,
    at: datetime,
    again: str | None = None,
) -> Named:
    """Put a revision of a pyrometry procedure on record; it governs nothing until it is verified.

    ``paper`` is a PROCEDURE.json; its own ``revision`` names the revision.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already; ``again`` says why a draft is written again.
    """
    require(by, Act.WRITE_PROCEDURE)
    procedure = _read(lambda: load_procedure(paper, filename=filename))
    named = Named(RequirementKind.PYROMETRY_PROCEDURE, as_code(code), procedure.revision)
    content = procedure_to_json(procedure)
    return _write(
        database, named, content, {}, source_document=source_document, again=again, by=by, at=at
    )


def write_mapping(
    database: Database,
    *,
    code: str,
    revision: str,
    paper: str | bytes,
    filename: str,
    source_document: str,
    by: Actor,
    at: datetime,
    again: str | None = None,
) -> Named:
    """Put a revision of a logger mapping on record; it reads no record until it is verified.

    ``paper`` is a MAPPING.json. ``source_document`` names what the export's form is known from:
    the logger's manual, or the settings of its export.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already; ``again`` says why a draft is written again.
    """
    require(by, Act.WRITE_MAPPING)
    mapping = _read(lambda: load_mapping(paper, filename=filename))
    named = Named(RequirementKind.LOGGER_MAPPING, as_code(code), revision.strip())
    content = mapping_to_json(mapping)
    return _write(
        database, named, content, {}, source_document=source_document, again=again, by=by, at=at
    )


def write_correction_table(
    database: Database,
    *,
    code: str,
    paper: str | bytes,
    filename: str,
    source_document: str,
    by: Actor,
    at: datetime,
    again: str | None = None,
) -> Named:
    """Put a revision of a correction table on record; it corrects nothing until it is verified.

    ``paper`` is a CORRECTION.json; its own ``revision`` names the revision.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already; ``again`` says why a draft is written again.
    """
    require(by, Act.WRITE_CORRECTION_TABLE)
    kept = as_code(code)
    table = _read(lambda: load_correction_table(paper, code=kept, filename=filename))
    named = Named(RequirementKind.CORRECTION_TABLE, kept, table.revision)
    content = correction_table_to_json(table)
    return _write(
        database, named, content, {}, source_document=source_document, again=again, by=by, at=at
    )


T = TypeVar("T")


def _read(paper: Callable[[], T]) -> T:
    """The paper as read.

    Raises:
        BadFile: it is none; its sentence belongs to the field of the paper.
    """
    try:
        return paper()
    except BadFile as fault:
        raise BadFile(fault.sentence, fields={"paper": fault.sentence}) from fault


def _write(
    database: Database,
    named: Named,
    content: dict[str, Any],
    shop_rules: dict[str, str],
    *,
    source_document: str,
    again: str | None,
    by: Actor,
    at: datetime,
) -> Named:
    if not 1 <= len(named.revision) <= LONGEST_REVISION:
        refuse("revision", f"A revision's name has 1 to {LONGEST_REVISION} characters.")
    if not source_document.strip():
        refuse("source_document", "Name the document the values come from.")
    with database.write() as session:
        requirement, identity = _requirement(session, named, name=content["name"], at=at)
        draft = _draft(session, named, again)
        row = RequirementRevision(
            requirement_id=requirement.id,
            revision=named.revision,
            paper=content,
            paper_sha256=paper_sha256(content),
            shop_rules=shop_rules,
            source_document=source_document.strip(),
            written_by_id=by.id,
            written_at=at,
            attempt=1 if draft is None else draft.attempt + 1,
            again_because=None if draft is None else _reason(again),
        )
        session.add(row)
        new: list[Base] = [] if identity is None else [identity, requirement]
        append(
            session,
            KINDS[named.kind].written,
            by=by,
            at=at,
            about=(KINDS[named.kind].identity, named.code),
            rows=[*new, row],
            note=f"revision {named.revision}, from {row.source_document}"
            + ("" if draft is None else f"; attempt {row.attempt}: {row.again_because}"),
        )
    return named


def _requirement(
    session: Session, named: Named, *, name: str, at: datetime
) -> tuple[Requirement, Identity | None]:
    """The requirement of that code; with its new identity where it is on record only now."""
    found = queries.find_requirement(session, named.code)
    if found is not None and found.kind is named.kind:
        return found, None
    identity = claim(session, named.code, kind=KINDS[named.kind].identity, at=at)
    session.flush()
    requirement = Requirement(code=named.code, kind=named.kind, name=name[:120])
    session.add(requirement)
    session.flush()
    return requirement, identity


def _draft(session: Session, named: Named, again: str | None) -> Revision | None:
    """The last attempt at this revision, where there is one and it may be written again.

    Raises:
        Conflict: the name is used: by a draft, and no reason is given to write it again; or by a
            revision that was verified or withdrawn.
    """
    found = queries.revisions(session, kind=named.kind, code=named.code)
    draft = next((one for one in found if one.revision == named.revision), None)
    if draft is None:
        if again and again.strip():
            refuse(
                "again",
                f"{named.code} has no revision {named.revision} that could be written again; leave "
                "the reason out, or correct the revision's name.",
            )
        return None
    has = f"{named.code} has a revision {named.revision} already"
    others = f"give this one a name other than {', '.join(one.revision for one in found)}"
    field = "paper" if KINDS[named.kind].names_itself else "revision"
    if draft.verified_by_id is not None or draft.withdrawn_at is not None:
        became = "verified" if draft.verified_by_id is not None else "withdrawn"
        sentence = f"{has}, and what was {became} is never changed; {others}."
    elif not again or not again.strip():
        field = "again"
        sentence = f"{has}, a draft. Say why it is written again, or {others}."
    else:
        return draft
    raise Conflict(sentence, fields={field: sentence})


def _reason(again: str | None) -> str:
    reason = (again or "").strip()
    if len(reason) < SHORTEST_REASON:
        refuse("again", f"Say why it is written again, in at least {SHORTEST_REASON} characters.")
    return reason


def _cycle_content(paper: str | bytes, filename: str) -> dict[str, Any]:
    """A cycle's paper as kept: checked whole, every figure as text, without the load's keys."""
    given = dict(load_paper(_AnyPaper, paper, filename=filename).model_extra or {})
    for key in _OF_THE_LOAD:
        if given.get(key):
            raise BadFile(
                f"{filename}: {key}: they belong to each load, not to the cycle; remove the key."
            )
        given.pop(key, None)
    checked = cycle_paper_from({**given, "sensors": [_LOAD_SENSOR]}, filename=filename)
    content = checked.model_dump(mode="json", by_alias=True)
    return {key: kept for key, kept in content.items() if key not in _OF_THE_LOAD}
