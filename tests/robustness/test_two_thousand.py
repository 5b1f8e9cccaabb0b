"""Two thousand acts of a crowd at once: every one that was taken is there once, and all agree."""

import multiprocessing
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from multiprocessing.connection import Connection
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.audit.records import Identity, TrailEntry
from app.audit.tags import Tag
from app.bench.records import CorrectionRequest, Reading
from app.database import Database
from app.panels.records import Custody, CustodyStep, Hold, Panel, Place, Whereabouts
from app.people.records import Person, Signature
from app.release.queries.decisions import misstated
from app.release.records import (
    Decision,
    DispositionProposal,
    HoldLift,
    Nonconformance,
    ProposalAnswer,
)
from app.release.rules.facts import DecisionKind
from tests.makers import bind
from tests.robustness.crowd import Crowd, Told, at_work, counted, gather

ALL_CONFORM = {
    DecisionKind.RELEASED: set[str](),
    DecisionKind.CONFIRMED: {"hold"},
    DecisionKind.NO_DEPARTURE: {"hold", "nonconformances"},
}
"""Of decisions that need every gate: those that may be open all the same."""


def _two_places(crowd: Crowd) -> None:
    with crowd.database.write() as session:
        for code in ("RACK-1", "CAGE-1"):
            identity = Identity(code=code, kind="place", given_at=crowd.start)
            place = Place(
                code=code,
                name=f"Invented {code}",
                is_quarantine=code == "CAGE-1",
                registered_by_id=crowd.evidence.shop.engineer.id,
                registered_at=crowd.start,
            )
            bind(session, identity, place)


def _beside(crowd: Crowd, numbers: Sequence[int], told: Connection) -> None:
    """The part of another process, with connections of its own."""
    # What this process was given with its birth belongs to the other one.
    crowd.database.engine.dispose(close=False)
    own = Database(crowd.database.url)
    try:
        told.send(at_work(crowd, own, numbers, threads=4))
    except BaseException as raised:  # noqa: BLE001 - told to the other process
        told.send(repr(raised))
    finally:
        own.close()


def _by_two_processes(crowd: Crowd, numbers: Sequence[int]) -> list[Told]:
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    other = context.Process(target=_beside, args=(crowd, numbers[1::2], there))
    other.start()
    done = at_work(crowd, crowd.database, numbers[::2], threads=4)
    assert here.poll(timeout=120), "the other process has not come to an end"
    beside = here.recv()
    other.join(timeout=30)
    assert isinstance(beside, list), beside
    return [*done, *beside]


def test_of_two_thousand_acts_at_once_each_is_there_once_or_not_at_all(database: Database) -> None:
    crowd = gather(database, number=30)
    _two_places(crowd)
    told = at_work(crowd, database, range(1000), threads=8)
    told += _by_two_processes(crowd, range(1000, 2000))
    assert len(told) == 2000
    done = counted(told)
    # So that the test cannot come to test nothing but refusals.
    least = {
        "hold": 200,
        "brought": 400,
        "custody": 200,
        "read": 50,
        "corrected": 8,
        "no departure found": 15,
        "released": 8,
        "release withdrawn": 2,
        "nonconformance": 2,
        "proposal": 4,
        "answer": 4,
    }
    assert not {kind: done[kind] for kind, count in least.items() if done[kind] < count}, done
    assert sum(n for kind, n in done.items() if kind.startswith("refused")) >= 20, done
    kept = [one for one in told if one.kept is not None]
    with database.read() as session:
        _each_once(session, crowd, kept)
        _trail_has_these(session, crowd, kept)
        _decisions_add_up(session)
        _in_the_trails_order(session)
        _chains_of_custody(session, crowd)
        assert misstated(session) == []


def _places(session: Session, query: Any) -> Counter[tuple[Any, ...]]:
    return Counter(tuple(row) for row in session.execute(query))


def _expected(kept: Iterable[Told], *kinds: str) -> Counter[tuple[Any, ...]]:
    return Counter((one.at, one.by, one.about) for one in kept if one.kept in kinds)


