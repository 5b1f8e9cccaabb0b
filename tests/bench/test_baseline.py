"""Readings before the furnace, on both databases."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from app.bench import queries, service
from app.bench.queries.baseline import baseline_offer, baselines
from app.bench.rules.coupon_file import assemble
from app.bench.service.verdicts import moved
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.units import Quantity
from app.loads.records import LoadCoupon, LoadStart
from app.panels.records import Coupon, Custody
from tests.bench.bench_makers import FAILED_CHECK, ZONE, Bench
from tests.equipment.test_pages import counted
from tests.makers import bind
from tests.visits import Visit, words


def _raw(bench: Bench, code: str = "C-RAW") -> Coupon:
    with bench.database.write() as session:
        coupon = bench.shop.coupon(session, code)
        session.expunge_all()
    return coupon


def _read(bench: Bench, number: int, code: str, *values: str, **changed: Any) -> str:
    by = changed.pop("by", bench.shop.inspector)
    given = {"spacing_confirmed": True, "submission": bench.form(), **changed}
    taken = service.ReadingsTaken(code, tuple(Decimal(one) for one in values), **given)
    return service.record_baseline(
        bench.database, taken, session_id=number, by=by, at=bench.tick(), zone=ZONE
    )


def _lines(bench: Bench, coupon: Coupon) -> tuple[Any, ...]:
    with bench.database.read() as session:
        return baselines(session, [coupon.id]).get(coupon.id, ())


def test_a_baseline_counts_between_the_checks_of_its_session(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    assert _read(bench, number, coupon.code, "64.0", "64.3") == coupon.code
    (line,) = _lines(bench, coupon)
    assert (line.quantity, line.unit, line.mean) == (
        Quantity.HARDNESS,
        "HRB",
        Fraction("64.15"),
    )
    assert (line.why_not, line.provisional) == (None, True)
    assert line.standing == "provisional until the closing check"
    assert line.words == "64.0, 64.3 HRB, mean 64.15"
    bench.check(number, "HT-1", "closing")
    (line,) = _lines(bench, coupon)
    assert line.standing == "between good checks"
    with bench.database.read() as session:
        assert queries.verdicts(session, coupon.id) == []


def test_a_baseline_before_a_failed_check_does_not_count(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    _read(bench, number, coupon.code, "64.0")
    bench.check(number, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    (line,) = _lines(bench, coupon)
    assert "nothing since the last conforming check is proven" in line.standing


def test_a_check_that_spoils_a_baseline_judges_again_what_was_judged_with_it(bench: Bench) -> None:
    load, panel, _, _ = bench.shop.panel_in_load(coupons=0)
    coupon = _raw(bench)
    number = bench.open()
    _read(bench, number, coupon.code, "64.0")
    with bench.database.write() as session:
        place = {"load_id": load.id, "panel_id": panel.id, "station": "S1"}
        half = Decimal("0.5")
        bind(session, LoadCoupon(coupon_id=coupon.id, x=half, y=half, **place))
        bench.shop.custody(session, coupon, Custody.PLACED, Custody.RECOVERED)
        session.expunge_all()
    bench.conductive(coupon)
    kept = len(bench.verdicts(coupon))
    bench.check(number, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    with bench.database.read() as session:
        assert moved(session, [coupon.id], zone=ZONE) == []
    assert len(bench.verdicts(coupon)) == kept + 1


def test_a_later_baseline_stands_in_place_of_an_earlier_one(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    _read(bench, number, coupon.code, "64.0")
    _read(bench, number, coupon.code, "65.0")
    first, second = _lines(bench, coupon)
    assert (first.overtaken, second.overtaken) == (True, False)
    assert first.standing == "a later one stands in its place"
    assert second.words == "65.0 HRB, mean 65"


def test_a_verdict_is_given_the_newest_baseline_that_its_checks_prove(bench: Bench) -> None:
    load, panel, _, _ = bench.shop.panel_in_load(coupons=0)
    coupon, spoilt = _raw(bench, "C-RAW1"), _raw(bench, "C-RAW2")
    number = bench.open()
    _read(bench, number, coupon.code, "64.0")
    _read(bench, number, coupon.code, "65.0", "65.2")
    bench.check(number, "HT-1", "closing")
    failing = bench.open()
    _read(bench, failing, spoilt.code, "64.0")
    bench.check(failing, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    with bench.database.write() as session:
        for station, one in (("S1", coupon), ("S2", spoilt)):
            seat = LoadCoupon(
                load_id=load.id,
                panel_id=panel.id,
                coupon_id=one.id,
                station=station,
                x=Decimal("0.5"),
                y=Decimal("0.5"),
            )
            bind(session, seat)
    with bench.database.read() as session:
        files = queries.coupon_files(session, [coupon.id, spoilt.id])
    (baseline,) = assemble(files[coupon.id], ZONE).first.baselines
    assert baseline.readings == (Decimal("65.0"), Decimal("65.2"))
    assert assemble(files[spoilt.id], ZONE).first.baselines == ()


def test_a_form_sent_twice_is_recorded_once(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    for _ in range(2):
        _read(bench, number, coupon.code, "64.0", submission="the same")
    assert len(_lines(bench, coupon)) == 1
    with pytest.raises(Conflict, match="with other figures"):
        _read(bench, number, coupon.code, "64.9", submission="the same")
    with pytest.raises(Refusal, match="The form is incomplete"):
        _read(bench, number, coupon.code, "64.0", submission="")


@pytest.mark.parametrize("step", [Custody.PLACED, Custody.MISSING])
def test_a_coupon_that_is_further_has_no_baseline_to_take(bench: Bench, step: Custody) -> None:
    coupon = _raw(bench)
    with bench.database.write() as session:
        bench.shop.custody(session, coupon, step)
    number = bench.open()
    with pytest.raises(Refusal, match="before the coupon's load is started") as refused:
        _read(bench, number, coupon.code, "64.0")
    assert list(refused.value.fields) == ["coupon"]
    with bench.database.read() as session:
        assert baseline_offer(session, coupon.code, queries.bench_session(session, number)) is None


def test_a_planned_coupon_is_read_until_its_load_is_started(bench: Bench) -> None:
    load, panel, (coupon, _), _ = bench.shop.panel_in_load()
    number = bench.open()
    with bench.database.read() as session:
        offer = baseline_offer(session, coupon.code, queries.bench_session(session, number))
    assert offer is not None
    assert (offer.load, offer.panel, offer.station) == (load.code, panel.code, "S1")
    _read(bench, number, coupon.code, "64.0")
    with bench.database.write() as session:
        bind(
            session,
            LoadStart(
                load_id=load.id,
                started_at=bench.at,
                findings=[],
                by_id=bench.shop.inspector.id,
                entered_at=bench.at,
            ),
        )
    with pytest.raises(Refusal, match="before the coupon's load is started"):
        _read(bench, number, coupon.code, "65.0")


def test_the_offer_says_where_the_coupon_will_ride(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    _read(bench, number, coupon.code, "64.0")
    with bench.database.read() as session:
        at_work = queries.bench_session(session, number)
        offer = baseline_offer(session, coupon.code, at_work)
        assert baseline_offer(session, "C-77", at_work) is None
    assert offer is not None
    assert (offer.coupon, offer.place, offer.load) == (coupon.code, "somewhere", None)
    assert len(offer.taken) == 1


@pytest.mark.parametrize(
    ("tester", "values", "changed", "field"),
    [
        ("HT-1", (), {}, "reading_1"),
        ("HT-1", ("64.0", "-1"), {}, "reading_2"),
        ("HT-1", ("64.0",), {"spacing_confirmed": False}, "spacing_confirmed"),
        ("CM-1", ("31.0",), {"coupon_c": Decimal(20)}, "block_c"),
        ("CM-1", ("31.0",), {"coupon_c": Decimal(90), "block_c": Decimal(20)}, "coupon_c"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    bench: Bench, tester: str, values: tuple[str, ...], changed: dict[str, Any], field: str
) -> None:
    coupon = _raw(bench)
    number = bench.open(tester)
    with pytest.raises(Refusal) as refused:
        _read(bench, number, coupon.code, *values, **changed)
    assert list(refused.value.fields) == [field]
    assert _lines(bench, coupon) == ()


def test_only_the_operator_reads_and_only_in_an_open_session(bench: Bench) -> None:
    coupon = _raw(bench)
    number = bench.open()
    with pytest.raises(NotAllowed, match="open your own"):
        _read(bench, number, coupon.code, "64.0", by=bench.shop.second)
    with pytest.raises(NotFound):
        _read(bench, number, "C-77", "64.0")
    bench.check(number, "HT-1", "closing")
    with pytest.raises(Conflict, match="open a new one"):
        _read(bench, number, coupon.code, "64.0")
    waiting = service.open_session(
        bench.database, tester_code="HT-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    with pytest.raises(Conflict, match="opening check comes first"):
        _read(bench, waiting, coupon.code, "64.0")


def test_twice_the_coupons_need_no_more_queries(bench: Bench, app: Any, visit: Visit) -> None:
    number = bench.open()
    visit.sign_in("mara")
    address = f"/bench/sessions/{number}/baseline"
    for code in ("C-RAW1", "C-RAW2"):
        _read(bench, number, _raw(bench, code).code, "64.0")
    with counted(app) as few:
        visit.get(address)
    for code in ("C-RAW3", "C-RAW4"):
        _read(bench, number, _raw(bench, code).code, "64.0")
    with counted(app) as more:
        visit.get(address)
    assert len(few) == len(more)


def test_a_coupon_scanned_before_it_is_placed_is_offered_its_baseline(
    bench: Bench, visit: Visit
) -> None:
    """The page reads the server's clock, so the session is of today and opened through it."""
    coupon = _raw(bench)
    visit.sign_in("mara")
    opened = visit.post("/bench/sessions", tester="HT-1")
    session = opened.headers["location"]
    visit.post(
        f"{session}/check",
        moment="opening",
        block="RB-HT-1",
        fields="2",
        reading_1="85.0",
        reading_2="85.1",
    )
    scan = visit.get(f"{session}/scan?coupon={coupon.code.lower()}")
    assert scan.headers["location"] == f"{session}/baseline?coupon={coupon.code}"
    page = visit.follow(scan)
    assert f"Baseline of {coupon.code}" in words(page.text)
    assert "It decides nothing." in words(page.text)
    address = f"{session}/baseline"
    fields = {"coupon": coupon.code, "submission": "s-1", "fields": "2", "reading_1": "64,2"}
    again = visit.post(address, **fields, reading_2="x")
    assert again.status_code == 422
    assert 'value="64,2"' in again.text
    more = visit.post(address, **fields, reading_2="64.4", more="1")
    assert 'name="reading_3"' in more.text
    done = visit.follow(visit.post(address, **fields, reading_2="64.4", spacing_confirmed="yes"))
    said = words(done.text)
    assert f"The baseline of {coupon.code} is recorded." in said
    assert "64.2, 64.4 HRB, mean 64.3; provisional until the closing check" in said
    shown = words(visit.get(f"/coupons/{coupon.code}/custody").text)
    assert "Hardness 64.2, 64.4 HRB, mean 64.3" in shown
    other = visit.get(f"{address}?coupon=C-77")
    assert other.status_code == 422
    assert "no baseline to read" in words(other.text)
    visit.sign_in("deniz")
    assert "No baseline is read here now" in words(visit.get(address).text)
