"""A departure from its opening to its end: who may say what, and what is refused."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.verify import verify_trail
from app.database import Database, paper_sha256
from app.equipment.rules.reports import SentFile
from app.errors import BadFile, Conflict, NotAllowed, Refusal
from app.panels.records import Hold, HoldCause, HoldOn, Panel, UpstreamHold
from app.people.records import Person, Task
from app.people.rights import Role
from app.release import service
from app.release.queries import nonconformances, scrap
from app.release.queries.actions import actions_overdue, actions_without_effect
from app.release.queries.departures import departure_notes
from app.release.queries.notices import kept_notice, notice_of
from app.release.records import Decision, Nonconformance
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing
from app.release.service.actions import Action, check_action, enter_action
from app.release.service.nonconformances import open_nonconformance
from app.release.service.notices import keep_notice
from app.release.service.proposals import Answered, Proposed, answer, propose
from app.release.service.scrap import MadeUnusable, record_made_unusable, witness_scrap
from app.requirements.records import CustomerOrder
from tests.loads.pictures import picture
from tests.makers import NOW, Shop, bind
from tests.release.evidence_rows import LATER, Evidence, case, finding
from tests.release.nonconformance_makers import UTC
from tests.visits import PASSWORD

MARK = picture()
LETTER = SentFile("letter.pdf", b"%PDF-1.7 a customer's letter, invented")


class Review:
    """A shop with a design delegate and a second supervisor, and the acts of a review."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.shop = Shop(database)
        self.evidence = Evidence(database, self.shop)
        with database.write() as session:
            self.delegate = self._person(session, "priya", "Priya Hsu", Role.ENGINEER, Task.DESIGN)
            self.second = self._person(session, "ibo", "Ibo Renn", Role.SUPERVISOR)

    def _person(self, session: Any, username: str, name: str, role: Role, *tasks: Task) -> Actor:
        actor = self.shop._person(session, username, name, role)  # noqa: SLF001
        person = session.get_one(Person, actor.id)
        more = self.shop.authorise(session, person, set(tasks))
        return replace(actor, authorised={**actor.authorised, **more})

    def failed(self) -> Panel:
        """A panel whose furnace record does not conform."""
        load, panel, _ = self.evidence.ready(record=False)
        with self.database.write() as session:
            told = finding("does_not_conform", "Soak 18:02, 24:00 asked for.")
            self.evidence.record(session, load, "does_not_conform", told)
        return panel

    def open(self, panel: Panel, *, by: Actor | None = None) -> str:
        return open_nonconformance(
            self.database,
            panel.code,
            description="Soak of 18 h 02 min.",
            requirement="24 h, cycle CY-1 revision A.",
            containment="Brought to the held rack.",
            by=by or self.shop.inspector,
            at=LATER,
            zone=UTC,
        )

    def propose(self, code: str, disposition: DecisionKind, *, by: Actor | None = None) -> int:
        proposed = Proposed(disposition, "Reviewed by the board.", "Age again in full.")
        by = by or self.shop.engineer
        return propose(self.database, code, proposed, by=by, at=LATER, zone=UTC)

    def answer(self, code: str, capacity: Capacity, by: Actor, **changed: Any) -> None:
        with self.database.read() as session:
            row = nonconformances.nonconformance(session, code)
            panel = session.get_one(Panel, row.panel_id).code
            last = nonconformances.proposals_of(session, code, row.id, panel)[-1]
        given = {
            "capacity": capacity,
            "approves": True,
            "remark": "",
            "document": "",
            "file": None,
            "seen": f"{last.number}-{last.evidence_sha256[:16]}",
        }
        sent = Answered(**(given | changed))
        answer(self.database, code, sent, password=PASSWORD, by=by, at=LATER, zone=UTC)

    def lift(self, panel: Panel, disposition: DecisionKind, *, by: Actor | None = None) -> None:
        service.lift_hold(
            self.database,
            panel.code,
            disposition=disposition,
            reason="Carried out as it was approved.",
            seen=case(self.database, panel).seen,
            password=PASSWORD,
            by=by or self.shop.supervisor,
            at=LATER,
            zone=UTC,
        )

    def waits(self) -> dict[str, str]:
        with self.database.read() as session:
            lines = nonconformances.open_lines(session, zone=UTC)
        return {line.facts.code: line.waits_for for line in lines}


