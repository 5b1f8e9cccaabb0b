"""Accounts: one for each person, changed by others, and never without an administrator."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.people import queries, service
from app.people.records import Person, SignIn
from app.people.rights import Role
from app.people.service import AccountAsStated, account_digest
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

TODAY = NOW.date()
ANOTHER = "walnut lantern orbit 41"

on_one_database = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
"""For what rests on no difference between the two."""


def _state(database: Database, username: str, by: Actor, **stated: object) -> list[str]:
    """Change an account as the page would, from what stands."""
    with database.read() as session:
        person = queries.person(session, username)
        seen, given = account_digest(person), {"full_name": person.full_name, **stated}
    return service.change_person(
        database, username, AccountAsStated(**given), seen=seen, by=by, at=NOW
    )


def _add(database: Database, username: str, number: str, *roles: Role) -> Actor:
    return service.add_person(
        database,
        username=username,
        full_name=username.title(),
        identity_number=number,
        roles=roles,
        password=ANOTHER,
        by="rune",
        at=NOW,
    )


def _notes(database: Database, username: str, tag: Tag) -> list[str]:
    with database.read() as session:
        asked = select(TrailEntry.note).where(
            TrailEntry.about_code == username, TrailEntry.tag == tag
        )
        return list(session.scalars(asked.order_by(TrailEntry.number)))


def test_an_identity_number_is_kept_in_capitals_and_digits() -> None:
    assert service.identity_number_of(" w-20/41.b ") == "W2041B"
    for typed in ("", "W", "--", "W_2041", "Ä2041", "9" * 41):
        with pytest.raises(Refusal, match="3 to 40 letters and digits"):
            service.identity_number_of(typed)


@on_one_database
def test_nobody_gets_a_second_account_and_the_refusal_names_the_first(database: Database) -> None:
    shop = Shop(database)
    _add(database, "vera", "w-2041")
    with pytest.raises(Conflict, match=r"Vera \(vera\)\. Give that account the role"):
        _add(database, "vera.s", "W 20 41")
    service.close_account(database, "vera", reason="left the works", by=shop.administrator, at=NOW)
    with pytest.raises(Conflict, match=r"\(vera, closed\)\. Open that account again"):
        _add(database, "vera.s", "W2041")
    with pytest.raises(Refusal, match="address of a page"):
        _add(database, "tokens", "W-2042")


def test_accounts_of_one_number_are_one_person_from_then_on(database: Database) -> None:
    shop = Shop(database)
    rune = shop.administrator
    assert _state(database, "mara", rune, identity_number="w 77 1") == []
    with database.read() as session:
        assert queries.one_person(session) == {}
    assert _state(database, "deniz", rune, identity_number="W-771") == ["mara"]
    with database.read() as session:
        deniz = queries.actor(session, "deniz", today=TODAY)
        assert deniz.is_person(shop.inspector.id)
        assert not deniz.is_person(shop.supervisor.id)
        assert queries.one_person(session) == {shop.second.id: shop.inspector.id}
    assert _notes(database, "deniz", Tag.PERSON_CHANGED) == [
        "number: none -> W771; one person with mara"
    ]
    _state(database, "deniz", rune, identity_number="W-772")
    with database.read() as session:
        assert queries.one_person(session) == {}


@on_one_database
def test_a_change_says_old_and_new_and_must_have_seen_what_stands(database: Database) -> None:
    shop = Shop(database)
    rune = shop.administrator
    with database.read() as session:
        seen = account_digest(queries.person(session, "mara"))
    roles = frozenset({Role.INSPECTOR, Role.SUPERVISOR})
    _state(database, "mara", rune, full_name=" Mara  Quill-Brandl ", roles=roles)
    assert _notes(database, "mara", Tag.PERSON_CHANGED) == [
        "name: Mara Quill -> Mara Quill-Brandl; roles: inspector -> inspector, supervisor"
    ]
    with pytest.raises(Refusal, match="Nothing was changed"):
        _state(database, "mara", rune)
    with pytest.raises(Conflict, match="since this page was shown"):
        service.change_person(database, "mara", AccountAsStated("Mara"), seen=seen, by=rune, at=NOW)
    with pytest.raises(NotAllowed, match="Only an administrator"):
        _state(database, "mara", shop.supervisor, full_name="Nobody")


@on_one_database
def test_nobody_decides_about_their_own_account_under_any_name(database: Database) -> None:
    shop = Shop(database)
    _state(database, "rune", shop.administrator, identity_number="W-109")
    vera = _add(database, "vera", "W-110", Role.ADMINISTRATOR)
    _state(database, "mara", vera, identity_number="W-109")
    with database.read() as session:
        rune = queries.actor(session, "rune", today=TODAY)
    for username in ("rune", "mara"):
        with pytest.raises(NotAllowed, match="their own roles"):
            _state(database, username, rune, roles=frozenset(Role))
        with pytest.raises(NotAllowed, match="identity number once it is stated"):
            _state(database, username, rune, identity_number="W-111")
        with pytest.raises(NotAllowed, match="closes their own"):
            service.close_account(database, username, reason="a long rest", by=rune, at=NOW)
        with pytest.raises(NotAllowed, match="your own password"):
            service.give_first_password(database, username, password=ANOTHER, by=rune, at=NOW)


@on_one_database
def test_two_administrators_cannot_close_each_other(database: Database) -> None:
    rune = Shop(database).administrator
    vera = _add(database, "vera", "W-110", Role.ADMINISTRATOR)
    service.close_account(database, "rune", reason="left the works", by=vera, at=NOW)
    with pytest.raises(Conflict, match="last open account of an administrator"):
        service.close_account(database, "vera", reason="left the works", by=rune, at=NOW)
    with pytest.raises(Conflict, match="last open account of an administrator"):
        _state(database, "vera", rune, roles=frozenset({Role.AUDITOR}))
    service.reopen_account(database, "rune", reason="is back at work", by=vera, at=NOW)
    with pytest.raises(Conflict, match="is open"):
        service.reopen_account(database, "rune", reason="is back at work", by=vera, at=NOW)


def _open(database: Database, person_id: int, *tokens: str) -> None:
    ends_at = NOW + timedelta(hours=1)
    with database.write() as session:
        for token in tokens:
            session.add(
                SignIn(
                    token_sha256=queries.token_digest(token),
                    person_id=person_id,
                    opened_at=NOW,
                    seen_at=NOW,
                    ends_at=ends_at,
                )
            )


def _is_open(database: Database, token: str) -> bool:
    with database.read() as session:
        return queries.signed_in(session, token, now=NOW, today=TODAY) is not None


def test_closing_and_passwords_end_sign_ins_at_once(database: Database) -> None:
    shop = Shop(database)
    rune, mara = shop.administrator, shop.inspector
    _open(database, mara.id, "here", "elsewhere")
    with pytest.raises(Refusal, match="is another"):
        service.set_own_password(database, mara, old="not the one", new=ANOTHER, at=NOW)
    with pytest.raises(Refusal, match="is the old one"):
        service.set_own_password(database, mara, old=PASSWORD, new=PASSWORD, at=NOW)
    service.set_own_password(database, mara, old=PASSWORD, new=ANOTHER, at=NOW, keep="here")
    assert (_is_open(database, "here"), _is_open(database, "elsewhere")) == (True, False)
    service.give_first_password(database, "mara", password=PASSWORD, by=rune, at=NOW)
    assert not _is_open(database, "here")
    with database.read() as session:
        assert queries.person(session, "mara").password_is_first
    _open(database, mara.id, "again")
    service.close_account(database, "mara", reason="left the works", by=rune, at=NOW)
    with database.read() as session:
        assert all(one.ends_at <= NOW for one in session.scalars(select(SignIn)))
        closed = session.scalars(select(Person).where(Person.username == "mara")).one()
    assert not closed.active
    assert _notes(database, "mara", Tag.PASSWORD_SET) == [
        "by the person",
        "a first one, by an administrator",
    ]
