"""Evidence beside the record, read from the records: as a load is planned and as it ran."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.database import Database
from app.equipment import queries as equipment
from app.equipment.records import (
    FurnaceCheckKind,
    FurnaceQualification,
    MaintenanceEvent,
)
from app.judging.furnace.evidence import judge_furnace
from app.judging.furnace.zone import Position
from app.loads.evidence import (
    findings_of_loads,
    findings_of_panels,
    furnace_findings,
    furnace_span_findings,
    gauge_span_findings,
    sensor_span_findings,
    zone_findings,
)
from app.loads.records import Load, LoadCancellation, LoadEnd, LoadPanel, LoadStart
from app.loads.runs import planned_uses, runs, sensor_uses
from tests.makers import CYCLE_PAPER, NOW, Shop, bind

ZONE = ZoneInfo("Europe/Lisbon")
SURVEY = FurnaceCheckKind.UNIFORMITY_SURVEY
ALL_GOOD = {
    "furnace.procedure",
    "furnace.survey",
    "furnace.accuracy_test",
    "furnace.recorder",
    "furnace.through_end",
    "furnace.class",
    "furnace.range",
    "furnace.zone",
    "sensors.calibration",
    "sensors.through_end",
    "gauge.calibration",
    "gauge.through_end",
}


def _found(database: Database, load: Load, *, zone: Any = ZONE) -> dict[str, str]:
    with database.read() as session:
        return {one.code: one.outcome.value for one in furnace_findings(session, load, zone=zone)}


def test_the_makers_load_has_all_its_evidence(database: Database) -> None:
    load, *_ = Shop(database).panel_in_load()
    found = _found(database, load)
    assert set(found) == ALL_GOOD
    assert set(found.values()) == {"conforms"}


def _unreviewed_survey(shop: Shop, session: Session) -> None:
    shop.furnace_check(session, shop.furnace_id, SURVEY, passed=False, review=None)


def _failed_survey(shop: Shop, session: Session) -> None:
    shop.furnace_check(session, shop.furnace_id, SURVEY, done_on=date(2026, 2, 20), passed=False)


def _to_another_class(shop: Shop, session: Session) -> None:
    row = FurnaceQualification(
        furnace_id=shop.furnace_id,
        procedure_id=shop._procedure_id(session),  # noqa: SLF001 - of the makers
        furnace_class="2",
        instrumentation_type="B",
        in_force_from=NOW.date(),
        note="",
        entered_by_id=shop.engineer.id,
        entered_at=NOW,
    )
    bind(session, row)
    shop.reviewed(session, qualification_id=row.id)


def _new_seal(shop: Shop, session: Session) -> None:
    bind(
        session,
        MaintenanceEvent(
            furnace_id=shop.furnace_id,
            event="door seal changed",
            happened_on=date(2026, 2, 15),
            asks_for=[SURVEY.value],
            note="",
            entered_by_id=shop.engineer.id,
            entered_at=NOW,
        ),
    )


def _bare_survey(shop: Shop, session: Session) -> None:
    shop.furnace_check(session, shop.furnace_id, SURVEY, done_on=date(2026, 2, 20), results=None)


def _cold_survey(shop: Shop, session: Session) -> None:
    from tests.furnace_papers import survey_figures  # noqa: PLC0415

    shop.furnace_check(
        session,
        shop.furnace_id,
        SURVEY,
        done_on=date(2026, 2, 20),
        results=survey_figures(sets=("100", "149.9")),
    )


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        pytest.param(
            _unreviewed_survey,
            {"furnace.survey": "not_proven", "furnace.through_end": "not_proven"},
            id="a-newer-failure-nobody-reviewed",
        ),
        pytest.param(
            _failed_survey,
            {"furnace.survey": "does_not_conform", "furnace.through_end": "not_proven"},
            id="a-failed-survey",
        ),
        pytest.param(
            _to_another_class,
            {
                "furnace.survey": "not_proven",
                "furnace.accuracy_test": "not_proven",
                "furnace.through_end": "not_proven",
                "furnace.class": "does_not_conform",
            },
            id="kept-to-a-coarser-class",
        ),
        pytest.param(
            _new_seal,
            {"furnace.survey": "not_proven", "furnace.through_end": "not_proven"},
            id="work-that-asks-for-a-survey",
        ),
        pytest.param(
            _bare_survey,
            {"furnace.range": "not_proven", "furnace.zone": "not_proven"},
            id="a-survey-entered-bare",
        ),
        pytest.param(_cold_survey, {"furnace.range": "not_proven"}, id="surveyed-too-cold"),
    ],
)
def test_what_is_missing_or_fails_is_found(
    database: Database, change: Callable[[Shop, Session], None], expected: dict[str, str]
) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with database.write() as session:
        change(shop, session)
    found = _found(database, load)
    assert {code: said for code, said in found.items() if said != "conforms"} == expected


def test_a_load_that_lies_outside_the_zone_or_nowhere(database: Database) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    with database.write() as session:
        other = shop.panel(session)
        for x_mm, treatment in ((Decimal(2001), 1),):
            bind(
                session,
                LoadPanel(
                    load_id=load.id,
                    panel_id=other.id,
                    table_revision_id=shop.table_revision_id,
                    former="FORMER-2",
                    treatment_number=treatment,
                    x_mm=x_mm,
                    y_mm=Decimal(0),
                    turned=False,
                ),
            )
        other_id = other.id
    # 2,001 mm and a panel of 14 m end 1 mm beyond the 16 m of the zone.
    assert _found(database, load)["furnace.zone"] == "does_not_conform"
    with database.read() as session:
        by_panel = findings_of_panels(session, [load.id], zone=ZONE)
    zones = {
        key[1]: next(one.outcome.value for one in found if one.code == "furnace.zone")
        for key, found in by_panel.items()
    }
    assert zones == {panel.id: "conforms", other_id: "does_not_conform"}


def test_the_span_is_the_records_else_as_entered_else_as_planned(database: Database) -> None:
    shop = Shop(database)
    load, *_ = shop.panel_in_load()
    with database.read() as session:
        planned = runs(session, [load.id])[load.id]
    assert (planned.starts_at, planned.ends_at) == (NOW, NOW + timedelta(hours=6))
    started, ended = NOW + timedelta(hours=2), NOW + timedelta(hours=9)
    with database.write() as session:
        common = {"load_id": load.id, "findings": [], "by_id": shop.inspector.id}
        bind(
            session,
            LoadStart(started_at=started, entered_at=started, **common),
            LoadEnd(ended_at=ended, entered_at=ended, **common),
        )
    with database.read() as session:
        ran = runs(session, [load.id])[load.id]
    assert (ran.starts_at, ran.ends_at) == (started, ended)


def test_in_date_at_the_start_but_not_at_the_end_is_not_proven(database: Database) -> None:
    """The checks hold until 1 May, that day included, in the shop's own calendar."""
    shop = Shop(database)
    start = NOW.replace(month=5, day=1, hour=20)

    def at_end(hours: int) -> str:
        load, *_ = shop.panel_in_load(start=start + timedelta(hours=hours))
        return _found(database, load)["furnace.through_end"]

    # Lisbon is an hour before UTC in summer: 20:00 UTC and 6 h end on 2 May, 16:59 UTC do not.
    assert at_end(-4) == "conforms"
    assert at_end(-3) == "not_proven"