@pytest.fixture
def review(database: Database) -> Review:
    return Review(database)


@pytest.fixture
def quick(sqlite_url: str) -> Iterator[Review]:
    """The same on SQLite alone, for what no database decides."""
    opened = Database(sqlite_url)
    yield Review(opened)
    with opened.read() as session:
        report = verify_trail(session)
    opened.close()
    assert report.holds, report.problems


def test_use_as_is_needs_an_approved_proposal_and_is_shown_ever_after(review: Review) -> None:
    panel, shop = review.failed(), review.shop
    use_as_is = DecisionKind.USE_AS_IS
    with pytest.raises(Refusal, match=r"needs an open nonconformance.*authorised for dispositions"):
        review.lift(panel, use_as_is)
    code = review.open(panel)
    assert code == "N-2026-0001"
    assert review.waits() == {code: "a proposed disposition"}
    with pytest.raises(Refusal, match="nothing is proposed, not use as is"):
        review.lift(panel, use_as_is)
    assert review.propose(code, use_as_is) == 1
    with pytest.raises(Refusal, match=r"not approved.*supervision.*design organisation"):
        review.lift(panel, use_as_is)
    review.answer(code, Capacity.SUPERVISION, review.second)
    with pytest.raises(Refusal, match=r"Nobody has approved it for design organisation"):
        review.lift(panel, use_as_is)
    review.answer(code, Capacity.DESIGN, review.delegate)
    assert review.waits() == {code: "a supervisor, to carry out use as is"}
    with pytest.raises(Refusal, match="use as is is proposed, not scrap"):
        review.lift(panel, DecisionKind.SCRAPPED)
    review.lift(panel, use_as_is)
    after = case(review.database, panel)
    assert after.standing is Standing.USE_AS_IS
    assert review.waits() == {}
    with review.database.read() as session:
        decision = session.scalars(select(Decision)).one()
        assert departure_notes(session, after.facts) == [
            f"Released by use as is under {code}, not conforming in: Furnace record."
        ]
    assert decision.proposal_id is not None
    assert decision.authorisation_id == shop.supervisor.authorised[Task.DISPOSITION.value]
    with pytest.raises(Conflict, match="is closed"):
        review.propose(code, DecisionKind.SCRAPPED)


def test_a_panel_that_is_not_held_is_held_with_it_and_numbers_run_by_the_year(
    quick: Review,
) -> None:
    _, panel, _ = quick.evidence.ready()
    assert quick.open(panel) == "N-2026-0001"
    assert case(quick.database, panel).standing is Standing.HELD
    with quick.database.read() as session:
        assert session.scalars(select(Hold)).one().reason == "N-2026-0001: Soak of 18 h 02 min."
        kept = session.scalars(select(Nonconformance)).one()
    assert "On hold" in str(kept.evidence)
    assert quick.open(quick.failed()) == "N-2026-0002"
    with quick.database.read() as session:
        assert len(session.scalars(select(Hold)).all()) == 1
    with pytest.raises(Refusal) as refused:
        open_nonconformance(
            quick.database,
            panel.code,
            description=" ",
            requirement="24 h",
            containment="",
            by=quick.shop.inspector,
            at=LATER,
            zone=UTC,
        )
    assert set(refused.value.fields) == {"description", "containment"}
    with pytest.raises(NotAllowed):
        quick.open(panel, by=quick.shop.auditor)
    # No departure closes it too, but not by whoever opened it.
    third = quick.open(panel, by=quick.shop.supervisor)
    with pytest.raises(NotAllowed, match=f"You opened {third}"):
        quick.lift(panel, DecisionKind.NO_DEPARTURE)
    quick.lift(panel, DecisionKind.NO_DEPARTURE, by=quick.second)
    assert list(quick.waits()) == ["N-2026-0002"]
    assert case(quick.database, panel).standing is Standing.READY


