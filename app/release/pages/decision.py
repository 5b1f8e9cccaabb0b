"""Decide on a panel: its evidence list, and one signature."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release import service
from app.release.forms import HoldForm, LiftForm, ReleaseForm
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.rules.standing import ENDED, Standing
from app.release.service.hands import hands_on
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_WORDS = {
    "no departure found": "every gate but the hold conforms; back to an inspector for release",
    "use as is": "the departure is accepted for this panel",
    "rework": "aged again in full; its evidence then rests on the new load",
    "repair": "brought to a usable state by another way",
    "return to supplier": "final: nothing more is decided on it here",
    "scrap": "final: marked for good and kept apart until it is unusable",
}


@router.get("/panels/{code:path}/decision")
def show_decision(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The evidence list, what the visitor may decide, and the form for it."""
    return _decision_page(page, records, by, code)


@router.post("/panels/{code:path}/hold")
def submit_hold(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Put the panel on hold."""
    try:
        form = parse(HoldForm, typed)
        service.place_hold(records, code.upper(), reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        return _decision_page(page, records, by, code, typed=typed, refusal=refusal, sent="hold")
    return page.see_other("/panels", code.upper(), notice=f"{code.upper()} is on hold.")


@router.post("/panels/{code:path}/release")
def submit_release(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Release the panel, signed."""
    try:
        form = parse(ReleaseForm, typed)
        service.release_panel(
            records,
            code.upper(),
            seen=form.seen,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _decision_page(page, records, by, code, typed=typed, refusal=refusal, sent="release")
    return page.see_other("/panels", code.upper(), notice=f"{code.upper()} is released.")


@router.post("/panels/{code:path}/lift")
def submit_lift(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Dispose of a held panel, signed."""
    try:
        form = parse(LiftForm, typed)
        service.lift_hold(
            records,
            code.upper(),
            disposition=form.disposition,
            reason=form.reason,
            seen=form.seen,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _decision_page(page, records, by, code, typed=typed, refusal=refusal, sent="lift")
    done = f"The hold on {code.upper()} is disposed of: {form.disposition.value}."
    return page.see_other("/panels", code.upper(), notice=done)


def _decision_page(
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
        key = panel_id(session, code.upper())
        zone = page.settings.zone
        facts = panel_facts(session, [key], zone=zone, in_full=True)[key]
        names = people.names(session)
        case = service.case_of(facts)
        act, lines = hands_on(session, case.facts, case.standing, by)
    why_not_release = service.why_not_release(case, by) if may(by, Act.RELEASE_PANEL) else None
    why_not_lift = service.why_not_lift(case, by) if may(by, Act.LIFT_HOLD) else None
    final = case.standing in ENDED
    kept = {name: text for name, text in (typed or {}).items() if name != "password"}
    return page.show(
        "release/decision.html",
        status=refusal.status if refusal else 200,
        case=case,
        facts=facts,
        hands=lines,
        act=None if act is None else act.value,
        is_recalled=case.standing is Standing.RECALLED,
        holds=[(hold, names[hold.placed_by_id]) for hold in facts.open_holds],
        may_release=may(by, Act.RELEASE_PANEL) and why_not_release is None,
        may_lift=may(by, Act.LIFT_HOLD) and why_not_lift is None,
        may_hold=may(by, Act.PLACE_HOLD) and not final,
        may_open=may(by, Act.OPEN_NONCONFORMANCE) and not final,
        why_not=[refused.sentence for refused in (why_not_release, why_not_lift) if refused],
        dispositions=[
            (kind.value, kind.value, _WORDS[kind.value]) for kind in service.DISPOSITIONS
        ],
        meanings={"release": Meaning.RELEASED.value, "lift": Meaning.DISPOSED.value},
        typed={sent: kept},
        problems={sent: refusal.fields if refusal else {}},
        sentences={sent: refusal.sentence if refusal else None},
    )
