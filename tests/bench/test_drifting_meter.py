"""A meter drifts during the shift: what the people at the bench see and do, step by step."""

import pytest
from fastapi import FastAPI

from app.bench import queries
from app.database import Database
from app.errors import Refusal
from app.panels.records import Coupon
from tests.bench.bench_makers import Bench
from tests.bench.session_makers import HIGH, LOW, bench_with_standards, out_of_use, second_meter
from tests.bench.test_session_pages import check, follow_the_clock
from tests.visits import Visit, words


def _enter(visit: Visit, bench: Bench, address: str, coupon: Coupon, *values: str) -> str:
    """Three readings on a scanned coupon; the page after them."""
    entry = visit.get(f"{address}?coupon={coupon.code}").text
    assert 'name="reading_3"' in entry, words(entry)
    keyed = {f"reading_{number}": text for number, text in enumerate(values, start=1)}
    answer = visit.post(
        f"{address}/readings",
        coupon=coupon.code,
        submission=bench.form(),
        fields="3",
        coupon_c="21.0",
        block_c="20.5",
        **keyed,
    )
    return visit.follow(answer).text


def _begin(visit: Visit, who: str, tester: str) -> str:
    """A session at a meter, checked on both standards."""
    visit.sign_in(who)
    answer = visit.post("/bench/sessions", tester=tester, thermometer="TH-1")
    address: str = answer.headers["location"]
    for block, value in ((LOW, "30.4"), (HIGH, "44.7")):
        assert check(visit, address, "opening", block, value).status_code == 303
    return address


@pytest.fixture
def bench(database: Database, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A bench whose table asks for two standards, with a second meter and a thermometer."""
    bench = bench_with_standards(database)
    second_meter(bench)
    with database.write() as session:
        bench.shop.thermometer(session, "TH-1")
    return follow_the_clock(bench, monkeypatch)


def test_a_meter_drifts_and_the_coupons_are_measured_again(bench: Bench, visit: Visit) -> None:
    coupons = [*bench.coupons(3), *bench.coupons(2)]
    odd, *others = coupons
    for coupon in coupons:
        bench.hard(coupon)

    # 1. Five coupons of two panels; one reads 36.8, below the limit.
    address = _begin(visit, "deniz", "CM-1")
    for coupon in others:
        page = _enter(visit, bench, address, coupon, "38.8", "38.9", "38.7")
        assert "Provisional until the closing check." in page
        assert (bench.now(coupon).verdict, bench.now(coupon).provisional) == ("conforms", True)
    page = _enter(visit, bench, address, odd, "36.8", "36.8", "36.8")
    assert bench.now(odd).verdict == "does_not_conform"

    # 2. The page asks for the meter first; on the high standard it reads 0.9 too low.
    assert f"{odd.code} does not conform: check CM-1 again" in page
    assert "Check the meter again" in page
    assert check(visit, address, "interim", LOW, "30.0").status_code == 303
    page = visit.follow(check(visit, address, "interim", HIGH, "44.0")).text

    # 3. Conductivities not proven, hardness untouched, panels on hold, meter out of use.
    said = words(page)
    assert "CM-1 failed its interim check" in said
    assert "15 readings since its last conforming check are not proven." in said
    assert "5 coupons to measure again" in said
    assert "2 panels put on hold" in said
    assert out_of_use(bench, "CM-1") is not None
    for coupon in coupons:
        assert bench.now(coupon).verdict == "not_proven"
        assert "Hardness" in bench.texts(coupon)
        assert f'href="/coupons/{coupon.code}"' in page
    for panel in ("P-0001", "P-0002"):
        assert f'href="/panels/{panel}"' in page
        assert "held" in words(visit.get(f"/panels/{panel}").text)

    # 4. Nobody adds 0.9 to the readings.
    assert "Add nothing to the readings" in said
    entry = visit.get(f"{address}?coupon={odd.code}").text
    assert 'name="reading_1"' not in entry
    low = bench.readings(odd)[-1]
    with pytest.raises(Refusal, match="Nothing is added to it; measure the coupon again"):
        bench.correct(odd, low, "37.7", by=bench.shop.second, reason="the meter read 0.9 too low")
    assert bench.now(odd).verdict == "not_proven"

    # 5. Another meter, checked before and after; the same coupons read again by somebody else.
    assert "Begin at CM-2" in page
    address = _begin(visit, "mara", "CM-2")
    for coupon in others:
        _enter(visit, bench, address, coupon, "38.6", "38.4", "38.5")
    _enter(visit, bench, address, odd, "38.1", "38.2", "38.0")
    for block, value in ((LOW, "30.2"), (HIGH, "44.9")):
        check(visit, address, "closing", block, value)
    for coupon in coupons:
        assert (bench.now(coupon).verdict, bench.now(coupon).provisional) == ("conforms", False)
        with bench.database.read() as session:
            assert queries.retest_of(session, coupon.id) is None

    # 6. The holds stay until somebody lifts them, and what was set aside stays readable.
    assert "held" in words(visit.get("/panels/P-0001").text)
    dossier = words(visit.get(f"/coupons/{odd.code}").text)
    assert "36.8" in dossier
    assert f"the interim check on {HIGH} after it failed" in dossier
