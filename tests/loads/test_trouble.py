"""Coupons reported and decided about, through the service, on both databases."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.audit.records import TrailEntry
from app.bench.queries import expected_coupon
from app.bench.queries.waiting import awaiting
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.loads.records import Load
from app.loads.service import Answer, Report, answer_trouble, report_trouble
from app.loads.trouble_queries import (
    open_troubles,
    trouble,
    troubled,
    troubles_of_coupons,
    troubles_of_load,
)
from app.loads.trouble_records import TroubleKind, TroubleOutcome
from app.panels import queries as panels
from app.panels.records import Coupon, Custody, Hold, HoldCause, Panel
from app.people.records import Meaning, Signature
from app.people.rights import Role
from app.people.service import add_person
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

AT = NOW + timedelta(hours=8)
FOUND = "Searched in the bag, under the former and on the floor."
REASON = "Seen by me under the lens, beside the custody scans."


class Hall:
    """A panel that came out of the furnace with six coupons: 1 to 3 at its left, 4 to 6 right."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.shop = Shop(database)
        self.load: Load
        self.panel: Panel
        self.coupons: Sequence[Coupon]
        self.load, self.panel, self.coupons, _ = self.shop.panel_in_load(coupons=6)

    def off(self, *numbers: int, step: Custody = Custody.RECOVERED) -> None:
        """Coupons are handed on."""
        with self.database.write() as session:
            for number in numbers:
                self.shop.custody(session, self.coupons[number - 1], step)

    def code(self, number: int) -> str:
        """The mark of a coupon."""
        return self.coupons[number - 1].code

    def report(self, kind: TroubleKind, number: int = 0, **changed: Any) -> int:
        """A report by the inspector about a coupon; 0 is one that nobody can say."""
        by = changed.pop("by", self.shop.inspector)
        given = {"found": FOUND, "coupon": self.code(number) if number else "", **changed}
        return report_trouble(
            self.database, self.load.code, self.panel.code, Report(kind, **given), by=by, at=AT
        )

    def answer(self, key: int, outcome: TroubleOutcome, **changed: Any) -> str:
        """An answer by the supervisor."""
        by = changed.pop("by", self.shop.supervisor)
        password = changed.pop("password", PASSWORD)
        given = Answer(outcome, **{"reason": REASON, **changed})
        return answer_trouble(
            self.database, key, given, password=password, by=by, at=AT + timedelta(hours=1)
        )

    def holds(self) -> list[HoldCause | None]:
        """What put the panel on hold."""
        with self.database.read() as session:
            rows = session.scalars(select(Hold).where(Hold.panel_id == self.panel.id))
            return [row.cause for row in rows]

    def last(self, number: int) -> Custody:
        """The last hand-over of a coupon."""
        with self.database.read() as session:
            return panels.custody(session, self.coupons[number - 1].id)[-1].step


@pytest.fixture
def hall(database: Database) -> Hall:
    return Hall(database)


def test_a_missing_coupon_holds_its_panel_at_once(hall: Hall) -> None:
    key = hall.report(TroubleKind.MISSING, 1)
    assert hall.holds() == [HoldCause.COUPON_TROUBLE]
    assert hall.last(1) is Custody.MISSING
    with hall.database.read() as session:
        found = trouble(session, key)
        notes = session.scalars(
            select(TrailEntry.note).where(TrailEntry.about_code == hall.load.code)
        ).all()
        waiting = open_troubles(session)
    assert (found.about, found.found, found.is_open) == (hall.code(1), FOUND, True)
    assert [one.id for one in waiting] == [key]
    assert any(FOUND in note for note in notes)


@pytest.mark.parametrize(
    ("kind", "number", "changed", "field"),
    [
        (TroubleKind.MISSING, 0, {}, "coupon"),
        (TroubleKind.DOUBLED, 0, {}, "coupon"),
        (TroubleKind.MISSING, 1, {"coupon": "C-99"}, "coupon"),
        (TroubleKind.MISSING, 1, {"found": "gone"}, "found"),
        (TroubleKind.MISSING, 1, {"other": "C-99"}, "other"),
        (TroubleKind.UNMARKED, 1, {"coupon": "C-99"}, "coupon"),
    ],
)
def test_a_report_that_cannot_be_is_refused_at_its_field(
    hall: Hall, kind: TroubleKind, number: int, changed: dict[str, str], field: str
) -> None:
    with pytest.raises(Refusal) as refused:
        hall.report(kind, number, **changed)
    assert list(refused.value.fields) == [field]
    assert hall.holds() == []


