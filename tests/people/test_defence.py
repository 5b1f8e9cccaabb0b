"""Throttling, locking, one's own account and refusals on the trail, through the pages.

On SQLite alone: nothing here depends on the database.
"""

import html
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from argon2 import PasswordHasher
from sqlalchemy import select, update

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.audit.writer import append
from app.database import Database
from app.main import create_app
from app.people import queries
from app.people.records import Person, SignIn, SignInTry
from app.people.service import second_factor
from app.settings import Settings
from tests.makers import Shop
from tests.release.evidence_rows import case
from tests.visits import PASSWORD, Visit, words

NEW = "nine lamps, one quiet harbour"


@pytest.fixture
def database(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Database]:
    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("app.people.service.passwords._hasher", cheap)
    monkeypatch.setattr("app.people.service.signing_in.NOBODY", cheap.hash("nobody's"))
    opened = Database(sqlite_url)
    yield opened
    with opened.read() as session:
        report = verify_trail(session)
    opened.close()
    assert report.holds, report.problems


@pytest.fixture
def shop(database: Database) -> Shop:
    return Shop(database)


@pytest.fixture
def visit(sqlite_url: str, shop: Shop) -> Iterator[Visit]:
    with Visit(create_app(Settings(database_url=sqlite_url, shop_name="Test shop"))) as opened:
        yield opened


def _try(visit: Visit, username: str, password: str, **more: str) -> Any:
    return visit.client.post("/sign-in", data={"username": username, "password": password, **more})


def _refused(database: Database) -> list[TrailEntry]:
    with database.read() as session:
        asked = select(TrailEntry).where(TrailEntry.tag == Tag.ACT_REFUSED.value)
        return list(session.scalars(asked.order_by(TrailEntry.number)))


def _leave(database: Database, *, minutes: float = 0, hours: float = 0) -> None:
    """Let all sign-ins have been left so long ago."""
    gone = timedelta(minutes=minutes, hours=hours)
    with database.write() as session:
        for row in session.scalars(select(SignIn)):
            row.opened_at, row.seen_at = row.opened_at - gone, row.seen_at - gone
            row.ends_at -= gone


def _fields(page: str) -> dict[str, str]:
    """The hidden fields of the page's main form."""
    form = re.search(r'<form class="form".*?</form>', page, re.DOTALL)
    assert form, words(page)
    found = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', form[0])
    return {name: html.unescape(content) for name, content in found}


def test_tries_elsewhere_wait_and_the_persons_own_browser_does_not(
    database: Database, visit: Visit, sqlite_url: str
) -> None:
    visit.sign_in("mara")
    visit.post("/sign-out")
    with Visit(create_app(Settings(database_url=sqlite_url))) as elsewhere:
        for name in ("mara", "no.such.person"):
            answers = [_try(elsewhere, name, f"wrong {number}") for number in range(5)]
            assert {answer.status_code for answer in answers} == {422}
            waits = _try(elsewhere, name, PASSWORD)
            assert waits.status_code == 429
            assert "the next one counts in 15 seconds" in words(waits.text)
        # A stranger may go on for ever: tries that wait are not even counted.
        assert [_try(elsewhere, "mara", PASSWORD).status_code for _ in range(3)] == [429] * 3
    assert _try(visit, "mara", "wrong in the known browser").status_code == 422
    assert _try(visit, "mara", PASSWORD).status_code == 303
    # Known is the browser for this person only: for another its tries count with all strange ones.
    assert [_try(visit, "deniz", "wrong").status_code for _ in range(6)] == [422] * 5 + [429]
    with database.write() as session:
        session.execute(update(SignInTry).values(at=SignInTry.at))
        for row in session.scalars(select(SignInTry)):
            row.at -= timedelta(seconds=16)
    assert _try(visit, "deniz", PASSWORD).status_code == 303
    with database.read() as session:
        kept = " ".join(row.username for row in session.scalars(select(SignInTry)))
    assert "mara" not in kept
    assert "no.such" not in kept


def test_a_flood_of_refused_sign_ins_leaves_a_bounded_trail_without_what_was_typed(
    database: Database, visit: Visit
) -> None:
    for number in range(33):
        assert _try(visit, f"stranger{number}", "whatever").status_code == 422
    with database.read() as session:
        found = session.scalars(
            select(TrailEntry).where(TrailEntry.tag == Tag.SIGN_IN_REFUSED.value)
        ).all()
        assert len(found) == 30
        assert {entry.about_code for entry in found} == {"(no such account)"}
        assert found[-1].note == "further ones of this hour are not listed"


