"""The power fails at every single write of a decision, and before its commit: nothing is kept.

Each act is tried again and again, failing one write later each time, until it goes through.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import event

from app.bench import service as bench_service
from app.bench.records import VoidCause
from app.database import Database
from app.equipment import service as equipment
from app.equipment.rules.reports import SentFile
from app.loads import service as loads
from app.loads.bags.bag import LeakReading
from app.loads.trouble_records import TroubleKind, TroubleOutcome
from app.panels import service as panels
from app.panels.records import Custody
from app.people import service as people
from app.people.rights import Role
from app.release import service as release
from app.release.rules.facts import DecisionKind
from app.requirements import service as requirements
from tests.bench.bench_makers import Bench
from tests.loads.logger_files import columns, run, sources
from tests.loads.pictures import picture
from tests.loads.plans import START, a_plan, make_material
from tests.makers import NOW, TABLE_PAPER
from tests.release.evidence_rows import LATER, Evidence, case
from tests.release.nonconformance_makers import approved
from tests.robustness.whole_record import contents, moved
from tests.visits import PASSWORD

AT = NOW + timedelta(hours=8)
MOST_WRITES = 40
Act = Callable[[], object]


class PowerFailed(Exception):
    """What the tests raise in the middle of a decision."""


class Scene:
    """The invented shop, ready for any of the acts below."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.bench = Bench(database, retest={"further": 1, "of": "sets"})
        self.shop = self.bench.shop
        self.evidence = Evidence(database, self.shop)


def receive_lot(scene: Scene) -> Act:
    material = panels.Material("Q-77", "W", "plate", Decimal("12.5"), "bare")
    return lambda: panels.receive_lot(
        scene.database,
        code="LOT-9",
        material=material,
        cast="CAST-9",
        certificate="MC-9",
        received_on=date(2026, 2, 27),
        by=scene.shop.inspector,
        at=AT,
    )


def register_panel(scene: Scene) -> Act:
    return lambda: panels.register_panel(
        scene.database,
        code="P-9",
        lot="LOT-1",
        drawing="DRW-9",
        order_number="ORD-9",
        target_temper="K1",
        length_mm=Decimal(9000),
        width_mm=Decimal(2000),
        treatments_most=1,
        treatments_before=0,
        by=scene.shop.inspector,
        at=AT,
    )


def register_coupons(scene: Scene) -> Act:
    return lambda: panels.register_coupons(
        scene.database,
        lot="LOT-1",
        codes=["C-91", "C-92"],
        place="rack",
        by=scene.shop.inspector,
        at=AT,
    )


def register_sensor(scene: Scene) -> Act:
    return lambda: equipment.register_sensor(
        scene.database, code="TC-9", thermocouple_type="N", by=scene.shop.engineer, at=AT
    )


def register_block(scene: Scene) -> Act:
    figures = equipment.BlockFigures(
        certified_value=Decimal("84.1"), permitted_error=Decimal("1.0"), indents_most=100
    )
    return lambda: equipment.register_block(
        scene.database,
        code="RB-9",
        quantity="hardness",
        unit="HRB",
        figures=figures,
        expires_on=date(2027, 1, 1),
        certificate="BC-9",
        file=SentFile("BC-9.pdf", b"%PDF- invented"),
        by=scene.shop.engineer,
        at=AT,
    )


def place_quarantine(scene: Scene) -> Act:
    return lambda: equipment.place_quarantine(
        scene.database, tester="HT-1", reason="The anvil rocks.", by=scene.shop.inspector, at=AT
    )


def lift_quarantine(scene: Scene) -> Act:
    place_quarantine(scene)()
    return lambda: equipment.lift_quarantine(
        scene.database,
        tester="HT-1",
        reason="Seated again; two blocks read rightly.",
        password=PASSWORD,
        by=scene.shop.supervisor,
        at=AT,
    )


def write_table(scene: Scene) -> Act:
    return lambda: requirements.write_table(
        scene.database,
        code="AT-9",
        paper=json.dumps(TABLE_PAPER),
        filename="table.json",
        source_document="invented for the tests",
        by=scene.shop.engineer,
        at=AT,
    )


def plan_load(scene: Scene) -> Act:
    make_material(scene.shop)
    return lambda: loads.plan_load(
        scene.database, a_plan(), by=scene.shop.engineer, at=NOW, zone=UTC
    )


