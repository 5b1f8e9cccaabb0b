"""What a plan can choose among, and a plan filled in from an earlier load."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.audit.records import Identity
from app.documents.table import table_from_json
from app.equipment.records import Furnace, VacuumGauge
from app.errors import Refusal
from app.judging.witness.coupons import find_entry
from app.loads import queries
from app.loads.planning.plan_forms import MOST_ROWS
from app.loads.planning.plan_seats import as_the_table_looks
from app.loads.planning.planned import Plan, plan_of_load
from app.loads.records import Load, LoadCoupon, LoadPanel
from app.loads.rules import soak_time
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel
from app.requirements import queries as requirements
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind

MOST_WAITING = 60
MOST_LOADS = 30
Choices = dict[str, list[tuple[str, str]]]


def choices(session: Session, *, at: datetime) -> Choices:
    """Furnaces, gauges, and the cycles and tables in force, each as (identity, words)."""
    furnaces = session.execute(select(Furnace.code, Furnace.name).order_by(Furnace.code))
    cycles = _in_force(session, RequirementKind.CYCLE, at)
    tables = _in_force(session, RequirementKind.ACCEPTANCE_TABLE, at)
    return {
        "furnaces": [(row.code, f"{row.code}, {row.name}") for row in furnaces],
        "gauges": gauges(session),
        "cycles": [(one.code, f"{_words(one)}, soaks {soak_hours(one)} h") for one in cycles],
        "tables": [(one.code, _words(one)) for one in tables],
    }


def gauges(session: Session) -> list[tuple[str, str]]:
    """The vacuum gauges on record: (identity, words)."""
    rows = session.execute(select(VacuumGauge.code, VacuumGauge.name).order_by(VacuumGauge.code))
    return [(row.code, f"{row.code}, {row.name}") for row in rows]


def _in_force(session: Session, kind: RequirementKind, at: datetime) -> list[Revision]:
    """The revision in force of each requirement of a kind."""
    last = {one.code: one for one in requirements.revisions(session, kind=kind) if one.in_force(at)}
    return list(last.values())


def _words(one: Revision) -> str:
    return f"{one.code}, {one.name}, revision {one.revision}"


def soak_hours(cycle: Revision) -> str:
    """The shortest soaks of all stages together, in hours."""
    return f"{soak_time(cycle.paper).total_seconds() / 3600:g}"


def declared_length(session: Session, cycle: str, *, allowance_h: str, at: datetime) -> str | None:
    """The soaks of a cycle in force plus an allowance for heating and cooling, in hours.

    None where the cycle is not known or the allowance is no number above or equal to nothing.
    """
    figure = allowance_h.strip().replace(",", ".")
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3})?", figure):
        return None
    found = [one for one in _in_force(session, RequirementKind.CYCLE, at) if one.code == cycle]
    if not found:
        return None
    return f"{Decimal(soak_hours(found[0])) + Decimal(figure):f}"


def waiting_panels(session: Session) -> list[tuple[str, str]]:
    """Panels that can go into a load, newest first: (identity, words).

    Those that no load has taken yet, and those a supervisor sent to be aged again.
    """
    rows = session.execute(
        select(Panel.id, Panel.code, Panel.decided, MaterialLot.code.label("lot"))
        .join(MaterialLot, MaterialLot.id == Panel.lot_id)
        .where(Panel.decided.in_((Decided.OPEN, Decided.REWORK, Decided.REPAIR)))
        .order_by(Panel.id.desc())
        .limit(10 * MOST_WAITING)
    ).all()
    keys = [row.id for row in rows]
    still_in = queries.unfinished_loads(session, keys)
    taken = set(
        session.scalars(
            select(LoadPanel.panel_id)
            .where(LoadPanel.panel_id.in_(keys), queries.goes_ahead(LoadPanel.load_id))
            .distinct()
        )
    )
    return [
        (row.code, f"{row.code}, lot {row.lot}" + _again(row.decided))
        for row in rows
        if row.id not in still_in and (row.decided is not Decided.OPEN or row.id not in taken)
    ][:MOST_WAITING]


def _again(decided: Decided) -> str:
    return "" if decided is Decided.OPEN else f", {decided.value}"


def loads_to_copy(session: Session) -> list[tuple[str, str]]:
    """The newest loads that went ahead: (identity, words)."""
    rows = session.execute(
        select(Load.code, Furnace.code.label("furnace"), func.count(LoadPanel.id).label("panels"))
        .join(Furnace, Furnace.id == Load.furnace_id)
        .join(LoadPanel, LoadPanel.load_id == Load.id)
        .where(queries.goes_ahead(Load.id))
        .group_by(Load.id, Load.code, Furnace.code)
        .order_by(Load.id.desc())
        .limit(MOST_LOADS)
    )
    return [
        (row.code, f"{row.code}: {row.furnace}, {row.panels} panel{'' if row.panels == 1 else 's'}")
        for row in rows
    ]


def free_coupons(session: Session, lot_ids: Iterable[int]) -> dict[int, list[str]]:
    """Coupons of the lots that ride in no load and are not missing, by lot, oldest first."""
    last = (
        select(CustodyStep.coupon_id, func.max(CustodyStep.id).label("id"))
        .group_by(CustodyStep.coupon_id)
        .subquery()
    )
    rides = (
        select(LoadCoupon.id)
        .where(LoadCoupon.coupon_id == Coupon.id, queries.goes_ahead(LoadCoupon.load_id))
        .exists()
    )
    rows = session.execute(
        select(Coupon.lot_id, Coupon.code)
        .outerjoin(last, last.c.coupon_id == Coupon.id)
        .outerjoin(CustodyStep, CustodyStep.id == last.c.id)
        .where(Coupon.lot_id.in_(list(lot_ids)), ~rides)
        .where(CustodyStep.step.is_distinct_from(Custody.MISSING))
        .order_by(Coupon.id)
    )
    found: dict[int, list[str]] = {}
    for row in rows:
        found.setdefault(row.lot_id, []).append(row.code)
    return found


def next_code(session: Session) -> str:
    """A load's identity that follows the newest one's, where it ends in a number; else empty."""
    newest = session.scalars(select(Load.code).order_by(Load.id.desc()).limit(1)).one_or_none()
    found = re.fullmatch(r"(.*?)(\d+)", newest or "")
    if found is None:
        return ""
    code = f"{found[1]}{int(found[2]) + 1:0{len(found[2])}d}"
    return "" if session.get(Identity, code) is not None else code


def copied(
    session: Session, source: str, panels: Sequence[str], *, at: datetime, zone: tzinfo
) -> dict[str, str]:
    """The plan's form filled in from an earlier load, for the panels named.

    Furnace, cycle, gauge and length; the first panel takes the first seat, and so on, with its
    former, place in the zone, sensors and stations. Each coupon's station gets a coupon of the new
    panel's own lot that is free, as far as there are any. Without panels the rows wait for them.

    Raises:
        NotFound: no such load.
    """
    plan = plan_of_load(session, queries.load(session, source))
    rows = _known_panels(session, panels)
    typed = _head(session, plan, at=at, zone=zone)
    tables = _in_force(session, RequirementKind.ACCEPTANCE_TABLE, at)
    count = min(len(panels) or len(plan.panels), MOST_ROWS["panel"])
    for number in range(1, count + 1):
        seat = plan.panels[number - 1] if number <= len(plan.panels) else None
        code = panels[number - 1] if panels else ""
        typed[f"panel_{number}"] = code
        if seat is not None:
            typed |= _panel_fields(seat, number)
        known = rows.get(code)
        if known is not None:
            before = seat.table if seat is not None else ""
            typed[f"table_{number}"] = _table_for(*known, tables, before=before)
    place = {seat.panel: number for number, seat in enumerate(plan.panels[:count], start=1)}
    free = free_coupons(session, {lot.id for _, lot in rows.values()})
    typed |= _coupon_fields(plan, place, [rows.get(code) for code in panels], free)
    typed |= _sensor_fields(plan, place)
    typed["panel_rows"] = str(count)
    return typed


def _known_panels(session: Session, codes: Sequence[str]) -> dict[str, tuple[Panel, MaterialLot]]:
    rows = session.execute(
        select(Panel, MaterialLot)
        .join(MaterialLot, MaterialLot.id == Panel.lot_id)
        .where(Panel.code.in_(codes))
    )
    return {panel.code: (panel, lot) for panel, lot in rows}


def _head(session: Session, plan: Plan, *, at: datetime, zone: tzinfo) -> dict[str, str]:
    """The head of the form: tomorrow at the copied load's time of day, for as long."""
    hour = plan.planned_start.astimezone(zone)
    tomorrow = at.astimezone(zone).date() + timedelta(days=1)
    typed = {
        "code": next_code(session),
        "furnace": plan.furnace,
        "cycle": plan.cycle,
        "gauge": plan.vacuum_gauge or "",
        "planned_start": f"{tomorrow:%Y-%m-%d} {hour:%H:%M}",
    }
    if plan.planned_end is not None:
        hours = (plan.planned_end - plan.planned_start).total_seconds() / 3600
        typed["length_h"] = f"{hours:.6g}"
    return typed


