"""Plan a load: the form, what would fail in the morning, and the plan kept."""

from fastapi import APIRouter, Response

from app.database import Database
from app.errors import Refusal
from app.judging.verdict import Finding
from app.loads import plan_check, service
from app.loads.forms import plan_of, rows_of
from app.loads.rules import blocking
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads/plan")
def show_plan(page: Page, records: Records, by: SignedIn, panel: str = "") -> Response:
    """The form for a new load."""
    require(by, Act.PLAN_LOAD)
    return _plan_page(page, records, typed={"panel_1": panel} if panel else {})


@router.post("/loads/plan")
def submit_plan(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Show more rows, check the plan, or keep it; what was typed stays typed."""
    require(by, Act.PLAN_LOAD)
    kept, zone, at = dict(typed), page.settings.zone, now()
    if typed.get("act", "").startswith("more"):
        return _plan_page(page, records, typed=kept)
    findings: list[Finding] = []
    try:
        plan = plan_of(typed, zone=zone)
        with records.read() as session:
            findings = plan_check.check_plan(session, plan, at=at, zone=zone).findings
        if typed.get("act") == "check":
            return _plan_page(page, records, typed=kept, findings=findings)
        service.plan_load(records, plan, by=by, at=at, zone=zone)
    except Refusal as refusal:
        return _plan_page(page, records, typed=kept, findings=findings, refusal=refusal)
    return page.see_other("/loads", plan.code, notice=f"Load {plan.code} is planned.")


def _plan_page(
    page: PageMaker,
    records: Database,
    *,
    typed: dict[str, str],
    findings: list[Finding] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        choices = plan_check.choices(session, at=now())
    return page.show(
        "loads/plan.html",
        rows=rows_of(typed),
        findings=findings,
        against=len(blocking(findings or [])),
        **{**choices, **kept(typed, refusal)},
    )
