"""Panels that come of panels: nothing that was on record is lost by another identity."""

import itertools
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.audit.records import Identity
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.verdict import Verdict
from app.loads import queries as loads_queries
from app.loads.records import Load, LoadPanel
from app.panels import queries as panels
from app.panels.records import Hold, HoldCause, Panel, PanelDescent
from app.panels.service import put_on_hold, recall
from app.release import service
from app.release.queries.decisions import misstated
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dividing import Piece, check_pieces, pieces_from_lines, why_under_way
from app.release.rules.exposure import RunOnRecord, ledger
from app.release.rules.standing import Standing
from tests.makers import NOW, Shop, bind
from tests.release.evidence_rows import LATER, Evidence, case
from tests.release.nonconformance_makers import approved
from tests.release.test_rules import LOAD, PANEL
from tests.visits import PASSWORD, Visit, words

UTC = ZoneInfo("UTC")
WHY = "Cut as the invented cutting plan says."
HALVES = (Piece("H-1", Decimal(7000), Decimal(2600)), Piece("H-2", Decimal(7000), Decimal(2600)))


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


@pytest.fixture
def trees(sqlite_url: str) -> Evidence:
    database = Database(sqlite_url)
    return Evidence(database, Shop(database))


def _divide(
    evidence: Evidence, code: str, *pieces: Piece, at: datetime = LATER, **changed: Any
) -> list[str]:
    asked: dict[str, Any] = {
        "drawing": "",
        "reason": WHY,
        "password": PASSWORD,
        "by": evidence.shop.second,
        "at": at,
        "zone": UTC,
    }
    return service.divide_panel(evidence.database, code, pieces, **(asked | changed))


def _mark(evidence: Evidence, code: str, new: str, at: datetime = LATER) -> str:
    return service.mark_anew(
        evidence.database,
        code,
        new,
        reason=WHY,
        password=PASSWORD,
        by=evidence.shop.second,
        at=at,
        zone=UTC,
    )


def _case(evidence: Evidence, code: str) -> service.Case:
    with evidence.database.read() as session:
        panel = session.scalars(select(Panel).where(Panel.code == code)).one()
    return case(evidence.database, panel)


def test_what_a_panel_had_is_carried_on(evidence: Evidence) -> None:
    """One case: a released panel is divided, a piece is marked anew, and both stand on evidence."""
    load, panel, coupons = evidence.ready()
    third = evidence.shop.second
    seen = case(evidence.database, panel).seen
    sign = {"password": PASSWORD, "at": LATER, "zone": UTC}
    service.release_panel(evidence.database, panel.code, seen=seen, by=third, **sign)
    before = case(evidence.database, panel)
    assert _divide(evidence, panel.code, *HALVES, drawing="DRW-2") == ["H-1", "H-2"]
    assert _mark(evidence, "H-2", "H-3") == "H-3"

    assert _case(evidence, panel.code).standing is Standing.REPLACED
    assert _case(evidence, "H-2").standing is Standing.REPLACED
    for code in ("H-1", "H-3"):
        made = _case(evidence, code)
        assert (made.standing, made.recommendation) == (Standing.READY, Verdict.CONFORMS)
        assert [one.code for one in made.facts.loads] == [load.code]
        assert made.facts.takers == before.facts.takers != frozenset()
        assert made.facts.decisions == ()
        assert (made.facts.lot_code, made.facts.order_number) == (
            before.facts.lot_code,
            before.facts.order_number,
        )
        assert made.facts.drawing == "DRW-2"
    inherited = _case(evidence, "H-3").facts.loads[0].earlier_self
    assert inherited is not None
    assert inherited.code == panel.code

    # The next treatment counts on, so that another name buys none.
    with evidence.database.read() as session:
        keys = list(session.scalars(select(Panel.id).where(Panel.code.in_(["H-1", "H-3"]))))
        taken = loads_queries.loads_of_panels(session, keys)
        assert [[one.code for one in several] for several in taken.values()] == [[load.code]] * 2
        assert misstated(session) == []
        whole = {one.code: one.id for one in session.scalars(select(Panel))}
        assert panels.heirs(session, [panel.id, whole["H-1"]]) == {
            panel.id: (whole["H-1"], whole["H-2"], whole["H-3"])
        }
    # A doubt about a coupon of the first one finds what came of it.
    with evidence.database.write() as session:
        held = put_on_hold(
            session,
            [panel.id],
            reason="a coupon is missing",
            cause=HoldCause.COUPON_TROUBLE,
            by=third,
            at=LATER,
        )
    assert held == ["H-1", "H-3"]
    seen = _case(evidence, "H-1").seen
    assert _case(evidence, "H-1").standing is Standing.HELD
    assert len(coupons) > 0
    assert seen


