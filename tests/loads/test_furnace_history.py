"""Where a load and its furnace's last loads were cold, as the pages show it."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import event

from app.bench.rules.coupon_file import ReadingFile
from app.database import Database
from app.judging.units import Quantity
from app.loads.cold.history_queries import Grouping, furnace_history
from app.loads.records import Load, LoadCancellation
from app.loads.service import exclude_sensor, import_record
from app.tracing.queries.coupon_results import means_of
from tests.loads.logger_files import COOL_S, RAMP_S, SOAK_S, STEP_S, columns, csv_of, level, sources
from tests.makers import NOW, Shop, bind
from tests.visits import PASSWORD, Visit, words

COLD_FIRST = (-1.5, 0.0, 1.5)
COUNT = (RAMP_S + SOAK_S + COOL_S) // STEP_S + 1


def _recorded(
    shop: Shop, *, day: int = 0, offsets: tuple[float, ...] = COLD_FIRST, coupons: int = 2
) -> Load:
    """A load whose sensors TC1, TC2, ... run as far beside the plain run as said."""
    start = NOW + timedelta(days=day)
    names = [f"TC{number}" for number in range(1, len(offsets) + 1)]
    load, *_ = shop.panel_in_load(sensors=len(offsets), coupons=coupons, start=start)
    cells = {
        name: [f"{level(row * STEP_S) + offset:.2f}" for row in range(COUNT)]
        for name, offset in zip(names, offsets, strict=True)
    }
    content = csv_of({**cells, "VAC": ["88.0"] * COUNT}, start=start)
    import_record(
        shop.database,
        load.code,
        sources(content, f"{load.code}.csv"),
        columns(*names, "VAC"),
        by=shop.inspector,
        at=start + timedelta(hours=8),
        zone=UTC,
    )
    return load


@contextmanager
def _counted(visit: Visit) -> Iterator[list[str]]:
    engine = visit.client.app.state.database.engine  # type: ignore[attr-defined]
    said: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        said.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield said
    event.remove(engine, "before_cursor_execute", note)


def test_a_load_is_coloured_by_its_coldest_and_says_how_it_is_drawn(
    database: Database, visit: Visit
) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    page = visit.get(f"/loads/{load.code}")
    said = words(page.text)
    assert "written at each sensor as corrected" in said
    assert "are drawn, not measured, and decide nothing" in said
    assert re.findall(r"TC\d 1[45]\d\.\d(?=</text>)", page.text) == [
        "TC1 147.0",
        "TC2 148.5",
        "TC3 150.0",
    ]
    assert "band from 147.0" in said
    assert "Off this scale: band to 153.0 °C" in said
    assert "Drawn between 3 sensors, as far as 3500 mm" in said
    assert 'class="plan__heat plan__heat--0"' in page.text


@pytest.mark.parametrize(
    ("colour", "written"),
    [("mean", "TC1 148.5"), ("highest", "TC1 148.5"), ("arrival", "TC1 59 min")],
)
def test_the_colour_is_chosen_by_a_link(
    database: Database, visit: Visit, colour: str, written: str
) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    page = visit.get(f"/loads/{load.code}?colour={colour}")
    assert written in page.text
    assert re.search(rf'href="\?colour={colour}#panels-h" aria-current="true"', page.text)
    # The cycle has no ageing parameters: nothing to colour by.
    assert "?colour=equivalent" not in page.text


def test_an_unknown_colour_is_refused_in_words(database: Database, visit: Visit) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    answer = visit.get(f"/loads/{load.code}?colour=pink")
    assert answer.status_code == 422
    assert "cannot be coloured by pink; choose one of: lowest, mean" in words(answer.text)


def test_a_load_that_was_never_in_is_coloured_by_arrival(database: Database, visit: Visit) -> None:
    load = _recorded(Shop(database), offsets=(-9.0, 0.0, 1.5))
    visit.sign_in("mara")
    page = visit.get(f"/loads/{load.code}")
    assert "TC1 never in" in page.text
    assert "Arrival in the band" in words(page.text)
    assert "plan-unknown-1)" in page.text


def test_a_plain_plan_before_the_record(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    text = visit.get(f"/loads/{load.code}").text
    assert "Panel in plan view" in text
    assert "plan__heat" not in text
    assert "?colour=" not in text


def test_coupons_say_what_is_drawn_at_their_station(database: Database, visit: Visit) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    said = words(visit.get(f"/loads/{load.code}").text)
    # x 0.33 of 14000 and y 0.5 of 2600 mm; TC1 lies at 0.25 and 0.3: 1120 and 520 mm away.
    assert re.search(r"S1 not judged . about 148\.9 . TC1, 1235 mm", said)


def test_an_excluded_sensor_is_struck_and_has_no_figure(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    load = _recorded(shop)
    exclude_sensor(
        database,
        load.code,
        "TC1",
        reason="wire broken",
        password=PASSWORD,
        by=shop.supervisor,
        at=NOW + timedelta(hours=9),
        zone=UTC,
    )
    visit.sign_in("mara")
    text = visit.get(f"/loads/{load.code}").text
    assert text.count("plan__mark--struck") == 1
    assert ">TC1</text>" in text
    # The soak now begins as TC2, the coldest left, reaches 147.
    assert ">TC2 147.0</text>" in text


def test_sensors_stand_beside_the_last_survey(database: Database, visit: Visit) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    said = words(visit.get(f"/loads/{load.code}").text)
    assert "Beside the last survey" in said
    assert re.search(r"TC1 -1\.51 U1 \d+ -0\.25", said)


def test_findings_are_shown_with_the_degree_sign(database: Database, visit: Visit) -> None:
    load = _recorded(Shop(database))
    visit.sign_in("mara")
    said = words(visit.get(f"/loads/{load.code}").text)
    assert "°C" in said
    assert "degC" not in said


def test_the_history_counts_places_over_loads_that_went_ahead(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    first, second = _recorded(shop, day=0), _recorded(shop, day=1)
    gone = _recorded(shop, day=2, offsets=(1.5, 0.0, -1.5))
    with database.write() as session:
        cancelled = LoadCancellation(
            load_id=gone.id, reason="planned twice", by_id=shop.engineer.id, at=NOW
        )
        bind(session, cancelled)
    with database.read() as session:
        found = furnace_history(session, shop.furnace_id, loads=10, by=Grouping.STATION)
    assert [one.code for one in found.loads] == [first.code, second.code]
    coldest, *_, hottest = found.places
    assert (coldest.place, coldest.coldest) == ("panel 1, T1", (first.code, second.code))
    assert coldest.offset_c == pytest.approx(-1.5)
    assert hottest.hottest == (first.code, second.code)
    visit.sign_in("mara")
    page = visit.get("/furnaces/FN-1/history")
    said = words(page.text)
    assert "2 loads with a verdict that stands" in said
    assert f'href="/loads/{second.code}"' in page.text
    assert gone.code not in page.text
    assert "panel 1, T1 2 -1.50" in said


def test_the_history_by_square_of_the_zone(database: Database, visit: Visit) -> None:
    _recorded(Shop(database))
    visit.sign_in("mara")
    said = words(visit.get("/furnaces/FN-1/history?places=zone&loads=50").text)
    # The panel of 14000 by 2600 mm lies at the zone's corner: a quarter along, 0.3 across.
    assert "x 3500 to 4000 mm, y 500 to 1000 mm" in said


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("loads=7", "The history reads the last 10, 20, 50, 100 loads, not 7"),
        ("places=moon", "by station or by zone, not by moon"),
    ],
)
def test_a_history_that_is_not_offered_is_refused_in_words(
    database: Database, visit: Visit, asked: str, said: str
) -> None:
    Shop(database)
    visit.sign_in("mara")
    answer = visit.get(f"/furnaces/FN-1/history?{asked}")
    assert answer.status_code == 422
    assert said in words(answer.text)


def test_a_furnace_without_loads_says_so_and_an_unknown_one_is_not_found(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("mara")
    said = words(visit.get("/furnaces/FN-1/history").text)
    assert "No load of this furnace has a verdict" in said
    assert visit.get("/furnaces/NONE/history").status_code == 404
    assert "Where its last loads were cold" in visit.get("/furnaces/FN-1").text


def test_more_loads_and_sensors_need_no_more_queries(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    small = _recorded(shop, day=0)
    visit.sign_in("mara")

    def queries_of(address: str) -> int:
        with _counted(visit) as said:
            assert visit.get(address).status_code == 200
        return len(said)

    # A process reads the papers of a requirement once.
    queries_of(f"/loads/{small.code}")
    history, page = queries_of("/furnaces/FN-1/history"), queries_of(f"/loads/{small.code}")
    large = _recorded(shop, day=1, offsets=(-1.5, -1.0, 0.0, 0.5, 1.0, 1.5), coupons=5)
    for day in range(2, 6):
        _recorded(shop, day=day)
    assert queries_of("/furnaces/FN-1/history") == history
    assert queries_of(f"/loads/{large.code}") == page


def _reading(number: int, value: str, **changed: Any) -> ReadingFile:
    given: dict[str, Any] = {
        "id": number,
        "number": number,
        "session_id": 1,
        "quantity": Quantity.HARDNESS,
        "unit": "HRB",
        "value": Decimal(value),
        "coupon_c": None,
        "block_c": None,
        "frequency_khz": None,
        "spacing_confirmed": None,
        "retest_id": None,
        "set_number": None,
        "taken_at": datetime(2026, 3, 3, tzinfo=UTC),
        "voided": None,
        "replaced": False,
    }
    return ReadingFile(**(given | changed))


def test_the_mean_leaves_out_what_was_voided_corrected_or_of_a_retest() -> None:
    readings = [
        _reading(1, "84.0"),
        _reading(2, "84.5"),
        _reading(3, "84.6"),
        _reading(4, "70.0", voided="block moved"),
        _reading(5, "60.0", replaced=True),
        _reading(6, "50.0", retest_id=1),
        _reading(7, "40.1", quantity=Quantity.CONDUCTIVITY, unit="%IACS"),
    ]
    # 253.1 / 3 = 84.3666...
    assert means_of(readings) == ("84.37 HRB, mean of 3", "40.10 %IACS, mean of 1")
    assert means_of([]) == ()
