"""What counts for a coupon: papers, builds, standards, corrections, uncertainty, notes."""

import copy
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import inspect, select

from app.bench import records, service
from app.bench.queries import coupon_files
from app.bench.queries.unmoved import unmoved
from app.bench.records import BlockCheck, StudyClosing
from app.bench.rules.coupon_file import CouponFile, assemble, why_not_counted
from app.bench.rules.session_file import Certificate, Thermometer
from app.bench.service.verdicts import judge_again
from app.database import Database, paper_text
from app.documents.table import load_table
from app.equipment.rules import DatedPaper
from app.judging.units import Quantity
from app.judging.witness.budget import Budget
from app.panels.records import Coupon
from app.requirements.records import RequirementKind
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import NOW, TABLE_PAPER, bind

CURVATURE = {
    "name": "Invented round coupons",
    "revision": "A",
    "quantity": "hardness",
    "scale": "HRB",
    "reason": "thickness",
    "parameter": "thickness_mm",
    "parameters": ["10", "15"],
    "readings": ["60", "90"],
    "additions": [["2.0", "1.0"], ["1.0", "0.5"]],
    "source": "invented for the tests",
    "obtained": "invented",
}


@pytest.fixture
def bench(database: Database) -> Bench:
    return Bench(database)


def _table(bench: Bench, criterion: int, **changed: Any) -> None:
    """The bench's table with one criterion changed; for loads made from now on."""
    paper = copy.deepcopy(TABLE_PAPER)
    paper["entries"][0]["criteria"][criterion] |= changed
    with bench.database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-9", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )


def _reasons(bench: Bench, coupon: Coupon) -> set[str | None]:
    with bench.database.read() as session:
        file = coupon_files(session, [coupon.id])[coupon.id]
    return {why_not_counted(one, file, ZONE)[0] for one in file.readings}


def _again(bench: Bench, coupon: Coupon) -> None:
    """Judge the coupon as the records now stand."""
    with bench.database.write() as session:
        judge_again(session, [coupon.id], by=bench.shop.inspector, at=bench.tick(), zone=ZONE)


def _working(bench: Bench, coupon: Coupon) -> list[str]:
    findings = bench.verdicts(coupon)[0].paper["findings"]
    return [line for finding in findings for line in finding["working"]]