def _each_once(session: Session, crowd: Crowd, kept: Sequence[Told]) -> None:
    """Rows by time, person and what they are about, against what the services said they kept."""
    who, panel = Person.username, Panel.code
    start = crowd.start
    of_panels: Any = {
        "hold": (Hold, Hold.placed_at, Hold.placed_by_id, Hold.reason.startswith("held at")),
        "brought": (Whereabouts, Whereabouts.entered_at, Whereabouts.by_id, True),
        "nonconformance": (
            Nonconformance,
            Nonconformance.opened_at,
            Nonconformance.opened_by_id,
            True,
        ),
    }
    for kind, (row, when, whom, also) in of_panels.items():
        query = (
            select(when, who, panel)
            .select_from(row)
            .join(Panel, Panel.id == row.panel_id)
            .join(Person, Person.id == whom)
            .where(when >= start)
        )
        query = query if also is True else query.where(also)
        assert _places(session, query) == _expected(kept, kind), kind
    decided = (
        select(Decision.decided_at, who, panel, Decision.kind)
        .join(Panel, Panel.id == Decision.panel_id)
        .join(Person, Person.id == Decision.decided_by_id)
    )
    kinds = {kind.value for kind in DecisionKind}
    said = Counter((one.at, one.by, one.about, one.kept) for one in kept if one.kept in kinds)
    assert _places(session, decided) == said
    for kind, proposed in (("proposal", True), ("answer", False)):
        row = DispositionProposal if proposed else ProposalAnswer
        when = DispositionProposal.proposed_at if proposed else ProposalAnswer.answered_at
        whom = DispositionProposal.proposed_by_id if proposed else ProposalAnswer.answered_by_id
        query = select(when, who, panel).select_from(row).join(Person, Person.id == whom)
        if not proposed:
            query = query.join(
                DispositionProposal, DispositionProposal.id == ProposalAnswer.proposal_id
            )
        query = query.join(
            Nonconformance, Nonconformance.id == DispositionProposal.nonconformance_id
        ).join(Panel, Panel.id == Nonconformance.panel_id)
        assert _places(session, query) == _expected(kept, kind), kind
    signed = session.scalar(select(func.count()).where(Signature.signed_at >= start))
    assert signed == sum(one.kept in {*kinds, "answer"} for one in kept)
    _readings_once(session, crowd, kept)


def _readings_once(session: Session, crowd: Crowd, kept: Sequence[Told]) -> None:
    """A form that came many times is there once; each reading has one correction or none."""
    forms = Counter(
        session.scalars(
            select(Reading.submission).where(
                Reading.entered_at >= crowd.start, Reading.replaces_id.is_(None)
            )
        )
    )
    sent = {f"form-of-{one.about}" for one in kept if one.kept == "read"}
    assert forms == dict.fromkeys(sent, 3)
    assert sum(one.kept == "read" for one in kept) > len(sent), "no form came twice"
    corrections = session.execute(
        select(Reading.replaces_id, Reading.entered_at).where(Reading.replaces_id.is_not(None))
    ).all()
    assert len({row.replaces_id for row in corrections}) == len(corrections)
    assert sorted(row.entered_at for row in corrections) == sorted(
        one.at for one in kept if one.kept == "corrected"
    )
    asked = session.scalars(select(CorrectionRequest.asked_at)).all()
    assert sorted(asked) == sorted(one.at for one in kept if one.kept == "asked")


def _trail_has_these(session: Session, crowd: Crowd, kept: Sequence[Told]) -> None:
    """Numbers without a gap, and entries of those acts and of no others."""
    numbers = session.scalars(select(TrailEntry.number).order_by(TrailEntry.number)).all()
    assert list(numbers) == list(range(1, len(numbers) + 1))
    entered = set(session.scalars(select(TrailEntry.at).where(TrailEntry.at >= crowd.start)))
    # Of a form that came many times the first one was entered, whichever that was.
    once = {one.at for one in kept if one.kept != "read"}
    assert once <= entered <= {one.at for one in kept}