def test_who_may_answer_and_who_may_not(quick: Review) -> None:
    panel, shop = quick.failed(), quick.shop
    code = quick.open(panel)
    quick.propose(code, DecisionKind.USE_AS_IS)
    with pytest.raises(NotAllowed, match="no authorisation for use as is"):
        quick.answer(code, Capacity.DESIGN, shop.engineer)
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        quick.answer(code, Capacity.SUPERVISION, shop.inspector)
    with pytest.raises(Refusal, match="is not answered for quality"):
        quick.answer(code, Capacity.QUALITY, shop.engineer)
    quick.propose(code, DecisionKind.SCRAPPED)
    quick.answer(code, Capacity.QUALITY, shop.engineer)
    # Another account of the person who answered, and one of a person who measured.
    alias = replace(quick.second, also=frozenset({shop.engineer.id}))
    with pytest.raises(NotAllowed, match="You answered this proposal for quality"):
        quick.answer(code, Capacity.SUPERVISION, alias)
    measured = replace(quick.second, also=frozenset({shop.inspector.id}))
    with pytest.raises(NotAllowed, match="took, corrected or voided"):
        quick.answer(code, Capacity.SUPERVISION, measured)
    with pytest.raises(Conflict, match=r"Proposal 2 .* stands now"):
        quick.answer(code, Capacity.SUPERVISION, quick.second, seen="1-abc")
    quick.answer(code, Capacity.SUPERVISION, quick.second)
    with pytest.raises(Conflict, match="answered for supervision already"):
        quick.answer(code, Capacity.SUPERVISION, shop.supervisor)


def test_a_refusal_and_moved_evidence_end_a_proposal(quick: Review) -> None:
    panel, shop = quick.failed(), quick.shop
    code = quick.open(panel)
    quick.propose(code, DecisionKind.SCRAPPED)
    with pytest.raises(Refusal, match="Say why it is refused"):
        quick.answer(code, Capacity.QUALITY, shop.engineer, approves=False)
    no = {"approves": False, "remark": "It can be aged again."}
    quick.answer(code, Capacity.QUALITY, shop.engineer, **no)
    with pytest.raises(Conflict, match="was refused: propose anew"):
        quick.answer(code, Capacity.SUPERVISION, quick.second)
    assert quick.waits() == {code: "a new proposal: scrap was refused"}
    assert quick.propose(code, DecisionKind.SCRAPPED) == 2
    quick.answer(code, Capacity.QUALITY, shop.engineer)
    quick.answer(code, Capacity.SUPERVISION, quick.second)
    service.place_hold(quick.database, panel.code, reason="A dent.", by=shop.second, at=LATER)
    assert quick.waits() == {code: "a new proposal: scrap rests on other evidence"}
    with pytest.raises(Refusal, match="the answers count no more"):
        quick.lift(panel, DecisionKind.SCRAPPED)
    with pytest.raises(Conflict, match=r"evidence on .* changed"):
        quick.answer(code, Capacity.SUPERVISION, quick.second)
    later = quick.open(panel)
    with pytest.raises(Conflict, match=f"{later} was opened on the same panel"):
        quick.propose(code, DecisionKind.SCRAPPED)
    with quick.database.read() as session:
        row = nonconformances.nonconformance(session, code)
        kept = nonconformances.proposals_of(session, code, row.id, panel.code)
    assert [(one.number, len(one.answers)) for one in kept] == [(1, 1), (2, 2)]


def test_rework_keeps_to_the_panels_limit_and_asks_the_customer_where_the_order_does(
    quick: Review,
) -> None:
    shop = quick.shop
    used_up = quick.failed()
    with pytest.raises(Refusal, match=r"seen 1 of at most 1 thermal treatments.*number 2"):
        quick.propose(quick.open(used_up), DecisionKind.REWORK)
    panel = quick.failed()
    with quick.database.write() as session:
        row = session.get_one(Panel, panel.id)
        row.treatments_most = 2
        order = CustomerOrder(
            number=row.order_number,
            customer="Invented Aero",
            placed_on=date(2026, 1, 5),
            later_revisions_allowed=False,
            rework_needs_customer=True,
            note="",
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        )
        bind(session, row, order)
    code = quick.open(panel)
    quick.propose(code, DecisionKind.REWORK)
    quick.answer(code, Capacity.QUALITY, shop.engineer)
    quick.answer(code, Capacity.SUPERVISION, quick.second)
    with pytest.raises(Refusal, match="Nobody has approved it for customer"):
        quick.lift(panel, DecisionKind.REWORK)
    with pytest.raises(Refusal, match="the customer's letter, and attach"):
        quick.answer(code, Capacity.CUSTOMER, shop.supervisor)
    letter = {"document": "letter 7 of 2026-03-04", "file": LETTER}
    quick.answer(code, Capacity.CUSTOMER, shop.supervisor, **letter)
    quick.lift(panel, DecisionKind.REWORK)
    assert case(quick.database, panel).standing is Standing.REWORK


