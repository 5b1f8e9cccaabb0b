"""A tester is taken out of use and used again, on both databases."""

from typing import Any

import pytest
from sqlalchemy import delete, update
from sqlalchemy.exc import DatabaseError

from app.audit.actor import Actor
from app.bench.records import BenchSession, BlockCheck, CheckMoment
from app.database import Database
from app.equipment import queries, records, service
from app.equipment.queries import Quarantine
from app.equipment.rules import DueState
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.people.queries import acts_about
from app.people.rights import Role
from tests.makers import NOW, Shop, bind
from tests.visits import PASSWORD, Visit, words

LOOSE = "The anvil is loose and rocks."
MENDED = "Anvil seated again; it read two blocks rightly."


def _open(database: Database, tester_id: int) -> Quarantine | None:
    with database.read() as session:
        return queries.quarantine_of(session, [tester_id]).get(tester_id)


def _lift(database: Database, by: Actor, *, reason: str = MENDED) -> None:
    service.lift_quarantine(
        database, tester="HT-1", reason=reason, password=PASSWORD, by=by, at=NOW
    )


def test_a_tester_is_out_of_use_until_a_second_person_signs(database: Database) -> None:
    shop = Shop(database)
    assert _open(database, shop.hardness_tester_id) is None
    service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=shop.engineer, at=NOW)
    found = _open(database, shop.hardness_tester_id)
    assert found is not None
    assert (found.reason, found.placed_by, found.check_id) == (LOOSE, "Tomas Brandl", None)
    assert _open(database, shop.meter_id) is None
    with database.read() as session:
        keys = [shop.hardness_tester_id, shop.meter_id]
        dues = queries.dues_of_testers(session, keys, on=NOW.date())
    assert dues[shop.hardness_tester_id].state is DueState.OUT_OF_USE
    assert dues[shop.meter_id].is_in_date
    with pytest.raises(NotAllowed, match="You took HT-1 out of use"):
        _lift(database, shop.engineer)
    _lift(database, shop.supervisor)
    assert _open(database, shop.hardness_tester_id) is None
    with database.read() as session:
        (past,) = queries.quarantines(session, shop.hardness_tester_id)
        acts = [act.act for act in acts_about(session, "tester", "HT-1")]
    assert past.lift is not None
    assert past.lift.reason == MENDED
    assert acts[:2] == ["tester quarantine lifted", "tester quarantined"]
    service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=shop.inspector, at=NOW)
    assert _open(database, shop.hardness_tester_id) is not None


def _failed_check(database: Database, shop: Shop, *, operator: Actor, by: Actor) -> None:
    """A closing check that failed, and the quarantine it brought about, as the bench records it."""
    with database.write() as session:
        opened = BenchSession(
            tester_id=shop.hardness_tester_id, operator_id=operator.id, opened_at=NOW
        )
        bind(session, opened)
        check = BlockCheck(
            session_id=opened.id,
            moment=CheckMoment.CLOSING,
            block_id=queries.block(session, "RB-HT-1").id,
            readings=(),
            block_c=None,
            outcome="does not conform",
            finding={},
            by_id=by.id,
            taken_at=NOW,
        )
        bind(session, check)
        service.quarantine_tester(
            session,
            queries.tester(session, "HT-1"),
            reason="The closing check on RB-HT-1 failed.",
            check=service.FailedCheck(check.id, operator.id),
            by=by,
            at=NOW,
        )


def test_neither_who_made_the_failed_check_nor_the_operator_lifts_it(database: Database) -> None:
    shop = Shop(database)
    with database.write() as session:
        roles = (Role.INSPECTOR, Role.SUPERVISOR)
        both = shop._person(session, "vera", "Vera Lindqvist", *roles)  # noqa: SLF001 - a maker
    _failed_check(database, shop, operator=both, by=shop.supervisor)
    with pytest.raises(NotAllowed, match="You made the check that failed"):
        _lift(database, shop.supervisor)
    with pytest.raises(NotAllowed, match="You worked at HT-1 when its check failed"):
        _lift(database, both)
    _lift(database, shop.engineer)


def test_what_cannot_be_is_refused(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(NotFound):
        service.place_quarantine(database, tester="HT-9", reason=LOOSE, by=shop.engineer, at=NOW)
    with pytest.raises(Refusal, match="Say what is wrong with it, in at least 10 characters"):
        service.place_quarantine(database, tester="HT-1", reason=" odd ", by=shop.engineer, at=NOW)
    with pytest.raises(Conflict, match="HT-1 is not out of use"):
        _lift(database, shop.supervisor)
    for person in (shop.auditor, shop.administrator):
        with pytest.raises(NotAllowed):
            service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=person, at=NOW)
    service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=shop.inspector, at=NOW)
    with pytest.raises(Conflict, match="Mara Quill has taken HT-1 out of use already"):
        service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=shop.engineer, at=NOW)
    with pytest.raises(NotAllowed, match="Only a supervisor or engineer may let"):
        _lift(database, shop.second)
    with pytest.raises(Refusal, match="what was done about it, in at least 10"):
        _lift(database, shop.supervisor, reason="ok now")
    assert _open(database, shop.hardness_tester_id) is not None


@pytest.mark.parametrize("row", [records.TesterQuarantine, records.QuarantineLift])
def test_the_database_itself_refuses_to_change_or_remove_a_quarantine(
    database: Database, row: type[Any]
) -> None:
    shop = Shop(database)
    service.place_quarantine(database, tester="HT-1", reason=LOOSE, by=shop.engineer, at=NOW)
    _lift(database, shop.supervisor)
    for statement in (update(row).values(reason="ALTERED"), delete(row)):
        with pytest.raises(DatabaseError), database.write() as session:
            session.execute(statement)


def test_the_page_takes_it_out_of_use_and_back(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("mara")
    assert "Take it out of use" in visit.get("/testers/HT-1").text
    short = visit.post("/testers/HT-1/quarantine", reason="odd")
    assert short.status_code == 422
    assert "odd</textarea>" in short.text
    page = words(visit.follow(visit.post("/testers/HT-1/quarantine", reason=LOOSE)).text)
    assert "HT-1 is out of use" in page
    assert f"out of use: quarantined {LOOSE} By Mara Quill" in page
    assert "Let it be used again" not in page
    assert "You are concerned in it" in page
    visit.sign_in("ines")
    assert "tester HT-1 quarantine out of use" in words(visit.get("/equipment/due").text)
    assert ">out of use<" in visit.get("/shop").text
    assert "The quarantine of tester HT-1: out of use." in words(visit.get("/").text)
    assert "Let it be used again" in visit.get("/testers/HT-1").text
    wrong = visit.post("/testers/HT-1/quarantine/lift", reason=MENDED, password="not it")
    assert wrong.status_code in {403, 422}
    assert f"{MENDED}</textarea>" in wrong.text
    assert "not it" not in wrong.text
    lifted = visit.post("/testers/HT-1/quarantine/lift", reason=MENDED, password=PASSWORD)
    page = words(visit.follow(lifted).text)
    assert "HT-1 may be used again" in page
    assert MENDED in page
    visit.sign_in("olek")
    assert "Take it out of use" not in visit.get("/testers/HT-1").text
    assert visit.post("/testers/HT-1/quarantine", reason=LOOSE).status_code == 403