def _decisions_add_up(session: Session) -> None:
    numbers: dict[int, list[int]] = defaultdict(list)
    for decision in session.scalars(select(Decision).order_by(Decision.id)):
        numbers[decision.panel_id].append(decision.number)
        may_be_open = ALL_CONFORM.get(decision.kind)
        if may_be_open is not None:
            gates = decision.evidence["gates"]
            still = {gate["code"] for gate in gates if gate["outcome"] != "conforms"}
            assert still <= may_be_open, (decision.id, still)
        assert all(line["outcome"] == "conforms" for line in decision.evidence["hands"])
        if decision.proposal_id is not None:
            answers = session.scalars(
                select(ProposalAnswer).where(ProposalAnswer.proposal_id == decision.proposal_id)
            ).all()
            assert all(one.approves for one in answers)
            assert len({one.answered_by_id for one in answers}) == 2
    assert all(found == list(range(1, len(found) + 1)) for found in numbers.values())
    codes = session.scalars(select(Nonconformance.code).order_by(Nonconformance.id)).all()
    assert codes == [f"N-2026-{n:04d}" for n in range(1, len(codes) + 1)]
    of_each: dict[int, list[int]] = defaultdict(list)
    for one in session.scalars(select(DispositionProposal).order_by(DispositionProposal.id)):
        of_each[one.nonconformance_id].append(one.number)
    assert all(found == list(range(1, len(found) + 1)) for found in of_each.values())


_DECIDING = {
    Tag.PANEL_RELEASED.value,
    Tag.HOLD_LIFTED.value,
    Tag.PANEL_DISPOSED.value,
    Tag.RELEASE_CONFIRMED.value,
    Tag.RELEASE_WITHDRAWN.value,
}


def _in_the_trails_order(session: Session) -> None:
    """Gone through entry by entry: each release without a hold, each lift of all that were open."""
    made = {
        (code, decision.decided_at): decision
        for decision, code in session.execute(
            select(Decision, Panel.code).join(Panel, Panel.id == Decision.panel_id)
        )
    }
    of_decision = select(HoldLift.decision_id, func.count()).group_by(HoldLift.decision_id)
    lifted = dict(session.execute(of_decision).all())
    held: Counter[str] = Counter()
    ended: set[str] = set()
    entries = session.execute(
        select(TrailEntry.tag, TrailEntry.about_code, TrailEntry.at)
        .where(TrailEntry.about_kind == "panel")
        .order_by(TrailEntry.number)
    )
    for tag, code, at in entries:
        if tag not in {Tag.HOLD_PLACED.value, *_DECIDING}:
            continue
        assert code not in ended, f"{code} was decided for good before {at}"
        if tag == Tag.HOLD_PLACED.value:
            held[code] += 1
            continue
        decision = made[code, at]
        if decision.kind is DecisionKind.RELEASED:
            assert held[code] == 0, f"{code} was released at {at} with a hold open"
        if decision.kind is DecisionKind.WITHDRAWN:
            assert lifted.get(decision.id, 0) == 0
            continue
        assert lifted.get(decision.id, 0) == held[code], (code, at)
        held[code] = 0
        if decision.kind is DecisionKind.SCRAPPED:
            ended.add(code)
    assert sum(held.values()) == session.scalar(
        select(func.count(Hold.id)).outerjoin(HoldLift).where(HoldLift.id.is_(None))
    )


def _chains_of_custody(session: Session, crowd: Crowd) -> None:
    for coupon in crowd.ridden:
        query = select(CustodyStep.step).where(CustodyStep.coupon_id == coupon.id)
        steps = session.scalars(query.order_by(CustodyStep.id)).all()[3:]
        assert steps[::2] == [Custody.AT_BENCH] * len(steps[::2])
        assert steps[1::2] == [Custody.SHELVED] * len(steps[1::2])