def test_a_coupon_is_reported_once(hall: Hall) -> None:
    hall.report(TroubleKind.UNMARKED, 1)
    for kind in TroubleKind:
        with pytest.raises(Refusal, match="It is reported already"):
            hall.report(kind, 1)


def test_a_shelved_coupon_is_not_reported_as_missing(hall: Hall) -> None:
    hall.off(1, step=Custody.SHELVED)
    with pytest.raises(Refusal, match="is shelved: what was read on it stands"):
        hall.report(TroubleKind.MISSING, 1)


def test_a_load_that_is_not_on_record_and_a_panel_of_another_are_said(hall: Hall) -> None:
    given = Report(TroubleKind.MISSING, FOUND, hall.code(1))
    by = hall.shop.inspector
    with pytest.raises(NotFound):
        report_trouble(hall.database, "L-77", hall.panel.code, given, by=by, at=AT)
    with pytest.raises(Refusal, match="is not in load"):
        report_trouble(hall.database, hall.load.code, "P-77", given, by=by, at=AT)


def test_a_doubled_mark_holds_both_panels(hall: Hall) -> None:
    other_load, other_panel, (other, _), _ = hall.shop.panel_in_load()
    hall.off(3)
    hall.report(TroubleKind.DOUBLED, 3, other=other.code)
    with hall.database.read() as session:
        mine, theirs = open_troubles(session)
        held = session.scalars(select(Hold.panel_id).order_by(Hold.id)).all()
    assert (mine.coupon, mine.other, theirs.coupon, theirs.other) == (
        hall.code(3),
        other.code,
        other.code,
        hall.code(3),
    )
    assert (theirs.load, theirs.panel) == (other_load.code, other_panel.code)
    assert held == [hall.panel.id, other_panel.id]


def test_another_coupon_that_never_rode_holds_nothing_more(hall: Hall) -> None:
    with hall.database.write() as session:
        hall.shop.coupon(session, "C-RACK")
    hall.report(TroubleKind.DOUBLED, 3, other="C-RACK")
    with hall.database.read() as session:
        assert [one.coupon for one in open_troubles(session)] == [hall.code(3)]
    with pytest.raises(NotFound):
        hall.report(TroubleKind.DOUBLED, 4, other="C-77")
    with pytest.raises(Refusal, match="Name the other one"):
        hall.report(TroubleKind.DOUBLED, 4, other=hall.code(4))


@pytest.mark.parametrize("person", ["engineer", "auditor", "administrator"])
def test_who_may_not_report_or_decide_is_told(hall: Hall, person: str) -> None:
    by = getattr(hall.shop, person)
    with pytest.raises(NotAllowed, match="Only an inspector"):
        hall.report(TroubleKind.MISSING, 1, by=by)
    key = hall.report(TroubleKind.MISSING, 1)
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        hall.answer(key, TroubleOutcome.NO_EVIDENCE, by=by)


def test_nobody_decides_about_their_own_report(hall: Hall) -> None:
    key = hall.report(TroubleKind.MISSING, 1, by=hall.shop.supervisor)
    with pytest.raises(NotAllowed, match="another supervisor"):
        hall.answer(key, TroubleOutcome.NO_EVIDENCE)


def test_a_decision_is_signed_and_made_once(hall: Hall) -> None:
    key = hall.report(TroubleKind.MISSING, 1)
    with pytest.raises(Refusal, match="password is not yours"):
        hall.answer(key, TroubleOutcome.NO_EVIDENCE, password="wrong one")
    with pytest.raises(Refusal) as refused:
        hall.answer(key, TroubleOutcome.NO_EVIDENCE, reason="gone")
    assert list(refused.value.fields) == ["reason"]
    assert hall.answer(key, TroubleOutcome.NO_EVIDENCE) == "no evidence"
    with hall.database.read() as session:
        found = trouble(session, key)
        signed = session.scalars(
            select(Signature).where(Signature.meaning == Meaning.ANSWERED_TROUBLE)
        ).one()
    assert (found.answered_by, found.reason, found.ended) == (
        "Ines Valcourt",
        REASON,
        "no evidence",
    )
    assert signed.signed_at == AT + timedelta(hours=1)
    with pytest.raises(Conflict, match="Ines Valcourt has decided about this already"):
        hall.answer(key, TroubleOutcome.NO_EVIDENCE)
    with pytest.raises(NotFound):
        hall.answer(key + 1, TroubleOutcome.NO_EVIDENCE)


