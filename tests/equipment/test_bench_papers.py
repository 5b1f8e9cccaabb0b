"""Certificates of testers and thermometers and reference blocks: entered, reviewed, counted."""

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from app.bench.queries import indents_used
from app.bench.records import BenchSession, BlockCheck, CheckMoment, Reading
from app.database import Database
from app.equipment import queries, service
from app.equipment.queries import Subject, SubjectKind
from app.equipment.rules import DueState
from app.errors import NotAllowed, Refusal
from app.tracing.queries.measured import measured_since
from tests.makers import NOW, Shop, bind
from tests.visits import PASSWORD, Visit, words

PNG = b"\x89PNG\r\n\x1a\n invented"
TERM = service.Term(date(2026, 2, 1), date(2026, 8, 1))


def _certificate(database: Database, shop: Shop, **changed: Any) -> int:
    given: dict[str, Any] = {
        "tester": "HT-1",
        "term": TERM,
        "certificate": "C-77",
        "expanded_uncertainty": Decimal("0.8"),
        "as_found": "85.0 84.6\n41.0 41.2",
        "as_left": "85.0 85.0",
        "as_found_within": True,
        "corrections": "40 0.0\n90 -0.2",
        "by": shop.engineer,
        "at": NOW,
    }
    return service.record_tester_certificate(database, **(given | changed))


def _answer(
    database: Database, shop: Shop, subject: Subject, *, accepted: bool = True, remark: str = ""
) -> None:
    service.review_report(
        database,
        subject,
        accepted=accepted,
        remark=remark,
        password=PASSWORD,
        by=shop.supervisor,
        at=NOW,
    )


def test_a_testers_certificate_counts_once_it_is_accepted(database: Database) -> None:
    shop = Shop(database)
    tester = shop.hardness_tester_id
    key = _certificate(database, shop)
    with database.read() as session:
        before = queries.tester_certificates(session, [tester])[tester]
    assert [one.certificate for one in before] == ["C-HT-1-26"]
    _answer(database, shop, Subject(SubjectKind.TESTER_CERTIFICATE, key))
    with database.read() as session:
        newest = queries.tester_certificates(session, [tester, shop.meter_id])[tester][0]
    assert newest.as_found == [["85.0", "84.6"], ["41.0", "41.2"]]
    assert newest.as_left == [["85.0", "85.0"]]
    assert newest.corrections == [["40", "0.0"], ["90", "-0.2"]]
    assert (newest.as_found_within, str(newest.expanded_uncertainty)) == (True, "0.8")


def test_a_tester_without_an_accepted_certificate_is_not_in_calibration(
    database: Database,
) -> None:
    shop = Shop(database)
    with database.write() as session:
        waits = shop.tester(session, "HT-2", "hardness", "HRB", certificate={"review": None})
        refused = shop.tester(session, "HT-3", "hardness", "HRB", certificate={"review": False})
    with database.read() as session:
        dues = queries.dues_of_testers(session, [waits, refused], on=NOW.date())
        assert queries.tester_certificates(session, [waits, refused]) == {waits: [], refused: []}
    assert (dues[waits].state, dues[refused].state) == (DueState.WAITING, DueState.MISSING)
    assert not dues[waits].is_in_date


def test_without_as_found_figures_it_is_accepted_with_a_remark_alone(database: Database) -> None:
    shop = Shop(database)
    key = _certificate(database, shop, as_found="", as_found_within=None)
    subject = Subject(SubjectKind.TESTER_CERTIFICATE, key)
    with pytest.raises(Refusal, match="It has no as-found figures") as refused:
        _answer(database, shop, subject, remark="new")
    assert list(refused.value.fields) == ["remark"]
    _answer(database, shop, subject, remark="New from its maker, not used before.")
    with database.read() as session:
        assert queries.report(session, subject).review is not None


