"""Signatures: the person proves themselves again, then signs a content with a meaning."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.database import Database
from app.errors import NotSigned
from app.people import queries
from app.people.records import Meaning, Signature
from app.people.service.passwords import matches
from app.people.service.waiting import SIGNATURES, Counter, name_digest, proven


@dataclass(frozen=True, slots=True)
class Proof:
    """That a person has just given their password again; a signature cannot be made without it."""

    by: Actor


def re_authenticate(database: Database, by: Actor, *, password: str, at: datetime) -> Proof:
    """Ask for the password again before a signature. Slow on purpose: do it before the decision.

    Raises:
        NotSigned: the password is not theirs, or several were wrong and the next one has to wait.
    """
    with database.read() as session:
        known = queries.person(session, by.username).password_hash
    counter = Counter(name_digest(by.username), SIGNATURES)
    right = proven(
        database, counter, at=at, prove=lambda: matches(known, password), too_soon=_too_soon
    )
    if not right:
        raise NotSigned(
            "The signature was not made: the password is not yours. Nothing was changed.",
            fields={"password": "Type your own password to sign."},
        )
    return Proof(by)


def _too_soon(wait: str) -> NotSigned:
    return NotSigned(
        f"The signature was not made: after several wrong passwords the next one counts in {wait}. "
        "The password was not looked at, and nothing was changed.",
        fields={"password": f"Type it again in {wait}."},
    )


def sign(
    session: Session, proof: Proof, *, meaning: Meaning, content_sha256: str, at: datetime
) -> Signature:
    """Sign ``content_sha256`` inside a decision; the caller binds the row to the trail."""
    signature = Signature(
        person_id=proof.by.id,
        printed_name=proof.by.full_name,
        meaning=meaning,
        signed_at=at,
        content_sha256=content_sha256,
    )
    session.add(signature)
    session.flush()
    return signature
