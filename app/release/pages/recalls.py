"""Panels that were in use and are recalled: why, since when, and a signed line for each."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release import service
from app.release.forms.recalls import STANDS, WITHDRAWN, RecallForm, closings_of
from app.release.queries.decided import held_in_use
from app.release.queries.panel_facts import panel_facts
from app.release.rules.standing import Standing
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

MOST_SHOWN = 50
"""So many at once; those that were recalled first."""


@router.get("/recalls")
def show_recalls(page: Page, records: Records, by: SignedIn) -> Response:
    """Every recalled panel, with what can be signed about it."""
    return _recalls_page(page, records, by)


@router.post("/recalls")
def submit_recalls(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Confirm or withdraw the releases chosen, each signed by itself with one password."""
    closings = closings_of(typed)
    try:
        form = parse(RecallForm, typed)
        service.close_recalls(
            records,
            closings,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _recalls_page(page, records, by, typed=typed, refusal=refusal)
    listed = ", ".join(
        f"{one.code} {'confirmed' if one.stands else 'withdrawn'}" for one in closings
    )
    return page.see_other("/recalls", notice=f"Signed: {listed}.")


def _recalls_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        held = held_in_use(session)
        facts = panel_facts(session, held[:MOST_SHOWN], zone=page.settings.zone, in_full=True)
        names = people.names(session)
    cases = [service.case_of(facts[key]) for key in held[:MOST_SHOWN]]
    may_close = may(by, Act.CLOSE_RECALL)
    lines = [
        {
            "case": case,
            "holds": [(hold, names[hold.placed_by_id]) for hold in case.facts.open_holds],
            "since": min(hold.placed_at for hold in case.facts.open_holds),
            "why_not": service.why_not_close(case, by) if may_close else None,
            "only_withdrawn": service.why_not_confirm(case),
        }
        for case in cases
        if case.standing is Standing.RECALLED
    ]
    return page.show(
        "release/recalls.html",
        status=refusal.status if refusal else 200,
        lines=lines,
        more=len(held) > MOST_SHOWN,
        may_close=may_close,
        may_sign=may_close and any(line["why_not"] is None for line in lines),
        choices={"stands": STANDS, "withdrawn": WITHDRAWN},
        meanings=(Meaning.CONFIRMED_RELEASE.value, Meaning.WITHDREW_RELEASE.value),
        typed={name: text for name, text in (typed or {}).items() if name != "password"},
        problems=refusal.fields if refusal else {},
        sentence=refusal.sentence if refusal else None,
    )