def test_an_unmarked_coupon_is_never_named_without_its_mark(hall: Hall) -> None:
    key = hall.report(TroubleKind.UNMARKED, 1)
    for mark, says in (
        ("", "Nobody can name a coupon without its mark"),
        ("C-99", "is no coupon that rode"),
    ):
        with pytest.raises(Refusal, match=says) as refused:
            hall.answer(key, TroubleOutcome.IDENTIFIED, mark=mark)
        assert list(refused.value.fields) == ["mark"]
    ended = hall.answer(key, TroubleOutcome.IDENTIFIED, mark=hall.code(1))
    assert ended == f"shown to be {hall.code(1)} by its mark"
    assert hall.last(1) is Custody.RECOVERED
    with hall.database.read() as session:
        assert troubled(session, [hall.coupons[0].id]) == {}


def test_an_unmarked_coupon_that_was_handed_on_meanwhile_is_not_named(hall: Hall) -> None:
    key = hall.report(TroubleKind.UNMARKED, 1)
    hall.off(1)
    with pytest.raises(Refusal, match="is recovered, so this cannot be it"):
        hall.answer(key, TroubleOutcome.IDENTIFIED, mark=hall.code(1))
    with hall.database.read() as session, pytest.raises(Refusal, match="is not measured"):
        expected_coupon(session, hall.code(1))


def test_a_missing_coupon_is_never_named(hall: Hall) -> None:
    key = hall.report(TroubleKind.MISSING, 1)
    with pytest.raises(Refusal, match="is no evidence, even where it has turned up"):
        hall.answer(key, TroubleOutcome.IDENTIFIED, mark=hall.code(1))


def test_a_spare_of_the_same_end_stands_in_once(hall: Hall) -> None:
    hall.off(2, 3, 4, 5, 6)
    lost = hall.report(TroubleKind.MISSING, 1)
    with pytest.raises(Refusal, match="Only a coupon of the same end can stand in"):
        hall.answer(lost, TroubleOutcome.SPARE, spare=hall.code(4))
    ended = hall.answer(lost, TroubleOutcome.SPARE, spare=hall.code(2))
    assert ended.startswith(f"spare {hall.code(2)} at S2 stands in for {hall.code(1)}")
    assert ended.endswith("both lay at the left end")
    again = hall.report(TroubleKind.DOUBLED, 3)
    with pytest.raises(Refusal, match=f"stands in for {hall.code(1)} already") as refused:
        hall.answer(again, TroubleOutcome.SPARE, spare=hall.code(2))
    assert list(refused.value.fields) == ["spare"]


def test_a_spare_needs_a_coupon_that_it_stands_in_for(hall: Hall) -> None:
    hall.off(2)
    key = hall.report(TroubleKind.UNMARKED)
    with pytest.raises(Refusal, match="Nothing names the coupon that a spare would stand in for"):
        hall.answer(key, TroubleOutcome.SPARE, spare=hall.code(2))


def test_a_coupon_in_doubt_or_out_is_not_measured(hall: Hall) -> None:
    hall.off(1, 2, 3, 4, 5, 6)
    key = hall.report(TroubleKind.DOUBLED, 1)
    keys = [coupon.id for coupon in hall.coupons]
    with hall.database.read() as session:
        assert list(troubled(session, keys)) == [hall.coupons[0].id]
        assert hall.code(1) not in {one.coupon for one in awaiting(session)}
        with pytest.raises(Refusal, match="a supervisor has not decided about it yet"):
            expected_coupon(session, hall.code(1))
        expected_coupon(session, hall.code(2))
    hall.answer(key, TroubleOutcome.NO_EVIDENCE)
    with hall.database.read() as session, pytest.raises(Refusal, match="it is no evidence"):
        expected_coupon(session, hall.code(1))


def test_a_doubled_one_that_is_named_is_measured_again(hall: Hall) -> None:
    hall.off(1)
    key = hall.report(TroubleKind.DOUBLED, 1)
    hall.answer(key, TroubleOutcome.IDENTIFIED, mark=hall.code(1))
    with hall.database.read() as session:
        assert expected_coupon(session, hall.code(1)).coupon == hall.code(1)
        assert [one.ended for one in troubles_of_coupons(session, [hall.coupons[0].id])] == [
            f"shown to be {hall.code(1)}"
        ]
        assert len(troubles_of_load(session, hall.load.id)) == 1
    hall.report(TroubleKind.MISSING, 1)


def test_a_second_supervisor_may_decide_about_what_the_first_reported(hall: Hall) -> None:
    key = hall.report(TroubleKind.MISSING, 1, by=hall.shop.supervisor)
    second = add_person(
        hall.database,
        username="vera",
        full_name="Vera Stone",
        identity_number="W-2098",
        roles=[Role.SUPERVISOR],
        password=PASSWORD,
        by="rune",
        at=NOW,
    )
    assert hall.answer(key, TroubleOutcome.NO_EVIDENCE, by=second) == "no evidence"