def test_after_repair_a_panel_needs_its_gates_or_a_use_as_is(quick: Review) -> None:
    panel = quick.failed()
    for disposition, standing in (
        (DecisionKind.REPAIR, Standing.REPAIR),
        (DecisionKind.USE_AS_IS, Standing.USE_AS_IS),
    ):
        code = quick.open(panel)
        quick.propose(code, disposition)
        quick.answer(code, Capacity.SUPERVISION, quick.second)
        quick.answer(code, Capacity.DESIGN, quick.delegate)
        quick.lift(panel, disposition)
        found = case(quick.database, panel)
        assert found.standing is standing
        assert service.why_not_release(found, quick.shop.second) is not None
    with quick.database.read() as session:
        notes = departure_notes(session, found.facts)
    assert [note.split(" under")[0] for note in notes] == ["Repaired", "Released by use as is"]


def test_an_action_has_an_owner_a_day_and_somebody_elses_check(quick: Review) -> None:
    code, shop = quick.open(quick.failed()), quick.shop
    due = LATER.date() + timedelta(days=7)
    wanted = Action("The mapping read the control sensor.", "Mend it.", "tomas", due)
    late = replace(wanted, due_on=LATER.date() - timedelta(days=1))
    with pytest.raises(Refusal, match="has passed"):
        enter_action(quick.database, code, late, by=shop.engineer, at=LATER, zone=UTC)
    nobody = replace(wanted, owner="nobody")
    with pytest.raises(Refusal, match="Choose somebody"):
        enter_action(quick.database, code, nobody, by=shop.engineer, at=LATER, zone=UTC)
    key = enter_action(quick.database, code, wanted, by=shop.supervisor, at=LATER, zone=UTC)

    def overdue(day: date) -> list[int]:
        with quick.database.read() as session:
            return [one.id for one in actions_overdue(session, day)]

    assert overdue(due) == []
    assert overdue(due + timedelta(days=1)) == [key]
    checked = {"effective": False, "found": "It came back.", "password": PASSWORD, "at": LATER}
    with pytest.raises(NotAllowed, match="You own this action"):
        check_action(quick.database, key, by=shop.engineer, **checked)
    alias = replace(quick.second, also=frozenset({shop.engineer.id}))
    with pytest.raises(NotAllowed, match="You own this action"):
        check_action(quick.database, key, by=alias, **checked)
    check_action(quick.database, key, by=quick.second, **checked)
    with pytest.raises(Conflict, match="checked already"):
        check_action(quick.database, key, by=quick.second, **checked)
    assert overdue(due + timedelta(days=1)) == []
    with quick.database.read() as session:
        assert [one.id for one in actions_without_effect(session)] == [key]
    enter_action(quick.database, code, wanted, by=shop.supervisor, at=LATER, zone=UTC)
    with quick.database.read() as session:
        assert actions_without_effect(session) == []


