"""Everything the load's page shows, read in a fixed number of queries and laid out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.equipment.records import Furnace, VacuumGauge
from app.judging.verdict import Finding, Outcome
from app.loads import queries
from app.loads.bags.surface import PanelSurface, surface_of
from app.loads.evidence import furnace_findings
from app.loads.records import FurnaceRecord, LeakCheck, Load, RecordVerdict, Unwrapping
from app.loads.rules import Progress, Standing, standing
from app.loads.run_sheet import RunSheet, run_of
from app.people import queries as people
from app.requirements import queries as requirements
from app.requirements.queries import Revision

_ACTS = {
    # Who did it stands beside it; every other act is said as on the trail.
    "loads:load:planned": "planned the load",
    "loads:load:cancelled": "cancelled the load",
    "loads:load:started": "closed the door and started the cycle",
    "loads:load:ended": "took the load out",
    "loads:photograph:kept": "added photographs",
    "loads:leak_check:recorded": "recorded a leak check",
    "loads:furnace_record:imported": "imported a furnace record",
    "loads:furnace_record:looked_over": "looked the furnace record over",
    "loads:furnace_record:layout_confirmed": "confirmed how the furnace record was read",
    "loads:live_record:opened": "opened the growing record",
    "loads:live_record:anchored": "put the growing record's digest on the trail",
    "loads:live_record:closed": "closed the growing record",
    "loads:sensor:excluded": "excluded a sensor",
    "loads:unwrapping:recorded": "recorded an unwrapping",
    "loads:coupon_trouble:reported": "reported a coupon",
    "loads:coupon_trouble:answered": "decided about a reported coupon",
}


_START = (
    "Start the load",
    "/start",
    "When the door is closed, record the start; after the run, import the logger's file.",
)
_AFTER_STANDING = {
    Standing.PLANNED: _START,
    Standing.CHECKED: _START,
    Standing.IN_FURNACE: (
        "Record that it is out",
        "/end",
        "The load is in the furnace; when it has been taken out, record the time.",
    ),
    Standing.OUT: (
        "Import the furnace record",
        "/record",
        "The load is out of the furnace; import the logger's file.",
    ),
    Standing.CANCELLED: ("Plan another load", "/loads/plan", "This load is not run."),
}


@dataclass(frozen=True, slots=True)
class Step:
    """The next thing to do with a load: the button's words and address, and why."""

    label: str
    href: str
    words: str


@dataclass(frozen=True, slots=True)
class PanelView:
    """A panel of the load, with what was recorded of it in this load."""

    code: str
    place: queries.PanelPlace
    table: Revision
    leak: LeakCheck | None
    unwrapping: Unwrapping | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """A load's page."""

    load: Load
    furnace: Furnace
    cycle: Revision
    standing: str
    reason: str | None
    """Why record or evidence do not conform, in one sentence; None where nothing speaks so."""
    next_step: Step
    run: RunSheet
    surface: dict[str, PanelSurface]
    gauge_codes: dict[int, str]
    panels: list[PanelView]
    seats: queries.Seats
    record: FurnaceRecord | None
    verdict: RecordVerdict | None
    sensor_rows: list[dict[str, Any]]
    excursions: list[dict[str, Any]]
    gaps: list[dict[str, Any]]
    records: Sequence[FurnaceRecord]
    evidence: list[Finding]
    leak_checks: Sequence[LeakCheck]
    unwrappings: Sequence[Unwrapping]
    names: dict[int, str]
    panel_codes: dict[int, str]
    trail: list[dict[str, Any]]


def sheet(session: Session, code: str, *, zone: tzinfo) -> Sheet:
    """The load's page; NotFound where there is no such load."""
    load = queries.load(session, code)
    seats = queries.seats(session, load.id)
    cycle = requirements.revision(session, load.cycle_revision_id)
    leaks = queries.leak_checks(session, load.id)
    unwrapped = queries.unwrappings(session, load.id)
    records = queries.records(session, load.id)
    record = records[0] if records else None
    verdict = queries.latest_verdict(session, record.id) if record is not None else None
    paper: Mapping[str, Any] = verdict.paper if verdict is not None else {}
    run = run_of(session, load, record, paper)
    stands = standing(
        Progress(
            panels=frozenset(panel.id for panel in seats.panels),
            checked=frozenset(
                row.panel_id for row in _latest(leaks).values() if row.outcome == "conforms"
            ),
            unwrapped=frozenset(_latest(unwrapped)),
            started=run.start is not None,
            ended=run.end is not None,
            recorded=record is not None,
            cancelled=run.cancelled is not None,
        )
    )
    panels = _panel_views(session, seats, leaks, unwrapped)
    evidence = furnace_findings(session, load, zone=zone)
    return Sheet(
        load=load,
        furnace=queries.furnace_of(session, load.id),
        cycle=cycle,
        standing=stands,
        reason=_reason(paper, evidence),
        next_step=_next_step(load.code, stands, panels, cycle),
        run=run,
        surface=surface_of(session, load.id),
        gauge_codes={gauge.id: gauge.code for gauge in session.scalars(select(VacuumGauge))},
        panels=panels,
        seats=seats,
        record=record,
        verdict=verdict,
        sensor_rows=_sensor_rows(paper, seats),
        excursions=[one for stage in paper.get("stages", ()) for one in stage["excursions"]],
        gaps=_gap_rows(paper),
        records=records,
        evidence=evidence,
        leak_checks=leaks,
        unwrappings=unwrapped,
        names=people.names(session),
        panel_codes={panel.id: panel.code for panel in seats.panels},
        trail=trail_lines(session, queries.trail(session, load.code)),
    )


