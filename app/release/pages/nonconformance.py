"""Nonconformances: the list, opening one, and the page on which one is reviewed and answered."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment.pages.shared import sent_file
from app.errors import Refusal
from app.judging.verdict import Outcome
from app.people.queries import acts_about, names, people
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.release.forms.nonconformance import AnswerForm, NonconformanceForm, ProposalForm
from app.release.queries import actions, nonconformances, notices, scrap
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.rules.departures import asked_for, departures, described
from app.release.rules.dispositions import (
    DEPARTURES,
    Capacity,
    required,
    why_no_rework,
)
from app.release.rules.facts import DecisionKind
from app.release.rules.snapshot import differences
from app.release.service import case_of
from app.release.service.nonconformances import KIND, open_nonconformance
from app.release.service.proposals import ANSWERS, answer, propose, seen_of
from app.requirements.order_queries import is_on_file
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_MOST_CLOSED = 100
_WORDS = {
    DecisionKind.USE_AS_IS: "the departure is accepted for this panel and shown ever after",
    DecisionKind.REWORK: "aged again in full; its evidence then rests on the new load",
    DecisionKind.REPAIR: "brought to a usable state; then released, or used as it is, anew",
    DecisionKind.RETURNED: "final: nothing more is decided on it here",
    DecisionKind.SCRAPPED: "final: marked for good and made unusable, seen by two",
}


@router.get("/nonconformances")
def show_nonconformances(
    page: Page, records: Records, by: SignedIn, *, before: int | None = None
) -> Response:
    """Open ones first, each with what it waits for; then what else waits, and the closed ones."""
    today = page.shop_time().date()
    with records.read() as session:
        closed = nonconformances.closed_lines(session, before=before, most=_MOST_CLOSED)
        return page.show(
            "release/nonconformances.html",
            opened=nonconformances.open_lines(session, zone=page.settings.zone),
            closed=closed,
            next_url=(
                f"/nonconformances?before={closed[-1].facts.id}"
                if len(closed) == _MOST_CLOSED
                else None
            ),
            overdue=actions.actions_overdue(session, today),
            without_effect=actions.actions_without_effect(session),
            scrap=scrap.scrap_not_yet_unusable(session),
        )


@router.get("/panels/{code:path}/nonconformance")
def show_open(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The form that opens one, filled from what the panel's evidence says."""
    return _open_page(page, records, by, code.upper())


