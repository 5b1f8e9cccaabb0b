"""The panel's dossier: one page that answers every question about a panel."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from threading import Lock
from typing import Any

from fastapi import APIRouter, Response
from markupsafe import Markup

from app.audit.actor import Actor
from app.judging.verdict import Outcome, Verdict
from app.loads.bags.surface import surface_in_loads
from app.loads.record_queries import came_in
from app.panels.queries import came_from, came_of
from app.people.queries import act_words
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.pages.hold_tags import qr_code
from app.release.queries.decisions import kept_evidence
from app.release.queries.departures import departure_notes
from app.release.queries.panel_facts import panel_facts
from app.release.rules.check_line import check_line
from app.release.rules.exposure import ledger
from app.release.rules.facts import CouponFacts, LoadFacts, PanelFacts
from app.release.rules.gates import address
from app.release.rules.signed import rests_on_evidence
from app.release.rules.snapshot import differences
from app.release.rules.standing import ENDED, Standing
from app.release.service import Case, case_of
from app.tracing.pages.dossier_decisions import next_decision, signed_decisions
from app.tracing.pages.dossier_readings import ReadingLine, reading_lines
from app.tracing.pages.standing_words import replaced_by, why_it_stands
from app.tracing.queries import dossier
from app.tracing.queries.dossier import Name, Rows
from app.tracing.queries.exposure import runs_on_record
from app.tracing.queries.holds_waiting import keeping_of
from app.web.page import Page, Records

router = APIRouter()

_LINES_SHOWN = 12


@dataclass(frozen=True, slots=True)
class CouponSheet:
    """A coupon with its readings in the order taken."""

    facts: CouponFacts
    readings: tuple[ReadingLine, ...]
    custody: tuple[tuple[str, str, Name, datetime], ...]


@dataclass(frozen=True, slots=True)
class LoadSheet:
    """A load with the panel in plan view, and its coupons."""

    facts: LoadFacts
    is_earlier: bool
    plan: dict[str, Any]
    coupons: tuple[CouponSheet, ...]


@router.get("/panels/{code:path}")
def show_panel(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The dossier."""
    code, zone = code.upper(), page.settings.zone
    with records.read() as session:
        head = dossier.trail_head(session)
        values = _kept.find(head, (code, str(zone)))
        if values is None:
            values = _values(session, code, zone)
            values["body"] = page.part("tracing/_dossier_body.html", **values)
            _kept.keep(head, (code, str(zone)), values)
    case = values["case"]
    return page.show(
        "tracing/dossier.html",
        next_act=_next_act(case, by),
        may_hold=may(by, Act.PLACE_HOLD) and case.standing not in ENDED,
        may_report=may(by, Act.REPORT_TROUBLE),
        may_bring=may(by, Act.BRING_PANEL),
        may_divide=may(by, Act.DIVIDE_PANEL) and case.standing not in ENDED,
        **values,
    )


class _Kept:
    """What dossiers show, kept as long as the trail's head stays the same.

    Nothing that a dossier shows changes without an entry on the trail, so its head names the state
    of the whole record; the first dossier after an act starts anew. Decisions never read from here.
    """

    def __init__(self) -> None:
        # Head and values are put in place together, so that no reader sees one without the other.
        self._state: tuple[str, dict[tuple[str, str], dict[str, Any]]] = ("", {})

    def find(self, head: str, key: tuple[str, str]) -> dict[str, Any] | None:
        """The values kept at that head, or None."""
        kept_at, values = self._state
        return values.get(key) if head == kept_at else None

    def keep(self, head: str, key: tuple[str, str], values: dict[str, Any]) -> None:
        """Keep the values; those of another head are dropped."""
        with _LOCK:
            kept_at, kept = self._state
            started_anew = head != kept_at or len(kept) >= _MOST_KEPT
            self._state = (head, {key: values} if started_anew else {**kept, key: values})


_MOST_KEPT = 200
_LOCK = Lock()
_kept = _Kept()


def _values(session: Any, code: str, zone: tzinfo) -> dict[str, Any]:
    """Everything a dossier shows that is the same for every visitor."""
    key, order_on_file = dossier.panel_on_file(session, code)
    facts = panel_facts(session, [key], zone=zone, in_full=True)[key]
    case = case_of(facts)
    coupons = [coupon for load in facts.loads for coupon in load.coupons]
    readings = dossier.readings(session, [coupon.id for coupon in coupons])
    visits = sorted({row.session_id for row in readings if row.session_id is not None})
    checks = dossier.checks(session, visits)
    sensors = dossier.sensors(session, [load.id for load in facts.loads])
    names = dossier.people_by_id(session)
    codes = [facts.code, *(load.code for load in facts.loads), *(c.code for c in coupons)]
    changed = _changed(session, case)
    users = {name.user: name.full for name in names.values()}
    load_ids = [load.id for load in facts.loads]
    children = came_of(session, key)
    return {
        "facts": facts,
        "order_on_file": order_on_file,
        "case": case,
        "reason": replaced_by(children) or why_it_stands(case, names),
        "parent": came_from(session, key),
        "children": children,
        "exposure": ledger(facts, runs_on_record(session, load_ids)),
        "loads": _load_sheets(facts, sensors, reading_lines(readings, checks, names, zone), names),
        "came": came_in(session, load_ids),
        "surfaces": _surfaces(session, facts),
        "decisions": signed_decisions(facts, names, changed),
        "check_code": _check_code(facts),
        "holds": [(hold, names[hold.placed_by_id]) for hold in reversed(facts.holds)],
        "registered_by": names[facts.registered_by_id],
        "changed": changed,
        "keeping": keeping_of(session, key),
        "departures": departure_notes(session, facts),
        "lines": [
            {
                "at": line.at,
                "person": users.get(line.by, line.by),
                "act": f"{act_words(line.tag)}, {line.about_code}",
                "note": line.note,
            }
            for line in dossier.trail_lines(session, codes, most=_LINES_SHOWN)
        ],
    }


