"""Filling the demonstration: the pyrometry procedure, furnaces, sensors and gauges."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np

from app.equipment import service as equipment
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import FurnaceCheckKind
from app.equipment.rules import SentFile
from app.equipment.service import Report, Term
from app.requirements import service as requirements
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.drawn_find import scanned_sheet
from seed_demo.scenario import FURNACES, Furnace
from seed_demo.scenario_equipment import (
    DOOR_SEAL,
    GAUGES,
    INSTRUMENTATION_TYPE,
    RESTING,
    Gauge,
    accuracy_figures,
    recorder_figures,
    sensors_of,
    survey_figures,
)
from seed_demo.scenario_pyrometry import PROCEDURE, WAITING_PROCEDURE, DemoProcedure
from seed_demo.seeding_keying import key_as_written, verify_whole

ENGINEER, REVIEWER = "skestle", "mdunfold"

_ACCURACY_TEST_EVERY_DAYS = 30
_RECORDER_EVERY_DAYS = 182
_CERTIFICATE_DAYS = 180
_SENSORS_DUE_IN_DAYS = 46


def enter_equipment(shop: DemoShop, password: str) -> None:
    """The procedure first, then what is kept by it, each paper on the day it was made."""
    for procedure in (PROCEDURE, WAITING_PROCEDURE):
        _enter_procedure(shop, procedure, password)
    for furnace in (*FURNACES, RESTING):
        _enter_furnace(shop, furnace, password)
    for furnace in FURNACES:
        for code in sensors_of(furnace.code).values():
            accepted = Accepted(shop, SubjectKind.SENSOR_CERTIFICATE, password)
            accepted.enter(shop.day(FIRST_DAY, 9), partial(_register_sensor, shop, code))
    for gauge in GAUGES:
        accepted = Accepted(shop, SubjectKind.GAUGE_CERTIFICATE, password)
        accepted.enter(shop.day(FIRST_DAY, 9, 40), partial(_register_gauge, shop, gauge))
    shop.enter(shop.day(2, 15, 10), partial(_change_door_seal, shop))


class Accepted:
    """What one person enters and another accepts twenty minutes later: two acts of the diary."""

    def __init__(self, shop: DemoShop, kind: SubjectKind, password: str) -> None:
        self._shop, self._kind, self._password = shop, kind, password
        self._key: int | None = None

    def enter(self, at: datetime, record: Callable[[datetime], int]) -> None:
        """Put both acts down; ``record`` enters the paper and hands back its key."""

        def recorded(when: datetime) -> None:
            self._key = record(when)

        self._shop.enter(at, recorded)
        self._shop.enter(at + timedelta(minutes=20), self._accept)

    def _accept(self, at: datetime) -> None:
        assert self._key is not None, "entered before it is accepted"  # noqa: S101
        equipment.review_report(
            self._shop.database,
            Subject(self._kind, self._key),
            accepted=True,
            remark="",
            password=self._password,
            by=self._shop.people[REVIEWER],
            at=at,
        )


def days_from_now(shop: DemoShop, done_in_days: int, due_in_days: int) -> Term:
    """The two days of a paper, counted from today (negative: past)."""
    today = shop.now.date()
    return Term(today + timedelta(days=done_in_days), today + timedelta(days=due_in_days))


def _enter_procedure(shop: DemoShop, procedure: DemoProcedure, password: str) -> None:
    """What is in force was written on the first day; what waits, yesterday."""
    at = shop.day(FIRST_DAY if procedure.verified_by else 1, 12, 40)
    shop.enter(at, partial(_write_procedure, shop, procedure))
    if procedure.verified_by is not None:
        kind = RequirementKind.PYROMETRY_PROCEDURE
        named = Named(kind, procedure.code, procedure.paper["revision"])
        shop.enter(at + timedelta(hours=1), partial(key_as_written, shop, named, password))
        verified_at = at + timedelta(hours=2)
        verified_by = procedure.verified_by
        shop.enter(verified_at, partial(verify_whole, shop, named, verified_by, password))


def _write_procedure(shop: DemoShop, procedure: DemoProcedure, at: datetime) -> None:
    requirements.write_procedure(
        shop.database,
        code=procedure.code,
        paper=json.dumps(procedure.paper),
        filename=f"{procedure.code}.json",
        source_document=procedure.source_document,
        by=shop.people[procedure.written_by],
        at=at,
    )


def _enter_furnace(shop: DemoShop, furnace: Furnace, password: str) -> None:
    """The furnace, to what it is kept, and its checks, each entered on the day it was made."""
    shop.enter(shop.day(FIRST_DAY, 8), partial(_register_furnace, shop, furnace))
    qualified = Accepted(shop, SubjectKind.QUALIFICATION, password)
    qualified.enter(shop.day(FIRST_DAY, 15), partial(_qualify, shop, furnace))
    survey = (-furnace.survey_done_days_ago, furnace.survey_due_in_days)
    recorder = (furnace.recorder_due_in_days - _RECORDER_EVERY_DAYS, furnace.recorder_due_in_days)
    checks = [
        (FurnaceCheckKind.UNIFORMITY_SURVEY, survey),
        (FurnaceCheckKind.RECORDER_CALIBRATION, recorder),
    ]
    for k in range(3):
        due = furnace.accuracy_test_due_in_days - k * _ACCURACY_TEST_EVERY_DAYS
        checks.append((FurnaceCheckKind.ACCURACY_TEST, (due - _ACCURACY_TEST_EVERY_DAYS, due)))
    for kind, (done, due) in checks:
        # What was done before the first day is entered on it, once the furnace is qualified.
        entered = shop.day(-done, 10, 40) if -done < FIRST_DAY else shop.day(FIRST_DAY, 16)
        tested = furnace is RESTING and kind is FurnaceCheckKind.ACCURACY_TEST
        waits = tested and due > 0
        report = _report(shop, furnace, kind, done, due)
        if tested and done == min(term[0] for of, term in checks if of is kind):
            report = _failed(report)
        elif waits:
            sheet = scanned_sheet(report.number, "both channels within the limit")
            report = replace(report, file=SentFile(f"{report.number}.png", sheet))
        record = partial(_check, shop, furnace, report)
        if waits:
            shop.enter(entered, record)
        else:
            Accepted(shop, SubjectKind.FURNACE_CHECK, password).enter(entered, record)


def _register_furnace(shop: DemoShop, furnace: Furnace, at: datetime) -> None:
    equipment.register_furnace(
        shop.database,
        code=furnace.code,
        name=furnace.name,
        furnace_class=furnace.furnace_class,
        uniformity_c=Decimal(furnace.uniformity_c),
        instrumentation_type=INSTRUMENTATION_TYPE,
        by=shop.people[ENGINEER],
        at=at,
    )


def _qualify(shop: DemoShop, furnace: Furnace, at: datetime) -> int:
    return equipment.qualify_furnace(
        shop.database,
        furnace=furnace.code,
        procedure=PROCEDURE.code,
        furnace_class=str(furnace.furnace_class),
        instrumentation_type=INSTRUMENTATION_TYPE,
        in_force_from=at.date() - timedelta(days=90),
        note="Kept so before this record began.",
        by=shop.people[ENGINEER],
        at=at,
    )


def _report(
    shop: DemoShop, furnace: Furnace, kind: FurnaceCheckKind, done: int, due: int
) -> Report:
    figures: dict[FurnaceCheckKind, tuple[str, Any]] = {
        FurnaceCheckKind.UNIFORMITY_SURVEY: ("US", survey_figures(furnace)),
        FurnaceCheckKind.ACCURACY_TEST: ("AT", accuracy_figures(furnace.code, done)),
        FurnaceCheckKind.RECORDER_CALIBRATION: ("RC", recorder_figures(furnace.code)),
    }
    letters, paper = figures[kind]
    term = days_from_now(shop, done, due)
    return Report(
        kind=kind,
        term=term,
        passed=True,
        number=f"{letters}-{furnace.code}-{term.done_on:%y%m%d}",
        figures=paper,
    )


def _failed(report: Report) -> Report:
    """The same accuracy test with its first channel 3.4 degC high."""
    first, *others = (report.figures or {})["readings"]
    high = {**first, "indicated_c": "153.4"}
    note = "Control channel high; its plug was cleaned and the test made again."
    return replace(report, passed=False, note=note, figures={"readings": [high, *others]})


def _check(shop: DemoShop, furnace: Furnace, report: Report, at: datetime) -> int:
    by = shop.people[ENGINEER]
    return equipment.record_furnace_check(
        shop.database, furnace=furnace.code, report=report, by=by, at=at
    )


def _register_sensor(shop: DemoShop, code: str, at: datetime) -> int:
    """A thermocouple with its certificate: at 150 degC up to 0.2 degC to add or take off."""
    by = shop.people[ENGINEER]
    equipment.register_sensor(shop.database, code=code, thermocouple_type="T", by=by, at=at)
    steps = int(np.random.default_rng(list(code.encode())).integers(-2, 3))
    return equipment.record_sensor_certificate(
        shop.database,
        sensor=code,
        term=days_from_now(shop, _SENSORS_DUE_IN_DAYS - _CERTIFICATE_DAYS, _SENSORS_DUE_IN_DAYS),
        certificate=f"SC-{code}",
        corrections=f"20 0.0\n150 {steps / 10:+.1f}\n",
        by=by,
        at=at,
    )


def _register_gauge(shop: DemoShop, gauge: Gauge, at: datetime) -> int:
    by = shop.people[ENGINEER]
    equipment.register_gauge(shop.database, code=gauge.code, name=gauge.name, by=by, at=at)
    return equipment.record_gauge_certificate(
        shop.database,
        gauge=gauge.code,
        term=days_from_now(shop, -gauge.done_days_ago, gauge.due_in_days),
        certificate=f"GC-{gauge.code}",
        largest_error_kpa=Decimal("0.4"),
        by=by,
        at=at,
    )


def _change_door_seal(shop: DemoShop, at: datetime) -> None:
    equipment.record_maintenance(
        shop.database,
        furnace=RESTING.code,
        event=DOOR_SEAL,
        happened_on=at.date(),
        asks_for=(),
        note="Old seal cracked at the upper hinge.",
        by=shop.people[ENGINEER],
        at=at,
    )