def test_a_released_piece_is_recalled_for_what_its_parent_went_through(
    evidence: Evidence,
) -> None:
    _, panel, _ = evidence.ready()
    _divide(evidence, panel.code, *HALVES)
    sign = {"password": PASSWORD, "at": LATER, "zone": UTC}
    seen = _case(evidence, "H-1").seen
    service.release_panel(evidence.database, "H-1", seen=seen, by=evidence.shop.second, **sign)
    with evidence.database.write() as session:
        when = LATER + timedelta(hours=1)
        told = recall(
            session, [panel.id], reason="judged anew", by=evidence.shop.inspector, at=when
        )
    assert told == ["H-1"]
    assert _case(evidence, "H-1").standing is Standing.RECALLED


def test_open_holds_and_nonconformances_hold_every_piece(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    by = evidence.shop.auditor
    service.place_hold(evidence.database, panel.code, reason="dropped", by=by, at=LATER)
    number = approved(evidence.database, panel)
    _divide(evidence, panel.code, *HALVES)
    with evidence.database.read() as session:
        rows = session.execute(
            select(Panel.code, Hold.cause, Hold.reason).join(Hold, Hold.panel_id == Panel.id)
        ).all()
    carried = [row for row in rows if row.cause is HoldCause.PARENT_HELD]
    assert sorted(row.code for row in carried) == ["H-1", "H-1", "H-2", "H-2"]
    assert {row.reason.split(",")[0] for row in carried} == {
        panel.code,
        f"{number} of {panel.code}",
    }
    assert _case(evidence, "H-1").standing is Standing.HELD


def test_what_is_refused(evidence: Evidence) -> None:
    """Each refusal leaves nothing behind: one panel, no descent."""
    _, panel, coupons = evidence.ready()
    load, under_way, _, _ = evidence.shop.panel_in_load()
    mine = panel.code

    def cases() -> list[tuple[type[Exception], str, Callable[[], object]]]:
        large = Piece("H-9", Decimal(7000), Decimal(2700))
        taken = Piece(coupons[0].code, Decimal(10), Decimal(10))
        auditor = evidence.shop.auditor
        return [
            (Refusal, "record of load", lambda: _divide(evidence, under_way.code, *HALVES)),
            (Refusal, "record of load", lambda: _mark(evidence, under_way.code, "NEW-1")),
            (Refusal, "does not fit", lambda: _divide(evidence, mine, large)),
            (
                Refusal,
                "more than",
                lambda: _divide(evidence, mine, *HALVES, Piece("H-3", *(Decimal(1),) * 2)),
            ),
            (Refusal, "twice", lambda: _divide(evidence, mine, HALVES[0], HALVES[0])),
            (Refusal, "ten|10", lambda: _divide(evidence, mine, *HALVES, reason="cut")),
            (Refusal, "password", lambda: _divide(evidence, mine, *HALVES, password="wrong")),
            (NotAllowed, "may not|inspector", lambda: _divide(evidence, mine, *HALVES, by=auditor)),
            (Conflict, "never reused", lambda: _divide(evidence, mine, HALVES[0], taken)),
            (Conflict, "never reused", lambda: _mark(evidence, mine, mine)),
        ]

    for kind, said, act in cases():
        with pytest.raises(kind, match=said):
            act()
    with evidence.database.read() as session:
        assert session.scalars(select(PanelDescent)).all() == []
        assert session.get(Identity, "H-1") is None
    assert load.code


def test_pieces_are_read_a_line_each_and_must_come_out_of_the_panel() -> None:
    read = pieces_from_lines("h-1 900 400\n\n h-2;900,5;400 ")
    assert read == [
        Piece("H-1", Decimal(900), Decimal(400)),
        Piece("H-2", Decimal("900.5"), Decimal(400)),
    ]
    for typed, said in (
        ("", "at least one"),
        ("H-1 900", "Line 1"),
        ("H-1 900 400\nH-2 wide 3", "Line 2"),
        ("H-1 900 -1", "above 0"),
        ("H-1 NaN 1", "above 0"),
    ):
        with pytest.raises(Refusal, match=said) as refused:
            pieces_from_lines(typed)
        assert list(refused.value.fields) == ["pieces"]
    sheet = (Decimal(1000), Decimal(500))
    check_pieces("P", *sheet, [Piece("A", Decimal(500), Decimal(1000))])  # laid across, all of it
    with pytest.raises(Refusal, match="does not fit"):
        check_pieces("P", *sheet, [Piece("A", Decimal("1000.1"), Decimal(1))])
    with pytest.raises(Refusal, match="at most 50"):
        check_pieces("P", *sheet, [Piece(f"A{n}", Decimal(1), Decimal(1)) for n in range(51)])


def test_the_ledger_counts_every_load_and_says_whether_one_more_is_permitted() -> None:
    """Figures worked out by hand: 3 h in the furnace, a 2 h soak, half an hour of it below."""
    stage = {
        "start_s": 1800.0,
        "elapsed_s": 7200.0,
        "in_band_s": 4500.0,
        "excursions": [
            {"from_s": 2000.0, "to_s": 3800.0, "side": "below"},
            {"from_s": 5000.0, "to_s": 5900.0, "side": "above"},
        ],
    }
    paper = {"stages": [stage], "equivalent_time_s": {"A": 7300.0, "B": 7100.0}}
    hours = {n: NOW + timedelta(hours=n) for n in range(8)}
    ran = replace(LOAD, id=1, code="L-1")
    gone = replace(LOAD, id=2, code="L-2", record=None)
    waits = replace(LOAD, id=3, code="L-3", record=None)
    facts = replace(PANEL, loads=(ran, gone, waits), treatments_before=1, treatments_most=5)
    told = ledger(
        facts,
        {
            1: RunOnRecord(None, None, None, 10800.0, paper),
            2: RunOnRecord(hours[0], hours[1], hours[6]),
            3: RunOnRecord(),
        },
    )
    assert [(one.load, one.number, one.state) for one in told.lines] == [
        ("L-1", 2, "conforms"),
        ("L-2", 3, "aborted, no record"),
        ("L-3", 4, "planned, not started"),
    ]
    first, second, _ = told.lines
    assert (first.furnace_s, first.above_s, first.in_band_s) == (10800.0, 5400.0, 4500.0)
    assert first.equivalent_s == 7100.0
    assert (second.furnace_s, second.above_s) == (3600.0, None)
    assert (told.furnace_s, told.above_s, told.in_band_s) == (14400.0, 5400.0, 4500.0)
    assert told.onward == "4 of at most 5. One more, number 5, is permitted."
    full = ledger(replace(facts, treatments_most=4), {})
    assert full.onward == "4 of at most 4. One more, number 5, is refused."
    assert why_under_way(replace(facts, loads=(ran,))) is None
    assert "L-2" in (why_under_way(facts) or "")


_OPERATIONS = st.lists(
    st.tuples(st.sampled_from(["divide", "mark", "load"]), st.integers(0, 50)), max_size=7
)
_numbers = itertools.count(1)


@settings(
    max_examples=10,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(operations=_OPERATIONS)
def test_no_tree_of_divisions_and_new_marks_loses_a_treatment(
    trees: Evidence, operations: list[tuple[str, int]]
) -> None:
    """Against a plain count that each piece takes over from the one it came of."""
    evidence, at = trees, LATER
    with evidence.database.write() as session:
        first = evidence.shop.panel(session).code
    counted = {first: 0}
    for what, which in operations:
        at += timedelta(minutes=1)
        code = sorted(counted)[which % len(counted)]
        new = f"T-{next(_numbers)}"
        if what == "load":
            _run(evidence, code, new, at)
            counted[code] += 1
            continue
        before = counted.pop(code)
        if what == "mark":
            counted[_mark(evidence, code, new, at)] = before
        else:
            with evidence.database.read() as session:
                panel = session.scalars(select(Panel).where(Panel.code == code)).one()
            half = (panel.length_mm / 2, panel.width_mm)
            pieces = [Piece(f"{new}-{side}", *half) for side in "AB"]
            counted |= dict.fromkeys(_divide(evidence, code, *pieces, at=at), before)
    with evidence.database.read() as session:
        keys = dict(
            session.execute(select(Panel.id, Panel.code).where(Panel.code.in_(counted))).all()
        )
        facts = panel_facts(session, keys, zone=UTC)
        planned = loads_queries.loads_of_panels(session, list(keys))
    assert {one.code: len(one.loads) for one in facts.values()} == counted
    assert {keys[key]: len(several) for key, several in planned.items()} == counted
    assert {one.treatments_most for one in facts.values()} == {1}


def _run(evidence: Evidence, code: str, load_code: str, at: datetime) -> None:
    """The panel is aged once more, as rows."""
    shop = evidence.shop
    with evidence.database.write() as session:
        panel = session.scalars(select(Panel).where(Panel.code == code)).one()
        load = Load(
            code=f"L-{load_code}",
            furnace_id=shop.furnace_id,
            cycle_revision_id=shop.cycle_revision_id,
            planned_start=NOW,
            planned_end=NOW + timedelta(hours=6),
            vacuum_gauge_id=shop.gauge_id,
            planned_by_id=shop.engineer.id,
            planned_at=at,
        )
        bind(session, Identity(code=load.code, kind="load", given_at=at), load)
        bind(
            session,
            LoadPanel(
                load_id=load.id,
                panel_id=panel.id,
                table_revision_id=shop.table_revision_id,
                former="FORMER-1",
                treatment_number=1,
                x_mm=Decimal(0),
                y_mm=Decimal(0),
                turned=False,
            ),
        )
        evidence.record(session, load)
        evidence.unwrapping(session, load, panel)


def test_the_pages_divide_mark_anew_and_lead_on(evidence: Evidence, visit: Visit) -> None:
    load, panel, _ = evidence.ready()
    visit.sign_in(evidence.shop.second.username)
    dossier = words(visit.get(f"/panels/{panel.code}").text)
    assert "1 of at most 1. One more, number 2, is refused." in dossier
    address = f"/panels/{panel.code}/divide"
    assert "Divide or mark anew" in dossier
    assert "count for every piece" in words(visit.get(address).text)
    sent = {"pieces": "H-1 7000 wide", "drawing": "DRW-2", "reason": WHY, "password": PASSWORD}
    refused = visit.post(address, **sent)
    assert refused.status_code == 422
    assert "Line 1" in words(refused.text)
    assert "H-1 7000 wide" in refused.text
    assert PASSWORD not in refused.text
    taken = visit.post(address, **sent | {"pieces": "H-1 7000 2600\nH-2 7000 2600"})
    parent = visit.follow(taken).text
    assert "/panels/H-1" in parent
    assert "It was replaced by H-1, H-2" in words(parent)
    new = visit.post("/panels/H-2/mark-anew", code="h-3", reason=WHY, password=PASSWORD)
    child = visit.follow(new).text
    assert 'href="/panels/H-2"' in child
    told = words(child)
    assert f"{load.code} as {panel.code}" in told
    assert "1 of at most 1" in told
    assert "H-2 was replaced" in words(visit.get("/panels/H-2/divide").text)
    assert visit.get("/find?q=H-2").headers["location"].endswith("/panels/H-2")
