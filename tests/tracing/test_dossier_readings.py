"""The dossier shows every figure ever recorded: late, corrected, and what became of each."""

from decimal import Decimal

import pytest

from app.database import Database
from tests.bench.bench_makers import FAILED_CHECK, Bench
from tests.visits import Visit, words


@pytest.fixture
def bench(database: Database) -> Bench:
    return Bench(database)


def _dossier(visit: Visit, bench: Bench) -> str:
    visit.sign_in("olek")
    return words(visit.get("/panels/P-0001").text)


def test_a_late_reading_shows_when_it_was_entered_and_why(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open("HT-1")
    measured = bench.tick()
    for _ in range(20):
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
    shown = _dossier(visit, bench)
    assert "LATE, entered 2026-03-02 09:" in shown
    assert "the terminal was down" in shown


def test_a_correction_shows_the_original_the_reason_and_the_evidence(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "84.5", "85.0", "85.6")
    third = bench.readings(coupon)[2]
    bench.correct(coupon, third, "85.5", by=bench.shop.inspector)
    shown = _dossier(visit, bench)
    assert "replaced by 85.5: digits swapped, see print-out" in shown
    assert "corrects 85.6 HRB: digits swapped, see print-out" in shown


def test_a_tester_out_of_use_is_named_beside_its_readings(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open("HT-1")
    bench.read(number, coupon, "84.5", "85.0", "85.5")
    bench.check(number, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    shown = _dossier(visit, bench)
    assert "HT-1 is out of use now" in shown
    assert "the closing check after it failed" in shown


def test_corrections_and_uncertainty_stand_in_the_working(bench: Bench, visit: Visit) -> None:
    with bench.database.write() as session:
        bench.shop.tester_certificate(
            session,
            bench.shop.hardness_tester_id,
            "C-CORR",
            done_on=bench.at.date(),
            corrections=[["80", "1.0"], ["90", "0.0"]],
            expanded_uncertainty=Decimal("0.6"),
        )
    coupon = bench.coupon()
    bench.hard(coupon)
    shown = _dossier(visit, bench)
    assert "instrument correction 84.5 + (0.55) = 85.05 HRB (certificate C-CORR)" in shown
    assert "uncertainty, tester HT-1 (certificate C-CORR): U = 0.6, u = 0.6 / 2 = 0.3" in shown
