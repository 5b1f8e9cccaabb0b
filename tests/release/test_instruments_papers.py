"""A paper of what coupons were measured with speaks: they are judged again, and panels recalled."""

import re
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import func, select

from app.audit.tags import Tag
from app.bench import queries
from app.bench.queries.papers_since import coupons_concerned
from app.bench.records import CouponVerdict
from app.bench.service import open_session
from app.bench.service.replay import replay_coupons
from app.bench.service.verdicts import moved
from app.database import Database
from app.equipment import service as equipment
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import Sensor
from app.equipment.service import Term
from app.errors import Conflict, GateOpen, Refusal
from app.judging.units import Quantity
from app.loads.bags.bag import LeakReading
from app.loads.records import Load, LoadPanel
from app.loads.service.bag import record_leak_check
from app.panels.records import Coupon, Decided, Hold, HoldOn, Panel
from app.release import service
from app.release.queries.decided import Seen
from app.release.rules.standing import Standing
from app.release.service import watching
from app.release.service.cases import VerdictMoved
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import bind
from tests.release.evidence_rows import Evidence, case
from tests.release.test_final_panels import HALVES, WHY
from tests.visits import PASSWORD, Visit, words


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    return sqlite_url


class Floor:
    """Panels measured at the bench, with everything else on record, and papers that come later."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.bench = Bench(database)
        self.shop = self.bench.shop
        self.evidence = Evidence(database, self.shop)

    def measured(self, *, thermometer: str | None = None) -> tuple[Load, Panel, Sequence[Coupon]]:
        """A panel whose two coupons conform; its evidence is complete."""
        load, panel, coupons, _ = self.shop.panel_in_load()
        with self.database.write() as write:
            self.evidence.fill(write, load, panel, coupons, verdicts=False)
        hard = self.bench.open("HT-1")
        conductive = open_session(
            self.database,
            tester_code="CM-1",
            thermometer_code=thermometer,
            by=self.shop.inspector,
            at=self.bench.tick(),
            zone=ZONE,
        )
        self.bench.check(conductive, "CM-1", "opening")
        for coupon in coupons:
            self.bench.read(hard, coupon, "84.5", "85.0", "85.5")
            self.bench.read(conductive, coupon, "39.0", "39.0", "39.0")
        self.bench.check(hard, "HT-1", "closing")
        self.bench.check(conductive, "CM-1", "closing")
        return load, panel, coupons

    def release(self, panel: Panel) -> None:
        """Release it as its page shows it now."""
        service.release_panel(
            self.database,
            panel.code,
            seen=case(self.database, panel).seen,
            password=PASSWORD,
            by=self.shop.second,
            at=self.bench.tick(),
            zone=ZONE,
        )

    def certificate(self, done_on: date, *, accepted: bool = True, adds: str = "-3.0") -> None:
        """A certificate of HT-1 made that day, by which it reads 3.0 too high; and its review."""
        key = equipment.record_tester_certificate(
            self.database,
            tester="HT-1",
            term=Term(done_on, date(2027, 2, 1)),
            certificate=f"C-{done_on}-{accepted}",
            expanded_uncertainty=None,
            as_found=f"85.0 {88 if adds == '-3.0' else 85}.0",
            corrections=f"70.0 {adds}\n95.0 {adds}",
            by=self.shop.engineer,
            at=self.bench.tick(),
        )
        self.review(SubjectKind.TESTER_CERTIFICATE, key, accepted=accepted)

    def review(self, kind: SubjectKind, key: int, *, accepted: bool = True) -> None:
        """The supervisor's review of a paper."""
        equipment.review_report(
            self.database,
            Subject(kind, key),
            accepted=accepted,
            remark="The laboratory's own report was read.",
            password=PASSWORD,
            by=self.shop.supervisor,
            at=self.bench.tick(),
        )

    def look(self, **given: Any) -> list[str]:
        """What a look after the acts recalls."""
        at = self.bench.tick()
        return service.recall_changed(self.database, since=None, at=at, zone=ZONE, **given)[1]

    def count(self) -> int:
        """How many verdicts are on record."""
        with self.database.read() as session:
            return session.scalar(select(func.count()).select_from(CouponVerdict)) or 0

    def stale(self) -> list[int]:
        """Coupons whose kept verdict rests on something that has changed."""
        with self.database.read() as session:
            return moved(session, list(session.scalars(select(Coupon.id))), zone=ZONE)