def test_wrong_passwords_at_signatures_wait_too_and_each_is_on_the_trail(
    database: Database, shop: Shop, visit: Visit
) -> None:
    _, panel, _, _ = shop.panel_in_load()
    visit.sign_in("mara")
    address = f"/panels/{panel.code}/release"
    wrong = {"seen": "x", "password": "not this one at all"}
    said = [words(visit.post(address, **wrong).text) for _ in range(3)]
    assert all("the password is not yours" in text for text in said)
    # Passwords given on the account's own pages count together with those at signatures.
    other = {"old_password": "not this one at all", "password": NEW}
    for _ in range(2):
        assert "is another" in words(visit.post("/account/password", **other).text)
    answer = visit.post(address, seen="x", password=PASSWORD)
    assert answer.status_code == 422
    assert "counts in 15 seconds. The password was not looked at" in words(answer.text)
    entries = _refused(database)
    assert [(entry.by, entry.about_code) for entry in entries] == [("mara", panel.code)] * 4
    # Signing in is counted apart, so that nobody is held up there by what was tried here.
    visit.sign_in("mara")


def test_a_page_left_alone_locks_and_comes_back(database: Database, visit: Visit) -> None:
    visit.sign_in("mara")
    old = visit.client.cookies["temperbook_sign_in"]
    _leave(database, minutes=31)
    asked = visit.get("/people?x=1")
    assert asked.headers["location"] == "/unlock?next=/people%3Fx%3D1"
    assert visit.get("/sign-in?next=/people").headers["location"] == "/unlock?next=/people"
    page = visit.get(asked.headers["location"]).text
    assert "Mara Quill, give your password" in words(page)
    wrong = visit.client.post("/unlock", data={**_fields(page), "password": "wrong"})
    assert wrong.status_code == 422
    answer = visit.client.post("/unlock", data={**_fields(wrong.text), "password": PASSWORD})
    assert answer.headers["location"] == "/people?x=1"
    assert visit.client.cookies["temperbook_sign_in"] != old
    assert visit.get("/people").status_code == 200
    with database.read() as session:
        known = {row.token_sha256: row for row in session.scalars(select(SignIn))}
    dead = known.pop(queries.token_digest(old))
    (new,) = known.values()
    # The old one is dead, and unlocking does not put off the end.
    assert dead.ends_at <= datetime.now(UTC)
    assert new.ends_at - datetime.now(UTC) < timedelta(hours=11, minutes=30)
    visit.client.cookies.set("temperbook_sign_in", old)
    assert visit.get("/people").status_code == 303


@pytest.mark.parametrize("left", [{"minutes": 31}, {"hours": 13}])
def test_what_is_sent_when_locked_or_ended_is_carried_and_sent_on_with_one_press(
    database: Database, visit: Visit, left: dict[str, float]
) -> None:
    visit.sign_in("rune")
    typed = {
        "csrf": visit.csrf(),
        "full_name": 'New "Name" <b>',
        "username": "new.name",
        "identity_number": "W-77",
        "password": NEW,
        "roles": ["inspector", "supervisor"],
    }
    _leave(database, **left)
    page = visit.client.post("/people", data=typed)
    assert page.status_code == 200
    assert ("Your sign-in has ended" if "hours" in left else "Locked") in words(page.text)
    assert NEW not in page.text
    # Another person's password opens nothing, and nobody's page carries it elsewhere.
    assert "somebody else" in words(page.text)
    wrong = visit.client.post("/unlock", data={**_fields(page.text), "password": "not mine"})
    assert wrong.status_code == 422
    assert _fields(wrong.text)["held"] == _fields(page.text)["held"]
    shown = visit.client.post("/unlock", data={**_fields(wrong.text), "password": PASSWORD})
    assert "Unlocked. What you were sending is here" in words(shown.text)
    assert "inspector" in words(shown.text)
    again = re.findall(r'<input type="hidden" name="roles" value="([^"]*)">', shown.text)
    assert again == typed["roles"]
    assert 'name="password" type="password"' in shown.text
    held = {**_fields(shown.text), "roles": again, "password": NEW}
    assert held["csrf"] != typed["csrf"]
    assert held["full_name"] == typed["full_name"]
    sent = visit.client.post("/people", data=held)
    assert sent.status_code == 303, words(sent.text)
    with database.read() as session:
        assert queries.person(session, "new.name").full_name == typed["full_name"]


