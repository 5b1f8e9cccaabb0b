"""Decisions about acceptance tables and cycles: to write, to verify, to withdraw a revision."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NoReturn

from pydantic import ConfigDict
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.facts import moment_text
from app.audit.identities import as_code, claim
from app.audit.records import Identity
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.documents.cycle import cycle_paper_from
from app.documents.paper import Paper, load_paper
from app.documents.table import load_table, table_to_json
from app.errors import BadFile, Conflict, NotAllowed, Refusal
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.service import re_authenticate, sign
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
)
from app.requirements.rules import ShopRules, uncompared

LONGEST_REVISION = 20
SHORTEST_REASON = 10
_LOAD_SENSOR = "the load's own sensor"
_OF_THE_LOAD = ("sensors", "corrections")

_WRITTEN = {
    RequirementKind.ACCEPTANCE_TABLE: Tag.TABLE_WRITTEN,
    RequirementKind.CYCLE: Tag.CYCLE_WRITTEN,
}
_VERIFIED = {
    RequirementKind.ACCEPTANCE_TABLE: Tag.TABLE_VERIFIED,
    RequirementKind.CYCLE: Tag.CYCLE_VERIFIED,
}
_WITHDRAWN = {
    RequirementKind.ACCEPTANCE_TABLE: Tag.TABLE_WITHDRAWN,
    RequirementKind.CYCLE: Tag.CYCLE_WITHDRAWN,
}
_MEANING = {
    RequirementKind.ACCEPTANCE_TABLE: Meaning.VERIFIED_TABLE,
    RequirementKind.CYCLE: Meaning.VERIFIED_CYCLE,
}
IDENTITY_KIND = {
    RequirementKind.ACCEPTANCE_TABLE: "acceptance_table",
    RequirementKind.CYCLE: "cycle",
}
"""What each kind is called on the trail."""


class _AnyPaper(Paper):
    """A JSON object of any keys: what is looked at before the load's own keys are put in."""

    model_config = ConfigDict(extra="allow")


@dataclass(frozen=True, slots=True)
class Named:
    """Which revision of which requirement."""

    kind: RequirementKind
    code: str
    revision: str


def write_table(
    database: Database,
    *,
    code: str,
    paper: str | bytes,
    filename: str,
    source_document: str,
    by: Actor,
    at: datetime,
) -> Named:
    """Put a revision of an acceptance table on record; it judges nothing until it is verified.

    ``paper`` is a TABLE.json; its own ``revision`` names the revision. A new identity is given to
    a new table; a code already on record gets a further revision.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already.
    """
    require(by, Act.WRITE_REQUIREMENT)
    try:
        table = load_table(paper, filename=filename)
    except BadFile as fault:
        _refuse_paper(fault)
    named = Named(RequirementKind.ACCEPTANCE_TABLE, as_code(code), table.revision)
    content = table_to_json(table)
    return _write(database, named, content, {}, source_document=source_document, by=by, at=at)


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
) -> Named:
    """Put a revision of a cycle on record; no load may use it until it is verified.

    ``paper`` is a CYCLE.json without ``sensors`` and ``corrections``: those belong to each load.

    Raises:
        NotAllowed, BadFile, Refusal, Conflict: who may, what is wrong in the paper, or that the
            revision is on record already.
    """
    require(by, Act.WRITE_REQUIREMENT)
    shop_rules.check()
    try:
        content = _cycle_content(paper, filename)
    except BadFile as fault:
        _refuse_paper(fault)
    named = Named(RequirementKind.CYCLE, as_code(code), revision.strip())
    rules = shop_rules.as_texts()
    return _write(database, named, content, rules, source_document=source_document, by=by, at=at)


def verify(
    database: Database,
    named: Named,
    *,
    compared: Collection[str],
    in_force_from: datetime | None,
    password: str,
    by: Actor,
    at: datetime,
) -> None:
    """Sign that every value was compared with its source; the revision is in force from then on.

    ``compared`` holds the anchors of the parts that were compared: all of them are asked.
    ``in_force_from`` may be later than now; None is now.

    Raises:
        NotAllowed: no supervisor, or the person who wrote it.
        Refusal, NotFound, Conflict: what is missing, or that somebody has verified it already.
    """
    require(by, Act.VERIFY_REQUIREMENT)
    with database.read() as session:
        _ready_to_verify(session, named, by)
    starts = in_force_from or at
    if starts < at:
        _refuse(
            "in_force_from",
            "A revision comes into force when it is verified, or later; leave the time out or "
            "give a later one.",
        )
    proof = re_authenticate(database, by, password=password)
    with database.write() as session:
        revision = _ready_to_verify(session, named, by)
        left = uncompared(queries.parts_of(revision), compared)
        if left:
            _refuse(
                "compared",
                f"Not ticked as compared with the source: {', '.join(left)}. Compare every value, "
                "tick each part and sign again.",
            )
        content = signed_content(revision, in_force_from=starts)
        signature = sign(
            session, proof, meaning=_MEANING[named.kind], content_sha256=content, at=at
        )
        verification = RequirementVerification(
            revision_id=revision.id,
            verified_by_id=by.id,
            verified_at=at,
            in_force_from=starts,
            signature_id=signature.id,
        )
        session.add(verification)
        append(
            session,
            _VERIFIED[named.kind],
            by=by,
            at=at,
            about=(IDENTITY_KIND[named.kind], named.code),
            rows=[signature, verification],
            note=f"revision {named.revision}, every part compared with {revision.source_document}",
        )