def test_nobody_reviews_the_block_or_thermometer_they_entered(database: Database) -> None:
    shop = Shop(database)
    service.register_thermometer(database, code="TH-1", name="Probe", by=shop.engineer, at=NOW)
    certificate = service.record_thermometer_certificate(
        database,
        thermometer="TH-1",
        term=TERM,
        certificate="T-1",
        largest_error_c=Decimal("0.3"),
        by=shop.engineer,
        at=NOW,
    )
    block = service.register_block(
        database,
        code="RB-9",
        quantity="hardness",
        unit="HRB",
        figures=service.BlockFigures(
            certified_value=Decimal("62.0"), permitted_error=Decimal("1.0"), indents_most=3
        ),
        expires_on=date(2027, 1, 1),
        certificate="B-9",
        by=shop.engineer,
        at=NOW,
    )
    for subject in (
        Subject(SubjectKind.THERMOMETER_CERTIFICATE, certificate),
        Subject(SubjectKind.BLOCK, block),
    ):
        with pytest.raises(NotAllowed, match="yourself"):
            service.review_report(
                database,
                subject,
                accepted=True,
                remark="",
                password=PASSWORD,
                by=shop.engineer,
                at=NOW,
            )
        _answer(database, shop, subject)
    with database.read() as session:
        thermometer = queries.thermometer(session, "TH-1").id
        due = queries.dues_of_thermometers(session, [thermometer], on=NOW.date())[thermometer]
        assert list(queries.accepted_blocks(session, [block])) == [block]
    assert due.words == "in date until 2026-08-01"


def test_an_error_with_a_sign_is_refused(database: Database) -> None:
    shop = Shop(database)
    service.register_thermometer(database, code="TH-1", name="Probe", by=shop.engineer, at=NOW)
    with pytest.raises(Refusal) as refused:
        service.record_thermometer_certificate(
            database,
            thermometer="TH-1",
            term=TERM,
            certificate="T-1",
            largest_error_c=Decimal("-0.3"),
            by=shop.engineer,
            at=NOW,
        )
    assert list(refused.value.fields) == ["largest_error_c"]


def _checked(session: Any, shop: Shop, block_id: int, readings: int) -> None:
    """A session with one check of so many readings on a block."""
    opened = BenchSession(
        tester_id=shop.hardness_tester_id, operator_id=shop.inspector.id, opened_at=NOW
    )
    bind(session, opened)
    check = BlockCheck(
        session_id=opened.id,
        moment=CheckMoment.OPENING,
        block_id=block_id,
        readings=(Decimal("85.0"),) * readings,
        block_c=None,
        outcome="conforms",
        finding={},
        by_id=shop.inspector.id,
        taken_at=NOW,
    )
    bind(session, check)


def test_a_block_is_usable_while_accepted_in_date_and_not_used_up(database: Database) -> None:
    shop = Shop(database)
    hardness: tuple[str, str] = ("hardness", "HRB")
    with database.write() as session:
        full = shop.block(session, "RB-A", *hardness, "62.0", "1.0", indents_most=5)
        spent = shop.block(session, "RB-B", *hardness, "64.0", "1.0", indents_most=4)
        shop.block(session, "RB-C", *hardness, "66.0", "1.0", review=None)
        shop.block(session, "RB-D", *hardness, "68.0", "1.0", review=False)
        shop.block(session, "RB-E", *hardness, "70.0", "1.0", expires_on=date(2026, 3, 1))
        shop.block(session, "RB-F", *hardness, "72.0", "1.0", expires_on=date(2026, 3, 2))
        _checked(session, shop, full, 4)
        _checked(session, shop, spent, 2)
        _checked(session, shop, spent, 2)
    with database.read() as session:
        used = indents_used(session)
        usable = queries.usable_blocks(
            session, quantity="hardness", unit="HRB", on=NOW.date(), used=used
        )
        asked = indents_used(session, [full, spent])
    assert asked == {full: 4, spent: 4}
    assert (used[full], used[spent]) == (4, 4)
    assert [one.code for one in usable] == ["RB-A", "RB-F", "RB-HT-1"]


