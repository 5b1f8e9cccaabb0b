"""Holds on single panels: placed at once by anyone signed in, lifted only by a signed decision."""

from datetime import datetime

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.records import ENDED
from app.panels.service import hold_panel
from app.people.rights import Act, require


def place_hold(database: Database, code: str, *, reason: str, by: Actor, at: datetime) -> None:
    """Put a panel on hold, whatever was decided before. Anyone signed in may.

    Raises:
        Refusal: no reason, or the panel is scrapped, returned or replaced.
    """
    require(by, Act.PLACE_HOLD)
    reason = needed_reason(reason)
    with database.write() as session:
        panel = panels.panel(session, code)
        if panel.decided in ENDED:
            raise Refusal(
                f"{code} was decided as {panel.decided.value}: nothing more is decided on it."
            )
        hold_panel(session, panel.id, code, reason=reason, by=by, at=at)


def needed_reason(reason: str) -> str:
    """The reason without needless spaces.

    Raises:
        Refusal: there is none.
    """
    reason = " ".join(reason.split())
    if not reason:
        sentence = "Say why it is to be held; a few words are enough."
        raise Refusal(sentence, fields={"reason": sentence})
    return reason