def withdraw(database: Database, named: Named, *, reason: str, by: Actor, at: datetime) -> None:
    """Let no new load use the revision from now on; what it has judged stands.

    Raises:
        NotAllowed: neither engineer nor supervisor.
        Refusal, NotFound, Conflict: no reason, no such revision, or withdrawn already.
    """
    if not may(by, Act.VERIFY_REQUIREMENT):
        require(by, Act.WRITE_REQUIREMENT)
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        _refuse("reason", f"Say why, in at least {SHORTEST_REASON} characters.")
    with database.write() as session:
        revision = _revision(session, named)
        if revision.withdrawn_at is not None:
            raise Conflict(f"{named.code} revision {named.revision} is withdrawn already.")
        withdrawal = RequirementWithdrawal(
            revision_id=revision.id, reason=reason, withdrawn_by_id=by.id, withdrawn_at=at
        )
        session.add(withdrawal)
        append(
            session,
            _WITHDRAWN[named.kind],
            by=by,
            at=at,
            about=(IDENTITY_KIND[named.kind], named.code),
            rows=[withdrawal],
            note=f"revision {named.revision}: {reason}",
        )


def signed_content(revision: Revision, *, in_force_from: datetime) -> str:
    """SHA-256 of what a verification signs: the paper's digest and all that stands beside it."""
    content: dict[str, Any] = {
        "code": revision.code,
        "kind": revision.kind.value,
        "revision": revision.revision,
        "paper_sha256": revision.paper_sha256,
        "shop_rules": revision.shop_rules,
        "source_document": revision.source_document,
        "in_force_from": moment_text(in_force_from),
    }
    return paper_sha256(content)


def _write(
    database: Database,
    named: Named,
    content: dict[str, Any],
    shop_rules: dict[str, str],
    *,
    source_document: str,
    by: Actor,
    at: datetime,
) -> Named:
    if not 1 <= len(named.revision) <= LONGEST_REVISION:
        _refuse("revision", f"A revision's name has 1 to {LONGEST_REVISION} characters.")
    if not source_document.strip():
        _refuse("source_document", "Name the document the values come from.")
    with database.write() as session:
        requirement, identity = _requirement(session, named, name=content["name"], at=at)
        row = RequirementRevision(
            requirement_id=requirement.id,
            revision=named.revision,
            paper=content,
            paper_sha256=paper_sha256(content),
            shop_rules=shop_rules,
            source_document=source_document.strip(),
            written_by_id=by.id,
            written_at=at,
        )
        session.add(row)
        new: list[Base] = [] if identity is None else [identity, requirement]
        append(
            session,
            _WRITTEN[named.kind],
            by=by,
            at=at,
            about=(IDENTITY_KIND[named.kind], named.code),
            rows=[*new, row],
            note=f"revision {named.revision}, from {row.source_document}",
        )
    return named


def _requirement(
    session: Session, named: Named, *, name: str, at: datetime
) -> tuple[Requirement, Identity | None]:
    """The requirement of that code; with its new identity where it is on record only now."""
    found = queries.find_requirement(session, named.code)
    if found is not None and found.kind is named.kind:
        written = [one.revision for one in queries.revisions(session, code=named.code)]
        if named.revision in written:
            sentence = (
                f"{named.code} has a revision {named.revision} already, and a revision is never "
                f"changed; give this one a name other than {', '.join(written)}."
            )
            field = "revision" if named.kind is RequirementKind.CYCLE else "paper"
            raise Conflict(sentence, fields={field: sentence})
        return found, None
    identity = claim(session, named.code, kind=IDENTITY_KIND[named.kind], at=at)
    session.flush()
    requirement = Requirement(code=named.code, kind=named.kind, name=name[:120])
    session.add(requirement)
    session.flush()
    return requirement, identity


def _revision(session: Session, named: Named) -> Revision:
    found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in found if one.revision == named.revision)


def _ready_to_verify(session: Session, named: Named, by: Actor) -> Revision:
    """The revision, where this person may verify it now."""
    revision = _revision(session, named)
    if revision.verified_by_id is not None:
        who = people.names(session)[revision.verified_by_id]
        raise Conflict(f"{who} has verified {named.code} revision {named.revision} already.")
    if revision.withdrawn_at is not None:
        raise Refusal(f"{named.code} revision {named.revision} is withdrawn; nothing is signed.")
    if revision.written_by_id == by.id:
        raise NotAllowed(
            f"You wrote {named.code} revision {named.revision}; another supervisor has to compare "
            "it with its source and verify it."
        )
    return revision


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


def _refuse_paper(fault: BadFile) -> NoReturn:
    raise BadFile(fault.sentence, fields={"paper": fault.sentence}) from fault


def _refuse(field: str, sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={field: sentence})
