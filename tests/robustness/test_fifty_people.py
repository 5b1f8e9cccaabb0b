"""Fifty people log coupons at once: nothing is lost, nothing is doubled, and the trail verifies."""

from collections import Counter
from datetime import UTC, datetime
from decimal import Decimal

from sqlalchemy import func, select

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.bench import service
from app.bench.queries import latest_coupon_verdicts
from app.bench.records import Reading
from app.bench.service import ReadingsTaken
from app.database import Database
from app.panels.records import Coupon, Custody, CustodyStep
from tests.robustness.test_two_at_once import at_once
from tests.speed.crowd import ZONE, AtWork, make_crowd

PEOPLE = 50
COUPONS = 3
VALUES = ("84.5", "85.0", "85.5")


def _log(database: Database, one: AtWork) -> None:
    """All of a person's coupons, every form pressed twice."""
    for code in one.coupons:
        taken = ReadingsTaken(
            code, tuple(map(Decimal, VALUES)), f"form-{code}", spacing_confirmed=True
        )
        for _ in range(2):
            saved = service.record_readings(
                database,
                taken,
                session_id=one.session_id,
                by=one.by,
                at=datetime.now(UTC),
                zone=ZONE,
            )
            assert saved.coupon_code == code


def test_fifty_people_at_once_lose_and_double_nothing(database: Database) -> None:
    """The fixture verifies the trail when the test has ended, every row of it."""
    crowd = make_crowd(database, people=PEOPLE, coupons=COUPONS)
    raised = at_once(*(lambda one=one: _log(database, one) for one in crowd))
    assert raised == [None] * PEOPLE
    with database.read() as session:
        taken = session.execute(
            select(Coupon.code, Reading.session_id, Reading.taken_by_id, Reading.value)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .order_by(Reading.id)
        ).all()
        steps = Counter(
            session.scalars(
                select(CustodyStep.coupon_id).where(CustodyStep.step == Custody.AT_BENCH)
            )
        )
        acts = Counter(session.scalars(select(TrailEntry.tag)))
        numbers = session.execute(
            select(func.count(TrailEntry.number), func.max(TrailEntry.number))
        ).one()
        verdicts = latest_coupon_verdicts(session, list(steps))
    assert len(taken) == PEOPLE * COUPONS * len(VALUES)
    for one in crowd:
        for code in one.coupons:
            rows = [row for row in taken if row.code == code]
            assert [str(row.value) for row in rows] == list(VALUES)
            assert {(row.session_id, row.taken_by_id) for row in rows} == {
                (one.session_id, one.by.id)
            }
    assert set(steps.values()) == {1}
    assert len(steps) == PEOPLE * COUPONS
    assert acts[Tag.READINGS_RECORDED.value] == PEOPLE * COUPONS
    assert acts[Tag.COUPON_JUDGED.value] == PEOPLE * COUPONS
    assert numbers[0] == numbers[1], "the trail has a hole"
    assert len(verdicts) == PEOPLE * COUPONS
    assert {row.verdict for row in verdicts.values()} == {"not_proven"}


def test_fifty_people_at_one_coupon_record_it_once(database: Database) -> None:
    """One form, sent by one person fifty times at the same moment."""
    (one,) = make_crowd(database, people=1, coupons=1)
    taken = ReadingsTaken(
        one.coupons[0], tuple(map(Decimal, VALUES)), "one-form", spacing_confirmed=True
    )
    raised = at_once(
        *[
            lambda: service.record_readings(
                database,
                taken,
                session_id=one.session_id,
                by=one.by,
                at=datetime.now(UTC),
                zone=ZONE,
            )
        ]
        * PEOPLE
    )
    assert raised == [None] * PEOPLE
    with database.read() as session:
        assert session.scalar(select(func.count(Reading.id))) == len(VALUES)