def test_the_pages_of_a_testers_certificate(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    with database.write() as session:
        shop.tester(session, "HT-7", "hardness", "HRB", accuracy=Decimal("0.5"))
    visit.sign_in("tomas")
    bad = visit.post(
        "/testers/HT-7/certificates",
        certificate="C-8",
        done_on="2026-06-01",
        due_on="2027-06-01",
        as_found="85.0 84.6\n85.0 off",
        as_found_within="no",
    )
    assert bad.status_code == 422
    assert "Line 2: &#39;off&#39; is not a number" in bad.text
    assert "85.0 84.6\n85.0 off</textarea>" in bad.text
    assert re.search(r'value="no" checked', bad.text)
    good = visit.post(
        "/testers/HT-7/certificates",
        files={"file": ("C 8.png", PNG, "image/png")},
        certificate="C-8",
        done_on="2026-06-01",
        due_on="2027-06-01",
        as_found="85.0 84.2",
        as_left="85.0 85.1",
        corrections="80 -0.1\n90 +0.1",
        expanded_uncertainty="0,6",
        as_found_within="yes",
    )
    page = visit.follow(good).text
    assert "Certificate C-8 is on record and waits for a second person." in words(page)
    assert "no figures: how it read before is not shown" in words(page)
    address = re.search(r'href="(/testers/HT-7/certificates/\d+)">C-8<', page)
    assert address
    said = words(visit.get(address[1]).text)
    assert "It says it was found within its tolerance" in said
    assert "found outside its tolerance" in said
    assert "-0.8 HRB off: beyond its accuracy of 0.5 HRB either side" in said
    assert "After adjustment" in said
    assert "Save the report's file, C 8.png" in said.replace("&#39;", "'")
    visit.sign_in("ines")
    assert "Certificate C-8 of HT-7" in words(visit.get("/reviews").text)
    done = visit.post(f"{address[1]}/review", answer="accept", remark="", password=PASSWORD)
    assert "is accepted." in words(visit.follow(done).text)


def test_a_certificate_without_as_found_says_so_where_it_is_reviewed(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    key = _certificate(database, shop, as_found="", as_found_within=None)
    visit.sign_in("ines")
    address = f"/testers/HT-1/certificates/{key}"
    said = words(visit.get(address).text)
    assert "no as-found figures" in said
    assert "Needed to accept it too" in said
    refused = visit.post(f"{address}/review", answer="accept", remark="fine", password=PASSWORD)
    assert refused.status_code == 422
    assert "fine</textarea>" in refused.text


def test_a_thermometer_and_a_block_are_entered_and_accepted(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    assert visit.get("/register/thermometer").status_code == 200
    page = visit.follow(visit.post("/register/thermometer", code="th/9", name="Probe nine"))
    assert "Thermometer TH/9 is registered." in words(page.text)
    bad = visit.post("/thermometers/TH%2F9/certificates", certificate="T-9", done_on="2026-06-01")
    assert bad.status_code == 422
    assert "Give the last day it holds" in words(bad.text)
    page = visit.follow(
        visit.post(
            "/thermometers/TH%2F9/certificates",
            certificate="T-9",
            done_on="2026-06-01",
            due_on="2099-06-01",
            largest_error_c="0.3",
        )
    )
    thermometer = re.search(r'href="(/thermometers/[^"]*/certificates/\d+)"', page.text)
    page = visit.follow(
        visit.post(
            "/register/block",
            files={"file": ("B.png", PNG, "image/png")},
            code="RB-9",
            quantity="hardness",
            unit="HRB",
            certified_value="84.1",
            permitted_error="1.0",
            expanded_uncertainty="0.4",
            indents_most="100",
            expires_on="2099-01-01",
            certificate="B-9",
        )
    )
    said = words(page.text)
    assert "100 of 100 left: 0 check readings taken on it" in said
    assert "The block counts for nothing until a second person has accepted it." in said
    block = re.search(r'href="(/blocks/RB-9/certificates/\d+)"', page.text)
    assert thermometer
    assert block
    visit.sign_in("ines")
    listed = words(visit.get("/reviews").text)
    assert "Reference block RB-9 with certificate B-9" in listed
    assert "Certificate T-9 of TH/9" in listed
    for found in (thermometer, block):
        assert visit.get(found[1]).status_code == 200
        done = visit.post(f"{found[1]}/review", answer="accept", remark="", password=PASSWORD)
        assert "is accepted." in words(visit.follow(done).text)
    assert "in date until 2099-06-01" in words(visit.get("/thermometers/TH%2F9").text)
    assert "in date until 2099-01-01" in words(visit.get("/blocks/RB-9").text)
    board = words(visit.get("/equipment/due").text)
    assert "RB-9" not in board
    assert "TH/9" not in board


def test_the_board_names_a_block_that_is_nearly_used_up(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    with database.write() as session:
        key = shop.block(
            session,
            "RB-A",
            "hardness",
            "HRB",
            "62.0",
            "1.0",
            indents_most=5,
            expires_on=date(2099, 1, 1),
        )
        _checked(session, shop, key, 4)
    visit.sign_in("mara")
    assert "reference block RB-A indents one indent left" in words(visit.get("/equipment/due").text)
    assert "1 of 5 left: 4 check readings" in words(visit.get("/blocks/RB-A").text)
    with database.write() as session:
        _checked(session, shop, key, 1)
    assert "indents used up: no indent left" in words(visit.get("/equipment/due").text)
    assert "Take another block." in words(visit.get("/blocks/RB-A").text)


def _reading(session: Any, shop: Shop, coupon_id: int, at: datetime) -> None:
    opened = BenchSession(
        tester_id=shop.hardness_tester_id, operator_id=shop.inspector.id, opened_at=at
    )
    bind(session, opened)
    reading = Reading(
        session_id=opened.id,
        coupon_id=coupon_id,
        quantity="hardness",
        unit="HRB",
        value=Decimal("85.0"),
        spacing_confirmed=True,
        submission=f"s-{at.isoformat()}-{coupon_id}",
        taken_by_id=shop.inspector.id,
        taken_at=at,
        entered_at=at,
    )
    bind(session, reading)


def test_what_a_tester_measured_before_it_was_found_off_is_listed(
    database: Database, visit: Visit
) -> None:
    """From the day of the accepted certificate before to the day of this one, both counted."""
    shop = Shop(database)
    _, _, coupons, _ = shop.panel_in_load()
    with database.write() as session:
        for day, coupon in (
            (datetime(2026, 1, 9, 23, 59, tzinfo=UTC), coupons[1]),
            (datetime(2026, 1, 10, 0, 0, tzinfo=UTC), coupons[0]),
            (datetime(2026, 5, 31, 22, 59, tzinfo=UTC), coupons[0]),
            (datetime(2026, 5, 31, 23, 0, tzinfo=UTC), coupons[1]),
        ):
            _reading(session, shop, coupon.id, day)
        key = shop.tester_certificate(
            session,
            shop.hardness_tester_id,
            "C-OFF",
            done_on=date(2026, 5, 31),
            as_found=[["85.0", "83.9"]],
            as_found_within=False,
        )
    visit.sign_in("ines")
    page = visit.get(f"/tester-certificates/{key}/measured").text
    said = words(page)
    assert "found outside its tolerance" in said
    assert "The accepted one before it was made 2026-01-10" in said
    assert "Largest error as found: -1.1 HRB" in said
    assert "2 readings on 1 panel, 0 of them released" in said
    assert f'href="/coupons/{coupons[0].code}"' in page
    assert f'href="/coupons/{coupons[1].code}"' not in page
    assert "Put each panel below on hold" in said
    assert (
        f'href="/tester-certificates/{key}/measured"'
        in visit.get(f"/testers/HT-1/certificates/{key}").text
    )
    assert visit.get("/tester-certificates/999/measured").status_code == 404


def test_a_tester_found_right_touches_nothing(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    key = _certificate(database, shop)
    visit.sign_in("mara")
    said = words(visit.get(f"/tester-certificates/{key}/measured").text)
    assert "nothing follows from it for these panels" in said
    assert "Nothing was measured with it in that time." in said
    assert "What to do" not in said


def test_the_days_between_two_calibrations_need_a_first_one(database: Database) -> None:
    """The newest accepted one made before the day counts; one that waits does not."""
    shop = Shop(database)
    with database.write() as session:
        shop.tester_certificate(
            session,
            shop.hardness_tester_id,
            "C-WAITS",
            done_on=date(2026, 2, 1),
            review=None,
        )
    key = _certificate(database, shop, term=service.Term(date(2026, 2, 20), date(2026, 9, 1)))
    with database.read() as session:
        assert measured_since(session, key, zone=UTC).since == date(2026, 1, 10)
        first = queries.every_tester_certificate(session, shop.hardness_tester_id)[-1]
        assert measured_since(session, first.id, zone=UTC).since is None
