"""Accounts, sign-in and signatures, on both databases."""

from datetime import timedelta

import pytest

from app.database import Database
from app.errors import Conflict, Refusal
from app.people import queries, service
from app.people.records import Person
from app.people.rights import Role
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

FIRST = "walnut lantern orbit 41"
TODAY = NOW.date()


def _add(database: Database, **changed: object) -> None:
    given = {
        "username": "new.name",
        "full_name": "New Name",
        "identity_number": "W-2041",
        "roles": [Role.INSPECTOR],
        "password": FIRST,
        "by": "set-up",
        "at": NOW,
        **changed,
    }
    service.add_person(database, **given)


def test_a_new_account_can_sign_in_and_is_known_by_its_cookie(database: Database) -> None:
    _add(database)
    token = service.sign_in(database, username=" New.Name ", password=FIRST, at=NOW, hours=1)
    with database.read() as session:
        found = queries.signed_in(session, token, now=NOW + timedelta(minutes=59), today=TODAY)
        assert found is not None
        assert found[0].full_name == "New Name"
        assert (
            queries.signed_in(session, token, now=NOW + timedelta(minutes=60), today=TODAY) is None
        )


def test_fourteen_characters_are_too_few_and_fifteen_are_taken(database: Database) -> None:
    with pytest.raises(Refusal, match="this one has 14"):
        _add(database, password="walnut lantern")
    _add(database, password="walnut lanterns")


@pytest.mark.parametrize("username", ["", "two words", "drop;table", "..."])
def test_a_user_name_of_other_signs_is_refused(database: Database, username: str) -> None:
    with pytest.raises(Refusal, match="letters, digits and dots"):
        _add(database, username=username)


def test_a_user_name_is_given_once(database: Database) -> None:
    _add(database)
    with pytest.raises(Conflict, match=r"'new\.name' is in use"):
        _add(database)


@pytest.mark.parametrize(
    ("username", "password"), [("mara", "wrong password, long"), ("nobody", PASSWORD), ("mara", "")]
)
def test_a_refused_sign_in_says_not_which_was_wrong_and_is_on_the_trail(
    database: Database, username: str, password: str
) -> None:
    Shop(database)
    with pytest.raises(Refusal, match="do not belong together"):
        service.sign_in(database, username=username, password=password, at=NOW, hours=1)


def test_a_signature_needs_the_persons_own_password(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal, match="signature was not made"):
        service.re_authenticate(database, shop.inspector, password="somebody else's", at=NOW)
    proof = service.re_authenticate(database, shop.inspector, password=PASSWORD, at=NOW)
    assert proof.by == shop.inspector


def test_signing_out_ends_the_sign_in_at_once(database: Database) -> None:
    shop = Shop(database)
    token = service.sign_in(database, username="mara", password=PASSWORD, at=NOW, hours=1)
    service.sign_out(database, token, by=shop.inspector, at=NOW)
    with database.read() as session:
        assert queries.signed_in(session, token, now=NOW, today=TODAY) is None


def test_the_password_itself_is_nowhere_on_record(database: Database) -> None:
    _add(database)
    with database.read() as session:
        kept = session.query(Person).one().password_hash
    assert kept.startswith("$argon2id$")
    assert FIRST not in kept
