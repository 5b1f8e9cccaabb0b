"""Give each thing its one permanent identity."""

import re
from datetime import datetime

from sqlalchemy.orm import Session

from app.audit.records import Identity
from app.errors import Conflict, Refusal

_FORM = re.compile(r"[A-Z0-9][A-Z0-9./-]{0,38}[A-Z0-9]")


def as_code(typed: str) -> str:
    """An identity as it is kept: capitals, no spaces around it.

    Raises:
        Refusal: it is not 2 to 40 letters, digits, ``-``, ``.`` or ``/``.
    """
    code = typed.strip().upper()
    if not _FORM.fullmatch(code):
        raise Refusal(
            f"{typed.strip()[:60]!r} cannot be an identity: use 2 to 40 letters and digits, with "
            "'-', '.' or '/' inside."
        )
    return code


def claim(session: Session, code: str, *, kind: str, at: datetime) -> Identity:
    """Take ``code`` for a new thing of ``kind`` and hand back its row for the trail.

    Raises:
        Conflict: it already belongs to something; identities are never reused.
    """
    taken = session.get(Identity, code)
    if taken is not None:
        raise Conflict(
            f"{code} is already the identity of a {taken.kind.replace('_', ' ')}; identities are "
            "never reused, so give this one another."
        )
    identity = Identity(code=code, kind=kind, given_at=at)
    session.add(identity)
    return identity
