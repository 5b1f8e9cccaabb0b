"""Panels in use are recalled when their evidence changes, and a signed line closes each recall."""

from collections.abc import Callable
from datetime import date, timedelta
from threading import Event
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlalchemy import event, func, select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.writer import append
from app.bench.records import VoidCause
from app.bench.service import answer_void, ask_void
from app.database import Database
from app.equipment.records import FurnaceCheckKind
from app.errors import GateOpen, NotAllowed, Refusal
from app.loads import service as loads
from app.loads.records import FurnaceRecord
from app.loads.service.recalling import recall_by_record
from app.loads.trouble_records import TroubleKind
from app.panels.records import Coupon, Custody, Hold, HoldCause, Panel
from app.people.records import Person
from app.release import service
from app.release.pages import recalling
from app.release.pages.recalling import AfterActs, Recalling
from app.release.queries.decisions import misstated
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing
from app.release.service import watching
from tests.makers import Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.visits import PASSWORD, Visit

UTC = ZoneInfo("UTC")
AFTER = LATER + timedelta(days=1)
REASON = "Looked at the whole record again, see report 14."


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _released(evidence: Evidence) -> tuple[Any, Panel, Any]:
    load, panel, coupons = evidence.ready()
    service.release_panel(
        evidence.database,
        panel.code,
        seen=case(evidence.database, panel).seen,
        password=PASSWORD,
        by=evidence.shop.second,
        at=LATER,
        zone=UTC,
    )
    return load, panel, coupons


def _close(evidence: Evidence, panel: Panel, *, stands: bool, **changed: Any) -> None:
    given = {"password": PASSWORD, "by": evidence.shop.supervisor, "at": AFTER, "zone": UTC}
    reason, seen = changed.pop("reason", REASON), case(evidence.database, panel).seen
    closing = service.Closing(panel.code, stands, reason, seen)
    service.close_recalls(evidence.database, [closing], **(given | changed))


def _look(evidence: Evidence) -> list[str]:
    return service.recall_changed(evidence.database, since=None, at=AFTER, zone=UTC)[1]


def _enter(session: Session, tag: Tag, kind: str, code: str) -> None:
    append(session, tag, by="tomas", at=AFTER, about=(kind, code))


def _reason(evidence: Evidence, panel: Panel) -> str:
    (hold,) = case(evidence.database, panel).facts.open_holds
    return hold.reason


def test_acts_that_know_their_panels_recall_them_in_their_own_transaction(
    evidence: Evidence, app: FastAPI
) -> None:
    database, shop = evidence.database, evidence.shop

    def a_void(_load: Any, _panel: Panel, coupons: Any) -> str:
        with database.write() as session:
            (reading,) = evidence.measured(session, coupons[:1], value="85.4")
            key = reading.id
        given = {"coupon_code": coupons[0].code, "at": AFTER}
        request = ask_void(
            database,
            reading_id=key,
            cause=VoidCause.SLIPPED,
            evidence="The indenter left two marks.",
            by=shop.inspector,
            **given,
        )
        answer_void(
            database,
            request_id=request,
            approved=True,
            reason="Seen under the glass.",
            by=shop.supervisor,
            zone=UTC,
            **given,
        )
        return f"Coupon {coupons[0].code} conformed when the panel was decided on, and now"

    def a_record(load: Any, _panel: Panel, _coupons: Any) -> str:
        with database.write() as session:
            query = select(FurnaceRecord).where(FurnaceRecord.load_id == load.id)
            record = session.scalars(query).one()
            by, at = shop.supervisor, AFTER
            recall_by_record(session, load, record, "conforms", by=by, at=at)
            recall_by_record(session, load, None, "not_proven", by=by, at=at)
            assert session.scalars(select(Hold).where(Hold.placed_at == at)).all() == []
            recall_by_record(session, load, record, "does_not_conform", by=by, at=at)
        return "conformed and was judged anew: does not conform"

    def an_unwrapping(load: Any, panel: Panel, coupons: Any) -> str:
        found = loads.Unwrapped(
            bag_intact=False,
            surface_clear=True,
            findings="Burst along the edge.",
            recovered=frozenset(coupon.code for coupon in coupons),
            missing=frozenset(),
        )
        given = {"taken_at": LATER, "by": shop.inspector, "at": AFTER}
        loads.record_unwrapping(database, load.code, panel.code, found, **given)
        return "the bag was not intact; the contour is not shown to be within its limit"

    def a_trouble(load: Any, panel: Panel, coupons: Any) -> str:
        report = loads.Report(TroubleKind.MISSING, "Not in its box any more.", coupons[0].code)
        given = {"by": shop.inspector, "at": AFTER}
        loads.report_trouble(database, load.code, panel.code, report, **given)
        return "Not in its box any more."

    visit = Visit(app)
    visit.sign_in("mara")
    ways: list[Callable[[Any, Panel, Any], str]] = [a_record, an_unwrapping, a_trouble, a_void]
    for way in ways:
        load, panel, coupons = _released(evidence)
        told = way(load, panel, coupons)
        assert case(database, panel).standing is Standing.RECALLED, way.__name__
        assert told in " ".join(h.reason for h in case(database, panel).facts.open_holds)
    page = visit.get(f"/panels/{panel.code}").text
    assert "The signature of decision 1 has fallen" in page
    assert "Deniz Okoro" in page
    assert "recalled, to be confirmed" in page


