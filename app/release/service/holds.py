"""Holds on single panels: placed at once by anyone signed in, lifted only by a signed decision."""

from datetime import datetime

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.records import ENDED, Hold
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
        hold = Hold(panel_id=panel.id, reason=reason, placed_by_id=by.id, placed_at=at)
        session.add(hold)
        append(
            session, Tag.HOLD_PLACED, by=by, at=at, about=("panel", code), rows=[hold], note=reason
        )


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
