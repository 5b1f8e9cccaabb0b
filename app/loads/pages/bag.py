"""A bag's leak check before the door closes."""

from fastapi import APIRouter, Response

from app.database import Database
from app.errors import Refusal
from app.judging.units import VACUUM_UNITS
from app.loads import queries, service
from app.loads.bags.bag import KPA
from app.loads.bags.bag_forms import LeakForm
from app.loads.forms import or_now
from app.loads.planning import plan_choices
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import queries as requirements
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads/{code:path}/leak-check")
def show_leak_check(
    page: Page, records: Records, by: SignedIn, code: str, panel: str = ""
) -> Response:
    """The form for a bag's leak check."""
    require(by, Act.CHECK_BAG)
    return _leak_page(page, records, code, typed={"panel": panel, "unit": KPA})


@router.post("/loads/{code:path}/leak-check")
def submit_leak_check(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a bag's leak check; a refusal shows the form again with what was typed."""
    at = now()
    try:
        form = parse(LeakForm, typed, zone=page.settings.zone)
        findings = service.record_leak_check(
            records,
            code,
            form.panel,
            form.reading(),
            gauge=form.gauge,
            taken_at=or_now(form.taken_at, at),
            by=by,
            at=at,
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _leak_page(page, records, code, typed=dict(typed), refusal=refusal)
    said = " ".join(finding.text for finding in findings)
    return page.see_other("/loads", code, notice=f"{form.panel}: {said}")


def _leak_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        seats = queries.seats(session, load.id)
        rules = requirements.revision(session, load.cycle_revision_id).shop_rules
        gauges = plan_choices.gauges(session)
    return page.show(
        "loads/leak_check.html",
        load=load,
        panels=[(panel.code, panel.code) for panel in seats.panels],
        gauges=gauges,
        units=[(unit, f"{unit} below ambient") for unit in VACUUM_UNITS],
        limit_kpa=rules.get("leak_limit_kpa"),
        minutes=rules.get("leak_minutes"),
        **kept(typed, refusal),
    )