def _check_code(facts: PanelFacts) -> Markup | None:
    """The check line as a drawn code, for the paper; None where nothing has been decided."""
    last = facts.last_decision
    return None if last is None else qr_code(check_line(facts.code, last))


def _surfaces(session: Any, facts: PanelFacts) -> dict[int, Any]:
    """The surface after each load, of the panel that lay in it; a query for each of these."""
    lay: dict[int, list[int]] = {}
    for load in facts.loads:
        lay.setdefault(_lay_as(facts, load), []).append(load.id)
    return {
        load_id: surface
        for panel, loads in lay.items()
        for load_id, surface in surface_in_loads(session, panel, loads).items()
    }


def _lay_as(facts: PanelFacts, load: LoadFacts) -> int:
    """The key of the panel as which this one lay in the load."""
    return facts.id if load.earlier_self is None else load.earlier_self.id


def _changed(session: Any, case: Case) -> list[str]:
    """How the evidence differs from the one the last decision was made on."""
    last = case.facts.last_decision
    if last is None or not rests_on_evidence(case.facts, last.number):
        return []
    return differences(kept_evidence(session, case.facts.id, last.number), case.gates)


def _next_act(case: Case, by: Actor) -> tuple[str, str | None]:
    """What this visitor can do next: words, and the address to do it at (None: only words)."""
    facts, standing = case.facts, case.standing
    load = facts.round_loads[-1] if facts.round_loads else None
    under_way = {Standing.PLANNED, Standing.IN_FURNACE, Standing.AWAITING_UNWRAPPING}
    act: tuple[str, str | None] = ("Nothing waits for you on this panel.", None)
    if standing in {Standing.READY, Standing.HELD, Standing.REPAIR, Standing.RECALLED}:
        act = next_decision(case, by)
    elif standing in {Standing.REGISTERED, Standing.REWORK} and may(by, Act.PLAN_LOAD):
        act = ("Plan its load", "/loads/plan")
    elif standing is Standing.AWAITING_COUPONS and may(by, Act.MEASURE):
        act = ("Measure its coupons", "/bench")
    elif load is not None and standing in under_way:
        act = (f"Open load {load.code}", address("load", load.code))
    return act


def _load_sheets(
    facts: PanelFacts, sensors: Rows, taken: dict[int, list[ReadingLine]], names: dict[int, Name]
) -> list[LoadSheet]:
    """The loads, newest first; those before a rework decision are marked as earlier."""
    current = {load.id for load in facts.round_loads}
    return [
        LoadSheet(
            facts=load,
            is_earlier=load.id not in current,
            plan=_plan(facts, load, sensors),
            coupons=tuple(
                CouponSheet(
                    coupon,
                    tuple(taken.get(coupon.id, ())),
                    tuple((s.step, s.place, names[s.by_id], s.at) for s in coupon.custody),
                )
                for coupon in load.coupons
            ),
        )
        for load in reversed(facts.loads)
    ]


def _plan(facts: PanelFacts, load: LoadFacts, sensors: Rows) -> dict[str, Any]:
    """The panel in plan view with what sat on it in that load."""
    marks = [
        {
            "kind": "coupon",
            "code": coupon.code,
            "label": coupon.station,
            "x": coupon.x,
            "y": coupon.y,
            "verdict": None if coupon.verdict is None else coupon.verdict.value,
            "href": address("coupon", coupon.code),
        }
        for coupon in load.coupons
    ]
    marks += [
        {
            "kind": "sensor",
            "code": row.channel,
            "label": f"{row.station}, sensor {row.code}"
            + ("" if row.excluded is None else ", excluded"),
            "x": str(row.x),
            "y": str(row.y),
            "verdict": _sensor_outcome(load, row),
            "href": address("sensor", row.code),
        }
        for row in sensors
        if row.load_id == load.id and row.panel_id == _lay_as(facts, load) and row.x is not None
    ]
    size = load.earlier_self or facts
    return {"length_mm": size.length_mm, "width_mm": size.width_mm, "marks": marks}


def _sensor_outcome(load: LoadFacts, row: Any) -> str | None:
    """What the record says of one sensor; None where it says nothing of it alone."""
    record = load.record
    if record is None or record.verdict is None or row.role.value != "load" or row.excluded:
        return None
    if row.channel in record.strayed:
        return Outcome.DOES_NOT_CONFORM.value
    if row.channel in record.silent and record.verdict is not Verdict.CONFORMS:
        return Outcome.NOT_PROVEN.value
    return Outcome.CONFORMS.value if record.verdict is Verdict.CONFORMS else None