def test_what_changes_below_loads_is_found_and_recalls_every_panel_it_turns(
    evidence: Evidence,
) -> None:
    database, shop = evidence.database, evidence.shop

    def a_void_asked(session: Session, _load: Any, _panel: Panel, coupons: Any) -> str:
        (reading,) = evidence.measured(session, coupons[:1], value="85.3")
        evidence.void_asked(session, reading, shop.inspector.id)
        _enter(session, Tag.VOID_ASKED, "coupon", coupons[0].code)
        return "A void has been asked for and not answered"

    def a_leak_check(session: Session, load: Any, panel: Panel, _coupons: Any) -> str:
        evidence.leak(session, load, panel, "does_not_conform")
        _enter(session, Tag.LEAK_CHECKED, "load", load.code)
        return "not within the 2.0 kPa permitted"

    def a_coupon_gone(session: Session, _load: Any, _panel: Panel, coupons: Any) -> str:
        shop.custody(session, coupons[0], Custody.MISSING)
        _enter(session, Tag.CUSTODY_RECORDED, "coupon", coupons[0].code)
        return "recorded missing"

    def a_failed_survey(session: Session, _load: Any, _panel: Panel, _coupons: Any) -> str:
        kind = FurnaceCheckKind.UNIFORMITY_SURVEY
        changed = {"passed": False, "done_on": date(2026, 2, 20), "report": "R-LATE"}
        shop.furnace_check(session, shop.furnace_id, kind, **changed)
        _enter(session, Tag.REPORT_REVIEWED, "furnace", "FN-1")
        return "Furnace papers"

    assert _look(evidence) == []
    ways: list[Callable[[Session, Any, Panel, Any], str]] = [
        a_void_asked,
        a_leak_check,
        a_coupon_gone,
    ]
    others = [_released(evidence)[1] for _ in range(2)]
    for way in ways:
        load, panel, coupons = _released(evidence)
        with database.write() as session:
            told = way(session, load, panel, coupons)
        assert _look(evidence) == [panel.code], way.__name__
        assert told in _reason(evidence, panel)
        assert _look(evidence) == []
    with database.write() as session:
        told = a_failed_survey(session, None, others[0], None)
    assert _look(evidence) == sorted(panel.code for panel in others)
    assert told in _reason(evidence, others[0])
    with database.read() as session:
        causes = set(session.scalars(select(Hold.cause)))
        placed_by = set(session.scalars(select(Hold.placed_by_id)))
        last = session.scalar(select(func.max(TrailEntry.number)))
        assert misstated(session) == []
    assert causes == {HoldCause.EVIDENCE_CHANGED}
    assert placed_by == {shop.engineer.id}
    _costs_one_query_where_nothing_happened(database, last)


def _costs_one_query_where_nothing_happened(database: Database, last: int | None) -> None:
    asked: list[str] = []
    listen = (database.engine, "after_cursor_execute", lambda *given: asked.append(given[2]))
    event.listen(*listen)
    assert service.recall_changed(database, since=last, at=AFTER, zone=UTC) == (last, [])
    event.remove(*listen)
    # The question itself, and on PostgreSQL a word beforehand.
    assert len(asked) <= 2


def test_two_accounts_found_to_be_one_person_recall_what_they_did_for_each_other(
    evidence: Evidence,
) -> None:
    database, shop = evidence.database, evidence.shop
    _, panel, _ = _released(evidence)
    assert _look(evidence) == []
    with database.write() as session:
        for one in (shop.engineer, shop.supervisor):
            person = session.get_one(Person, one.id)
            person.identity_number = "ID-77"
            about, rows = ("person", one.username), [person]
            append(session, Tag.PERSON_CHANGED, by="rune", at=AFTER, about=about, rows=rows)
    assert _look(evidence) == [panel.code]
    told = _reason(evidence, panel)
    assert (
        "Writing and verifying table AT-1: Tomas Brandl and Ines Valcourt are accounts of one "
        "person, and two people are needed." in told
    )
    for what in ("cycle CY-1", "a report of FN-1", "the qualification of FN-1", "report of VG-1"):
        assert what in told
    with pytest.raises(GateOpen, match="accounts of one person"):
        _close(evidence, panel, stands=True)
    _close(evidence, panel, stands=False)
    assert case(database, panel).standing is Standing.HELD


