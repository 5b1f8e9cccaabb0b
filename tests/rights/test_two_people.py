"""Wherever two people are asked for: the same one, under either account, is refused and noted."""

import re

from sqlalchemy import select

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.database import Database
from app.main import create_app
from app.settings import Settings
from tests.rights.pairs import TwoPeople
from tests.rights.walking import Walker
from tests.visits import PASSWORD, words


def test_every_pair_as_one_person_as_their_other_account_and_as_two(sqlite_url: str) -> None:
    database = Database(sqlite_url)
    walker = Walker(create_app(Settings(database_url=sqlite_url, time_zone="Europe/Lisbon")))

    def seen_on(page: str) -> str:
        found = re.search(r'name="seen" value="([^"]+)"', walker.send("GET", page, "bo").text)
        assert found, page
        return found[1]

    def newest_entry() -> tuple[str, str]:
        with database.read() as session:
            newest = select(TrailEntry).order_by(TrailEntry.number.desc()).limit(1)
            entry = session.scalars(newest).one()
            return entry.tag, entry.by

    two = TwoPeople(database, seen_on)
    told = {}
    for name, first_half in two.pairs.items():
        second = first_half()
        for by in ("ada", "ada.second", "bo"):
            sent = {**second.sent, "password": PASSWORD}
            if second.reads:
                sent["seen"] = seen_on(second.reads)
            answer = walker.send("POST", second.path, by, data=sent)
            told[name, by] = (answer.status_code, newest_entry())
            if answer.status_code not in {403, 303} or "Only a" in words(answer.text):
                told[name, by] = (answer.status_code, words(answer.text)[300:2500])
    refused = {
        (name, by): (403, (Tag.ACT_REFUSED.value, by))
        for name in two.pairs
        for by in ("ada", "ada.second")
    }
    assert {key: said for key, said in told.items() if key[1] != "bo"} == refused
    assert {key: said for key, said in told.items() if key[1] == "bo" and said[0] != 303} == {}
    assert not [key for key, (_, entry) in told.items() if key[1] == "bo" and entry[1] != "bo"]
    with database.read() as session:
        report = verify_trail(session)
    assert report.holds, report.problems
