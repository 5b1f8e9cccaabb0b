"""Evidence beside the record (judging rules, 4.5): furnace, sensors, gauge and zone of a load.

One way for everybody: a plan asks with its own span of time, a load that ran with the span on
record. Days are the shop's calendar's.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.equipment import queries as equipment
from app.equipment.queries import FurnaceFile, GaugeFile
from app.equipment.records import Furnace
from app.judging.furnace.calibrations import (
    CertificateOnRecord,
    InstrumentOnRecord,
    judge_calibrations,
    judge_sensor_life,
)
from app.judging.furnace.evidence import Band, LoadAsked, counting_survey, judge_furnace
from app.judging.furnace.intervals import day_in_zone
from app.judging.furnace.procedure import InstrumentKind, Procedure
from app.judging.furnace.zone import Position, judge_zone
from app.judging.verdict import Finding, Outcome
from app.loads.corrections import other_corrections
from app.loads.importing.layout import layout_findings
from app.loads.planning.positions import corners
from app.loads.records import Load
from app.loads.rules import SHOP_RULES
from app.loads.runs import PanelLaid, Run, Uses, planned_uses, runs, sensor_uses

_FAR_FROM_PLAN = timedelta(hours=12)
_FREEZING_F = 32


@dataclass(frozen=True, slots=True)
class Span:
    """From when to when a load is asked about; an end of None is not on record."""

    start: datetime
    end: datetime | None
    zone: tzinfo


def furnace_findings(session: Session, load: Load, *, zone: tzinfo = UTC) -> list[Finding]:
    """Everything beside the record of a load as it ran, or as planned until it has run."""
    return findings_of_loads(session, [load.id], zone=zone)[load.id]


def findings_of_loads(
    session: Session, load_ids: Iterable[int], *, zone: tzinfo
) -> dict[int, list[Finding]]:
    """Evidence beside the record, by load; a fixed number of queries however many loads.

    Furnace, surveyed zone, load sensors, vacuum gauge, enough sensors left, how far the start was
    from the plan, and how the record was read.
    """
    return {
        key: [*ran.findings, ran.zone_of(ran.asked.run.panels)]
        for key, ran in _evidence(session, load_ids, zone).items()
    }


def findings_of_panels(
    session: Session, load_ids: Iterable[int], *, zone: tzinfo
) -> dict[tuple[int, int], list[Finding]]:
    """The same by load and panel; of the zone only what concerns that panel."""
    return {
        (key, panel.id): [*ran.findings, ran.zone_of([panel])]
        for key, ran in _evidence(session, load_ids, zone).items()
        for panel in ran.asked.run.panels
    }


def furnace_span_findings(
    session: Session,
    furnace: Furnace,
    *,
    start: datetime,
    end: datetime | None,
    cycle_paper: Mapping[str, Any],
    zone: tzinfo,
) -> list[Finding]:
    """The furnace's procedure, checks, class and surveyed range for a run of a cycle."""
    file = equipment.furnace_file(session, furnace.id)
    return _judge_furnace(file, cycle_paper, Span(start, end, zone))


def zone_findings(
    session: Session,
    furnace: Furnace,
    positions: Sequence[Position],
    *,
    start: datetime,
    zone: tzinfo,
) -> list[Finding]:
    """Whether positions lie in the zone of the survey that counts on the day of the start."""
    file = equipment.furnace_file(session, furnace.id)
    return [_judge_zone(file, positions, Span(start, None, zone))]


def sensor_span_findings(
    session: Session,
    sensors: Mapping[int, str],
    *,
    furnace: Furnace | None,
    start: datetime,
    end: datetime | None,
    zone: tzinfo,
) -> list[Finding]:
    """Whether sensors (key to name) are in calibration through a run, and within their life.

    The furnace's procedure says how often and how long; without a furnace nothing is proven.
    Its uses are those of loads planned before, and this one.
    """
    span = Span(start, end, zone)
    procedure = _procedure(session, furnace, span)
    papers = equipment.sensor_papers(session, sensors)
    uses = planned_uses(session, sensors, start=start) if _limits_life(procedure) else {}
    return _judge_sensors(_instruments(sensors, papers, uses, span), procedure, span)


