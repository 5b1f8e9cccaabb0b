"""Holds on what panels rest on: how far they reach, placed and lifted, and what they stop."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event, func, select

from app.audit.records import TrailEntry
from app.bench.service.sessions import open_session
from app.database import Database
from app.equipment.records import (
    FurnaceCheck,
)
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.verdict import Outcome
from app.loads.records import (
    LeakCheck,
    LoadCancellation,
    LoadPanel,
)
from app.loads.service.run import start_findings
from app.panels.records import (
    Decided,
    Descent,
    Hold,
    HoldCause,
    HoldOn,
    Panel,
    PanelDescent,
    UpstreamHold,
)
from app.people.records import Meaning, Signature
from app.release import service
from app.release.queries.dependants import panels_resting_on, upstream_holds_on
from app.release.queries.upstream import still_held_by
from app.release.service import HeldThing
from tests.makers import NOW, Shop, bind
from tests.release.evidence_rows import LATER, Evidence
from tests.release.rows_graph import edges_of, reached
from tests.visits import PASSWORD, Visit, words

UTC = ZoneInfo("UTC")
WHY = "Its thermocouple was found loose."
FOUND = "Measured against a reference; nothing was wrong with it."


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _hold(evidence: Evidence, kind: HoldOn, code: str, **limits: Any) -> tuple[int, int]:
    thing = HeldThing(kind, code, **limits)
    by = evidence.shop.auditor
    return service.place_upstream_hold(evidence.database, thing, reason=WHY, by=by, at=LATER)


def _filled(evidence: Evidence) -> None:
    """Three panels with their evidence, one of them divided, and a load that was cancelled."""
    evidence.ready()
    load, _, _ = evidence.ready()
    _, parent, coupons = evidence.ready(verdicts=False, leak=False)
    shop = evidence.shop
    cancelled, _, _, _ = shop.panel_in_load()
    with evidence.database.write() as session:
        evidence.measured(session, coupons, by_id=shop.second.id)
        child = shop.panel(session)
        signature = Signature(
            person_id=shop.supervisor.id,
            printed_name="Ines Valcourt",
            meaning=Meaning.DIVIDED,
            signed_at=NOW,
            content_sha256="0" * 64,
        )
        bind(session, signature)
        came = PanelDescent(
            panel_id=child.id,
            parent_id=parent.id,
            kind=Descent.DIVIDED,
            reason="sawn in two",
            signature_id=signature.id,
            by_id=shop.supervisor.id,
            at=NOW,
        )
        given_up = LoadCancellation(
            load_id=cancelled.id, reason="furnace needed", by_id=shop.engineer.id, at=NOW
        )
        bind(session, came)
        bind(session, given_up)
        bind(
            session,
            LeakCheck(
                load_id=load.id,
                panel_id=session.scalars(
                    select(LoadPanel.panel_id).filter_by(load_id=load.id)
                ).one(),
                start_kpa=Decimal(88),
                end_kpa=Decimal(87),
                minutes=Decimal(5),
                limit_kpa=Decimal(2),
                outcome="conforms",
                by_id=shop.second.id,
                taken_at=NOW,
                entered_at=NOW,
                gauge_id=shop.gauge(session, "VG-2"),
            ),
        )


def test_a_hold_reaches_what_a_walk_over_all_rows_reaches(evidence: Evidence) -> None:
    _filled(evidence)
    with evidence.database.read() as session:
        edges = edges_of(session)
        starts = sorted((kind, code) for kind, code in edges if kind in {k.value for k in HoldOn})
        kinds = {kind for kind, _ in starts}
        reaches = {}
        for kind, code in starts:
            found = panels_resting_on(session, HoldOn(kind), code)
            reaches[kind, code] = {panel.id for panel in found}
            assert reaches[kind, code] == reached(edges, (kind, code)), (kind, code)
        paths = {
            panel.code: panel.path for panel in panels_resting_on(session, HoldOn.TESTER, "HT-1")
        }
        every = set(session.scalars(select(Panel.id)))
    assert len(kinds) == 11
    assert len({frozenset(panels) for panels in reaches.values()}) > 5
    assert paths["P-0001"] == "coupon C-0001-1, session 1, tester HT-1"
    assert paths["P-0005"].startswith("panel P-0003, coupon C-0003-1, session 3")
    # Read back from the panels, the same holds touch the same panels, by the same ways.
    for kind, code in starts:
        _hold(evidence, HoldOn(kind), code)
    with evidence.database.read() as session:
        touched = upstream_holds_on(session, every)
        ways = {
            (one.kind, one.code, key): one.path
            for key, several in touched.items()
            for one in several
        }
        for (kind, code), panels in reaches.items():
            assert {key for k, c, key in ways if (k, c) == (kind, code)} == panels, (kind, code)
        forward = {
            panel.id: panel.path for panel in panels_resting_on(session, HoldOn.FURNACE, "FN-1")
        }
        assert {k: way for (kind, _, k), way in ways.items() if kind == "furnace"} == forward


def test_a_window_takes_only_what_ran_in_it(evidence: Evidence) -> None:
    _, early, _ = evidence.ready()
    later = NOW + timedelta(days=40)
    load, late, _, _ = evidence.shop.panel_in_load(start=later)
    shop = evidence.shop

    def found(kind: HoldOn, code: str, **limits: Any) -> set[str]:
        with evidence.database.read() as session:
            return {one.code for one in panels_resting_on(session, kind, code, **limits)}

    # The record of the early one runs from NOW for 90,000 s; the late one is planned for 6 h.
    ends = NOW + timedelta(seconds=90_000)
    second = timedelta(seconds=1)
    assert found(HoldOn.FURNACE, "FN-1") == {early.code, late.code}
    assert found(HoldOn.FURNACE, "FN-1", since=ends) == {early.code, late.code}
    assert found(HoldOn.FURNACE, "FN-1", since=ends + second) == {late.code}
    assert found(HoldOn.FURNACE, "FN-1", until=NOW) == {early.code}
    assert found(HoldOn.FURNACE, "FN-1", until=NOW - second) == set()
    assert found(HoldOn.FURNACE, "FN-1", since=later + timedelta(hours=6)) == {late.code}
    assert found(HoldOn.FURNACE, "FN-1", since=later + timedelta(hours=6) + second) == set()
    assert found(HoldOn.TESTER, "HT-1", since=NOW, until=NOW) == {early.code}
    assert found(HoldOn.TESTER, "HT-1", since=NOW + second) == set()
    assert found(HoldOn.PERSON, "deniz", since=NOW) == set()
    assert early.code in found(HoldOn.PERSON, "MARA", until=NOW)
    assert found(HoldOn.CYCLE, "CY-1", revision="A", since=later) == {late.code}
    for kind, code, limits, kept in (
        (HoldOn.LOAD, load.code, {"since": NOW}, Refusal),
        (HoldOn.FURNACE, "FN-1", {"revision": "A"}, Refusal),
        (HoldOn.CYCLE, "CY-1", {"revision": "Z"}, NotFound),
        (HoldOn.FURNACE, "F-9", {}, NotFound),
        (HoldOn.CYCLE, "AT-1", {}, NotFound),
        (HoldOn.PERSON, "nobody", {}, NotFound),
    ):
        with pytest.raises(kept):
            found(kind, code, **limits)
    # A hold on some time touches, read back from the panels, those of that time.
    _hold(evidence, HoldOn.FURNACE, "FN-1", until=NOW)
    with evidence.database.read() as session:
        touched = upstream_holds_on(session, [early.id, late.id])
        assert (len(touched[early.id]), touched[late.id]) == (1, ())
        # It stands against no load of another time.
        findings = start_findings(session, load, started_at=later, at=later, zone=UTC)
    assert "plan.held" not in {one.code for one in findings}
    assert shop.furnace_id == load.furnace_id


def test_a_hold_holds_everything_below_it_in_one_go_and_stops_what_is_to_come(
    evidence: Evidence,
) -> None:
    shop, database = evidence.shop, evidence.database
    _, ready, _ = evidence.ready()
    _, scrapped, _ = evidence.ready()
    load, planned, _, _ = shop.panel_in_load()
    with database.write() as session:
        gone = session.get_one(Panel, scrapped.id)
        gone.decided = Decided.SCRAPPED
        bind(session, gone)
        entries = session.scalar(select(func.count()).select_from(TrailEntry))
        assert upstream_holds_on(session, [ready.id]) == {ready.id: ()}
    with pytest.raises(Refusal, match="Say why"):
        service.place_upstream_hold(
            database, HeldThing(HoldOn.FURNACE, "FN-1"), reason=" ", by=shop.auditor, at=LATER
        )
    number, count = _hold(evidence, HoldOn.FURNACE, "FN-1")
    assert count == 2
    with database.read() as session:
        held = session.scalars(select(Hold).order_by(Hold.panel_id)).all()
        assert [one.panel_id for one in held] == [ready.id, planned.id]
        assert {(one.cause, one.upstream_hold_id) for one in held} == {(HoldCause.UPSTREAM, number)}
        first = "Furnace FN-1 is on hold (by load L-0001, furnace FN-1): " + WHY
        assert held[0].reason == first
        assert session.get_one(UpstreamHold, number).panels_found == 2
        grown = session.scalar(select(func.count()).select_from(TrailEntry))
        assert grown == (entries or 0) + 3
        against = [
            one
            for one in start_findings(session, load, started_at=NOW, at=NOW, zone=UTC)
            if one.code == "plan.held"
        ]
    told = " ".join(one.text for one in against)
    assert {one.outcome for one in against} == {Outcome.DOES_NOT_CONFORM}
    assert f"Furnace FN-1 is on hold, placed by Olek Farrow: {WHY}" in told
    assert f"Panel {planned.code} is on hold" in told
    _hold(evidence, HoldOn.TESTER, "HT-1")
    with pytest.raises(Conflict, match="Tester HT-1 is on hold, placed by Olek Farrow"):
        open_session(database, tester_code="HT-1", by=shop.inspector, at=NOW, zone=UTC)


def test_a_supervisor_who_is_not_concerned_lifts_it_and_panels_stay_held(
    evidence: Evidence,
) -> None:
    shop, database = evidence.shop, evidence.database
    _, panel, _ = evidence.ready()
    number, _ = _hold(evidence, HoldOn.FURNACE, "FN-1")
    about_her, _ = _hold(evidence, HoldOn.PERSON, "ines")
    given = {"finding": FOUND, "password": PASSWORD, "by": shop.supervisor, "at": LATER}
    for changed, kept, sentence in (
        ({"by": shop.engineer}, NotAllowed, "supervisor"),
        ({"finding": "too short"}, Refusal, "10 signs"),
        ({"password": "wrong"}, Refusal, "assword"),
    ):
        with pytest.raises(kept, match=sentence):
            service.lift_upstream_hold(database, number, **{**given, **changed})
    with pytest.raises(NotAllowed, match="The hold is about you"):
        service.lift_upstream_hold(database, about_her, **given)
    with database.write() as session:
        check = session.scalars(select(FurnaceCheck).limit(1)).one()
        failed = {column.name: getattr(check, column.name) for column in FurnaceCheck.__table__.c}
        failed |= {"id": None, "passed": False, "entered_by_id": shop.supervisor.id}
        other = FurnaceCheck(**failed)
        bind(session, other)
    with pytest.raises(NotAllowed, match="last report on which FN-1 failed"):
        service.lift_upstream_hold(database, number, **given)
    gauge, _ = _hold(evidence, HoldOn.VACUUM_GAUGE, "VG-1")
    service.lift_upstream_hold(database, gauge, **given)
    with pytest.raises(Conflict, match="lifted already"):
        service.lift_upstream_hold(database, gauge, **given)
    with database.read() as session:
        still = still_held_by(session, gauge)
        assert [(one.code, one.needs) for one in still] == [
            (panel.code, "held: a supervisor disposes of the hold")
        ]
        assert {one.id for one in upstream_holds_on(session, [panel.id])[panel.id]} == {
            number,
            about_her,
        }


def test_asking_while_nothing_is_held_costs_one_statement(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    asked: list[str] = []
    with evidence.database.read() as session:
        connection = session.connection()
        event.listen(connection, "before_cursor_execute", lambda *seen: asked.append(seen[2]))
        assert upstream_holds_on(session, [panel.id]) == {panel.id: ()}
    assert len(asked) == 1


def test_holds_on_people_need_few_statements_however_many_they_are(evidence: Evidence) -> None:
    _filled(evidence)
    with evidence.database.read() as session:
        every = list(session.scalars(select(Panel.id)))
    counts = []
    for who in (("ines",), ("mara", "olek")):
        for name in who:
            _hold(evidence, HoldOn.PERSON, name)
        asked: list[str] = []
        with evidence.database.read() as session:
            connection = session.connection()
            event.listen(connection, "before_cursor_execute", lambda *seen: asked.append(seen[2]))  # noqa: B023 - read at once
            touched = upstream_holds_on(session, every)
        assert any(touched.values())
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 10


def test_holding_from_a_page_with_one_reason_and_its_tag(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("olek")
    page = visit.get("/furnaces/FN-1")
    assert 'href="/holds/place?kind=furnace&amp;code=FN-1" data-hold' in page.text
    form = visit.get("/holds/place?kind=furnace&code=FN-1")
    assert "1 panel , 0 of them released" in words(form.text)
    assert "load L-0001, furnace FN-1" in form.text
    assert 'name="reason" type="text"' in form.text
    none = visit.get("/holds/place?kind=furnace&code=FN-1&until=2001-01-01")
    assert "No panel rests on it so far" in none.text
    wrong = visit.post("/holds/place", kind="furnace", code="FN-1", reason=WHY, since="soon")
    assert (wrong.status_code, WHY in wrong.text) == (422, True)
    assert visit.get("/holds/place?kind=nothing&code=FN-1").status_code == 422
    assert visit.get("/holds/place?kind=furnace&code=F-9").status_code == 404
    shown = visit.follow(visit.post("/holds/place", kind="furnace", code="FN-1", reason=WHY))
    assert "1 panel was put on hold with it" in words(shown.text)
    assert f'href="/panels/{panel.code}/decision"' in shown.text
    assert "Already on hold" in visit.get("/holds/place?kind=furnace&code=FN-1").text
    dossier = words(visit.get(f"/panels/{panel.code}").text)
    assert "brought about by something it rests on is on hold" in dossier
    assert "Furnace FN-1" not in words(visit.get("/places").text)
    for address in (
        "/holds/1/tag",
        f"/panels/{panel.code}/tag",
        f"/panels/{panel.code}/tag?size=label",
    ):
        tag = visit.get(address)
        assert tag.status_code == 200
        assert "Printed copy, check status by scanning" in tag.text
        assert '<path fill="#fff"' in tag.text
        assert WHY in tag.text
    assert WHY in visit.get("/holds").text
    held = visit.post("/holds/place", kind="panel", code=panel.code, reason="A scratch.")
    assert held.headers["location"] == f"/panels/{panel.code}"
    visit.sign_in("ines")
    lifted = visit.follow(visit.post("/holds/1/lift", finding=FOUND, password=PASSWORD))
    assert "Hold 1 is lifted" in lifted.text
    assert visit.get("/holds/1/tag").status_code == 409
    assert FOUND in visit.get("/holds").text