def test_a_gauge_is_asked_for_where_the_cycle_has_a_vacuum(database: Database) -> None:
    shop = Shop(database)
    with database.read() as session:
        furnace = equipment.furnace(session, "FN-1")
        given: dict[str, Any] = {"furnace": furnace, "start": NOW, "end": NOW, "zone": ZONE}
        assert gauge_span_findings(session, None, wanted=False, **given) == []
        missing = gauge_span_findings(session, None, wanted=True, **given)
        named = gauge_span_findings(session, shop.gauge_id, wanted=True, **given)
        given["furnace"] = None
        ungoverned = gauge_span_findings(session, shop.gauge_id, wanted=True, **given)
    assert [one.outcome.value for one in missing] == ["not_proven", "not_proven"]
    assert [one.outcome.value for one in named] == ["conforms", "conforms"]
    assert ungoverned[0].outcome.value == "not_proven"


def test_a_plan_asks_the_same_of_furnace_zone_and_sensors(database: Database) -> None:
    shop = Shop(database)
    with database.write() as session:
        unreviewed = shop.sensor(
            session, "TC-U", done_on=date(2026, 1, 1), due_on=date(2026, 7, 1), review=False
        ).id
    with database.read() as session:
        furnace = equipment.furnace(session, "FN-1")
        span: dict[str, Any] = {"start": NOW, "end": NOW + timedelta(hours=6), "zone": ZONE}
        furnace_found = furnace_span_findings(session, furnace, cycle_paper=CYCLE_PAPER, **span)
        sensors = sensor_span_findings(session, {unreviewed: "TC-U"}, furnace=furnace, **span)
        inside, outside = (
            zone_findings(
                session,
                furnace,
                [Position("a corner", Decimal(x), Decimal(0))],
                start=NOW,
                zone=ZONE,
            )
            for x in (16000, 16001)
        )
    assert {one.outcome.value for one in furnace_found} == {"conforms"}
    assert "nobody else has reviewed it" in sensors[0].text
    assert [one.outcome.value for one in (*inside, *outside)] == ["conforms", "does_not_conform"]


