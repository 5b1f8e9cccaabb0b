"""Key the values of a revision a second time, from its source, the first entry unseen."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.records import SecondKeying
from app.requirements.rules import Group, Unlike, only, places, unlike
from app.requirements.service.kinds import KINDS, Named
from app.requirements.service.standing import last_attempt

LONGEST_VALUE = 200


def key_again(
    database: Database,
    named: Named,
    *,
    cells: Mapping[str, str],
    password: str,
    by: Actor,
    at: datetime,
    attempt: int = 1,
) -> tuple[Unlike, ...]:
    """Keep what a second person keyed, and hand back where it differs from the first entry.

    ``cells`` holds the text for each place of `asked_of`: at first of every value, after a keying
    that differed of those that did. What agreed then is carried over. ``attempt`` is the one that
    was keyed. An empty text says that the source states nothing there.

    Raises:
        NotAllowed: no role for it, or the person who wrote the revision.
        Refusal, NotFound, Conflict: nothing is keyed, a place is missing, it was written again
            meanwhile, or there is nothing (more) to be keyed.
    """
    require(by, Act.KEY_AGAIN)
    with database.read() as session:
        _ready_to_key(session, named, by, attempt)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        revision = _ready_to_key(session, named, by, attempt)
        keyed = _keyed(session, revision, cells)
        found = unlike(queries.cells_of(revision), keyed)
        signature = sign(
            session,
            proof,
            meaning=keying_meaning(revision),
            content_sha256=keyed_content(revision, keyed),
            at=at,
        )
        keying = SecondKeying(
            revision_id=revision.id,
            cells=keyed,
            differences=[[one.place, one.first, one.second] for one in found],
            keyed_by_id=by.id,
            keyed_at=at,
            signature_id=signature.id,
        )
        session.add(keying)
        append(
            session,
            Tag.VALUES_KEYED_AGAIN,
            by=by,
            at=at,
            about=(KINDS[named.kind].identity, named.code),
            rows=[signature, keying],
            note=_note(revision, found),
        )
    return found


def asked_of(revision: Revision) -> tuple[Group, ...]:
    """What is to be keyed: every value, or after a keying that differed those that did."""
    groups = queries.cells_of(revision)
    if revision.differences is None:
        return only(groups, places(groups))
    return only(groups, {place for place, *_ in revision.differences})


def keying_meaning(revision: Revision) -> Meaning:
    """What the next keying of the revision signs: only the first one is blind."""
    return Meaning.KEYED_AGAIN if revision.differences is None else Meaning.LOOKED_AGAIN


def keyed_content(revision: Revision, keyed: Mapping[str, str]) -> str:
    """SHA-256 of what a keying signs: what was keyed, and for which paper it was."""
    return paper_sha256(
        {
            "code": revision.code,
            "kind": revision.kind.value,
            "revision": revision.revision,
            "attempt": revision.attempt,
            "paper_sha256": revision.paper_sha256,
            "source_document": revision.source_document,
            "cells": dict(keyed),
        }
    )


def _keyed(session: Session, revision: Revision, cells: Mapping[str, str]) -> dict[str, str]:
    """What stands for every place: what was keyed now, and before where that agreed."""
    asked = places(asked_of(revision))
    missing = [place for place in asked if place not in cells]
    if missing:
        raise Refusal(
            f"{len(missing)} of {len(asked)} values were not sent, the first of them {missing[0]}; "
            "open the page again."
        )
    now = {place: cells[place].strip() for place in asked}
    if not any(now.values()):
        raise Refusal("Nothing is keyed yet; key every value that the source document states.")
    for place, text in now.items():
        if len(text) > LONGEST_VALUE:
            raise Refusal(f"{place}: a value has up to {LONGEST_VALUE} characters; shorten it.")
    if revision.differences is None:
        return now
    return {**queries.keyings(session, revision.id)[-1].cells, **now}


def _ready_to_key(session: Session, named: Named, by: Actor, attempt: int) -> Revision:
    """The revision, where this person may key it now."""
    revision = last_attempt(session, named, attempt=attempt)
    words = f"{named.code} revision {named.revision}"
    if not KINDS[named.kind].keyed:
        raise Refusal(f"A {named.kind} is not keyed again; it is tried on an export.")
    if revision.verified_by_id is not None:
        raise Conflict(f"{words} is verified already; nothing is keyed any more.")
    if revision.withdrawn_at is not None:
        raise Refusal(f"{words} is withdrawn; nothing is keyed any more.")
    if revision.is_keyed:
        raise Conflict(f"A second person has keyed {words} already, and every value agrees.")
    if by.is_person(revision.written_by_id):
        raise NotAllowed(
            f"You wrote {words}; another person has to key its values from the source document."
        )
    return revision


def _note(revision: Revision, found: tuple[Unlike, ...]) -> str:
    attempt = f", attempt {revision.attempt}" if revision.attempt > 1 else ""
    is_first = revision.differences is None
    look = "every value keyed" if is_first else "what differed keyed again"
    count = len(found)
    result = f"{count} value{'' if count == 1 else 's'} differ{'s' if count == 1 else ''}"
    return f"revision {revision.revision}{attempt}: {look}, {result if count else 'all agree'}"