def gauge_span_findings(
    session: Session,
    gauge_id: int | None,
    *,
    furnace: Furnace | None,
    start: datetime,
    end: datetime | None,
    zone: tzinfo,
    wanted: bool,
) -> list[Finding]:
    """Whether the vacuum gauge is in calibration through a run.

    ``wanted``: the cycle has a vacuum rule; else nothing is asked. The furnace's procedure says
    how often; without a gauge or a furnace nothing is proven.
    """
    if not wanted:
        return []
    span = Span(start, end, zone)
    procedure = _procedure(session, furnace, span)
    files = equipment.gauge_files(session, [] if gauge_id is None else [gauge_id])
    return _judge_gauge(None if gauge_id is None else files[gauge_id], procedure, span)


def bands_of(cycle_paper: Mapping[str, Any]) -> list[Band]:
    """Each stage's tolerance below and above, in degC (1 degF step = 5/9 degC)."""
    fahrenheit = cycle_paper.get("temperature_unit") == "F"

    def in_celsius(figure: Any) -> Decimal:
        step = Decimal(str(figure))
        return step * 5 / 9 if fahrenheit else step

    return [
        Band(in_celsius(stage["below"]), in_celsius(stage["above"]))
        for stage in cycle_paper["stages"]
    ]


def set_temperatures_of(cycle_paper: Mapping[str, Any]) -> list[Decimal]:
    """Each stage's set temperature in degC."""
    sets = [Decimal(str(stage["set"])) for stage in cycle_paper["stages"]]
    if cycle_paper.get("temperature_unit") != "F":
        return sets
    return [(one - _FREEZING_F) * 5 / 9 for one in sets]


@dataclass(frozen=True, slots=True)
class _Papers:
    """What is on record about furnaces, sensors and gauges, by key."""

    furnaces: Mapping[int, FurnaceFile]
    sensors: Mapping[int, tuple[CertificateOnRecord, ...]]
    gauges: Mapping[int, GaugeFile]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A run with the span it is asked about, its furnace's file, and the procedure in force."""

    run: Run
    span: Span
    file: FurnaceFile
    procedure: Procedure | None


@dataclass(frozen=True, slots=True)
class _Ran:
    """What is judged of a load, save where its panels lay."""

    asked: _Asked
    findings: tuple[Finding, ...]

    def zone_of(self, panels: Iterable[PanelLaid]) -> Finding:
        """Whether these panels lay in the surveyed zone; where their corners do, so do they."""
        places = [
            place
            for panel in panels
            for place in corners(
                panel.code, panel, length_mm=panel.length_mm, width_mm=panel.width_mm
            )
        ]
        return _judge_zone(self.asked.file, places, self.asked.span)


def _evidence(session: Session, load_ids: Iterable[int], zone: tzinfo) -> dict[int, _Ran]:
    ran = runs(session, load_ids)
    papers = _Papers(
        equipment.furnace_files(session, {run.furnace_id for run in ran.values()}),
        equipment.sensor_papers(session, {key for run in ran.values() for key in run.required}),
        equipment.gauge_files(
            session, {run.gauge_id for run in ran.values() if run.gauge_id is not None}
        ),
    )
    asked = [_asked(run, papers, zone) for run in ran.values()]
    limited = [one.run.id for one in asked if _limits_life(one.procedure)]
    uses = sensor_uses(session, limited)
    layouts = layout_findings(session, ran)
    corrected = equipment.sensor_corrections(session, papers.sensors)
    otherwise = other_corrections(session, ran, corrected, zone=zone)
    return {
        one.run.id: _Ran(
            one,
            (
                *_of_run(one, papers, uses.get(one.run.id, {})),
                *([layouts[one.run.id]] if one.run.id in layouts else []),
                *_corrected(otherwise.get(one.run.id, [])),
            ),
        )
        for one in asked
    }


def _asked(run: Run, papers: _Papers, zone: tzinfo) -> _Asked:
    span = Span(run.starts_at, run.ends_at, zone)
    file = papers.furnaces[run.furnace_id]
    procedure = file.procedure(on=day_in_zone(span.start, zone), at=span.start)
    return _Asked(run, span, file, procedure)


def _limits_life(procedure: Procedure | None) -> bool:
    return procedure is not None and procedure.sensor_life is not None


def _of_run(asked: _Asked, papers: _Papers, uses: Uses) -> list[Finding]:
    run, span, procedure = asked.run, asked.span, asked.procedure
    found = [
        *_judge_furnace(asked.file, run.cycle_paper, span),
        *_judge_sensors(_instruments(run.required, papers.sensors, uses, span), procedure, span),
    ]
    if run.cycle_paper.get("vacuum") is not None:
        gauge = None if run.gauge_id is None else papers.gauges[run.gauge_id]
        found += _judge_gauge(gauge, procedure, span)
    found += _enough_sensors(run)
    if run.recorded_start is not None:
        found += _start_note(run.recorded_start, run.planned_start, span.zone)
    return found