def test_without_a_verified_procedure_nothing_of_the_furnace_is_proven(database: Database) -> None:
    """The procedure of the maker is in force thirty days before the records begin."""
    shop = Shop(database)
    load, *_ = shop.panel_in_load(start=NOW - timedelta(days=31))
    found = _found(database, load)
    assert found["furnace.procedure"] == "not_proven"
    assert found["sensors.calibration"] == "not_proven"
    assert "conforms" not in {found["furnace.survey"], found["furnace.class"]}


def test_old_checks_left_out_change_no_finding(database: Database) -> None:
    """Every check from before the last good one is left out; the findings are the same."""
    from app.documents.pyrometry import procedure_from_json  # noqa: PLC0415
    from app.judging.furnace.evidence import Band, LoadAsked  # noqa: PLC0415
    from tests.furnace_papers import PROCEDURE_PAPER  # noqa: PLC0415

    shop = Shop(database)
    days = [date(2025, 1, 1) + timedelta(days=40 * step) for step in range(14)]
    with database.write() as session:
        for number, day in enumerate(days):
            shop.furnace_check(
                session,
                shop.furnace_id,
                FurnaceCheckKind.ACCURACY_TEST,
                done_on=day,
                due_on=day + timedelta(days=60),
                passed=number % 4 != 3,
                review=(True, None, True, True, False)[number % 5],
            )
    procedure = procedure_from_json(PROCEDURE_PAPER)
    with database.read() as session:
        file = equipment.furnace_file(session, shop.furnace_id)
    seen = set()
    for step in range(120):
        starts_on = date(2025, 1, 1) + timedelta(days=5 * step)
        asked = LoadAsked(
            starts_on=starts_on,
            ends_on=starts_on,
            bands=(Band(Decimal(3), Decimal(3)),),
            set_temperatures_c=(Decimal(150),),
        )
        short = file.on_day(starts_on)
        whole = type(short)(
            code=short.code,
            furnace_class=short.furnace_class,
            instrumentation_type=short.instrumentation_type,
            checks=file.checks,
            maintenance=short.maintenance,
        )
        seen.add(len(short.checks))
        for one, other in zip(
            judge_furnace(short, procedure, asked),
            judge_furnace(whole, procedure, asked),
            strict=True,
        ):
            assert (one.code, one.outcome, one.text, one.limit) == (
                other.code,
                other.outcome,
                other.text,
                other.limit,
            )
    assert min(seen) < len(file.checks)


def test_uses_of_a_sensor_are_counted_without_cancelled_loads(database: Database) -> None:
    shop = Shop(database)
    first, *_, seats = shop.panel_in_load()
    sensor_id = seats[0].sensor_id
    others = [shop.panel_in_load(start=NOW + timedelta(days=day))[0] for day in (1, 2)]
    from app.loads.records import LoadSensor, SensorRole  # noqa: PLC0415

    with database.write() as session:
        for load in others:
            bind(
                session,
                LoadSensor(
                    load_id=load.id,
                    sensor_id=sensor_id,
                    panel_id=None,
                    channel="TC9",
                    role=SensorRole.LOAD,
                    station="T9",
                    x=None,
                    y=None,
                ),
            )
        bind(
            session,
            LoadCancellation(
                load_id=others[0].id, reason="not run", by_id=shop.engineer.id, at=NOW
            ),
        )
    with database.read() as session:
        used = sensor_uses(session, [first.id, others[1].id])
        assert used[first.id][sensor_id] == (1, NOW)
        assert used[others[1].id][sensor_id] == (2, NOW)
        later = planned_uses(session, [sensor_id], start=NOW + timedelta(days=3))
        assert later[sensor_id] == (3, NOW)


def test_many_loads_ask_as_often_as_one(database: Database) -> None:
    shop = Shop(database)
    loads = [shop.panel_in_load()[0].id for _ in range(5)]

    def statements(keys: list[int]) -> int:
        sent: list[str] = []

        def note(_c: Any, _k: Any, statement: str, *_rest: Any) -> None:
            sent.append(statement)

        event.listen(database.engine, "before_cursor_execute", note)
        with database.read() as session:
            assert set(findings_of_loads(session, keys, zone=ZONE)) == set(keys)
        event.remove(database.engine, "before_cursor_execute", note)
        return len(sent)

    assert statements(loads[:1]) == statements(loads)
