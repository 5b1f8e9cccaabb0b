"""Keep the draft of a notice to a customer. Nothing is sent: that is done outside the program."""

from datetime import datetime, tzinfo

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Refusal
from app.people.rights import Act, require
from app.release.queries.nonconformances import nonconformance
from app.release.queries.notices import notice_of
from app.release.records import CustomerNotice


def keep_notice(
    database: Database,
    code: str,
    *,
    contact: str,
    wish: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> int:
    """Keep what the record says now as the draft of a notice, and hand back its key.

    ``contact`` is whom to ask in the shop, ``wish`` what the customer is asked to do.

    Raises:
        NotAllowed: the person is no supervisor or engineer.
        NotFound: no such nonconformance.
        Refusal: the contact or the wish is missing.
    """
    require(by, Act.DRAFT_NOTICE)
    texts = {"contact": contact.strip(), "wish": wish.strip()}
    problems = {field: _ASKED[field] for field, text in texts.items() if not text}
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)
    with database.write() as session:
        row = nonconformance(session, code)
        content = {**notice_of(session, code, zone=zone), **texts}
        kept = CustomerNotice(
            nonconformance_id=row.id,
            content=content,
            content_sha256=paper_sha256(content),
            drafted_by_id=by.id,
            drafted_at=at,
        )
        session.add(kept)
        append(
            session,
            Tag.NOTICE_DRAFTED,
            by=by,
            at=at,
            about=("nonconformance", row.code),
            rows=[kept],
            note=f"{content['panel']}, draft only; the program sends nothing",
        )
        return kept.id


_ASKED = {
    "contact": "Say whom the customer can ask: name, address and telephone number.",
    "wish": "Say what the customer is asked to do with the panels.",
}
