"""Divide a panel, or give it a new mark."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.service import why_final
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release import service
from app.release.forms.descent import DivideForm, MarkAnewForm
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dividing import why_under_way
from app.release.rules.standing import AT_WORK
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/panels/{code:path}/divide")
def show_divide(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The forms that divide the panel or mark it anew, or why neither can be done now."""
    return _divide_page(page, records, by, code.upper())


@router.post("/panels/{code:path}/divide")
def submit_divide(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Divide the panel, signed."""
    code = code.upper()
    try:
        form = parse(DivideForm, typed)
        pieces = service.divide_panel(
            records,
            code,
            form.cut(),
            drawing=form.drawing,
            reason=form.reason,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _divide_page(page, records, by, code, typed=typed, refusal=refusal, sent="divide")
    return page.see_other("/panels", code, notice=f"{code} is divided into {', '.join(pieces)}.")


@router.post("/panels/{code:path}/mark-anew")
def submit_mark_anew(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Give the panel its new mark, signed."""
    code = code.upper()
    try:
        form = parse(MarkAnewForm, typed)
        new = service.mark_anew(
            records,
            code,
            form.code,
            reason=form.reason,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _divide_page(page, records, by, code, typed=typed, refusal=refusal, sent="mark")
    return page.see_other("/panels", new, notice=f"{code} is marked {new} from now on.")


def _divide_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    sent: str = "",
) -> Response:
    """The page as it stands now; after a refusal with what was typed, the password apart."""
    with records.read() as session:
        panel = panels.panel(session, code)
        facts = panel_facts(session, [panel.id], zone=page.settings.zone)[panel.id]
        why_not = why_final(panel.code, panel.decided) or why_under_way(facts)
    last = facts.last_decision
    kept = {name: text for name, text in (typed or {}).items() if name != "password"}
    return page.show(
        "release/divide.html",
        status=refusal.status if refusal else 200,
        facts=facts,
        why_not=why_not,
        may_divide=may(by, Act.DIVIDE_PANEL) and why_not is None,
        is_in_use=last is not None and last.kind in AT_WORK,
        meaning=Meaning.DIVIDED.value,
        typed={"divide": {"drawing": facts.drawing}, "mark": {}} | {sent: kept},
        problems={sent: refusal.fields if refusal else {}},
        sentences={sent: refusal.sentence if refusal else None},
    )