def check_leak(scene: Scene) -> Act:
    load, panel, *_ = scene.shop.panel_in_load()
    reading = LeakReading(Decimal("88.0"), Decimal("87.2"), Decimal(5))
    return lambda: loads.record_leak_check(
        scene.database,
        load.code,
        panel.code,
        reading,
        gauge="VG-1",
        taken_at=AT,
        by=scene.shop.inspector,
        at=AT,
        zone=UTC,
    )


def start_load(scene: Scene) -> Act:
    plan_load(scene)()
    reading = LeakReading(Decimal("88.0"), Decimal("87.2"), Decimal(5))
    loads.record_leak_check(
        scene.database,
        "L-1",
        "P-1",
        reading,
        gauge="VG-1",
        taken_at=START - timedelta(minutes=9),
        by=scene.shop.inspector,
        at=START,
        zone=UTC,
    )
    return lambda: loads.start_load(
        scene.database, "L-1", started_at=START, by=scene.shop.inspector, at=START, zone=UTC
    )


def end_load(scene: Scene) -> Act:
    start_load(scene)()
    out = START + timedelta(hours=6)
    return lambda: loads.end_load(
        scene.database, "L-1", ended_at=out, by=scene.shop.inspector, at=out, zone=UTC
    )


def cancel_load(scene: Scene) -> Act:
    plan_load(scene)()
    return lambda: loads.cancel_load(
        scene.database, "L-1", reason="fan broken", by=scene.shop.engineer, at=AT
    )


def accept_other_lot(scene: Scene) -> Act:
    make_material(scene.shop)
    with scene.database.write() as session:
        scene.shop.lot_id = scene.shop.lot(session, "LOT-8")
        scene.shop.coupon(session, "C-8")
    return lambda: loads.accept_other_lot(
        scene.database,
        "C-8",
        "P-1",
        reason="same cast",
        password=PASSWORD,
        by=scene.shop.supervisor,
        at=AT,
    )


def keep_photographs(scene: Scene) -> Act:
    load, panel, *_ = scene.shop.panel_in_load()
    pictures = [
        loads.Picture("one.jpg", picture()),
        loads.Picture("two.png", picture("PNG", colour="navy")),
    ]
    return lambda: loads.keep_photographs(
        scene.database,
        load.code,
        panel.code,
        pictures,
        finding_id=None,
        caption="",
        by=scene.shop.inspector,
        at=AT,
    )


def import_record(scene: Scene) -> Act:
    load, *_ = scene.shop.panel_in_load()
    return lambda: loads.import_record(
        scene.database,
        load.code,
        sources(run()),
        columns(),
        by=scene.shop.inspector,
        at=AT,
        zone=UTC,
    )


def exclude_sensor(scene: Scene) -> Act:
    import_record(scene)()
    return lambda: loads.exclude_sensor(
        scene.database,
        "L-0001",
        "TC2",
        reason="its wire broke",
        password=PASSWORD,
        by=scene.shop.supervisor,
        at=AT,
        zone=UTC,
    )


def unwrap(scene: Scene) -> Act:
    load, panel, coupons, _ = scene.shop.panel_in_load()
    scratch = loads.Found(
        kind="scratch", x=Decimal("0.2"), y=Decimal("0.5"), size_mm=Decimal(40), words=""
    )
    found = loads.Unwrapped(
        bag_intact=True,
        surface_clear=False,
        findings="",
        recovered=frozenset({coupons[0].code}),
        missing=frozenset({coupons[1].code}),
        searched="Searched in the bag and under the former.",
        places=(scratch,),
    )
    return lambda: loads.record_unwrapping(
        scene.database, load.code, panel.code, found, taken_at=AT, by=scene.shop.inspector, at=AT
    )


def hand_over(scene: Scene) -> Act:
    coupon = scene.bench.coupon()
    return lambda: panels.record_custody(
        scene.database,
        coupon=coupon.code,
        step=Custody.AT_BENCH,
        place="bench",
        by=scene.shop.inspector,
        at=AT,
    )


def hand_several_over(scene: Scene) -> Act:
    codes = [coupon.code for coupon in scene.bench.coupons(2)]
    given = panels.HandOver(Custody.AT_BENCH, "bench")
    return lambda: panels.record_hand_overs(
        scene.database, codes, given, by=scene.shop.inspector, at=AT
    )