def test_what_was_held_is_sent_to_our_own_forms_only_and_by_its_own_person(
    visit: Visit, database: Database
) -> None:
    visit.sign_in("rune")
    csrf = visit.csrf()
    for to in ("https://elsewhere.example/", "//elsewhere.example", "/no-such", "/sign-out", "/"):
        held = f'{{"to":"{to}","fields":[]}}'
        given = {"shown_to": csrf, "held": held, "password": PASSWORD}
        answer = visit.client.post("/unlock", data=given)
        assert answer.status_code == 422
        assert "was altered" in words(answer.text)
    # Of another person's sign-in: the form is refused, and not shown to who is signed in now.
    visit.sign_in("mara")
    answer = visit.client.post("/custody", data={"csrf": csrf, "full_name": "Secret Name"})
    assert answer.status_code == 422
    assert "Secret Name" not in answer.text
    # Of the person's own earlier sign-in, in another tab: shown, to be sent on.
    older = visit.csrf()
    _try(visit, "mara", PASSWORD)
    answer = visit.client.post("/custody", data={"csrf": older, "full_name": "My Own"})
    assert answer.status_code == 200
    assert "What you were sending is here" in words(answer.text)
    assert _fields(answer.text)["csrf"] == visit.csrf()
    assert _fields(answer.text)["full_name"] == "My Own"
    foreign = visit.client.post(
        "/custody", data={"csrf": older}, headers={"sec-fetch-site": "cross-site"}
    )
    assert "another site" in words(foreign.text)


def test_a_script_that_saves_is_sent_to_sign_in_and_keeps_what_it_has(
    database: Database, visit: Visit
) -> None:
    visit.sign_in("mara")
    csrf = visit.csrf()
    _leave(database, minutes=31)
    json = {"Accept": "application/json"}
    answer = visit.client.post("/bench/sessions/1/draft", data={"csrf": csrf}, headers=json)
    assert answer.status_code == 303
    # A page that follows a furnace goes on, and is no use of the sign-in.
    followed = visit.client.get("/loads/L-1/live/state", headers=json)
    assert followed.status_code == 404
    assert visit.get("/custody").status_code == 303


def test_a_second_factor_is_asked_for_once_turned_on_and_each_code_is_taken_once(
    database: Database, visit: Visit
) -> None:
    visit.sign_in("mara")
    page = visit.get("/account/second-factor").text
    secret = _fields(page)["secret"]
    assert "<svg" in page
    now = datetime.now(UTC)
    wrong = visit.post(
        "/account/second-factor", secret=secret, password=PASSWORD, one_time_code="1"
    )
    assert _fields(wrong.text)["secret"] == secret
    code = second_factor.code_at(secret, at=now)
    given = {"secret": secret, "one_time_code": code}
    assert visit.post("/account/second-factor", **given, password="wrong").status_code == 422
    assert visit.post("/account/second-factor", **given, password=PASSWORD).status_code == 303
    visit.post("/sign-out")
    later = second_factor.code_at(secret, at=now + timedelta(seconds=30))
    assert _try(visit, "mara", PASSWORD).status_code == 422
    assert _try(visit, "mara", PASSWORD, one_time_code=code).status_code == 422, "used already"
    assert _try(visit, "mara", "wrong", one_time_code=later).status_code == 422
    assert _try(visit, "mara", PASSWORD, one_time_code=later).status_code == 303
    assert "A second factor is on" in words(visit.get("/account").text)
    _leave(database, minutes=31)
    locked = visit.get("/unlock?next=/account").text
    assert "one_time_code" not in locked
    visit.client.post("/unlock", data={**_fields(locked), "password": PASSWORD})
    refused = visit.post("/account/second-factor/off", password=PASSWORD, one_time_code=later)
    assert refused.status_code == 422
    visit.sign_in("rune")
    reset = "/people/mara/second-factor/reset"
    assert visit.post(reset, reason="").status_code == 422
    assert visit.post(reset, reason="The telephone fell into the quench").status_code == 303
    visit.sign_in("mara")
    assert visit.post(reset.replace("mara", "ines"), reason="because").status_code == 403
    with database.read() as session:
        asked = select(TrailEntry.note).where(TrailEntry.tag == Tag.SECOND_FACTOR_CHANGED.value)
        notes = list(session.scalars(asked.order_by(TrailEntry.number)))
        bodies = " ".join(session.scalars(select(TrailEntry.body)))
    assert notes == ["turned on", "reset: The telephone fell into the quench"]
    assert secret not in bodies


