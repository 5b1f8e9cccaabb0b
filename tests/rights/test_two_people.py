"""Wherever it matters who: every address with one's own thing, under either account, and with
another's, held against the one table; and every place in the code that refuses for it."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import select
from starlette.routing import compile_path

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.bench import pages
from app.database import Database
from app.errors import NotAllowed
from app.main import create_app
from app.people.records import Person
from app.people.rights import Hand
from app.people.service import refused_acts
from app.routes import ROUTES
from app.routes.asked import Door, addresses
from app.settings import Settings
from tests.rights.by_kind import of_every_kind
from tests.rights.on_panels import on_panels
from tests.rights.pairs import TwoPeople
from tests.rights.refusing import (
    COMPARED_FOR_ELSE,
    Place,
    Refusals,
    comparing,
    refusing_places,
)
from tests.rights.second import Second
from tests.rights.their_own import their_own
from tests.rights.walking import Walker, filled
from tests.visits import PASSWORD, words


class Walk:
    """Sends each pair as the person, as their other account and as somebody else."""

    def __init__(self, database_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
        settings = Settings(database_url=database_url, time_zone="Europe/Lisbon")
        self.app = create_app(settings)
        self.walker = Walker(self.app)
        self.database = Database(database_url)
        self.refusals = Refusals(monkeypatch)
        # The walk is refused more often than anybody is in an hour.
        monkeypatch.setattr(refused_acts, "_MOST", 1000)
        self.reached: set[Place] = set()
        self.wrong: list[Any] = []
        self.walked: set[tuple[tuple[str, str], Hand, bool]] = set()

    def seen_on(self, page: str, by: str = "bo") -> str:
        found = re.search(r'name="seen" value="([^"]+)"', self.walker.send("GET", page, by).text)
        assert found, page
        return found[1]

    def send(self, name: str, first_half: Callable[[], Second]) -> None:
        second = first_half()
        self.walked.add((self._address(second), second.hand, second.own))
        refused, let_in = ("ada", "ada.second"), "bo"
        if second.own:
            refused, let_in = ("bo",) if second.person else ("bo", "ada.second"), "ada"
        for by in (*refused, let_in):
            status, entry, text, place = self._answer(second, by)
            if by == let_in:
                right = status in {200, 303}
                right = right and (second.method == "GET" or entry is None or entry[1] == by)
            elif second.refused == NotAllowed.status:
                right = status == second.refused and place in refusing_places()
                right = right and (second.method == "GET" or entry == (Tag.ACT_REFUSED.value, by))
                self.reached |= {place} if place else set()
            else:
                right = status == second.refused
            if not right:
                self.wrong.append((name, by, status, entry, place, text[300:2500]))

    def _answer(
        self, second: Second, by: str
    ) -> tuple[int, tuple[str, str] | None, str, Place | None]:
        sent = {**second.sent, "password": PASSWORD}
        if second.reads:
            sent["seen"] = self.seen_on(second.reads)
        before = self._newest()
        self.refusals.place()
        address = second.paths.get(by, second.path)
        answer = self.walker.send(
            second.method, address, by, **({"data": sent} if second.method == "POST" else {})
        )
        place, after = self.refusals.place(), self._newest()
        entry = None if after == before else (after.tag, after.by)
        return answer.status_code, entry, words(answer.text), place

    def _newest(self) -> Any:
        with self.database.read() as session:
            newest = select(TrailEntry.number, TrailEntry.tag, TrailEntry.by)
            return session.execute(newest.order_by(TrailEntry.number.desc()).limit(1)).one()

    def _address(self, second: Second) -> tuple[str, str]:
        """Method and path as the route states it."""
        path = second.path.partition("?")[0]
        return next(
            (method, address)
            for method, address in addresses(self.app)
            if method == second.method and compile_path(address)[0].match(path)
        )


def test_every_address_with_ones_own_and_with_anothers_as_the_table_says(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = Walk(sqlite_url, monkeypatch)
    two = TwoPeople(sqlite_url, walk.seen_on)
    for page in ("bench", "session", "checks", "entry", "coupons", "baseline", "studies"):
        monkeypatch.setattr(getattr(pages, page), "now", two.bench.tick)
    for name, first_half in two.pairs.items():
        walk.send(name, first_half)
    for pairs in (of_every_kind, on_panels, their_own):
        for name, first_half in pairs(two):
            walk.send(name, first_half)
    assert not walk.wrong, walk.wrong
    table = {
        (key, hand, own)
        for key, asked in ROUTES.items()
        for own, hands in ((False, asked.apart), (True, asked.own))
        for hand in hands
    }
    assert walk.walked == table
    assert walk.reached == refusing_places()
    nothing_of_anothers_is_changed_where_no_act_is_asked_for(walk)
    with walk.database.read() as session:
        report = verify_trail(session)
    assert report.holds, report.problems


def test_no_service_compares_persons_without_refusing_or_being_named() -> None:
    assert comparing() == set(COMPARED_FOR_ELSE)
    assert NotAllowed.__subclasses__() == []
    assert {hand for asked in ROUTES.values() for hand in (*asked.apart, *asked.own)} == set(Hand)


def nothing_of_anothers_is_changed_where_no_act_is_asked_for(walk: Walk) -> None:
    def account(username: str) -> tuple[Any, ...]:
        table = Person.__table__
        with walk.database.read() as session:
            return tuple(session.execute(select(table).where(table.c.username == username)).one())

    own, anothers = account("bo"), account("ada")
    named = {"username": "ada", "person": "ada", "id": str(anothers[0])}
    typed = {"old_password": PASSWORD, "password": "a further password of nobody"}
    for (method, path), asked in ROUTES.items():
        if method == "POST" and asked.door is Door.SIGNED_IN and not asked.acts:
            answer = walk.walker.send("POST", filled(path), "bo", data={**typed, **named})
            assert answer.status_code in {200, 303, 404, 422}, (path, answer.status_code)
            # It may have ended the sign-in or made the password another.
            walk.walker.sign_in_with("bo", typed["password"] if account("bo") != own else PASSWORD)
    assert account("bo") != own, "the password was set"
    assert account("ada") == anothers
    assert walk.walker.send("GET", "/account", "ada").status_code == 200