def test_a_recall_is_closed_by_a_signed_line_for_each_panel(
    evidence: Evidence, app: FastAPI
) -> None:
    database, shop = evidence.database, evidence.shop
    panels = [_released(evidence)[1] for _ in range(4)]
    kept, measured_by, withdrawn, turned = panels
    for panel in panels:
        service.place_hold(database, panel.code, reason="A dent.", by=shop.engineer, at=AFTER)
    _, loose, _ = evidence.ready()
    with pytest.raises(Refusal, match="there is no recall to close"):
        _close(evidence, loose, stands=True)
    with pytest.raises(Refusal, match="10 signs"):
        _close(evidence, kept, stands=True, reason="too short")
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        _close(evidence, kept, stands=True, by=shop.inspector)
    with database.write() as session:
        coupons = case(database, measured_by).facts.concerned_coupons
        seats = case(database, turned).facts.concerned_coupons
        evidence.verdict(session, session.get_one(Coupon, seats[0].id), "does_not_conform")
        one = session.get_one(Coupon, coupons[0].id)
        evidence.measured(session, [one], by_id=shop.supervisor.id)
    with pytest.raises(NotAllowed, match="another supervisor"):
        _close(evidence, measured_by, stands=True)
    with pytest.raises(GateOpen, match="only withdrawn"):
        _close(evidence, turned, stands=True)

    visit = Visit(app)
    visit.sign_in("ines")
    page = visit.get("/recalls").text
    assert [panel.code in page for panel in panels] == [True] * 4
    assert loose.code not in page
    fields = {"password": PASSWORD}
    for panel, choice in ((kept, "stands"), (withdrawn, "withdrawn")):
        fields[f"stands:{panel.code}"] = choice
        fields[f"reason:{panel.code}"] = REASON
        fields[f"seen:{panel.code}"] = case(database, panel).seen
    refused = visit.post("/recalls", **(fields | {f"reason:{kept.code}": "short"}))
    assert refused.status_code == 422
    assert REASON in refused.text
    assert visit.post("/recalls", **fields).status_code == 303

    found = case(database, kept)
    assert found.standing is Standing.RELEASED
    assert found.facts.open_holds == ()
    made = found.facts.decisions[-1]
    assert (made.kind, made.meaning) == (
        DecisionKind.CONFIRMED,
        "I have reviewed what was learnt since, and this release stands",
    )
    held = case(database, withdrawn)
    assert held.standing is Standing.HELD
    assert len(held.facts.open_holds) == 1
    assert held.facts.decisions[-1].kind is DecisionKind.WITHDRAWN
    with database.read() as session:
        assert misstated(session) == []
    told = visit.get("/").text
    assert "2 panels that were in use are recalled" in told


def test_what_a_form_turns_is_recalled_before_its_answer_leaves(
    evidence: Evidence, app: FastAPI
) -> None:
    database = evidence.database
    app.add_middleware(AfterActs, look=Recalling(database, UTC).look_soon)
    (load, turned, _), (_, other, _) = _released(evidence), _released(evidence)
    with database.write() as session:
        evidence.leak(session, load, turned, "does_not_conform")
        _enter(session, Tag.LEAK_CHECKED, "load", load.code)
    visit = Visit(app)
    visit.sign_in("mara")
    assert visit.post(f"/panels/{other.code}/hold", reason=" ").status_code == 422
    assert visit.post(f"/panels/{other.code}/hold", reason="A dent.").status_code == 303
    assert case(database, turned).standing is Standing.RECALLED


def test_a_long_look_goes_on_where_it_was_ended_and_makes_nobody_wait(
    evidence: Evidence, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = evidence.database
    monkeypatch.setattr(watching, "_AT_ONCE", 1)
    turned = []
    for _ in range(3):
        load, panel, _ = _released(evidence)
        with database.write() as session:
            evidence.leak(session, load, panel, "does_not_conform")
            _enter(session, Tag.LEAK_CHECKED, "load", load.code)
        turned.append(panel.code)
    asked = iter([True, False])
    ended = service.recall_changed(
        database, since=None, at=AFTER, zone=UTC, go_on=lambda: next(asked)
    )
    assert ended == (None, turned[:2])
    assert _look(evidence) == turned[2:]
    assert _look(evidence) == []


def test_nobody_waits_behind_a_long_look(
    evidence: Evidence, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on, looks = Event(), []

    def long_look(*_: Any, **given: Any) -> tuple[None, list[str]]:
        looks.append(given["since"])
        assert go_on.wait(30)
        return None, []

    monkeypatch.setattr(recalling, "recall_changed", long_look)
    monkeypatch.setattr(recalling, "_LONGEST_WAIT_S", 0.05)
    looker = Recalling(evidence.database, UTC)
    looker.look_soon()
    monkeypatch.setattr(recalling, "_LONGEST_WAIT_S", 30)
    looker.look_soon()
    # Had the second waited, the first could not have gone on before it: it has not, by now.
    assert len(looks) == 1
    go_on.set()
    looker.begin().result(30)
    looker.close()
    assert len(looks) == 3
