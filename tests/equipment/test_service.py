"""Registering equipment and its papers, on both databases."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import delete, update
from sqlalchemy.exc import DatabaseError

from app.audit.actor import Actor
from app.database import Database
from app.equipment import queries, service
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import Build, Furnace, FurnaceCheckKind, Sensor, SensorCertificate
from app.equipment.rules import DueState
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.furnace.procedure import CheckKind
from app.people.queries import acts_about
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

TERM = service.Term(date(2026, 2, 1), date(2026, 8, 1))


def _furnace(database: Database, shop: Shop, **changed: Any) -> str:
    given: dict[str, Any] = {
        "code": "fn-9",
        "name": "Furnace nine",
        "furnace_class": 2,
        "uniformity_c": Decimal("5.0"),
        "instrumentation_type": "b",
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.register_furnace(database, **given)


def _block(database: Database, shop: Shop, *, figures: Any = None, **changed: Any) -> int:
    stated = {"certified_value": Decimal("84.10"), "permitted_error": Decimal("1.0")}
    given: dict[str, Any] = {
        "code": "RB-9",
        "quantity": "hardness",
        "unit": "HRB",
        "figures": service.BlockFigures(**(stated | (figures or {}))),
        "expires_on": date(2030, 1, 1),
        "certificate": "C-9",
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.register_block(database, **given)


def _tester(database: Database, shop: Shop, *, figures: Any = None, **changed: Any) -> str:
    stated = {"build": Build.PORTABLE, "resolution": Decimal("0.1"), "frequency_khz": Decimal(60)}
    given: dict[str, Any] = {
        "code": "CM-9",
        "name": "Meter nine",
        "quantity": "conductivity",
        "unit": "%IACS",
        "figures": service.TesterFigures(**(stated | (figures or {}))),
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.register_tester(database, **given)


def test_a_furnace_is_kept_as_typed_with_its_trail(database: Database) -> None:
    shop = Shop(database)
    assert _furnace(database, shop) == "FN-9"
    with database.read() as session:
        kept = queries.furnace(session, "FN-9")
        assert (str(kept.uniformity_c), kept.instrumentation_type) == ("5.0", "B")
        acts = acts_about(session, "furnace", "FN-9")
    assert [(act.person, act.act) for act in acts] == [("Tomas Brandl", "furnace registered")]


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("furnace_class", 0),
        ("uniformity_c", Decimal(0)),
        ("uniformity_c", Decimal(-3)),
    ],
)
def test_a_furnace_that_cannot_be_is_refused_at_its_field(
    database: Database, field: str, given: object
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _furnace(database, shop, **{field: given})
    assert field in refused.value.fields


def test_an_identity_is_given_once_whatever_it_belongs_to(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Conflict, match="HT-1 is already the identity of a tester"):
        _furnace(database, shop, code="ht-1")


@pytest.mark.parametrize("person", ["inspector", "supervisor", "auditor", "administrator"])
def test_only_an_engineer_registers_equipment(database: Database, person: str) -> None:
    shop = Shop(database)
    by = getattr(shop, person)
    acts: list[Callable[[], object]] = [
        lambda: _furnace(database, shop, by=by),
        lambda: _block(database, shop, by=by),
        lambda: _tester(database, shop, by=by),
        lambda: service.register_sensor(
            database, code="TC-9", thermocouple_type="K", by=by, at=NOW
        ),
        lambda: service.record_sensor_certificate(
            database, sensor="TC-9", term=TERM, certificate="C", corrections="", by=by, at=NOW
        ),
        lambda: service.record_tester_certificate(
            database,
            tester="HT-1",
            term=TERM,
            certificate="C",
            expanded_uncertainty=None,
            by=by,
            at=NOW,
        ),
        lambda: _survey(database, by=by),
        lambda: service.register_gauge(database, code="VG-9", name="Nine", by=by, at=NOW),
        lambda: service.register_thermometer(database, code="TH-9", name="Nine", by=by, at=NOW),
        lambda: service.record_thermometer_certificate(
            database,
            thermometer="TH-9",
            term=TERM,
            certificate="C",
            largest_error_c=None,
            by=by,
            at=NOW,
        ),
        lambda: service.record_gauge_certificate(
            database,
            gauge="VG-1",
            term=TERM,
            certificate="C",
            largest_error_kpa=None,
            by=by,
            at=NOW,
        ),
        lambda: service.qualify_furnace(
            database,
            furnace="FN-1",
            procedure="PY-T",
            furnace_class="1",
            instrumentation_type="B",
            in_force_from=NOW.date(),
            note="",
            by=by,
            at=NOW,
        ),
    ]
    for act in acts:
        with pytest.raises(NotAllowed, match="Only an engineer may"):
            act()


def _survey(database: Database, *, furnace: str = "FN-1", by: Actor, **changed: Any) -> int:
    given: dict[str, Any] = {
        "kind": FurnaceCheckKind.UNIFORMITY_SURVEY,
        "term": service.Term(date(2026, 2, 20)),
        "passed": False,
        "number": "R-77",
        "note": "corner cold",
        **changed,
    }
    return service.record_furnace_check(
        database, furnace=furnace, report=service.Report(**given), by=by, at=NOW
    )


def test_a_failed_survey_stands_in_front_once_it_is_accepted(database: Database) -> None:
    shop = Shop(database)
    key = _survey(database, by=shop.engineer)

    def dues() -> Any:
        with database.read() as session:
            return queries.dues_of_furnaces(session, [shop.furnace_id], at=NOW)[shop.furnace_id]

    assert dues()[CheckKind.UNIFORMITY_SURVEY].state is DueState.NOT_PROVEN
    service.review_report(
        database,
        Subject(SubjectKind.FURNACE_CHECK, key),
        accepted=True,
        remark="",
        password=PASSWORD,
        by=shop.supervisor,
        at=NOW,
    )
    assert dues()[CheckKind.UNIFORMITY_SURVEY].words == "failed on 2026-02-20"
    assert dues()[CheckKind.ACCURACY_TEST].is_in_date


@pytest.mark.parametrize(
    ("term", "field"),
    [
        (service.Term(date(2026, 3, 3), date(2026, 5, 1)), "done_on"),
        (service.Term(date(2026, 2, 2), date(2026, 2, 1)), "due_on"),
        (service.Term(date(2026, 2, 2), date(2026, 5, 3)), "due_on"),
    ],
)
def test_days_that_cannot_be_are_refused(
    database: Database, term: service.Term, field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _survey(database, term=term, by=shop.engineer)
    assert list(refused.value.fields) == [field]


def test_a_paper_of_today_for_today_only_is_taken(database: Database) -> None:
    shop = Shop(database)
    _survey(database, term=service.Term(NOW.date(), NOW.date()), by=shop.engineer)


def test_a_paper_of_nothing_on_record_is_not_found(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(NotFound, match="No furnace FN-7"):
        _survey(database, furnace="FN-7", by=shop.engineer)


def test_a_sensors_certificate_keeps_its_corrections_digit_for_digit(database: Database) -> None:
    shop = Shop(database)
    service.register_sensor(database, code="TC-9", thermocouple_type="n", by=shop.engineer, at=NOW)
    service.record_sensor_certificate(
        database,
        sensor="TC-9",
        term=TERM,
        certificate="SC-9",
        corrections="100 -0.10\n160 +0.60",
        by=shop.engineer,
        at=NOW,
    )
    with database.read() as session:
        sensor = queries.sensor(session, "TC-9")
        kept = queries.sensor_certificates(session, [sensor.id])[sensor.id]
    assert [one.corrections for one in kept] == [[["100", "-0.10"], ["160", "0.60"]]]


def test_a_letter_that_is_no_thermocouple_is_refused(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal, match="no thermocouple type"):
        service.register_sensor(
            database, code="TC-9", thermocouple_type="X", by=shop.engineer, at=NOW
        )


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"quantity": "yield_strength", "unit": "MPa"}, "quantity"),
        ({"unit": "HRB"}, "unit"),
        ({"figures": {"frequency_khz": Decimal(0)}}, "frequency_khz"),
        ({"figures": {"resolution": Decimal(0)}}, "resolution"),
        ({"figures": {"measures_from": Decimal(5)}}, "measures_to"),
        ({"figures": {"measures_to": Decimal(5)}}, "measures_from"),
        ({"figures": {"measures_from": Decimal(5), "measures_to": Decimal(5)}}, "measures_to"),
        ({"figures": {"check_every_min": 0}}, "check_every_min"),
        ({"figures": {"check_every_min": 1441}}, "check_every_min"),
        ({"figures": {"force_n": Decimal(981)}}, "force_n"),
        ({"quantity": "hardness", "unit": "HRB"}, "frequency_khz"),
        (
            {
                "quantity": "hardness",
                "unit": "HBW 10/500",
                "figures": {"frequency_khz": None, "ball_mm": Decimal(5)},
            },
            "ball_mm",
        ),
        (
            {
                "quantity": "hardness",
                "unit": "HRB",
                "figures": {"frequency_khz": None, "asymmetry_percent": Decimal(51)},
            },
            "asymmetry_percent",
        ),
    ],
)
def test_a_tester_that_cannot_be_is_refused_at_its_field(
    database: Database, changed: dict[str, Any], field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _tester(database, shop, **changed)
    assert list(refused.value.fields) == [field]
    assert _tester(database, shop) == "CM-9"


def test_a_testers_certificate_carries_its_uncertainty(database: Database) -> None:
    shop = Shop(database)
    given: dict[str, Any] = {
        "tester": "HT-1",
        "term": TERM,
        "certificate": "C-2",
        "by": shop.engineer,
        "at": NOW,
    }
    with pytest.raises(Refusal, match="above 0"):
        service.record_tester_certificate(database, **given, expanded_uncertainty=Decimal(0))
    service.record_tester_certificate(database, **given, expanded_uncertainty=Decimal("0.80"))
    with database.read() as session:
        tester = queries.tester(session, "HT-1").id
        newest = queries.every_tester_certificate(session, tester)[0]
        assert str(newest.expanded_uncertainty) == "0.80"


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"figures": {"certified_value": Decimal(0)}}, "certified_value"),
        ({"figures": {"permitted_error": Decimal(0)}}, "permitted_error"),
        ({"figures": {"permitted_error": Decimal("84.10")}}, "permitted_error"),
        ({"figures": {"expanded_uncertainty": Decimal(0)}}, "expanded_uncertainty"),
        ({"figures": {"indents_most": 0}}, "indents_most"),
        ({"figures": {"certified_at_c": Decimal(51)}}, "certified_at_c"),
        (
            {"quantity": "conductivity", "unit": "%IACS", "figures": {"indents_most": 9}},
            "indents_most",
        ),
        ({"unit": "%IACS"}, "unit"),
    ],
)
def test_a_block_that_cannot_be_is_refused_at_its_field(
    database: Database, changed: dict[str, Any], field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _block(database, shop, **changed)
    assert list(refused.value.fields) == [field]
    _block(database, shop)
    with database.read() as session:
        assert str(queries.block(session, "RB-9").certified_value) == "84.10"


def test_sensors_stand_by_the_newest_certificate_that_was_accepted(database: Database) -> None:
    shop = Shop(database)
    codes = ("TC-A", "TC-B", "TC-C", "TC-D")
    with database.write() as session:
        keys = {
            code: shop.sensor(session, code, done_on=done, due_on=due, review=review).id
            for code, done, due, review in (
                ("TC-A", date(2026, 1, 1), date(2026, 7, 1), True),
                ("TC-B", date(2026, 1, 1), date(2026, 3, 10), True),
                ("TC-C", date(2025, 6, 1), date(2026, 1, 1), True),
                ("TC-D", date(2026, 1, 1), date(2026, 7, 1), False),
            )
        }
    with database.read() as session:
        dues = queries.dues_of_sensors(session, list(keys.values()), at=NOW)
        listed = queries.sensors(session, after="TC-A", most=2)
    assert [dues[keys[code]].words for code in codes] == [
        "in date until 2026-07-01",
        "in date until 2026-03-10: 8 days left",
        # Six months after 2025-06-01, which is before the day its certificate states.
        "overdue since 2025-12-01",
        "the one of 2026-01-01 waits for review",
    ]
    assert [one.code for one in listed] == ["TC-B", "TC-C"]


@pytest.mark.parametrize("row", [Furnace, Sensor, SensorCertificate])
def test_the_database_itself_refuses_to_change_or_remove_equipment(
    database: Database, row: type[Any]
) -> None:
    Shop(database).panel_in_load()
    column = {"SensorCertificate": "certificate"}.get(row.__name__, "code")
    for statement in (update(row).values({column: "ALTERED"}), delete(row)):
        with pytest.raises(DatabaseError), database.write() as session:
            session.execute(statement)
