"""What several decisions on a load refuse alike."""

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.errors import Conflict, Refusal
from app.loads import queries, run_queries
from app.loads.records import Load
from app.panels.records import Panel
from app.panels.service import refuse_final
from app.people import queries as people

CLOCKS_DIFFER = timedelta(minutes=5)


def panel_in(session: Session, load: Load, panel_code: str) -> queries.PanelPlace:
    """The panel's place in the load.

    Raises:
        Refusal: the panel is not in the load.
    """
    for place in queries.seats(session, load.id).panels:
        if place.code == panel_code:
            return place
    sentence = f"Panel {panel_code} is not in load {load.code}; choose one of its panels."
    raise Refusal(sentence, fields={"panel": sentence})


def working_panel_in(session: Session, load: Load, panel_code: str) -> queries.PanelPlace:
    """The place in the load of a panel with which something can still be done.

    Raises:
        Refusal: the panel is not in the load, or it is scrapped, returned or replaced.
    """
    place = panel_in(session, load, panel_code)
    refuse_final(session.get_one(Panel, place.id))
    return place


def refuse_future(taken_at: datetime, at: datetime, *, field: str = "taken_at") -> None:
    """Refuse a time that has not come yet; clocks may differ by a few minutes."""
    if taken_at > at + CLOCKS_DIFFER:
        sentence = "The time lies in the future; give when it was done."
        raise Refusal(sentence, fields={field: sentence})


def refuse_cancelled(session: Session, load: Load) -> None:
    """Refuse what is done to a load that will not be run.

    Raises:
        Conflict: it was cancelled; says by whom and why.
    """
    cancelled = run_queries.cancellation(session, load.id)
    if cancelled is not None:
        who = people.names(session)[cancelled.by_id]
        raise Conflict(
            f"Load {load.code} was cancelled by {who}: {cancelled.reason.rstrip('.')}. Plan its "
            "panels into another load."
        )
