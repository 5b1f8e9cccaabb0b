"""Decisions on a load's bags before the door closes: the leak check of each."""

from datetime import datetime, tzinfo
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.equipment.records import VacuumGauge
from app.errors import Refusal
from app.judging.verdict import Finding
from app.loads import queries
from app.loads.bags.bag import LeakReading, judge_leak, outcome_of, refuse_impossible
from app.loads.evidence import gauge_span_findings
from app.loads.records import LeakCheck
from app.loads.service.refusals import refuse_cancelled, refuse_future, working_panel_in
from app.panels.records import HoldOn
from app.panels.service import refuse_held
from app.people.rights import Act, require
from app.requirements import queries as requirements


def record_leak_check(
    database: Database,
    load_code: str,
    panel_code: str,
    reading: LeakReading,
    *,
    gauge: str | None,
    taken_at: datetime,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> list[Finding]:
    """Keep a bag's leak check, judged by the cycle's shop rules; a later one for the panel stands.

    Hands back what was found: of the bag first, then of the gauge. The worst of them is kept: a
    tight bag read off a gauge whose certificate is not in date proves nothing.

    Raises:
        NotAllowed: the person checks no bags.
        NotFound: no such load.
        Conflict: the load was cancelled, or the gauge is on hold.
        Refusal: the panel is not in it, the reading cannot be, or the cycle states no limit.
    """
    require(by, Act.CHECK_BAG)
    refuse_impossible(reading)
    refuse_future(taken_at, at)
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        panel = working_panel_in(session, load, panel_code)
        limit, minutes = _limits(requirements.revision(session, load.cycle_revision_id).shop_rules)
        gauge_id = None if gauge is None else _gauge(session, gauge, taken_at).id
        findings = [
            judge_leak(reading, limit_kpa=limit, minutes=minutes),
            *gauge_span_findings(
                session,
                gauge_id,
                furnace=queries.furnace_of(session, load.id),
                start=taken_at,
                end=taken_at,
                zone=zone,
                wanted=True,
            ),
        ]
        row = LeakCheck(
            load_id=load.id,
            panel_id=panel.id,
            start_kpa=reading.start_kpa,
            end_kpa=reading.end_kpa,
            minutes=reading.minutes,
            limit_kpa=limit,
            outcome=outcome_of(findings).value,
            by_id=by.id,
            taken_at=taken_at,
            entered_at=at,
            gauge_id=gauge_id,
            typed=reading.typed,
        )
        session.add(row)
        said = " ".join(finding.text for finding in findings)
        append(
            session,
            Tag.LEAK_CHECKED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=[row],
            note=f"{panel.code}: {said}",
        )
    return findings


def _limits(shop_rules: dict[str, str]) -> tuple[Decimal, Decimal]:
    if not {"leak_limit_kpa", "leak_minutes"} <= set(shop_rules):
        raise Refusal(
            "The load's cycle states no leak limit and time in its shop rules, so there is "
            "nothing to judge the bag by. An engineer can write a revision that does."
        )
    return Decimal(shop_rules["leak_limit_kpa"]), Decimal(shop_rules["leak_minutes"])


def _gauge(session: Session, code: str, taken_at: datetime) -> VacuumGauge:
    """The gauge, where it may be read off."""
    found = session.scalars(select(VacuumGauge).where(VacuumGauge.code == code)).one_or_none()
    if found is None:
        sentence = f"No vacuum gauge {code} is on record. Check its mark, or have it registered."
        raise Refusal(sentence, fields={"gauge": sentence})
    another = {"gauge": "Read another gauge."}
    refuse_held(session, HoldOn.VACUUM_GAUGE, found.code, at=taken_at, fields=another)
    return found
