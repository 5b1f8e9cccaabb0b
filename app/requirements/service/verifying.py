"""Compare a revision with its source and sign, or withdraw it."""

import re
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.facts import moment_text
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal, refuse
from app.people import queries as people
from app.people.rights import Act, may, require
from app.people.service import re_authenticate, sign
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.records import (
    RequirementKind,
    RequirementVerification,
    RequirementWithdrawal,
)
from app.requirements.rules import Part, uncompared
from app.requirements.service.kinds import KINDS, Named
from app.requirements.service.standing import last_attempt
from app.requirements.service.writing import SHORTEST_REASON

LONGEST_SAMPLE = 20
MOST_NAMED = 5
_SHA256 = re.compile(r"[0-9a-f]{64}")


def verify(
    database: Database,
    named: Named,
    *,
    compared: Collection[str],
    in_force_from: datetime | None,
    password: str,
    by: Actor,
    at: datetime,
    sample: Sequence[tuple[str, str]] = (),
    attempt: int = 1,
) -> None:
    """Sign that every value was compared with its source; the revision is in force from then on.

    ``compared`` holds the anchors of the parts that were compared: all of them are asked, and of a
    mapping ``sample`` besides: that the rows as read agree with the export's own.
    ``in_force_from`` may be later than now; None is now. ``sample`` is asked of a mapping, and of
    nothing else: name and SHA-256 of each file of an export that it was tried on. ``attempt`` is
    the one that was compared. All but a mapping has to be keyed by a second person before, and that
    keying has to agree in every value.

    Raises:
        NotAllowed: no supervisor, or the person who wrote it.
        Refusal, NotFound, Conflict: what is missing, that it was written again meanwhile, or that
            somebody has verified it already.
    """
    require(by, Act.VERIFY_REQUIREMENT)
    with database.read() as session:
        _ready_to_verify(session, named, by, attempt)
    starts = in_force_from or at
    if starts < at:
        refuse(
            "in_force_from",
            "A revision comes into force when it is verified, or later; leave the time out or "
            "give a later one.",
        )
    _check_sample(named, sample)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        revision = _ready_to_verify(session, named, by, attempt)
        left = uncompared(_to_compare(revision), compared)
        if left:
            refuse(
                "compared",
                f"Not ticked as compared with the source: {', '.join(left)}. Compare every value, "
                "tick each part and sign again.",
            )
        content = signed_content(revision, in_force_from=starts, sample=sample)
        signature = sign(
            session, proof, meaning=KINDS[named.kind].meaning, content_sha256=content, at=at
        )
        verification = RequirementVerification(
            revision_id=revision.id,
            verified_by_id=by.id,
            verified_at=at,
            in_force_from=starts,
            signature_id=signature.id,
            sample=[list(file) for file in sample] or None,
        )
        session.add(verification)
        append(
            session,
            KINDS[named.kind].verified,
            by=by,
            at=at,
            about=(KINDS[named.kind].identity, named.code),
            rows=[signature, verification],
            note=f"{_attempt_words(revision)}, every part compared with {revision.source_document}"
            + "".join(f"; tried on {name}" for name, _ in sample),
        )


def withdraw(database: Database, named: Named, *, reason: str, by: Actor, at: datetime) -> None:
    """Let no new load use the revision from now on; what it has judged stands.

    Raises:
        NotAllowed: neither one who may write such a paper nor a supervisor.
        Refusal, NotFound, Conflict: no reason, no such revision, or withdrawn already.
    """
    if not may(by, Act.VERIFY_REQUIREMENT):
        require(by, KINDS[named.kind].writes)
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        refuse("reason", f"Say why, in at least {SHORTEST_REASON} characters.")
    with database.write() as session:
        revision = last_attempt(session, named)
        if revision.withdrawn_at is not None:
            raise Conflict(f"{named.code} revision {named.revision} is withdrawn already.")
        withdrawal = RequirementWithdrawal(
            revision_id=revision.id, reason=reason, withdrawn_by_id=by.id, withdrawn_at=at
        )
        session.add(withdrawal)
        append(
            session,
            KINDS[named.kind].withdrawn,
            by=by,
            at=at,
            about=(KINDS[named.kind].identity, named.code),
            rows=[withdrawal],
            note=f"{_attempt_words(revision)}: {reason}",
        )


def signed_content(
    revision: Revision, *, in_force_from: datetime, sample: Sequence[tuple[str, str]] = ()
) -> str:
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
    if revision.attempt > 1:
        content["attempt"] = revision.attempt
    if sample:
        content["sample"] = [list(file) for file in sample]
    return paper_sha256(content)


def _to_compare(revision: Revision) -> tuple[Part, ...]:
    parts = queries.parts_of(revision)
    if revision.kind is not RequirementKind.LOGGER_MAPPING:
        return parts
    return (*parts, Part("sample", "The rows of the export", ()))


def _attempt_words(revision: Revision) -> str:
    attempt = f", attempt {revision.attempt}" if revision.attempt > 1 else ""
    return f"revision {revision.revision}{attempt}"


def _check_sample(named: Named, sample: Sequence[tuple[str, str]]) -> None:
    """Refuse a mapping that was tried on no export, or another paper with one."""
    if named.kind is not RequirementKind.LOGGER_MAPPING:
        if sample:
            refuse("sample", "Only a logger mapping is tried on an export; leave the file out.")
        return
    if not sample:
        refuse(
            "sample",
            "Try the mapping on an export of the logger first: the signature says that what it "
            "reads was compared with one.",
        )
    if len(sample) > LONGEST_SAMPLE or not all(_SHA256.fullmatch(digest) for _, digest in sample):
        refuse("sample", "Which export was tried is no longer known; try the mapping again.")


def _ready_to_verify(session: Session, named: Named, by: Actor, attempt: int) -> Revision:
    """The revision, where this person may verify it now."""
    revision = last_attempt(session, named, attempt=attempt)
    if revision.verified_by_id is not None:
        who = people.names(session)[revision.verified_by_id]
        raise Conflict(f"{who} has verified {named.code} revision {named.revision} already.")
    if revision.withdrawn_at is not None:
        raise Refusal(f"{named.code} revision {named.revision} is withdrawn; nothing is signed.")
    if by.is_person(revision.written_by_id):
        raise NotAllowed(
            f"You wrote {named.code} revision {named.revision}; another supervisor has to compare "
            "it with its source and verify it."
        )
    _check_keying(revision)
    return revision


def _check_keying(revision: Revision) -> None:
    """Refuse a revision whose values no second person has keyed alike."""
    words = f"{revision.code} revision {revision.revision}"
    if not KINDS[revision.kind].keyed or revision.is_keyed:
        return
    if revision.differences is None:
        raise Refusal(
            f"Nobody has keyed the values of {words} a second time. A person who did not write it "
            "keys them from the source document; after that it can be verified."
        )
    left = [place for place, *_ in revision.differences]
    others = " and others" if len(left) > MOST_NAMED else ""
    raise Refusal(
        f"The second keying of {words} differs in {len(left)} of its values: "
        f"{'; '.join(left[:MOST_NAMED])}{others}. Key them again, or have the revision written "
        "again; it cannot be verified before every value agrees."
    )