def report_trouble(scene: Scene) -> Act:
    one, *_ = scene.bench.coupons(2)
    other, *_ = scene.bench.coupons(2)
    found = loads.Report(TroubleKind.DOUBLED, "Two coupons carry this mark.", one.code, other.code)
    return lambda: loads.report_trouble(
        scene.database, "L-0001", "P-0001", found, by=scene.shop.inspector, at=AT
    )


def answer_trouble(scene: Scene) -> Act:
    load, panel, (lost, _), _ = scene.shop.panel_in_load()
    found = loads.Report(TroubleKind.UNMARKED, "A bare coupon lay there.", lost.code)
    key = loads.report_trouble(
        scene.database, load.code, panel.code, found, by=scene.shop.inspector, at=AT
    )
    answer = loads.Answer(
        TroubleOutcome.IDENTIFIED, "I read the mark under a lens.", mark=lost.code
    )
    return lambda: loads.answer_trouble(
        scene.database, key, answer, password=PASSWORD, by=scene.shop.supervisor, at=AT
    )


def take_baseline(scene: Scene) -> Act:
    with scene.database.write() as session:
        coupon = scene.shop.coupon(session, "C-RAW").code
    number = scene.bench.open()
    taken = bench_service.ReadingsTaken(
        coupon, (Decimal("64.0"), Decimal("64.2")), "the form", spacing_confirmed=True
    )
    at = scene.bench.tick()
    return lambda: bench_service.record_baseline(
        scene.database, taken, session_id=number, by=scene.shop.inspector, at=at, zone=UTC
    )


def open_session(scene: Scene) -> Act:
    return lambda: bench_service.open_session(
        scene.database, tester_code="HT-1", by=scene.shop.inspector, at=AT, zone=UTC
    )


def close_session(scene: Scene) -> Act:
    coupons = scene.bench.coupons(2)
    number = scene.bench.open()
    for coupon in coupons:
        scene.bench.read(number, coupon, "84.5", "85.0", "85.5")
    return lambda: scene.bench.check(number, "HT-1", "closing")


def fail_a_check(scene: Scene) -> Act:
    coupons = [scene.bench.coupon(), scene.bench.coupon()]
    number = scene.bench.open()
    for coupon in coupons:
        scene.bench.read(number, coupon, "84.5", "85.0", "85.5")
    return lambda: scene.bench.check(number, "HT-1", "interim", "87.2", "87.4")


def take_readings(scene: Scene) -> Act:
    coupon = scene.bench.coupon()
    number = scene.bench.open()
    return lambda: scene.bench.read(number, coupon, "84.5", "85.0", "85.5", submission="the form")


def correct_reading(scene: Scene) -> Act:
    coupon = scene.bench.coupon()
    scene.bench.hard(coupon)
    reading = scene.bench.readings(coupon)[0]
    return lambda: scene.bench.correct(coupon, reading, "84.7", by=scene.shop.second)


def _failed(scene: Scene) -> Any:
    """A coupon whose first reading does not conform, under good checks."""
    coupon = scene.bench.coupon()
    scene.bench.hard(coupon, "82.5", "85.0", "85.0")
    return coupon


def ask_correction(scene: Scene) -> Act:
    coupon = _failed(scene)
    low = scene.bench.readings(coupon)[0]
    return lambda: scene.bench.correct(
        coupon,
        low,
        "85.2",
        by=scene.shop.inspector,
        evidence="the print-out says 85.2",
        file=SentFile("display.png", b"\x89PNG\r\n\x1a\n the display reads 85.2"),
        submission="the form",
    )


def answer_correction(scene: Scene) -> Act:
    coupon = _failed(scene)
    low = scene.bench.readings(coupon)[0]
    scene.bench.correct(
        coupon, low, "85.2", by=scene.shop.inspector, evidence="the print-out says 85.2"
    )
    return lambda: scene.bench.answer_correction(coupon)


def open_retest(scene: Scene) -> Act:
    coupon = _failed(scene)
    return lambda: scene.bench.retest(coupon)


def ask_void(scene: Scene) -> Act:
    coupon = scene.bench.coupon()
    scene.bench.hard(coupon)
    reading = scene.bench.readings(coupon)[0]
    return lambda: bench_service.ask_void(
        scene.database,
        coupon_code=coupon.code,
        reading_id=reading.id,
        cause=VoidCause.SLIPPED,
        evidence="the print shows a drag mark",
        by=scene.shop.inspector,
        at=AT,
    )