def _latest(rows: Sequence[Any]) -> dict[int, Any]:
    """The last row of each panel; rows come in the order recorded."""
    return {row.panel_id: row for row in rows}


def _next_step(code: str, stands: str, panels: Sequence[PanelView], cycle: Revision) -> Step:
    """What is to be done next, whoever may do it."""
    base = f"/loads/{code}"
    bags_judged = {"leak_limit_kpa", "leak_minutes"} <= set(cycle.shop_rules)
    if stands == Standing.PLANNED and bags_judged:
        left = [
            panel.code
            for panel in panels
            if panel.leak is None or panel.leak.outcome != Outcome.CONFORMS
        ]
        return Step(
            "Record a leak check",
            f"{base}/leak-check?panel={left[0] if left else ''}",
            f"Before the door closes, check the bag of {', '.join(left)}.",
        )
    if stands in _AFTER_STANDING:
        label, address, words = _AFTER_STANDING[Standing(stands)]
        return Step(label, address if stands == Standing.CANCELLED else base + address, words)
    if stands == Standing.RECORDED:
        left = [panel.code for panel in panels if panel.unwrapping is None]
        return Step(
            "Record the unwrapping",
            f"{base}/unwrapping?panel={left[0] if left else ''}",
            f"Unwrap {', '.join(left)}, search the surface and take off the coupons.",
        )
    return Step(
        "Go to the bench",
        "/bench",
        "Record and unwrapping are in. Coupons are measured at the bench; what is decided stands "
        "in each panel's dossier.",
    )


def _reason(paper: Mapping[str, Any], evidence: Sequence[Finding]) -> str | None:
    """The first of the worst findings, and how many more stand against the load."""
    found: list[tuple[str, str]] = [
        (one["outcome"], one["text"]) for one in paper.get("findings", ())
    ]
    found += [(one.outcome.value, one.text) for one in evidence]
    failed = [text for outcome, text in found if outcome == Outcome.DOES_NOT_CONFORM]
    against = failed + [text for outcome, text in found if outcome == Outcome.NOT_PROVEN]
    if not against:
        return None
    more = len(against) - 1
    return against[0] + (f" And {more} more, below." if more else "")


def _panel_views(
    session: Session,
    seats: queries.Seats,
    leaks: Sequence[LeakCheck],
    unwrapped: Sequence[Unwrapping],
) -> list[PanelView]:
    tables = {
        key: requirements.revision(session, key)
        for key in dict.fromkeys(panel.table_revision_id for panel in seats.panels)
    }
    last_leaks, last_unwrapped = _latest(leaks), _latest(unwrapped)
    return [
        PanelView(
            code=panel.code,
            place=panel,
            table=tables[panel.table_revision_id],
            leak=last_leaks.get(panel.id),
            unwrapping=last_unwrapped.get(panel.id),
        )
        for panel in seats.panels
    ]


def _sensor_rows(paper: Mapping[str, Any], seats: queries.Seats) -> list[dict[str, Any]]:
    """The table beneath the picture: one row for each required sensor."""
    by_channel = {sensor.channel: sensor for sensor in seats.sensors}
    rates = paper.get("heating_rate_c_per_min") or {}
    cooling = paper.get("cooling_rate_c_per_min") or {}
    aged = paper.get("equivalent_time_s") or {}
    return [
        {
            "channel": channel,
            "station": by_channel[channel].station if channel in by_channel else "",
            "sensor": by_channel[channel].code if channel in by_channel else None,
            **figures,
            "rate": rates.get(channel),
            "cooling": cooling.get(channel),
            "equivalent_s": aged.get(channel),
        }
        for channel, figures in paper.get("sensors", {}).items()
    ]


def _gap_rows(paper: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {"sensor": sensor, "from_s": begin, "to_s": end, "length_s": end - begin}
        for sensor, gaps in paper.get("gaps", {}).items()
        for begin, end in gaps
    ]


def trail_lines(session: Session, entries: Sequence[TrailEntry]) -> list[dict[str, Any]]:
    """Trail entries as the page shows them."""
    full_names = {person.username: person.full_name for person in people.people(session)}
    return [
        {
            "at": entry.at,
            "person": full_names.get(entry.by, entry.by),
            "act": _ACTS.get(entry.tag) or people.act_words(entry.tag),
            "note": entry.note or None,
        }
        for entry in entries
    ]
