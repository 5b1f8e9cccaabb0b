"""Authorisations: granted on grounds until a day, never for oneself, and asked for at the work."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.audit.tags import Tag
from app.audit.writer import append
from app.bench.service import open_session
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.loads.service import Unwrapped, record_unwrapping
from app.people import queries, service
from app.people.queries import AuthorisationLine as Line
from app.people.records import Meaning, Task
from app.people.service import AccountAsStated, Grant, Proof, account_digest, sign
from tests.makers import NOW, Shop
from tests.visits import PASSWORD, Visit, words

TODAY = NOW.date()
GROUNDS = "training T-31 of 2026-02-03, eye test E-8 of 2026-02-04"
UNTIL = date(2026, 12, 31)
LISBON = ZoneInfo("Europe/Lisbon")

on_one_database = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
"""For what rests on no difference between the two."""


def _grant(shop: Shop, username: str = "olek", task: Task = Task.SURFACE_SEARCH, **changed) -> int:
    by = changed.pop("by", shop.administrator)
    password = changed.pop("password", PASSWORD)
    given = {"from_day": TODAY, "last_day": UNTIL, "grounds": GROUNDS, **changed}
    return service.grant_authorisation(
        shop.database,
        Grant(username, task, **given),
        password=password,
        by=by,
        at=NOW,
        today=TODAY,
    )


def test_an_authorisation_is_good_from_its_first_day_to_its_last(database: Database) -> None:
    shop = Shop(database)
    key = _grant(shop, from_day=TODAY + timedelta(days=1))
    renewed = _grant(shop, last_day=date(2031, 3, 2))
    olek = shop.auditor.id
    with database.read() as session:
        for day, good in [
            (TODAY - timedelta(days=1), None),
            (TODAY, renewed),
            (date(2031, 3, 2), renewed),
            (date(2031, 3, 3), None),
        ]:
            found = queries.authorisation_on(session, olek, Task.SURFACE_SEARCH, day)
            assert found == good
            actor = queries.actor(session, "olek", today=day)
            assert actor.authorised.get(Task.SURFACE_SEARCH) == good
        lines = queries.authorisations(session, olek)
    assert [one.id for one in lines] == [renewed, key]
    assert (lines[1].granted_by, lines[1].grounds) == ("Rune Adair", GROUNDS)
    stands = [lines[1].standing(day) for day in (TODAY, UNTIL, UNTIL + timedelta(days=1))]
    assert stands == ["not yet", "runs out soon", "run out"]
    assert lines[1].standing(UNTIL - timedelta(days=61)) == "good"


def test_what_is_no_authorisation_is_refused_beside_its_field(sqlite_url: str) -> None:
    database = Database(sqlite_url)
    shop = Shop(database)
    for changed, field in [
        ({"from_day": TODAY - timedelta(days=1)}, "from_day"),
        ({"last_day": TODAY - timedelta(days=1)}, "last_day"),
        ({"last_day": date(2031, 3, 3)}, "last_day"),
        ({"from_day": date(2027, 1, 1)}, "last_day"),
        ({"grounds": "trained"}, "grounds"),
        ({"task": Task.DESIGN}, "letter"),
        ({"password": "somebody else's"}, "password"),
    ]:
        with pytest.raises(Refusal) as refused:
            _grant(shop, **changed)
        assert list(refused.value.fields) == [field]
    _grant(shop, "tomas", Task.DESIGN, letter="DL-12 of 2026-01-20")
    with database.read() as session:
        assert queries.authorisations(session, shop.auditor.id) == []
        kept = queries.authorisations(session, shop.engineer.id)[0].grounds
    assert kept == f"{GROUNDS}; letter of the design organisation: DL-12 of 2026-01-20"
    database.close()


@on_one_database
def test_nobody_authorises_themselves_under_any_name(database: Database) -> None:
    shop = Shop(database)
    ines = shop.supervisor
    with pytest.raises(NotAllowed, match="Only a supervisor or administrator"):
        _grant(shop, by=shop.inspector)
    with pytest.raises(NotAllowed, match="their own authorisation"):
        _grant(shop, "ines", by=ines)
    for username in ("ines", "deniz"):
        with database.read() as session:
            person = queries.person(session, username)
            stated = AccountAsStated(person.full_name, None, "W-101")
            seen = account_digest(person)
        service.change_person(database, username, stated, seen=seen, by=shop.administrator, at=NOW)
    with database.read() as session:
        ines = queries.actor(session, "ines", today=TODAY)
    with pytest.raises(NotAllowed, match="their own authorisation"):
        _grant(shop, "deniz", by=ines)
    key = shop.second.authorised[Task.HARDNESS]
    with pytest.raises(NotAllowed, match="their own authorisation"):
        _end(shop, key, by=ines)


def _end(
    shop: Shop, key: int, *, by=None, days: int = 2, reason: str = "eye test E-8 failed"
) -> None:
    at = NOW + timedelta(days=days)
    service.end_authorisation(
        shop.database, key, reason=reason, by=by or shop.administrator, at=at, today=at.date()
    )


def test_one_taken_back_keeps_what_was_signed_under_it(database: Database) -> None:
    shop = Shop(database)
    mara = shop.inspector
    key = _grant(shop, "mara", Task.RELEASE)
    for days in (1, 3):
        if days == 3:
            with pytest.raises(Refusal, match="Say why"):
                _end(shop, key, reason="bad")
            _end(shop, key)
        at = NOW + timedelta(days=days)
        with database.write() as session:
            made = sign(
                session, Proof(mara), meaning=Meaning.RELEASED, content_sha256="0" * 64, at=at
            )
            append(session, Tag.PANEL_RELEASED, by=mara, at=at, about=("panel", "P"), rows=[made])
    first = mara.authorised[Task.RELEASE]
    with database.read() as session:
        after, before = queries.signatures_by(session, mara.id, zone=UTC, most=2)
        now, then = (
            queries.authorisation_on(session, mara.id, Task.RELEASE, TODAY, at=at)
            for at in (None, NOW + timedelta(days=1))
        )
    assert before.ended_later
    assert before.under is not None
    assert (before.under.id, before.under.end_reason) == (key, "eye test E-8 failed")
    assert after.under is not None
    assert (after.under.id, after.ended_later) == (first, False)
    assert (now, then) == (first, key)
    with pytest.raises(Conflict, match="taken this authorisation back already"):
        _end(shop, key)
    with pytest.raises(Conflict, match="ran out on 2026-12-31"):
        _end(shop, _grant(shop), days=400)
    with pytest.raises(NotFound, match="No such authorisation"):
        _end(shop, 10_000)


@on_one_database
def test_the_work_itself_asks_for_the_authorisation_of_the_day(database: Database) -> None:
    shop = Shop(database)
    key = shop.inspector.authorised[Task.HARDNESS]
    mara = replace(shop.inspector, authorised={Task.HARDNESS: key})

    def begin(tester: str) -> int:
        return open_session(database, tester_code=tester, by=mara, at=NOW, zone=UTC)

    begin("HT-1")
    with pytest.raises(NotAllowed, match="no authorisation for conductivity testing"):
        begin("CM-1")
    none: frozenset[str] = frozenset()
    searched = Unwrapped(
        bag_intact=True, surface_clear=True, findings="", recovered=none, missing=none
    )
    left = replace(searched, surface_clear=None)
    for found, no, sentence in [
        (searched, NotAllowed, "no authorisation for surface search"),
        (left, NotFound, "LD-1"),
    ]:
        with pytest.raises(no, match=sentence):
            record_unwrapping(database, "LD-1", "P-1", found, taken_at=NOW, by=mara, at=NOW)


@on_one_database
def test_pages_grant_show_and_say_beforehand_what_is_missing(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    visit.sign_in("rune")
    assert "Nothing runs out within 60 days." in words(visit.get("/people/authorisations").text)
    given = {"task": Task.DESIGN.value, "last_day": "2026-01-01", "grounds": GROUNDS}
    refused = visit.post("/people/tomas/authorisations", **given, password=PASSWORD)
    assert refused.status_code == 422
    assert "not in the past" in words(refused.text)
    assert GROUNDS in refused.text
    assert PASSWORD not in refused.text
    last_day = (datetime.now(LISBON).date() + timedelta(days=60)).isoformat()
    given |= {"last_day": last_day, "letter": "DL-12 of 2026-01-20"}
    page = visit.follow(visit.post("/people/tomas/authorisations", **given, password=PASSWORD))
    assert "runs out soon" in words(page.text)
    assert f"{GROUNDS}; letter of the design organisation: DL-12" in words(page.text)
    assert re.search(r"Tomas Brandl use as is and repair .* 60 ", words(_soon(visit)))
    visit.sign_in("olek")
    assert visit.post("/people/tomas/authorisations", **given).status_code == 403
    key = shop.inspector.authorised[Task.HARDNESS]
    visit.sign_in("ines")
    ended = visit.post(f"/people/mara/authorisations/{key}/end", reason="eye test E-8 failed")
    assert "taken back" in words(visit.follow(ended).text)
    visit.sign_in("mara")
    bench = words(visit.get("/bench").text)
    assert "Mara Quill holds no authorisation for hardness testing that is good today." in bench
    assert "Begin at CM-1" in bench
    assert "Begin at HT-1" not in bench


def test_a_renewal_without_a_gap_counts_on_and_a_later_one_is_told_apart() -> None:
    def line(first: int, last: int, *, task: Task = Task.RELEASE, ended: bool = False) -> Line:
        days = (TODAY + timedelta(days=first), TODAY + timedelta(days=last))
        end = ("somebody", NOW, "a reason") if ended else ()
        return Line(1, 7, task, *days, GROUNDS, "somebody", NOW, *end)

    lines = [
        line(41, 60),
        line(31, 39),
        line(0, 30),
        line(5, 90, ended=True),
        line(-9, -1, task=Task.DESIGN),
        line(1, 9, task=Task.DESIGN),
    ]
    until = queries.good_until(lines, TODAY)
    assert until == {(7, Task.RELEASE): TODAY + timedelta(days=39)}
    assert queries.good_from(lines, TODAY) == {
        (7, Task.RELEASE): TODAY + timedelta(days=31),
        (7, Task.DESIGN): TODAY + timedelta(days=1),
    }


def _soon(visit: Visit) -> str:
    page: str = visit.get("/people/authorisations").text
    return page[: page.index("Everybody by task")]