def test_scrap_is_marked_and_made_unusable_by_one_and_seen_by_another(quick: Review) -> None:
    panel, shop = quick.failed(), quick.shop
    signed: dict[str, Any] = {"password": PASSWORD, "at": LATER}
    done = MadeUnusable("SCRAP, 40 mm high, both faces", "Cut in two", SentFile("m.png", MARK))
    with pytest.raises(Refusal, match="is not scrapped"):
        record_made_unusable(quick.database, panel.code, done, by=shop.inspector, **signed)
    code = quick.open(panel)
    quick.propose(code, DecisionKind.SCRAPPED)
    quick.answer(code, Capacity.QUALITY, shop.engineer)
    quick.answer(code, Capacity.SUPERVISION, quick.second)
    quick.lift(panel, DecisionKind.SCRAPPED)

    def waits() -> list[str | None]:
        with quick.database.read() as session:
            return [one.waits_for for one in scrap.scrap_not_yet_unusable(session)]

    assert waits() == ["somebody to mark it for good and make it unusable"]
    with pytest.raises(Refusal, match="Nobody has recorded"):
        witness_scrap(quick.database, panel.code, by=shop.second, **signed)
    cut_short = replace(done, photograph=SentFile("m.png", MARK[:60]))
    with pytest.raises(BadFile):
        record_made_unusable(quick.database, panel.code, cut_short, by=shop.inspector, **signed)
    record_made_unusable(quick.database, panel.code, done, by=shop.inspector, **signed)
    assert waits() == ["a second person, to witness that it is"]
    with pytest.raises(NotAllowed, match="another person witnesses"):
        witness_scrap(quick.database, panel.code, by=shop.inspector, **signed)
    witness_scrap(quick.database, panel.code, by=shop.second, **signed)
    assert waits() == []
    with pytest.raises(Refusal, match="nothing more is decided"):
        quick.open(panel)


def test_a_notice_says_what_the_record_knows_and_is_kept_with_its_digest(quick: Review) -> None:
    shop = quick.shop
    _, panel, coupons = quick.evidence.ready()
    cause, thing = quick.failed(), quick.failed()
    service.release_panel(
        quick.database,
        panel.code,
        seen=case(quick.database, panel).seen,
        password=PASSWORD,
        by=shop.second,
        at=LATER,
        zone=UTC,
    )
    with quick.database.write() as session:
        quick.evidence.verdict(session, coupons[0], "does_not_conform", text="Hardness 80.1 HRB.")
        upstream = UpstreamHold(
            kind=HoldOn.MATERIAL_LOT,
            code="LOT-1",
            reason="The certificate is doubtful.",
            panels_found=2,
            placed_by_id=shop.inspector.id,
            placed_at=LATER,
        )
        bind(session, upstream)
        for one in (panel, cause):
            _held(session, one, shop.inspector, cause=HoldCause.FAILED_CHECK)
        for one in (panel, thing):
            _held(session, one, shop.inspector, cause=HoldCause.UPSTREAM, upstream=upstream)
    code = quick.open(panel)
    with quick.database.read() as session:
        content = notice_of(session, code, zone=UTC)
    assert (content["order"], content["drawing"], content["panel"]) == ("ORD-1", "DRW-1", "P-0001")
    assert content["required"] == "24 h, cycle CY-1 revision A."
    assert content["containment"] == "Brought to the held rack."
    assert content["released"] == [
        {"decision": "released", "by": "Deniz Okoro", "at": "2026-03-05 06:00 UTC"}
    ]
    assert [one["panel"] for one in content["others"]] == [cause.code, thing.code]
    figures = content["found"][0]["figures"]
    assert (figures[0]["found"], figures[0]["limit"], figures[0]["unit"]) == ("85.0", "83.0", "HRB")
    given: dict[str, Any] = {"by": shop.engineer, "at": LATER, "zone": UTC}
    with pytest.raises(Refusal, match="whom the customer can ask"):
        keep_notice(quick.database, code, contact="", wish="Hold it.", **given)
    key = keep_notice(quick.database, code, contact="T. Brandl", wish="Hold it.", **given)
    with quick.database.read() as session:
        kept = kept_notice(session, code, key)
    assert kept.content == {**content, "contact": "T. Brandl", "wish": "Hold it."}
    assert kept.sha256 == paper_sha256(kept.content)


def _held(
    session: Any, panel: Panel, by: Actor, *, cause: HoldCause, upstream: UpstreamHold | None = None
) -> None:
    held = Hold(
        panel_id=panel.id,
        reason=f"Held: {cause.value}.",
        cause=cause,
        upstream_hold_id=None if upstream is None else upstream.id,
        placed_by_id=by.id,
        placed_at=LATER,
    )
    bind(session, held)