def answer_void(scene: Scene) -> Act:
    asked: Any = ask_void(scene)()
    return lambda: bench_service.answer_void(
        scene.database,
        coupon_code="C-0001-1",
        request_id=asked,
        approved=True,
        reason="I have seen the print myself",
        by=scene.shop.supervisor,
        at=AT,
        zone=UTC,
    )


def place_hold(scene: Scene) -> Act:
    _, panel, _ = scene.evidence.ready()
    return lambda: release.place_hold(
        scene.database, panel.code, reason="A scratch.", by=scene.shop.engineer, at=LATER
    )


def release_panel(scene: Scene) -> Act:
    _, panel, _ = scene.evidence.ready()
    seen = case(scene.database, panel).seen
    return lambda: release.release_panel(
        scene.database,
        panel.code,
        seen=seen,
        password=PASSWORD,
        by=scene.shop.second,
        at=LATER,
        zone=UTC,
    )


def lift_hold(scene: Scene) -> Act:
    _, panel, _ = scene.evidence.ready()
    release.place_hold(
        scene.database, panel.code, reason="A scratch.", by=scene.shop.engineer, at=LATER
    )
    approved(scene.database, panel, DecisionKind.USE_AS_IS)
    seen = case(scene.database, panel).seen
    return lambda: release.lift_hold(
        scene.database,
        panel.code,
        disposition=DecisionKind.USE_AS_IS,
        reason="Reviewed with metallurgy.",
        seen=seen,
        password=PASSWORD,
        by=scene.shop.supervisor,
        at=LATER,
        zone=UTC,
    )


def add_person(scene: Scene) -> Act:
    return lambda: people.add_person(
        scene.database,
        username="zora",
        full_name="Zora Lind",
        identity_number="W-2099",
        roles=[Role.INSPECTOR],
        password=PASSWORD,
        by="rune",
        at=AT,
    )


ACTS = (
    receive_lot,
    register_panel,
    register_coupons,
    register_sensor,
    register_block,
    place_quarantine,
    lift_quarantine,
    write_table,
    plan_load,
    check_leak,
    start_load,
    end_load,
    cancel_load,
    accept_other_lot,
    keep_photographs,
    import_record,
    exclude_sensor,
    unwrap,
    hand_over,
    hand_several_over,
    report_trouble,
    answer_trouble,
    take_baseline,
    open_session,
    close_session,
    fail_a_check,
    take_readings,
    correct_reading,
    ask_correction,
    answer_correction,
    open_retest,
    ask_void,
    answer_void,
    place_hold,
    release_panel,
    lift_hold,
    add_person,
)


@contextmanager
def failing_at(database: Database, write: int) -> Iterator[list[str]]:
    """Fail before the given write, counted from 1; 0 fails before the commit. Lists the writes."""
    told: list[str] = []

    def before_statement(*given: Any) -> None:
        if given[2].startswith(("INSERT", "UPDATE", "DELETE")):
            told.append(given[2])
            if len(told) == write:
                raise PowerFailed

    def before_commit(_connection: Any) -> None:
        if write == 0 and told:
            raise PowerFailed

    event.listen(database.engine, "before_cursor_execute", before_statement)
    event.listen(database.engine, "commit", before_commit)
    try:
        yield told
    finally:
        event.remove(database.engine, "before_cursor_execute", before_statement)
        event.remove(database.engine, "commit", before_commit)


@pytest.mark.parametrize("prepare", ACTS, ids=lambda prepare: prepare.__name__)
def test_a_failure_at_any_write_keeps_nothing(
    database: Database, prepare: Callable[[Scene], Act]
) -> None:
    act = prepare(Scene(database))
    before = contents(database)
    with failing_at(database, 0), pytest.raises(PowerFailed):
        act()
    assert moved(before, contents(database)) == []
    for write in range(1, MOST_WRITES):
        with failing_at(database, write) as told:
            try:
                act()
            except PowerFailed:
                assert moved(before, contents(database)) == [], told[-1]
                continue
        assert any(statement.startswith("INSERT INTO trail_entry") for statement in told)
        assert len(told) >= 2, "an act writes what was done, and the trail"
        assert "trail_entry" in moved(before, contents(database))
        return
    pytest.fail(f"the act needs more than {MOST_WRITES} writes")