def test_a_certificate_that_nobody_accepted_is_as_if_it_were_not_there(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    assert _reasons(bench, coupon) == {None}
    with bench.database.write() as session:
        newer = {"done_on": date(2026, 3, 1), "due_on": date(2026, 3, 1)}
        bench.shop.tester_certificate(
            session, bench.shop.hardness_tester_id, "C-W", review=None, **newer
        )
        bench.shop.tester_certificate(
            session, bench.shop.hardness_tester_id, "C-R", review=False, **newer
        )
    assert _reasons(bench, coupon) == {None}
    with bench.database.write() as session:
        bench.shop.tester_certificate(session, bench.shop.hardness_tester_id, "C-A", **newer)
    (reason,) = _reasons(bench, coupon)
    assert reason is not None
    assert "not in calibration on 2026-03-02" in reason


@pytest.mark.parametrize("review", [None, False])
def test_a_block_that_nobody_accepted_proves_nothing(bench: Bench, review: Any) -> None:
    coupon = bench.coupon()
    number = bench.open("HT-1")
    bench.read(number, coupon, "84.5", "85.0", "85.5")
    with bench.database.write() as session:
        key = bench.shop.block(session, "RB-9", "hardness", "HRB", "85.0", "1.0", review=review)
        check = session.scalars(select(BlockCheck).where(BlockCheck.session_id == number)).one()
        columns = {
            one.key: getattr(check, one.key)
            for one in inspect(BlockCheck).column_attrs
            if one.key not in {"id", "block_id", "outcome"}
        }
        later = {**columns, "taken_at": columns["taken_at"] + timedelta(hours=2)}
        bind(session, BlockCheck(**later, block_id=key, outcome="does_not_conform"))
    assert _reasons(bench, coupon) == {None}


def _file(bench: Bench, coupon: Coupon, **session_changed: Any) -> CouponFile:
    """The coupon's file, with its sessions changed."""
    with bench.database.read() as session:
        file = coupon_files(session, [coupon.id])[coupon.id]
    sessions = {key: replace(one, **session_changed) for key, one in file.sessions.items()}
    return replace(file, sessions=sessions)


def _why(file: CouponFile) -> set[str | None]:
    return {why_not_counted(one, file, ZONE)[0] for one in file.readings}


@pytest.mark.parametrize(
    ("build", "reason"),
    [
        ("fixed", None),
        ("portable", "its table permits fixed testers only, and HT-1 is portable"),
        (None, "its table permits fixed testers only, and HT-1 is of unknown build"),
    ],
)
def test_only_testers_of_a_permitted_build_count(
    bench: Bench, build: str | None, reason: str | None
) -> None:
    _table(bench, 0, instruments=["fixed"])
    coupon = bench.coupon()
    bench.hard(coupon)
    assert _why(_file(bench, coupon, build=build)) == {reason}


def test_a_build_that_one_criterion_bars_counts_for_no_other_of_its_quantity(bench: Bench) -> None:
    # Found by tests/oracle: counted for the second criterion, it was counted for the first too.
    paper = copy.deepcopy(TABLE_PAPER)
    hardness = paper["entries"][0]["criteria"][0]
    above = {"min": None, "max": "99.0"}
    paper["entries"][0]["criteria"].append(copy.deepcopy(hardness) | above)
    hardness["instruments"] = ["portable"]
    coupon = bench.coupon()
    bench.hard(coupon)
    file = replace(_file(bench, coupon), table=load_table(paper_text(paper)), table_sha256="x")
    assert _why(file) == {"its table permits portable testers only, and HT-1 is fixed"}


def test_readings_between_standards_that_do_not_frame_the_limits_do_not_count(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    file = _file(bench, coupon)
    assert _why(file) == {None}
    paper = copy.deepcopy(TABLE_PAPER)
    paper["entries"][0]["criteria"][1]["standards_apart"] = "8.0"
    asked = replace(file, table=load_table(paper_text(paper)), table_sha256="another")
    (reason,) = _why(asked)
    assert reason is not None
    assert reason.startswith("its table asks for two standards, one at or below 36.9 %IACS")


def test_a_thermometer_out_of_date_takes_conductivity_with_it(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon)
    old = Thermometer("TH-1", (DatedPaper(date(2025, 1, 1), date(2026, 1, 1)),))
    file = _file(bench, coupon, thermometer=old)
    hard, soft = _by_quantity(file)
    assert hard == {None}
    (reason,) = soft
    assert reason is not None
    assert reason.startswith("thermometer TH-1, which its temperatures were taken with, was not in")
    good = replace(old, papers=(DatedPaper(date(2026, 1, 1), date(2027, 1, 1)),))
    assert _by_quantity(_file(bench, coupon, thermometer=good)) == ({None}, {None})
    assert not assemble(_file(bench, coupon, thermometer=good), ZONE).notes[2:]


def _by_quantity(file: CouponFile) -> tuple[set[str | None], set[str | None]]:
    hard, soft = (
        {why_not_counted(one, file, ZONE)[0] for one in file.readings if one.quantity is quantity}
        for quantity in (Quantity.HARDNESS, Quantity.CONDUCTIVITY)
    )
    return hard, soft


def test_a_session_that_names_no_thermometer_is_noted_and_counts(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    assert _reasons(bench, coupon) == {None}
    assert "readings 1, 2, 3: the session names no thermometer" in bench.texts(coupon)


def test_a_certificate_without_as_found_figures_is_noted_with_its_remark(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    assert "C-HT-1-26 of HT-1 does not say how the tester was found" in bench.texts(coupon)
    paper = DatedPaper(date(2026, 1, 1), date(2027, 1, 1))
    silent = Certificate(paper, None, "C-9", as_found=False, remark="New, never adjusted.")
    (note,) = assemble(_file(bench, coupon, certificates=(silent,)), ZONE).notes
    assert note.text == (
        "Hardness: certificate C-9 of HT-1 does not say how the tester was found; it was accepted "
        'with the remark "New, never adjusted".'
    )
    told = replace(silent, as_found=True)
    assert not assemble(_file(bench, coupon, certificates=(told,)), ZONE).notes


def test_the_testers_corrections_are_added_and_end_at_their_points(bench: Bench) -> None:
    with bench.database.write() as session:
        bench.shop.tester_certificate(
            session,
            bench.shop.hardness_tester_id,
            "C-CORR",
            done_on=date(2026, 2, 1),
            corrections=[["80", "1.0"], ["90", "0.0"]],
        )
    coupon = bench.coupon()
    bench.hard(coupon, "84.5", "85.0", "91.0")
    assert "reading 1: instrument correction 84.5 + (0.55) = 85.05 HRB" in "; ".join(
        _working(bench, coupon)
    )
    assert "91 HRB lies outside the tester's corrections (certificate C-CORR)" in bench.texts(
        coupon
    )


def _corrected_table(bench: Bench) -> None:
    _table(bench, 0, correction="CT-1")
    with bench.database.write() as session:
        bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "CT-1", RequirementKind.CORRECTION_TABLE, CURVATURE, {}
        )


def test_the_correction_table_in_force_is_applied(bench: Bench) -> None:
    """12.5 mm lies half-way: 1.5 at 60 HRB and 0.75 at 90, so 0.875 at 85.0; worked by hand."""
    _corrected_table(bench)
    coupon = bench.coupon()
    bench.hard(coupon, "85.0", "85.0", "85.0")
    assert (
        "correction for thickness 85.0 + (0.875) = 85.875 HRB (correction table CT-1"
        in "; ".join(_working(bench, coupon))
    )


def test_without_a_correction_table_in_force_a_reading_does_not_count(bench: Bench) -> None:
    _table(bench, 0, correction="CT-1")
    coupon = bench.coupon()
    bench.hard(coupon)
    assert _reasons(bench, coupon) == {
        "no verified revision of correction table CT-1 was in force on 2026-03-02"
    }


def test_a_correction_table_counts_from_when_until_when_it_was_in_force(bench: Bench) -> None:
    _corrected_table(bench)
    coupon = bench.coupon()
    bench.hard(coupon)
    file = _file(bench, coupon)
    assert file.corrections is not None
    ((one,),) = file.corrections.values()
    at = file.readings[0].taken_at
    for since, until, counts in (
        (at, None, True),
        (at + timedelta(seconds=1), None, False),
        (NOW, at, False),
        (NOW, at + timedelta(seconds=1), True),
    ):
        spans = {"ct-1": (replace(one, since=since, until=until),)}
        assert (_why(replace(file, corrections=spans)) == {None}) is counts, (since, until)


def test_the_budget_has_tester_block_and_study(bench: Bench) -> None:
    shop = bench.shop
    with bench.database.write() as session:
        shop.tester_certificate(
            session,
            shop.hardness_tester_id,
            "C-U",
            done_on=date(2026, 2, 1),
            expanded_uncertainty=Decimal("0.6"),
        )
        shop.block(
            session, "RB-U", "hardness", "HRB", "85.0", "1.0", expanded_uncertainty=Decimal("0.4")
        )
    coupon = bench.coupon()
    number = open_at(bench, "RB-U")
    bench.read(number, coupon, "84.5", "85.0", "85.5")
    assert _parts(bench, coupon) == [
        ("tester HT-1", Decimal("0.6"), True, False),
        ("block RB-U", Decimal("0.4"), True, False),
    ]
    _study(bench, "0.2", NOW + timedelta(hours=1))
    _study(bench, "0.9", NOW + timedelta(days=1))  # closed after the readings were taken
    assert _parts(bench, coupon)[2:] == [("repeatability", Decimal("0.2"), False, True)]
    _again(bench, coupon)
    lines = "; ".join(_working(bench, coupon))
    assert "uncertainty, tester HT-1 (certificate C-U): U = 0.6, u = 0.6 / 2 = 0.3" in lines
    assert "uncertainty, repeatability (study 1): s = 0.2" in lines


def test_without_the_testers_uncertainty_there_is_no_budget(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    _study(bench, "0.2", NOW + timedelta(hours=1))
    assert assemble(_file(bench, coupon), ZONE).first.expanded_uncertainty == {}


def open_at(bench: Bench, block: str) -> int:
    """A session at the hardness tester, opened on that block."""
    number = service.open_session(
        bench.database, tester_code="HT-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    bench.check(number, "HT-1", "opening", "85.2", "84.8", block=block)
    return number


def _parts(bench: Bench, coupon: Coupon) -> list[tuple[str, Decimal | None, bool, bool]]:
    budget = assemble(_file(bench, coupon), ZONE).first.expanded_uncertainty[
        Quantity.HARDNESS, "HRB"
    ]
    assert isinstance(budget, Budget)
    return [(one.name, one.figure, one.is_expanded, one.repeats) for one in budget.parts]


def _study(bench: Bench, deviation: str, closed_at: datetime) -> None:
    shop = bench.shop
    with bench.database.write() as session:
        study = records.TesterStudy(
            tester_id=shop.hardness_tester_id,
            purpose="for the tests",
            parts=["A"],
            operators=[shop.inspector.id],
            trials=2,
            opened_by_id=shop.engineer.id,
            opened_at=NOW,
        )
        bind(session, study)
        closing = StudyClosing(
            study_id=study.id,
            result={"counted": deviation},
            reason="done",
            closed_by_id=shop.engineer.id,
            closed_at=closed_at,
        )
        bind(session, closing)


def test_a_late_reading_is_marked_with_both_times(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open("HT-1")
    measured = bench.tick()
    for _ in range(30):
        bench.tick()
    bench.read(
        number,
        coupon,
        "84.5",
        "85.0",
        "85.5",
        measured_at=measured,
        late_reason="the terminal was down",
    )
    text = bench.texts(coupon)
    assert "LATE: reading 1, hardness, was taken 2026-03-02" in text
    assert "the terminal was down" in text


def test_a_verdict_is_rewritten_exactly_when_what_it_rests_on_changes(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    before = len(bench.verdicts(coupon))
    _again(bench, coupon)
    assert len(bench.verdicts(coupon)) == before
    assert bench.verdicts(coupon)[0].rules_version == "2"
    _study(bench, "0.2", NOW + timedelta(hours=1))  # no U of the tester: it changes nothing
    _again(bench, coupon)
    assert len(bench.verdicts(coupon)) == before
    with bench.database.write() as session:
        bench.shop.tester_certificate(
            session,
            bench.shop.hardness_tester_id,
            "C-U",
            done_on=date(2026, 2, 1),
            expanded_uncertainty=Decimal("0.6"),
        )
    _again(bench, coupon)
    assert len(bench.verdicts(coupon)) == before + 1


def test_what_was_read_once_is_read_again_after_any_act_but_a_coupons(bench: Bench) -> None:
    """A certificate, a check, a quarantine: each is on the trail, so nothing old is believed."""
    first, second = bench.coupons(2)
    number = bench.open("HT-1")
    bench.read(number, first, "84.5", "85.0", "85.5")
    with bench.database.write() as session:
        kept = unmoved(session)
        assert kept.ask(("session", number), lambda: "asked again") != "asked again"
    bench.read(number, second, "84.5", "85.0", "85.5")
    with bench.database.write() as session:
        assert unmoved(session) is kept
    bench.check(number, "HT-1", "interim")
    with bench.database.write() as session:
        newer = unmoved(session)
        assert newer is not kept
        assert newer.ask(("session", number), lambda: "asked again") == "asked again"


def test_answers_of_records_that_were_put_back_are_not_believed(sqlite_url: str) -> None:
    """A copy put in the file's place while the program runs: another trail, so nothing is kept."""
    database = Database(sqlite_url)
    bench = Bench(database)
    coupon = bench.coupon()
    number = bench.open("HT-1")
    bench.read(number, coupon, "84.5", "85.0", "85.5")
    with database.write() as session:
        kept = unmoved(session)
        for (name,) in (
            session.connection()
            .exec_driver_sql(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'trail_entry'"
            )
            .fetchall()
        ):
            session.connection().exec_driver_sql(f"DROP TRIGGER {name}")
        session.connection().exec_driver_sql(
            "DELETE FROM trail_entry WHERE number = (SELECT max(number) FROM trail_entry)"
        )
    with database.write() as session:
        assert unmoved(session) is not kept
    database.close()
