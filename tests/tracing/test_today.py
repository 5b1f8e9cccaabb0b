"""Today: each line to whoever can act on it, to nobody else, in a fixed number of statements."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event, select

from app.audit.actor import Actor
from app.database import Database
from app.panels.records import HoldOn
from app.people.records import Authorisation, AuthorisationEnd, Task
from app.people.rights import Role
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.service import HeldThing, place_hold, place_upstream_hold
from app.release.service.actions import Action, check_action, enter_action
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from app.tracing.queries.today import Waiting, desks
from app.tracing.queries.today.training import asked_for
from tests.makers import bind
from tests.release.evidence_rows import LATER
from tests.release.test_nonconformances import Review
from tests.requirements.papers import keyed
from tests.requirements.test_keying import MINIMUM, _table
from tests.visits import PASSWORD, Visit, words


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """No database decides any of this."""
    return sqlite_url


@pytest.fixture
def review(database: Database) -> Review:
    return Review(database)


def _desks(review: Review, by: Actor, now: datetime = LATER) -> Sequence[Any]:
    with review.database.read() as session:
        return desks(session, by, now=now, zone=UTC)


def _waiting(review: Review, by: Actor, name: str, now: datetime = LATER) -> list[Waiting]:
    found = _desks(review, by, now)
    return [one for desk in found for one in desk.tasks if one.name == name]


def _asides(review: Review, by: Actor, now: datetime = LATER) -> str:
    return " ".join(said for desk in _desks(review, by, now) for said in desk.asides)


def test_a_nonconformance_waits_for_whoever_can_give_what_it_lacks(review: Review) -> None:
    shop, panel = review.shop, review.failed()
    everybody = (shop.inspector, shop.supervisor, review.second, shop.engineer, review.delegate)

    def asked(name: str) -> set[str]:
        return {by.username for by in everybody if _waiting(review, by, name)}

    assert asked(panel.code) == {"ines", "ibo"}
    code = review.open(panel)
    # From now on the panel waits for its nonconformance, and has one line only.
    assert asked(panel.code) == set()
    assert asked(code) == {"ines", "ibo", "tomas", "priya"}
    review.propose(code, DecisionKind.SCRAPPED)
    (line,) = _waiting(review, shop.engineer, code)
    assert line.sentence == (
        f"Panel {panel.code} waits for an answer to scrap for quality and supervision."
    )
    assert line.href == f"/nonconformances/{code}"
    review.answer(code, Capacity.SUPERVISION, review.second)
    assert asked(code) == {"tomas", "priya"}
    assert f"{panel.code} is held: {code} waits for an answer to scrap for quality." in _asides(
        review, shop.supervisor
    )
    # Another account of somebody who answered is not asked either.
    again = replace(shop.engineer, also=frozenset({review.second.id}))
    assert _waiting(review, again, code) == []
    review.answer(code, Capacity.QUALITY, shop.engineer)
    assert asked(code) == {"ines", "ibo"}
    untrained = replace(shop.supervisor, authorised={})
    assert _waiting(review, untrained, code) == []
    # What was learnt since makes the answers fall: somebody has to propose anew.
    place_hold(review.database, panel.code, reason="A dent, seen since.", by=shop.auditor, at=LATER)
    assert asked(code) == {"ines", "ibo", "tomas", "priya"}


def test_a_supervisor_reads_what_else_waits_and_nobody_their_own(review: Review) -> None:
    shop, database = review.shop, review.database
    code = review.open(review.failed())
    action = Action("The plug was worn.", "Plugs are changed each month.", "tomas", LATER.date())
    key = enter_action(database, code, action, by=shop.supervisor, at=LATER, zone=UTC)
    late = LATER + timedelta(days=1)
    own = _waiting(review, shop.engineer, code, late)[0]
    assert own.sentence.startswith("Your corrective action is overdue")
    assert own.urgent
    others = _waiting(review, shop.supervisor, code, late)[0]
    assert others.sentence.startswith("Tomas Brandl's corrective action is overdue")
    assert others.href == f"/nonconformances/{code}#action-{key}"
    check_action(
        database, key, effective=False, found="It did.", password=PASSWORD, by=shop.supervisor,
        at=late,
    )  # fmt: skip
    told = [one.sentence for one in _waiting(review, shop.engineer, code, late)]
    assert any("did not help" in one for one in told)
    # A hold on somebody is never theirs to lift.
    place_upstream_hold(
        database,
        HeldThing(HoldOn.PERSON, "ines"),
        reason="Two readings in doubt.",
        by=shop.auditor,
        at=LATER,
    )
    assert _waiting(review, shop.supervisor, "Hold 1") == []
    (hold,) = _waiting(review, review.second, "Hold 1")
    assert hold.sentence.startswith("On person ines: 1 panel is held by it.")
    week = LATER + timedelta(days=8)
    for by in (shop.supervisor, shop.auditor):
        assert "/trail/review" in {one.href for one in _waiting(review, by, "Trail", week)}
    assert _waiting(review, shop.engineer, "Trail", week) == []


def test_a_draft_waits_for_its_second_keying_and_then_for_its_verifier(review: Review) -> None:
    shop, database = review.shop, review.database
    table = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")
    _table(shop)

    def told(by: Actor) -> list[tuple[str, str]]:
        return [(one.sentence, one.href) for one in _waiting(review, by, "AT-1")]

    ((sentence, href),) = told(shop.inspector)
    assert "key its values a second time, from the source" in sentence
    assert href == "/tables/AT-1/keying?revision=B"
    assert told(shop.engineer) == told(replace(shop.second, also=frozenset({shop.engineer.id})))
    assert told(shop.engineer) == []
    keyed(database, table, shop.second, **{MINIMUM: "38.0"})
    assert "Key again, from the source, what differs" in told(shop.inspector)[0][0]
    assert "write the revision again" in told(shop.engineer)[0][0]
    keyed(database, table, shop.second)
    assert told(shop.inspector) == told(shop.engineer) == []
    assert "compare every value" in told(shop.supervisor)[0][0]
    assert told(replace(shop.supervisor, authorised={})) == []


def test_authorisations_are_told_before_they_run_out_and_after(review: Review) -> None:
    shop = review.shop
    assert asked_for(Role.SUPERVISOR) == (Task.DISPOSITION, Task.VERIFICATION, Task.REPORT_REVIEW)
    assert asked_for(Role.ENGINEER) == (Task.REPORT_REVIEW,)
    assert asked_for(Role.AUDITOR) == ()
    # The invented authorisations are good until the end of 2125.
    before, after = datetime(2125, 12, 1, tzinfo=UTC), datetime(2126, 1, 10, tzinfo=UTC)
    (soon,) = _waiting(review, shop.engineer, "You", before)
    assert soon.due == date(2125, 12, 31)
    assert not soon.urgent
    assert "runs out on 2125-12-31" in soon.sentence
    (over,) = _waiting(review, shop.engineer, "You", after)
    assert over.urgent
    assert "ran out" in over.sentence
    assert "You hold no" not in _asides(review, shop.engineer, after)
    many = _waiting(review, shop.administrator, "Authorisations", before)
    assert [one.href for one in many] == ["/people/authorisations"]
    assert _waiting(review, shop.inspector, "Authorisations", before) == []
    with review.database.write() as session:
        held = session.scalars(
            select(Authorisation).where(Authorisation.person_id == shop.second.id)
        ).all()
        for one in held:
            end = AuthorisationEnd(
                authorisation_id=one.id,
                reason="Eye test lapsed.",
                ended_by_id=shop.administrator.id,
                ended_at=LATER,
            )
            bind(session, end)
    idle = [one.sentence for one in _waiting(review, shop.administrator, "People")]
    assert "Deniz Okoro holds a role and no authorisation that it asks for." in idle
    assert "You hold no authorisation for hardness testing" in _asides(review, shop.second)


def test_twice_the_rows_need_no_more_statements_for_anybody(review: Review) -> None:
    shop = review.shop
    everybody = (
        (shop.inspector, 56),
        (shop.supervisor, 60),
        (shop.engineer, 80),
        (shop.auditor, 8),
        (shop.administrator, 4),
    )
    furnace = HeldThing(HoldOn.FURNACE, "FN-1")
    reason = "Something was seen there."
    place_upstream_hold(review.database, furnace, reason=reason, by=shop.auditor, at=LATER)
    _fill(review, "C")
    few = [_statements(review, by) for by, _ in everybody]
    _fill(review, "D")
    assert [_statements(review, by) for by, _ in everybody] == few
    for (by, most), count in zip(everybody, few, strict=True):
        assert count <= most, by.username


def _fill(review: Review, revision: str) -> None:
    """Panels held, ready and under review, and a draft."""
    shop = review.shop
    for disposition in (DecisionKind.SCRAPPED, None):
        code = review.open(review.failed())
        if disposition:
            review.propose(code, disposition)
            review.answer(code, Capacity.SUPERVISION, review.second)
    review.evidence.ready()
    review.evidence.ready(verdicts=False)
    _table(shop, revision=revision)


def _statements(review: Review, by: Actor) -> int:
    told: list[str] = []

    def note(*args: Any) -> None:
        told.append(args[2])

    event.listen(review.database.engine, "before_cursor_execute", note)
    try:
        _desks(review, by)
    finally:
        event.remove(review.database.engine, "before_cursor_execute", note)
    return sum(not statement.startswith("BEGIN") for statement in told)


def test_a_page_says_beforehand_that_only_the_authorisation_is_missing(
    review: Review, visit: Visit
) -> None:
    shop, panel = review.shop, review.failed()
    _table(shop)
    with review.database.write() as session:
        for key in set(shop.supervisor.authorised.values()):
            bind(
                session,
                AuthorisationEnd(
                    authorisation_id=key, reason="Lapsed.", ended_by_id=1, ended_at=LATER
                ),
            )
    visit.sign_in("ines")
    page = words(visit.get("/tables/AT-1?revision=B").text)
    assert "holds no authorisation for verification of requirements" in page
    assert "holds no authorisation for disposition" in words(
        visit.get(f"/panels/{panel.code}").text
    )
    today = words(visit.get("/").text)
    assert f"{panel.code} is held, for a supervisor authorised for dispositions." in today