def _panel_fields(seat: object, number: int) -> dict[str, str]:
    fields = {"former": "former", "table": "table", "x_mm": "panel_x", "y_mm": "panel_y"}
    typed = {
        f"{name}_{number}": "" if getattr(seat, own) is None else str(getattr(seat, own))
        for own, name in fields.items()
    }
    return typed | {f"turned_{number}": "yes" if getattr(seat, "turned", False) else ""}


def _table_for(panel: Panel, lot: MaterialLot, tables: Sequence[Revision], *, before: str) -> str:
    """A table with an entry for the panel: the one used before where it has one."""
    wanted = as_the_table_looks(lot, panel, thickness_mm=lot.thickness_mm, surface=lot.surface)
    fitting = []
    for one in tables:
        try:
            if find_entry(wanted, table_from_json(one.paper, filename=one.code)) is not None:
                fitting.append(one.code)
        except Refusal:
            continue  # two entries of the table are for it: a person has to choose
    return before if before in fitting else next(iter(fitting), before)


def _coupon_fields(
    plan: Plan,
    place: Mapping[str, int],
    panels: Sequence[tuple[Panel, MaterialLot] | None],
    free: Mapping[int, list[str]],
) -> dict[str, str]:
    left = {key: list(codes) for key, codes in free.items()}
    seats = [seat for seat in plan.coupons if seat.panel in place]
    typed = {"coupon_rows": str(max(len(seats), 1))}
    for number, seat in enumerate(seats, start=1):
        row = place[seat.panel]
        known = panels[row - 1] if row <= len(panels) else None
        waiting = left.get(known[1].id, []) if known is not None else []
        typed |= {
            f"coupon_{number}": waiting.pop(0) if waiting else "",
            f"coupon_panel_{number}": f"#{row}",
            f"coupon_station_{number}": seat.station,
            f"coupon_x_{number}": str(seat.x),
            f"coupon_y_{number}": str(seat.y),
        }
    return typed


def _sensor_fields(plan: Plan, place: Mapping[str, int]) -> dict[str, str]:
    seats = [seat for seat in plan.sensors if seat.panel is None or seat.panel in place]
    typed = {"sensor_rows": str(max(len(seats), 1))}
    for number, seat in enumerate(seats, start=1):
        typed |= {
            f"sensor_{number}": seat.sensor,
            f"channel_{number}": seat.channel,
            f"role_{number}": seat.role.value,
            f"sensor_panel_{number}": f"#{place[seat.panel]}" if seat.panel is not None else "",
            f"sensor_station_{number}": seat.station,
            f"sensor_x_{number}": "" if seat.x is None else str(seat.x),
            f"sensor_y_{number}": "" if seat.y is None else str(seat.y),
        }
    return typed