def test_a_first_password_leads_to_ones_own_and_a_new_one_ends_the_other_sign_ins(
    database: Database, visit: Visit, sqlite_url: str
) -> None:
    with Visit(create_app(Settings(database_url=sqlite_url))) as elsewhere:
        elsewhere.sign_in("mara")
        visit.sign_in("mara")
        csrf = visit.csrf()
        assert words(visit.get("/account").text).count("elsewhere") == 1
        with database.write() as session:
            person = session.scalars(select(Person).where(Person.username == "mara")).one()
            person.password_is_first = True
            append(
                session,
                Tag.PASSWORD_SET,
                by="rune",
                at=datetime.now(UTC),
                about=("person", "mara"),
                rows=[person],
            )
        for address in ("/", "/custody", "/account"):
            assert visit.get(address).headers["location"] == "/account/password"
        assert "Somebody else gave you" in words(visit.get("/account/password").text)
        send = {"csrf": csrf, "old_password": PASSWORD}
        easy = visit.client.post("/account/password", data={**send, "password": "Mara Quill 123"})
        assert easy.status_code == 422
        easy = visit.client.post("/account/password", data={**send, "password": "Mara Quill 1234"})
        assert "little more than a name" in words(easy.text)
        done = visit.client.post("/account/password", data={**send, "password": NEW})
        assert "Every other sign-in of yours is ended" in words(visit.follow(done).text)
        assert visit.get("/custody").status_code == 200
        assert elsewhere.get("/custody").status_code == 303
        assert _try(elsewhere, "mara", PASSWORD).status_code == 422
        assert _try(elsewhere, "mara", NEW).status_code == 303
        assert visit.post("/account/sign-out-everywhere").headers["location"] == "/sign-in"
        assert elsewhere.get("/custody").status_code == 303


def test_a_refused_attempt_is_one_entry_about_what_the_address_names(
    database: Database, shop: Shop, visit: Visit
) -> None:
    _, panel, _, _ = shop.panel_in_load()
    visit.sign_in("olek")
    address = f"/panels/{panel.code}/decision"
    assert visit.get(address).status_code == 200
    assert _refused(database) == []
    answer = visit.post(f"/panels/{panel.code}/release", seen="x", password=PASSWORD)
    assert answer.status_code == 403
    typed = {"full_name": "A", "username": "a", "identity_number": "W-1", "password": NEW}
    assert visit.post("/custody", **typed).status_code == 403
    assert visit.post("/people/mara/second-factor/reset", reason="why").status_code == 403
    entries = _refused(database)
    assert [(entry.about_kind, entry.about_code) for entry in entries] == [
        ("panel", panel.code),
        ("address", "/custody"),
        ("person", "mara"),
    ]
    assert {entry.by for entry in entries} == {"olek"}
    assert entries[1].note.startswith("Only an inspector or supervisor may hand over coupons")
    assert entries[1].note.endswith("(/custody)")
    # An inspector who tries to release what is not proven: the open gates are the entry.
    visit.sign_in("mara")
    send = {"seen": case(database, panel).seen, "password": PASSWORD}
    assert visit.post(f"/panels/{panel.code}/release", **send).status_code == 422
    (tried,) = [entry for entry in _refused(database) if entry.by == "mara"]
    assert (tried.about_kind, tried.about_code) == ("panel", panel.code)
    assert tried.note.startswith(f"{panel.code} cannot be released.")
    visit.sign_in("olek")
    for _ in range(29):
        assert visit.post("/custody", **typed).status_code == 403
    entries = [entry for entry in _refused(database) if entry.by == "olek"]
    assert len(entries) == 30
    assert entries[-1].note.endswith("Further refusals of this hour are not listed.")
    assert PASSWORD not in " ".join(entry.body for entry in entries)


def test_over_https_cookies_are_bound_to_the_host_and_browsers_stay_with_https(
    sqlite_url: str, shop: Shop
) -> None:
    settings = Settings(database_url=sqlite_url, secure_cookies=True)
    with Visit(create_app(settings)) as visit:
        visit.client.base_url = "https://testserver"
        visit.sign_in("mara")
        assert set(visit.client.cookies) == {
            "__Host-temperbook_sign_in",
            "__Host-temperbook_browser",
        }
        answer = _try(visit, "mara", PASSWORD)
        for cookie in answer.headers.get_list("set-cookie"):
            folded = cookie.lower()
            assert "secure" in folded
            assert "httponly" in folded
            assert "path=/;" in folded
            assert "domain" not in folded
        page = visit.get("/custody")
        assert page.status_code == 200
        assert page.headers["strict-transport-security"] == "max-age=31536000"
        assert visit.follow(visit.post("/sign-out")).status_code == 200


def test_every_answer_carries_its_headers_and_trace_is_refused(visit: Visit) -> None:
    for answer in (visit.get("/sign-in"), visit.get("/static/icon.svg"), visit.get("/no-such")):
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert "camera=()" in answer.headers["permissions-policy"]
        assert "strict-transport-security" not in answer.headers
    assert visit.client.request("TRACE", "/sign-in").status_code == 405
    assert visit.client.request("TRACE", "/no-such").status_code == 405