@pytest.fixture
def floor(database: Database) -> Floor:
    return Floor(database)


def test_an_accepted_certificate_turns_what_was_measured_since_it_was_made(
    floor: Floor, monkeypatch: pytest.MonkeyPatch
) -> None:
    (_, panel, coupons), (_, ready, _), (_, gone, _) = (floor.measured() for _ in range(3))
    floor.release(panel)
    with floor.database.write() as session:
        scrapped = session.get_one(Panel, gone.id)
        scrapped.decided = Decided.SCRAPPED
        bind(session, scrapped)
    assert floor.look() == []
    kept = floor.count()

    # One that was rejected, and one made after the readings, change no verdict.
    floor.bench.at += timedelta(days=1)
    floor.certificate(date(2026, 2, 20), accepted=False)
    floor.certificate(date(2026, 3, 3))
    assert (floor.look(), floor.stale(), floor.count()) == ([], [], kept)

    floor.certificate(date(2026, 2, 20))
    assert case(floor.database, ready).standing is Standing.READY
    monkeypatch.setattr(watching, "_AT_ONCE", 1)
    asked = iter([True, False])
    assert floor.look(go_on=lambda: next(asked)) == [panel.code]
    assert floor.count() == kept + 2
    assert floor.look() == []
    assert floor.count() == kept + 4
    assert floor.look() == []
    assert floor.count() == kept + 4
    assert case(floor.database, panel).standing is Standing.RECALLED
    assert case(floor.database, ready).standing is Standing.HELD
    newest = floor.bench.verdicts(coupons[0])[0]
    assert (newest.verdict, newest.judged_by_id) == ("does_not_conform", floor.shop.supervisor.id)
    with floor.database.read() as session:
        (hold,) = session.scalars(select(Hold))
    assert hold.placed_by_id == floor.shop.supervisor.id
    assert hold.reason == (
        f"Coupon {coupons[0].code} conformed when the panel was decided on, and now: does not "
        "conform."
    )
    # What was judged before still follows from what stood then.
    named = [coupon.code for coupon in coupons]
    replayed = list(replay_coupons(floor.database, zone=ZONE))
    assert [one for one in replayed if one.differs and one.name.split()[1][:-1] in named] == []


def test_nothing_is_decided_on_a_verdict_that_a_paper_moved(floor: Floor) -> None:
    (_, ready, coupons), (_, other, _) = floor.measured(), floor.measured()
    floor.release(other)
    service.place_hold(
        floor.database, other.code, reason="A dent.", by=floor.shop.engineer, at=floor.bench.tick()
    )
    floor.certificate(date(2026, 2, 20))
    # The look after the act has not come so far.
    named = f"{coupons[0].code}, {coupons[1].code} rest on has changed since they were judged"
    with pytest.raises(VerdictMoved, match=named):
        floor.release(ready)
    assert [floor.bench.now(one).verdict for one in coupons] == ["does_not_conform"] * 2
    with pytest.raises(GateOpen, match="cannot be released"):
        floor.release(ready)
    boss: dict[str, Any] = {"password": PASSWORD, "by": floor.shop.supervisor, "zone": ZONE}
    for sentence in ("been judged again now", "only withdrawn"):
        seen = case(floor.database, other).seen
        closing = service.Closing(other.code, stands=True, reason=WHY, seen=seen)
        with pytest.raises((Conflict, GateOpen), match=sentence):
            service.close_recalls(floor.database, [closing], **boss, at=floor.bench.tick())
    assert floor.stale() == []


