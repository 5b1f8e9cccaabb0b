"""Evidence beside the record (judging rules, 4.5): furnace, sensors and start on the day."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.equipment import queries as equipment
from app.equipment.records import Furnace, FurnaceCheck, FurnaceCheckKind, SensorCertificate
from app.judging.evidence import Band, DatedTest, FurnaceEvidence, judge_furnace_evidence
from app.judging.verdict import Finding, Outcome
from app.loads import queries
from app.loads.records import Load
from app.loads.rules import SHOP_RULES, Certified, judge_sensor_certificates
from app.requirements import queries as requirements

_FAR_FROM_PLAN = timedelta(hours=12)


def furnace_findings(session: Session, load: Load, *, zone: tzinfo = UTC) -> list[Finding]:
    """Whether furnace and sensors were fit on the day the load started.

    The day is that of the record's first sample, else of the planned start, in the shop's
    ``zone``. Findings: survey, accuracy test, recorder calibration, class against the band, the
    load sensors' calibration, enough sensors left, and how far the start was from the plan.
    """
    record = queries.current_record(session, load.id)
    recorded_start = record.starts_at if record is not None else None
    starts_at = recorded_start or load.planned_start
    cycle = requirements.revision(session, load.cycle_revision_id)
    placed = queries.seats(session, load.id)
    furnace = queries.furnace_of(session, load.id)
    day = starts_at.astimezone(zone).date()
    found = [
        *furnace_day_findings(session, furnace, day=day, cycle_paper=cycle.paper),
        sensor_day_finding(
            session, {sensor.sensor_id: sensor.channel for sensor in placed.required}, day=day
        ),
        *_enough_sensors(placed, cycle.shop_rules),
    ]
    if recorded_start is not None:
        found += _start_note(recorded_start, load.planned_start, zone)
    return found


def furnace_day_findings(
    session: Session, furnace: Furnace, *, day: date, cycle_paper: dict[str, Any]
) -> list[Finding]:
    """The furnace's papers on a day, and its class against the cycle's bands."""
    checks = equipment.furnace_checks(session, furnace.id)
    evidence = FurnaceEvidence(
        furnace_class=str(furnace.furnace_class),
        instrumentation_type=furnace.instrumentation_type,
        uniformity_c=furnace.uniformity_c,
        survey=_dated(checks, FurnaceCheckKind.UNIFORMITY_SURVEY, day),
        accuracy_test=_dated(checks, FurnaceCheckKind.ACCURACY_TEST, day),
        recorder_calibration=_dated(checks, FurnaceCheckKind.RECORDER_CALIBRATION, day),
    )
    source = f"papers of furnace {furnace.code}"
    return list(
        judge_furnace_evidence(evidence, loaded_on=day, bands=bands_of(cycle_paper), source=source)
    )


def bands_of(cycle_paper: dict[str, Any]) -> list[Band]:
    """Each stage's tolerance below and above, in degC (1 degF step = 5/9 degC)."""
    fahrenheit = cycle_paper.get("temperature_unit") == "F"

    def in_celsius(figure: Any) -> Decimal:
        step = Decimal(str(figure))
        return step * 5 / 9 if fahrenheit else step

    return [
        Band(in_celsius(stage["below"]), in_celsius(stage["above"]))
        for stage in cycle_paper["stages"]
    ]


def sensor_day_finding(session: Session, sensors: dict[int, str], *, day: date) -> Finding:
    """Whether the sensors (key to channel) were in calibration on a day; one query."""
    certificates = equipment.sensor_certificates(session, list(sensors))
    certified = []
    for sensor_id, name in sensors.items():
        best = certificate_on(certificates[sensor_id], day)
        certified.append(
            Certified(name, best.done_on, best.due_on)
            if best is not None
            else Certified(name, None, None)
        )
    return judge_sensor_certificates(certified, day=day)


def certificate_on(
    certificates: Sequence[SensorCertificate], day: date
) -> SensorCertificate | None:
    """The newest certificate made on or before the day; None where there is none."""
    return next((one for one in certificates if one.done_on <= day), None)


def _dated(checks: Sequence[FurnaceCheck], kind: FurnaceCheckKind, day: date) -> DatedTest | None:
    """The newest check of a kind made by that day; failing that, the first one made after."""
    of_kind = [check for check in checks if check.kind is kind]
    made = [check for check in of_kind if check.done_on <= day]
    check = made[0] if made else of_kind[-1] if of_kind else None
    if check is None:
        return None
    return DatedTest(
        made_on=check.done_on, due_on=check.due_on, passed=check.passed, source=check.report
    )


def _enough_sensors(placed: queries.Seats, shop_rules: dict[str, str]) -> list[Finding]:
    """Whether each panel still has enough required sensors once failed ones are excluded."""
    least = int(shop_rules.get("sensors_per_panel", "1"))
    excluded = [sensor for sensor in placed.sensors if sensor.excluded is not None]
    if not excluded:
        return []
    short = []
    for panel in placed.panels:
        left = sum(sensor.panel_id == panel.id for sensor in placed.required)
        if left < least:
            short.append(f"panel {panel.code} has {left} left")
    named = ", ".join(sensor.channel for sensor in excluded)
    if short:
        says = f"With {named} excluded, {'; '.join(short)}, and at least {least} are asked."
        return [Finding("sensors.left", Outcome.NOT_PROVEN, says, source=SHOP_RULES)]
    says = f"With {named} excluded, every panel still has at least {least} load sensors."
    return [Finding("sensors.left", Outcome.CONFORMS, says, source=SHOP_RULES)]


def _start_note(recorded: datetime, planned: datetime, zone: tzinfo) -> list[Finding]:
    """A note where the record starts far from the plan: the file may be of another run."""
    if abs(recorded - planned) <= _FAR_FROM_PLAN:
        return []
    first, meant = (at.astimezone(zone).strftime("%Y-%m-%d %H:%M") for at in (recorded, planned))
    says = (
        f"The record starts at {first} and the load was planned for {meant}; make sure that the "
        "file is of this run."
    )
    return [Finding("record.start", Outcome.NOTE, says)]
