"""What waits at the furnaces and at the bench."""

from datetime import timedelta
from typing import Any

from app.judging.verdict import Outcome
from app.loads.trouble_queries import open_troubles
from app.loads.under_way import loads_under_way
from app.release.rules.facts import CouponFacts, LoadFacts
from app.release.rules.gates import address
from app.release.rules.standing import awaits_bench
from app.tracing.queries import waiting
from app.tracing.queries.today.desk import Asking, Waiting


def under_way(asking: Asking) -> list[Waiting]:
    """Loads that are made ready or in the furnace."""
    return [
        Waiting(
            name=one.code,
            sentence=one.sentence,
            href=f"{address('load', one.code)}/{one.step}",
            since=one.since,
            standing=one.standing,
        )
        for one in loads_under_way(asking.session, now=asking.now, zone=asking.zone)
    ]


def records(asking: Asking) -> list[Waiting]:
    """Loads whose record could be there: they have started and the shortest soak has gone by."""
    return [
        Waiting(
            name=row.code,
            sentence=f"Load in {row.furnace}: its furnace record has not been imported.",
            href=f"{address('load', row.code)}/record",
            since=row.planned_start,
        )
        for row in waiting.loads_without_record(asking.session)
        if row.planned_start + _shortest_run(row.cycle) <= asking.now
    ]


def planned(asking: Asking) -> list[Waiting]:
    """Loads whose planned start is still to come."""
    return [
        Waiting(
            name=row.code,
            sentence=f"Load planned in {row.furnace}.",
            href=address("load", row.code),
            since=row.planned_start,
        )
        for row in waiting.loads_without_record(asking.session)
        if row.planned_start > asking.now
    ]


def _shortest_run(cycle: dict[str, Any]) -> timedelta:
    """The shortest soaks of all stages together: no run of the cycle is over sooner."""
    return timedelta(seconds=sum(float(stage["soak_min_s"]) for stage in cycle["stages"]))


def unwrappings(asking: Asking) -> list[Waiting]:
    """Panels that came out and were not unwrapped yet, a line a load."""
    return [
        Waiting(
            name=row.code,
            sentence=(
                f"{row.panels} panel{'s' if row.panels != 1 else ''} to unwrap: bag, surface "
                "search and coupons."
            ),
            href=f"{address('load', row.code)}/unwrapping",
            since=row.since,
        )
        for row in waiting.loads_to_unwrap(asking.session)
    ]


def coupons(asking: Asking) -> list[Waiting]:
    """Coupons that wait for the bench or for a laboratory's result, two lines a load at most."""
    by_load: dict[tuple[str, str], tuple[LoadFacts, list[str]]] = {}
    for case in asking.cases:
        for load in case.facts.round_loads:
            if load.unwrapping is None:
                continue
            for coupon in load.coupons:
                if awaits_bench(coupon):
                    words = "Laboratory results" if _awaits_laboratory(coupon) else "Coupons"
                    by_load.setdefault((load.code, words), (load, []))[1].append(coupon.code)
    return [
        Waiting(
            name=code,
            sentence=(
                f"Coupons to measure: {', '.join(codes)}."
                if words == "Coupons"
                else f"Laboratory results to enter: {', '.join(codes)}."
            ),
            href="/bench" if words == "Coupons" else address("coupon", codes[0]),
            since=load.starts_at,
        )
        for (code, words), (load, codes) in by_load.items()
    ]


def _awaits_laboratory(coupon: CouponFacts) -> bool:
    """Whether nothing is missing but a test that no tester at the bench makes."""
    missing = {
        finding.code.split(".")[0]
        for finding in coupon.findings
        if finding.outcome is Outcome.NOT_PROVEN and finding.code.endswith(".readings")
    }
    return bool(missing) and not missing & {"hardness", "conductivity"} and not coupon.provisional


def sessions(asking: Asking) -> list[Waiting]:
    """Bench sessions without a closing check; those of others are said to be theirs."""
    tasks = []
    for row in waiting.open_sessions(asking.session):
        mine = asking.by.is_person(row.operator_id)
        whose = "Your session" if mine else f"The session of {asking.names[row.operator_id]}"
        tasks.append(
            Waiting(
                name=row.tester,
                sentence=f"{whose} at {row.tester} has no closing check: its readings are "
                "provisional.",
                href=f"/bench/sessions/{row.id}",
                since=row.opened_at,
                urgent=mine,
            )
        )
    return tasks


def troubles(asking: Asking) -> list[Waiting]:
    """Coupons reported as missing, unmarked or doubled, by somebody else."""
    return [
        Waiting(
            name=one.about or one.load,
            sentence=f"{one.words}, panel {one.panel}, reported by {one.reported_by}: decide.",
            href=f"/troubles/{one.id}",
            since=one.reported_at,
            urgent=True,
        )
        for one in open_troubles(asking.session)
        if not asking.by.is_person(one.reported_by_id)
    ]


def voids(asking: Asking) -> list[Waiting]:
    """Voids this person may answer: neither asked by them nor of their own reading."""
    return [
        Waiting(
            name=row.code,
            sentence=f"{asking.names[row.asked_by_id]} asks to void a reading: {row.cause.value}.",
            href=address("coupon", row.code),
            since=row.asked_at,
        )
        for row in waiting.voids_open(asking.session)
        if not asking.by.is_among({row.asked_by_id, row.taken_by_id})
    ]


def corrections(asking: Asking) -> list[Waiting]:
    """Corrections this person may approve: of coupons of which they took no reading."""
    return [
        Waiting(
            name=row.code,
            sentence=f"{asking.names[row.asked_by_id]} asks to correct a reading from "
            f"{row.value} to {row.right} {row.unit}, which turns its result.",
            href=address("coupon", row.code),
            since=row.asked_at,
        )
        for row in waiting.corrections_open(asking.session, by=asking.by)
    ]