def test_what_came_of_a_replaced_panel_is_recalled_by_its_coupons(floor: Floor) -> None:
    _, panel, _ = floor.measured()
    service.divide_panel(
        floor.database,
        panel.code,
        HALVES,
        drawing="",
        reason=WHY,
        password=PASSWORD,
        by=floor.shop.second,
        at=floor.bench.tick(),
        zone=ZONE,
    )
    with floor.database.read() as session:
        first, second = session.scalars(select(Panel).where(Panel.code.in_(["H-1", "H-2"])))
    floor.release(first)
    floor.certificate(date(2026, 2, 20))
    assert floor.look() == [first.code]
    assert case(floor.database, second).standing is Standing.HELD


def test_a_thermometers_paper_turns_conductivities(floor: Floor) -> None:
    with floor.database.write() as session:
        floor.shop.thermometer(session, "TH-1")
    _, panel, coupons = floor.measured(thermometer="TH-1")
    floor.release(panel)
    key = equipment.record_thermometer_certificate(
        floor.database,
        thermometer="TH-1",
        term=Term(date(2026, 2, 25), date(2026, 2, 28)),
        certificate="TC-2",
        largest_error_c=None,
        by=floor.shop.engineer,
        at=floor.bench.tick(),
    )
    floor.review(SubjectKind.THERMOMETER_CERTIFICATE, key)
    assert floor.look() == [panel.code]
    assert "was not in calibration" in floor.bench.texts(coupons[0])


def test_acts_that_reach_back_no_further_than_themselves_are_looked_at_too(floor: Floor) -> None:
    """A reading saved while a study or a table was being signed was judged without it."""
    before = floor.bench.tick()
    _, _, coupons = floor.measured()
    after = floor.bench.tick()
    both = dict.fromkeys([coupon.id for coupon in coupons], "tomas")
    for tag, kind, code, early, late in (
        (Tag.STUDY_CLOSED, "tester", "HT-1", both, {}),
        (Tag.CORRECTION_TABLE_VERIFIED, "correction_table", "CT-1", both, {}),
        (Tag.REPORT_REVIEWED, "reference_block", "RB-HT-1", both, both),
        (Tag.REPORT_REVIEWED, "furnace", "FN-1", {}, {}),
        (Tag.READINGS_RECORDED, "tester", "HT-1", {}, {}),
    ):
        with floor.database.read() as session:
            for at, wanted in ((before, early), (after, late)):
                entry = Seen(1, "tomas", tag, kind, code, at)
                assert coupons_concerned(session, [entry]) == wanted, (tag, kind, at)


def test_the_page_of_what_is_held_says_so_and_a_held_gauge_reads_no_bag(
    floor: Floor, visit: Visit
) -> None:
    shop = floor.shop
    load, panel, _, _ = shop.panel_in_load()
    with floor.database.write() as session:
        shop.thermometer(session, "TH-1")
        sensor = session.scalars(select(Sensor.code)).first() or ""
    held = {
        HoldOn.FURNACE: ("FN-1", "/furnaces/FN-1"),
        HoldOn.TESTER: ("HT-1", "/testers/HT-1"),
        HoldOn.REFERENCE_BLOCK: ("RB-HT-1", "/blocks/RB-HT-1"),
        HoldOn.VACUUM_GAUGE: ("VG-1", "/gauges/VG-1"),
        HoldOn.SENSOR: (sensor, f"/sensors/{sensor}"),
        HoldOn.THERMOMETER: ("TH-1", "/thermometers/TH-1"),
        HoldOn.MATERIAL_LOT: ("LOT-1", "/lots/LOT-1"),
        HoldOn.LOAD: (load.code, f"/loads/{load.code}"),
        HoldOn.ACCEPTANCE_TABLE: ("AT-1", "/tables/AT-1"),
        HoldOn.PERSON: ("mara", "/people/mara"),
    }
    visit.sign_in("rune")
    assert "<b>On hold" not in visit.get("/furnaces/FN-1").text
    for kind, (code, _) in held.items():
        given = {"revision": "A"} if kind is HoldOn.ACCEPTANCE_TABLE else {}
        thing = service.HeldThing(kind, code, **given)
        service.place_upstream_hold(
            floor.database, thing, reason=f"Odd {code}.", by=shop.auditor, at=floor.bench.tick()
        )
    for number, (code, address) in enumerate(held.values(), start=1):
        page = visit.get(address).text
        assert ("<b>On hold, revision A</b>" in page) == (code == "AT-1")
        assert f'<a href="/holds/{number}">Hold {number}</a>' in page, address
        assert page.count("<b>On hold") == 1, address
        told = f"since 2026-03-02 .* placed by Olek Farrow: Odd {code}. Hold {number}"
        assert re.search(told, words(page)), address

    with pytest.raises(Conflict, match="Vacuum gauge VG-1 is on hold, placed by Olek") as refused:
        record_leak_check(
            floor.database,
            load.code,
            panel.code,
            LeakReading(Decimal(88), Decimal(87), Decimal(5)),
            gauge="VG-1",
            taken_at=floor.bench.at,
            by=shop.inspector,
            at=floor.bench.tick(),
            zone=ZONE,
        )
    assert refused.value.fields == {"gauge": "Read another gauge."}