@router.post("/panels/{code:path}/nonconformance")
def submit_open(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Open a nonconformance; the panel is on hold from then on."""
    try:
        form = parse(NonconformanceForm, typed)
        opened = open_nonconformance(
            records,
            code.upper(),
            description=form.description,
            requirement=form.requirement,
            containment=form.containment,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _open_page(page, records, by, code.upper(), typed=typed, refusal=refusal)
    notice = f"{opened} is open. {code.upper()} is held until its disposition is carried out."
    return page.see_other("/nonconformances", opened, notice=notice)


@router.get("/nonconformances/{code}")
def show_nonconformance(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """Everything about one, in the order a review reads it."""
    return nonconformance_page(page, records, by, code.upper())


@router.post("/nonconformances/{code}/proposals")
def submit_proposal(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Propose a disposition."""
    code = code.upper()
    try:
        form = parse(ProposalForm, typed)
        number = propose(records, code, form.proposed(), by=by, at=now(), zone=page.settings.zone)
    except Refusal as refusal:
        return nonconformance_page(
            page, records, by, code, typed=typed, refusal=refusal, sent="proposal"
        )
    notice = f"Proposal {number} of {code} stands now: {form.disposition.value}."
    return page.see_other("/nonconformances", code, notice=notice)


@router.post("/nonconformances/{code}/answers")
def submit_answer(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Answer the proposal, signed."""
    code = code.upper()
    try:
        form = parse(AnswerForm, typed)
        answer(
            records,
            code,
            form.answered(sent_file(typed)),
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return nonconformance_page(
            page, records, by, code, typed=typed, refusal=refusal, sent="answer"
        )
    word = "approved" if form.approves else "refused"
    notice = f"Signed: the proposal is {word} for {form.capacity.value}."
    return page.see_other("/nonconformances", code, notice=notice)


def _open_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.OPEN_NONCONFORMANCE)
    with records.read() as session:
        key = panel_id(session, code)
        facts = panel_facts(session, [key], zone=page.settings.zone, in_full=True)[key]
    case = case_of(facts)
    found = departures(facts, case.gates)
    offered = {"description": described(found), "requirement": asked_for(found)}
    return page.show(
        "release/open_nonconformance.html",
        case=case,
        facts=facts,
        **kept(offered if typed is None else typed, refusal),
    )


def nonconformance_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    sent: str = "",
) -> Response:
    """The page as it stands now; after a refusal with what was typed, the password apart.

    ``sent`` names the form that was refused: proposal, answer, action, or check and its key.
    """
    zone = page.settings.zone
    today = page.shop_time().date()
    with records.read() as session:
        row = nonconformances.nonconformance(session, code)
        facts = panel_facts(session, [row.panel_id], zone=zone, in_full=True)[row.panel_id]
        weighed = nonconformances.weigh(session, code, row.id, facts)
        is_open = nonconformances.is_open(session, row.id)
        newer = nonconformances.overtaken_by(session, row)
        shown = {
            "row": row,
            "names": names(session),
            "carried_out": nonconformances.carried_out(session, row.id),
            "actions": actions.actions_of(session, row.id),
            "notices": notices.notices_of(session, row.id),
            "scrap": scrap.scrap_of(session, row.panel_id),
            "acts": acts_about(session, KIND, code),
            "order_on_file": is_on_file(session, facts.order_number),
            "owners": [(one.username, one.full_name) for one in people(session) if one.active],
        }
    case = case_of(facts)
    then = [{**gate, "href": None, "who": None} for gate in row.evidence.get("gates", ())]
    can_act = is_open and newer is None
    standing = case.evidence_sha256
    fallen = [
        proposal.number for proposal in weighed.proposals if proposal.evidence_sha256 != standing
    ]
    return page.show(
        "release/nonconformance.html",
        status=refusal.status if refusal else 200,
        facts=facts,
        case=case,
        against=[gate for gate in then if gate["outcome"] != Outcome.CONFORMS],
        for_it=[gate for gate in then if gate["outcome"] == Outcome.CONFORMS],
        changed=differences(row.evidence, case.gates) if row.evidence else [],
        weighed=weighed,
        fallen=fallen,
        newer=newer,
        is_open=is_open,
        today=today,
        dispositions=_dispositions(facts),
        customer=Capacity.CUSTOMER,
        capacities=_open_to(weighed, by, standing) if can_act else [],
        seen=seen_of(weighed.last) if weighed.last else "",
        may_propose=can_act and may(by, Act.PROPOSE_DISPOSITION),
        may_enter_action=may(by, Act.ENTER_ACTION),
        may_check=may(by, Act.CHECK_ACTION),
        may_draft=may(by, Act.DRAFT_NOTICE),
        may_decide=can_act and not weighed.in_the_way and may(by, Act.LIFT_HOLD),
        by=by,
        meanings={"answer": Meaning.ANSWERED_PROPOSAL.value, "check": Meaning.EFFECT_CHECKED.value},
        typed={sent: {k: v for k, v in (typed or {}).items() if k != "password"}},
        problems={sent: refusal.fields if refusal else {}},
        sentences={sent: refusal.sentence if refusal else None},
        **shown,
    )


def _dispositions(facts: Any) -> list[tuple[str, str, str]]:
    """The dispositions to choose from; rework says where it is one treatment too many."""
    words = dict(_WORDS)
    too_many = why_no_rework(facts)
    if too_many is not None:
        words[DecisionKind.REWORK] = f"not permitted: {too_many}"
    return [(kind.value, kind.value, words[kind]) for kind in DEPARTURES]


def _open_to(
    weighed: nonconformances.Weighed, by: Actor, evidence_sha256: str
) -> list[tuple[str, str]]:
    """The capacities in which this visitor may answer the standing proposal."""
    last = weighed.last
    if last is None or last.is_refused or last.evidence_sha256 != evidence_sha256:
        return []
    if any(by.is_person(one.answered_by_id) for one in last.answers):
        return []
    given = {one.capacity for one in last.answers}
    wanted = required(last.disposition, customer_asked=weighed.customer_asked) - given
    return [
        (capacity.value, capacity.value)
        for capacity in Capacity
        if capacity in wanted and may(by, ANSWERS[capacity])
    ]