def _procedure(session: Session, furnace: Furnace | None, span: Span) -> Procedure | None:
    if furnace is None:
        return None
    file = equipment.furnace_file(session, furnace.id)
    return file.procedure(on=day_in_zone(span.start, span.zone), at=span.start)


def _judge_furnace(file: FurnaceFile, cycle_paper: Mapping[str, Any], span: Span) -> list[Finding]:
    starts_on, ends_on = _days(span)
    asked = LoadAsked(
        starts_on=starts_on,
        ends_on=ends_on,
        bands=tuple(bands_of(cycle_paper)),
        set_temperatures_c=tuple(set_temperatures_of(cycle_paper)),
    )
    procedure = file.procedure(on=starts_on, at=span.start)
    return list(judge_furnace(file.on_day(starts_on), procedure, asked))


def _judge_zone(file: FurnaceFile, positions: Sequence[Position], span: Span) -> Finding:
    day = day_in_zone(span.start, span.zone)
    survey = counting_survey(file.on_day(day), on=day)
    if survey is None:
        return judge_zone(positions, None)
    return judge_zone(positions, survey.zone, source=survey.report)


def _instruments(
    sensors: Mapping[int, str],
    papers: Mapping[int, tuple[CertificateOnRecord, ...]],
    uses: Uses,
    span: Span,
) -> list[InstrumentOnRecord]:
    """The sensors of a load with their certificates, their uses and the day of the first."""
    found = []
    for key, name in sensors.items():
        count, first = uses.get(key, (1, span.start))
        first_day = day_in_zone(first, span.zone)
        found.append(
            InstrumentOnRecord(
                InstrumentKind.SENSOR, name, papers[key], uses=count, first_used_on=first_day
            )
        )
    return found


def _judge_sensors(
    instruments: Sequence[InstrumentOnRecord], procedure: Procedure | None, span: Span
) -> list[Finding]:
    starts_on, ends_on = _days(span)
    kind = InstrumentKind.SENSOR
    found = list(
        judge_calibrations(kind, instruments, procedure, starts_on=starts_on, ends_on=ends_on)
    )
    if procedure is not None:
        found += judge_sensor_life(instruments, procedure, starts_on=starts_on)
    return found


def _judge_gauge(gauge: GaugeFile | None, procedure: Procedure | None, span: Span) -> list[Finding]:
    starts_on, ends_on = _days(span)
    kind = InstrumentKind.VACUUM_GAUGE
    named = [] if gauge is None else [InstrumentOnRecord(kind, gauge.code, gauge.certificates)]
    return list(judge_calibrations(kind, named, procedure, starts_on=starts_on, ends_on=ends_on))


def _days(span: Span) -> tuple[date, date | None]:
    """The shop's calendar days of start and end."""
    end = None if span.end is None else day_in_zone(span.end, span.zone)
    return day_in_zone(span.start, span.zone), end


def _enough_sensors(run: Run) -> list[Finding]:
    """Whether each panel still has enough required sensors once failed ones are excluded."""
    least = int(run.shop_rules.get("sensors_per_panel", "1"))
    excluded = [sensor for sensor in run.sensors if sensor.excluded]
    if not excluded:
        return []
    short = []
    for panel in run.panels:
        left = sum(one.panel_id == panel.id for one in run.sensors if not one.excluded)
        if left < least:
            short.append(f"panel {panel.code} has {left} left")
    named = ", ".join(sensor.channel for sensor in excluded)
    if short:
        says = f"With {named} excluded, {'; '.join(short)}, and at least {least} are asked."
        return [Finding("sensors.left", Outcome.NOT_PROVEN, says, source=SHOP_RULES)]
    says = f"With {named} excluded, every panel still has at least {least} load sensors."
    return [Finding("sensors.left", Outcome.CONFORMS, says, source=SHOP_RULES)]


def _corrected(channels: Sequence[str]) -> list[Finding]:
    """Not proven where the record was judged with other corrections than those that count now."""
    if not channels:
        return []
    says = (
        f"The record was judged with other corrections for {', '.join(channels)} than those of the "
        "certificates that count now; import it again, so that it is judged by these."
    )
    return [Finding("sensors.corrections", Outcome.NOT_PROVEN, says)]


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
