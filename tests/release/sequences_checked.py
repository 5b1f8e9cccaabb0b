"""What has to hold after every act of a sequence, read from the rows and from no gate's code."""

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.records import (
    CorrectionAnswer,
    CorrectionRequest,
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.database import Database
from app.loads.records import Load, LoadCoupon, LoadPanel
from app.panels.records import (
    Decided,
    Hold,
    HoldOn,
    Panel,
    PanelDescent,
    UpstreamHold,
    UpstreamHoldLift,
)
from app.people.records import Authorisation, AuthorisationEnd, Person
from app.release.queries.decisions import misstated
from app.release.queries.panel_facts import panel_facts
from app.release.records import Decision, DispositionProposal, HoldLift, ProposalAnswer
from app.release.rules.facts import DecisionKind
from app.release.rules.gates import evidence
from app.release.rules.standing import standing_of
from app.requirements.records import RequirementRevision, RequirementVerification, SecondKeying

_UTC = ZoneInfo("UTC")
_IN_USE = {DecisionKind.RELEASED, DecisionKind.CONFIRMED, DecisionKind.USE_AS_IS}
_MAY_BE_OPEN = {
    DecisionKind.RELEASED: set[str](),
    DecisionKind.CONFIRMED: {"hold"},
    DecisionKind.NO_DEPARTURE: {"hold", "nonconformances"},
}
_FINAL = {Decided.RETURNED, Decided.SCRAPPED, Decided.REPLACED}
_ANSWERED = 2


class Checked:
    """Looks at all rows; rows that are new since the last look are held against who acted."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.lifted: set[int] = set()
        self.standings: dict[int, str] = {}
        self._seen: dict[type[Any], int] = {}
        self._final: dict[int, tuple[Any, ...]] = {}
        with database.read() as session:
            self._person_now(session)
            for table in _PAIRED:
                self._new(session, table)

    def look(self) -> None:
        """Every rule that has to hold now."""
        with self.database.read() as session:
            self._person_now(session)
            self._pairs(session)
            self._decisions(session)
            self._standings(session)
            self._finals(session)
            self.lifted = set(session.scalars(select(UpstreamHoldLift.upstream_hold_id)))
            assert misstated(session) == []

    def _person_now(self, session: Session) -> None:
        rows = session.execute(select(Person.id, Person.identity_number))
        self._person = {row.id: row.identity_number or f"account {row.id}" for row in rows}

    def _new(self, session: Session, table: type[Any]) -> list[Any]:
        known = self._seen.get(table, 0)
        rows = list(session.scalars(select(table).where(table.id > known).order_by(table.id)))
        if rows:
            self._seen[table] = rows[-1].id
        return rows

    def _apart(self, what: str, first: int, others: Iterable[int]) -> None:
        """Whoever did the one is none of those who did the other, whatever their accounts."""
        assert self._person[first] not in {self._person[one] for one in others}, what

    def _pairs(self, session: Session) -> None:
        """Of the rows that the last act wrote, with identity numbers as they were then."""
        for one in self._new(session, VoidAnswer):
            request = session.get_one(VoidRequest, one.request_id)
            self._apart("void", one.answered_by_id, [request.asked_by_id])
            if one.approved:
                reading = session.get_one(Reading, request.reading_id)
                self._apart("voided", one.answered_by_id, [reading.taken_by_id])
        for one in self._new(session, CorrectionAnswer):
            asked = session.get_one(CorrectionRequest, one.request_id)
            self._apart("correction", one.answered_by_id, [asked.asked_by_id])
        for one in self._new(session, SecondKeying):
            revision = session.get_one(RequirementRevision, one.revision_id)
            self._apart("keying", one.keyed_by_id, [revision.written_by_id])
        for one in self._new(session, RequirementVerification):
            revision = session.get_one(RequirementRevision, one.revision_id)
            self._apart("verification", one.verified_by_id, [revision.written_by_id])
            keyed = select(SecondKeying).where(SecondKeying.revision_id == revision.id)
            last = session.scalars(keyed.order_by(SecondKeying.id.desc())).first()
            assert last is not None
            assert last.differences == []
        for one in self._new(session, UpstreamHoldLift):
            held = session.get_one(UpstreamHold, one.upstream_hold_id)
            if held.kind is HoldOn.PERSON:
                accounts = session.scalars(select(Person.id).where(Person.username == held.code))
                self._apart("lifting a hold on oneself", one.lifted_by_id, accounts)
        for one in self._new(session, AuthorisationEnd):
            granted = session.get_one(Authorisation, one.authorisation_id)
            self._apart("one's own authorisation", one.ended_by_id, [granted.person_id])
        for one in self._new(session, ProposalAnswer):
            proposal = session.get_one(DispositionProposal, one.proposal_id)
            answers = select(ProposalAnswer.answered_by_id).where(
                ProposalAnswer.proposal_id == proposal.id, ProposalAnswer.id < one.id
            )
            self._apart("answering twice", one.answered_by_id, session.scalars(answers))

    def _decisions(self, session: Session) -> None:
        """Each new decision: its gates, who made it, and what it carries out."""
        for one in self._new(session, Decision):
            may_be_open = _MAY_BE_OPEN.get(one.kind)
            still = {g["code"] for g in one.evidence["gates"] if g["outcome"] != "conforms"}
            assert may_be_open is None or still <= may_be_open, (one.kind, still)
            takers = _takers(session, one.panel_id)
            self._apart("deciding on one's own readings", one.decided_by_id, takers)
            ended = select(AuthorisationEnd.id).where(
                AuthorisationEnd.authorisation_id == one.authorisation_id
            )
            assert one.authorisation_id is not None
            assert session.scalars(ended).first() is None, "decided without an authorisation"
            if one.kind in {*_MAY_BE_OPEN, DecisionKind.WITHDRAWN}:
                assert one.proposal_id is None
                continue
            answers = session.scalars(
                select(ProposalAnswer).where(ProposalAnswer.proposal_id == one.proposal_id)
            ).all()
            assert all(answer.approves for answer in answers)
            assert len({self._person[answer.answered_by_id] for answer in answers}) >= _ANSWERED
            for answer in answers:
                self._apart("answering on one's own readings", answer.answered_by_id, takers)

    def _standings(self, session: Session) -> None:
        """A panel in use stands recalled if, and only if, something holds it or speaks anew."""
        panels = session.scalars(select(Panel)).all()
        facts = panel_facts(session, [panel.id for panel in panels], zone=_UTC, in_full=True)
        lifted = set(session.scalars(select(HoldLift.hold_id)))
        holds = [row for row in session.scalars(select(Hold)) if row.id not in lifted]
        for panel in panels:
            made = select(Decision).where(Decision.panel_id == panel.id)
            last = session.scalars(made.order_by(Decision.number.desc())).first()
            standing = standing_of(facts[panel.id]).value
            self.standings[panel.id] = standing
            if last is None or last.kind not in _IN_USE or panel.decided is Decided.REPLACED:
                assert standing not in {"released", "use as is", "recalled, to be confirmed"}
                continue
            planned = session.scalars(
                select(Load.planned_at).join(LoadPanel).where(LoadPanel.panel_id == panel.id)
            )
            if any(at > last.decided_at for at in planned):
                continue
            conformed = {
                gate["code"] for gate in last.evidence["gates"] if gate["outcome"] == "conforms"
            }
            now = {
                gate.code for gate in evidence(facts[panel.id]) if gate.outcome.value != "conforms"
            }
            moved = any(hold.panel_id == panel.id for hold in holds) or bool(now & conformed)
            recalled = standing == "recalled, to be confirmed"
            assert recalled == moved, (panel.code, standing, now & conformed)

    def _finals(self, session: Session) -> None:
        """Once nothing more is to be done with a panel, nothing more is."""
        for panel in session.scalars(select(Panel).where(Panel.decided.in_(_FINAL))):
            now = (
                panel.decided,
                panel.drawing,
                panel.treatments_most,
                len(session.scalars(select(Hold).where(Hold.panel_id == panel.id)).all()),
                len(session.scalars(select(Decision).where(Decision.panel_id == panel.id)).all()),
                len(session.scalars(select(LoadPanel).where(LoadPanel.panel_id == panel.id)).all()),
            )
            assert self._final.setdefault(panel.id, now) == now, panel.code


_PAIRED = (
    VoidAnswer,
    CorrectionAnswer,
    SecondKeying,
    RequirementVerification,
    UpstreamHoldLift,
    AuthorisationEnd,
    ProposalAnswer,
    Decision,
)


def _takers(session: Session, panel_id: int) -> set[int]:
    """Who took a reading that stands, on the coupons of the panel's newest load or its parent's."""
    seat = select(LoadCoupon.load_id).where(LoadCoupon.panel_id == panel_id)
    load = session.scalars(seat.order_by(LoadCoupon.load_id.desc())).first()
    if load is None:
        parents = select(PanelDescent.parent_id).where(PanelDescent.panel_id == panel_id)
        parent = session.scalars(parents).first()
        return _takers(session, parent) if parent is not None else set()
    replaced = select(Reading.replaces_id).where(Reading.replaces_id.is_not(None))
    voided = select(VoidRequest.reading_id).join(VoidAnswer).where(VoidAnswer.approved)
    return set(
        session.scalars(
            select(Reading.taken_by_id)
            .join(LoadCoupon, LoadCoupon.coupon_id == Reading.coupon_id)
            .where(
                LoadCoupon.panel_id == panel_id,
                LoadCoupon.load_id == load,
                Reading.id.not_in(replaced),
                Reading.id.not_in(voided),
            )
        )
    )
