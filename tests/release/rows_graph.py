"""What rests directly on what, row by row, written down without a look at the program's links."""

from collections import defaultdict
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench import records as bench
from app.equipment import records as equipment
from app.loads import records as loads
from app.panels import records as panels
from app.people.records import Person
from app.requirements import records as requirements

Edges = dict[Any, set[Any]]


def reached(edges: Edges, start: Any) -> set[int]:
    """The keys of the panels that a walk along the edges comes to."""
    seen, waiting = {start}, [start]
    while waiting:
        fresh = edges.get(waiting.pop(), set()) - seen
        seen |= fresh
        waiting += fresh
    return {key for kind, key in seen if kind == "panel"}


def edges_of(session: Session) -> Edges:
    """The edges of every row of a shop."""
    edges: Edges = defaultdict(set)
    users = {row.id: ("person", row.username) for row in _all(session, Person)}
    for add in (_material, _loads, _in_loads, _bench, _papers, _reports):
        add(session, edges, users)
    return edges


def _all(session: Session, record: Any) -> Any:
    return session.scalars(select(record)).all()


def _codes(session: Session, record: Any, kind: str) -> dict[int, tuple[str, str]]:
    return {row.id: (kind, row.code) for row in _all(session, record)}


def _material(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    lots = _codes(session, panels.MaterialLot, "material_lot")
    for row in _all(session, panels.MaterialLot):
        edges[users[row.entered_by_id]].add(lots[row.id])
    asked_of = {}
    for row in _all(session, panels.LotCorrection):
        asked_of[row.id] = lots[row.lot_id]
        edges[users[row.asked_by_id]].add(lots[row.lot_id])
    for row in _all(session, panels.LotCorrectionAnswer):
        edges[users[row.answered_by_id]].add(asked_of[row.correction_id])
    for record, kind in ((panels.Panel, "panel"), (panels.Coupon, "coupon")):
        for row in _all(session, record):
            edges[lots[row.lot_id]].add((kind, row.id))
            edges[users[row.registered_by_id]].add((kind, row.id))
    for row in _all(session, panels.PanelDescent):
        edges["panel", row.parent_id].add(("panel", row.panel_id))
        edges[users[row.by_id]].add(("panel", row.panel_id))
    for row in _all(session, panels.CustodyStep):
        edges[users[row.by_id]].add(("coupon", row.coupon_id))


def _given_up(session: Session) -> set[int]:
    return {row.load_id for row in _all(session, loads.LoadCancellation)}


def _loads(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    furnaces = _codes(session, equipment.Furnace, "furnace")
    gauges = _codes(session, equipment.VacuumGauge, "vacuum_gauge")
    given_up = _given_up(session)
    for row in _all(session, loads.Load):
        if row.id not in given_up:
            load = ("load", row.code)
            edges[furnaces[row.furnace_id]].add(load)
            edges[gauges[row.vacuum_gauge_id]].add(load)
            edges["revision", row.cycle_revision_id].add(load)
            edges[users[row.planned_by_id]].add(load)


def _in_loads(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    codes = _codes(session, loads.Load, "load")
    sensors = _codes(session, equipment.Sensor, "sensor")
    gauges = _codes(session, equipment.VacuumGauge, "vacuum_gauge")
    given_up = _given_up(session)

    def kept(record: Any) -> Any:
        return [row for row in _all(session, record) if row.load_id not in given_up]

    for row in kept(loads.LoadPanel):
        edges[codes[row.load_id]].add(("panel", row.panel_id))
        edges["revision", row.table_revision_id].add(("panel", row.panel_id))
    for row in kept(loads.LoadCoupon):
        edges["coupon", row.coupon_id].add(("panel", row.panel_id))
    for row in kept(loads.LoadSensor):
        edges[sensors[row.sensor_id]].add(codes[row.load_id])
    for row in kept(loads.FurnaceRecord):
        edges[users[row.imported_by_id]].add(codes[row.load_id])
    for row in (*kept(loads.LeakCheck), *kept(loads.Unwrapping)):
        edges[users[row.by_id]].add(("panel", row.panel_id))
        if getattr(row, "gauge_id", None) is not None:
            edges[gauges[row.gauge_id]].add(("panel", row.panel_id))


def _bench(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    testers = _codes(session, equipment.Tester, "tester")
    blocks = _codes(session, equipment.ReferenceBlock, "reference_block")
    for row in _all(session, bench.BenchSession):
        edges[testers[row.tester_id]].add(("session", row.id))
        edges[users[row.operator_id]].add(("session", row.id))
    for row in _all(session, bench.BlockCheck):
        edges[blocks[row.block_id]].add(("session", row.session_id))
        edges[users[row.by_id]].add(("session", row.session_id))
    for row in _all(session, bench.Reading):
        edges["session", row.session_id].add(("coupon", row.coupon_id))
        edges[users[row.taken_by_id]].add(("coupon", row.coupon_id))


def _papers(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    kinds = {
        row.id: (row.kind.value.replace(" ", "_"), row.code)
        for row in _all(session, requirements.Requirement)
    }
    for row in _all(session, requirements.RequirementRevision):
        paper = kinds[row.requirement_id]
        revision = ("revision", row.id)
        if paper[0] == "pyrometry_procedure":
            edges[revision].add(paper)
        else:
            edges[paper].add(revision)
        edges[users[row.written_by_id]].add(revision)
    for row in _all(session, requirements.RequirementVerification):
        edges[users[row.verified_by_id]].add(("revision", row.revision_id))
    furnaces = _codes(session, equipment.Furnace, "furnace")
    for row in _all(session, equipment.FurnaceQualification):
        edges[kinds[row.procedure_id]].add(furnaces[row.furnace_id])


_REPORTS = (
    ("FurnaceQualification", "qualification_id", "Furnace", "furnace"),
    ("FurnaceCheck", "furnace_check_id", "Furnace", "furnace"),
    ("SensorCertificate", "sensor_certificate_id", "Sensor", "sensor"),
    ("GaugeCertificate", "gauge_certificate_id", "VacuumGauge", "vacuum_gauge"),
    ("TesterCertificate", "tester_certificate_id", "Tester", "tester"),
)


def _reports(session: Session, edges: Edges, users: dict[int, Any]) -> None:
    reviews = _all(session, equipment.ReportReview)
    for report, reviewed, thing, kind in _REPORTS:
        codes = _codes(session, getattr(equipment, thing), kind)
        whose = {}
        for row in _all(session, getattr(equipment, report)):
            whose[row.id] = codes[getattr(row, f"{thing.removeprefix('Vacuum').lower()}_id")]
            edges[users[row.entered_by_id]].add(whose[row.id])
        for row in reviews:
            if getattr(row, reviewed) is not None:
                edges[users[row.reviewed_by_id]].add(whose[getattr(row, reviewed)])
    blocks = _codes(session, equipment.ReferenceBlock, "reference_block")
    for row in reviews:
        if row.block_id is not None:
            edges[users[row.reviewed_by_id]].add(blocks[row.block_id])
