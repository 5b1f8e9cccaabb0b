"""Decisions on a load's run: the door closed, the load taken out, or the load not run at all."""

from dataclasses import replace
from datetime import datetime, timedelta, tzinfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, Refusal
from app.judging.verdict import Finding
from app.loads import queries, run_queries
from app.loads.bags.bag import LastCheck, judge_bag
from app.loads.live.live_records import LiveRecord
from app.loads.planning.plan_check import check_plan
from app.loads.planning.planned import plan_of_load
from app.loads.records import Load, LoadCancellation, LoadEnd, LoadStart
from app.loads.rules import blocking, findings_paper, supplier
from app.loads.service.refusals import refuse_cancelled, refuse_future
from app.panels.records import Custody, CustodyStep
from app.people import queries as people
from app.people.rights import Act, require
from app.requirements import queries as requirements

_NO_CHECK = LastCheck(None, None)


def start_findings(
    session: Session, load: Load, *, started_at: datetime, at: datetime, zone: tzinfo
) -> list[Finding]:
    """All gates of a load as if its door closed at ``started_at``, through its declared length.

    The gates of planning again, and each panel's last leak check.
    """
    plan = plan_of_load(session, load)
    if plan.planned_end is not None:
        length: timedelta = plan.planned_end - plan.planned_start
        plan = replace(plan, planned_start=started_at, planned_end=started_at + length)
    else:
        plan = replace(plan, planned_start=started_at)
    findings = check_plan(session, plan, at=at, zone=zone, own=load).findings
    rules = requirements.revision(session, load.cycle_revision_id).shop_rules
    last = run_queries.last_checks(session, load.id)
    stated = {"leak_limit_kpa", "leak_minutes"} <= set(rules)
    return findings + [
        judge_bag(
            panel.code, last.get(panel.id, _NO_CHECK), closed_at=started_at, limit_stated=stated
        )
        for panel in queries.seats(session, load.id).panels
    ]


def start_load(
    database: Database,
    load_code: str,
    *,
    started_at: datetime,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> list[Finding]:
    """Keep that the door was closed and the cycle started; hands back the gates as they stood.

    Raises:
        NotAllowed: the person starts no loads.
        NotFound: no such load.
        Conflict: it was started, recorded or cancelled already.
        Refusal: something stands against it; a sentence for each, with who can supply it.
    """
    require(by, Act.START_LOAD)
    refuse_future(started_at, at, field="started_at")
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        _refuse_started(session, load)
        findings = start_findings(session, load, started_at=started_at, at=at, zone=zone)
        against = blocking(findings)
        if against:
            raise Refusal(
                f"Load {load.code} cannot be started: "
                + " ".join(f"{one.text} ({supplier(one)})" for one in against)
            )
        row = LoadStart(
            load_id=load.id,
            started_at=started_at,
            findings=findings_paper(findings),
            by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        append(session, Tag.LOAD_STARTED, by=by, at=at, about=("load", load.code), rows=[row])
    return findings


def _refuse_started(session: Session, load: Load) -> None:
    started = run_queries.load_start(session, load.id)
    if started is not None:
        who = people.names(session)[started.by_id]
        raise Conflict(f"Load {load.code} was started already; {who} entered it.")
    if queries.current_record(session, load.id) is not None:
        raise Conflict(
            f"Load {load.code} has its furnace record already; its start is the record's."
        )


def _refuse_run(session: Session, load: Load) -> None:
    """Refuse to cancel what a logger or an unwrapping shows to have been run."""
    if queries.unwrappings(session, load.id):
        raise Conflict(f"Load {load.code} has been unwrapped; it was run.")
    growing = session.scalars(select(LiveRecord.id).where(LiveRecord.load_id == load.id)).first()
    if growing is not None:
        raise Conflict(f"A logger is sending the record of load {load.code}; it is being run.")


def end_load(
    database: Database, load_code: str, *, ended_at: datetime, by: Actor, at: datetime, zone: tzinfo
) -> list[Finding]:
    """Keep that the load was taken out, with the gates as they stood from start to end.

    It is never refused for a gate: what went wrong is evidence, and the load is out.

    Raises:
        NotAllowed: the person ends no loads.
        NotFound: no such load.
        Conflict: it was ended or cancelled already.
        Refusal: it has no start on record, or was taken out before it.
    """
    require(by, Act.START_LOAD)
    refuse_future(ended_at, at, field="ended_at")
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        started = run_queries.load_start(session, load.id)
        ended = run_queries.load_end(session, load.id)
        if ended is not None:
            who = people.names(session)[ended.by_id]
            raise Conflict(f"Load {load.code} was taken out already; {who} entered it.")
        if started is None:
            raise Refusal(
                f"Load {load.code} has no start on record. Enter when its door closed first; a "
                "late entry keeps both times."
            )
        if ended_at <= started.started_at:
            sentence = "The load cannot have been taken out before its door closed."
            raise Refusal(sentence, fields={"ended_at": sentence})
        plan = replace(
            plan_of_load(session, load), planned_start=started.started_at, planned_end=ended_at
        )
        findings = check_plan(session, plan, at=at, zone=zone, own=load).findings
        row = LoadEnd(
            load_id=load.id,
            ended_at=ended_at,
            findings=findings_paper(findings),
            by_id=by.id,
            entered_at=at,
        )
        session.add(row)
        append(session, Tag.LOAD_ENDED, by=by, at=at, about=("load", load.code), rows=[row])
    return findings


def cancel_load(
    database: Database, load_code: str, *, reason: str, by: Actor, at: datetime
) -> None:
    """Keep that a planned load will not be run; its panels, coupons and sensors are free.

    It was no thermal treatment. Its coupons go back into stock, which their custody says.

    Raises:
        NotAllowed: the person plans no loads.
        NotFound: no such load.
        Conflict: it was started, recorded or cancelled already.
        Refusal: no reason is given.
    """
    require(by, Act.PLAN_LOAD)
    if not reason.strip():
        sentence = "Say why the load is not run; the reason stays with it."
        raise Refusal(sentence, fields={"reason": sentence})
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        _refuse_started(session, load)
        _refuse_run(session, load)
        row = LoadCancellation(load_id=load.id, reason=reason.strip(), by_id=by.id, at=at)
        steps = [
            CustodyStep(
                coupon_id=coupon.id,
                step=Custody.CUT,
                place="back in stock",
                note=f"load {load.code} cancelled",
                by_id=by.id,
                taken_at=at,
                entered_at=at,
            )
            for coupon in queries.seats(session, load.id).coupons
        ]
        session.add_all([row, *steps])
        append(
            session,
            Tag.LOAD_CANCELLED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=[row, *steps],
            note=row.reason,
        )