def test_the_bench_leaves_out_what_nothing_more_is_done_with(floor: Floor) -> None:
    shop, bench = floor.shop, floor.bench
    load, parent, coupons, _ = shop.panel_in_load()
    with floor.database.write() as session:
        beside = shop.panel(session)
        place = session.scalars(select(LoadPanel).where(LoadPanel.load_id == load.id)).one()
        columns = {one.name: getattr(place, one.name) for one in LoadPanel.__table__.c}
        bind(session, LoadPanel(**(columns | {"id": None, "panel_id": beside.id})))
        other = shop._placed(session, load, beside, "C-BESIDE", 0.5)  # noqa: SLF001 - its own maker
        floor.evidence.fill(session, load, parent, [*coupons, other], verdicts=False)
        floor.evidence.unwrapping(session, load, beside)
        session.flush()
        session.expunge_all()
    given: dict[str, Any] = {"password": PASSWORD, "by": shop.second, "zone": ZONE}
    given |= {"drawing": "", "reason": WHY, "at": bench.tick()}
    service.divide_panel(floor.database, parent.code, HALVES, **given)
    number = bench.open()

    def listed() -> tuple[list[str], list[str]]:
        with floor.database.read() as session:
            waiting = [one.coupon for one in queries.awaiting(session)]
            wanted = {"quantity": Quantity.HARDNESS, "unit": "HRB", "zone": ZONE}
            loads = queries.expected_coupons(session, **wanted).values()
            return waiting, [one.seat.coupon for group in loads for one in group]

    def decide(code: str, decided: Decided) -> None:
        with floor.database.write() as session:
            row = session.scalars(select(Panel).where(Panel.code == code)).one()
            row.decided = decided
            bind(session, row)

    own, every = [one.code for one in coupons], [*(one.code for one in coupons), other.code]
    # What came of a replaced panel rests on its coupons, so they are measured.
    assert listed() == (every, every)
    with floor.database.read() as session:
        assert queries.expected_coupon(session, own[0]).replaced_by == ("H-1", "H-2")
    bench.read(number, own[0], "85.0", "85.0", "85.0")
    decide("H-1", Decided.SCRAPPED)
    assert listed() == (every, every)
    decide("H-2", Decided.RELEASED)
    assert listed() == ([other.code], every)
    decide("H-2", Decided.RETURNED)
    assert listed() == ([other.code], [other.code])
    became = r"H-1 \(scrap\), H-2 \(return to supplier\): nothing more is done with any"
    with pytest.raises(Refusal, match=f"Panel {parent.code} was replaced by {became}"):
        bench.read(number, own[1], "85.0", "85.0", "85.0")
    decide(beside.code, Decided.SCRAPPED)
    assert listed() == ([], [])
    with pytest.raises(Refusal, match=f"Panel {beside.code} was decided as scrap"):
        bench.read(number, other, "85.0", "85.0", "85.0")
