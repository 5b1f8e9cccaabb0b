"""A tester's control charts: its checks on every block, and what they tell."""

from dataclasses import asdict
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Response

from app.audit.identities import as_code
from app.bench.queries.charts import BlockChart, adjusted_on, block_charts
from app.bench.rules.chart_drawing import MOST_DRAWN, picture
from app.equipment.queries import tester as tester_of
from app.judging.witness.chart_notes import chart_notes, signed
from app.people.signed_in import SignedIn
from app.web.page import Page, Records
from app.web.words import moment_words

router = APIRouter()


@router.get("/testers/{code:path}/chart")
def show_chart(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The control charts of one tester."""
    zone = page.settings.zone
    with records.read() as session:
        tester = tester_of(session, as_code(code))
        since = adjusted_on(session, tester.id)
        charts = block_charts(session, tester.id, since=since, zone=zone)
    return page.show(
        "bench/chart.html",
        tester=tester,
        since=since,
        charts=[_shown(one, tester.unit, zone) for one in charts],
        most=MOST_DRAWN,
    )


def _shown(one: BlockChart, unit: str, zone: ZoneInfo) -> dict[str, Any]:
    """A block's chart with its picture, its notes and its table, newest check first."""
    chart = one.chart
    names = [moment_words(check.at, zone) for check in one.checks]
    shifted = {place for shift in chart.shifts for place in range(shift.first, shift.last + 1)}
    rows = [
        {
            **asdict(check),
            "error": signed(check.error),
            "smoothed": signed(chart.smoothed[check.place]) if chart.smoothed else None,
            "is_beyond": check.place in chart.beyond,
            "is_shifted": check.place in shifted,
        }
        for check in one.checks[-MOST_DRAWN:]
    ]
    limits = chart.limits
    return {
        "block": one.block,
        "certified": one.certified,
        "permitted": one.permitted,
        "earlier": one.earlier,
        "checks": len(one.checks),
        "picture": picture(chart),
        "notes": chart_notes(chart, names, unit),
        "limits": None
        if limits is None
        else {
            "low": signed(limits.low),
            "centre": signed(limits.centre),
            "high": signed(limits.high),
            "checks": limits.checks,
        },
        "rows": rows[::-1],
    }
