"""The revision that an act is about: always the last attempt of its name."""

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.requirements import queries
from app.requirements.queries import Revision
from app.requirements.service.kinds import Named


def last_attempt(session: Session, named: Named, *, attempt: int | None = None) -> Revision:
    """The last attempt at the revision named; ``attempt`` is the one that was looked at.

    Raises:
        NotFound: there is none of that name.
        Conflict: it was written again since it was looked at.
    """
    found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    revision = next(one for one in found if one.revision == named.revision)
    if attempt is not None and revision.attempt != attempt:
        raise Conflict(
            f"{named.code} revision {named.revision} was written again; attempt "
            f"{revision.attempt} stands now. Open its page again and look at that one."
        )
    return revision
