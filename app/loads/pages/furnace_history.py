"""A furnace's last loads, place by place: where it is cold, and whether it always is."""

from fastapi import APIRouter, Response

from app.equipment import queries as equipment
from app.loads.cold.history_queries import (
    SPANS,
    SQUARE_MM,
    Grouping,
    furnace_history,
    grouping_named,
    span_named,
)
from app.loads.cold.offset_charts import charts
from app.loads.cold.survey_queries import beside_survey, last_survey
from app.people.signed_in import SignedIn
from app.web.page import Page, Records

router = APIRouter()
"""Joined before the equipment's pages: their address of a furnace takes any identity."""


@router.get("/furnaces/{code:path}/history")
def show_history(
    page: Page, records: Records, by: SignedIn, *, code: str, loads: int = 20, places: str = ""
) -> Response:
    """Where a furnace's last loads were cold, slow and hot.

    ``places`` says by what they are told apart: ``station`` or ``zone``.
    """
    span, grouping = span_named(loads), grouping_named(places)
    today = page.shop_time().date()
    with records.read() as session:
        furnace = equipment.furnace(session, code.upper())
        found = furnace_history(session, furnace.id, loads=span, by=grouping)
        last = last_survey(session, furnace.id, on=today)
    survey = None
    if last is not None and found.placed and found.set_c is not None:
        survey = beside_survey(
            last, found.placed, set_c=found.set_c, against="the mean of their loads"
        )
    return page.show(
        "loads/furnace_history.html",
        furnace=furnace,
        found=found,
        survey=survey,
        charts=charts(found.places, [one.code for one in found.loads]),
        span=span,
        spans=SPANS,
        grouping=grouping,
        groupings=tuple(Grouping),
        square_mm=SQUARE_MM,
    )
