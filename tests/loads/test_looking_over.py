"""Records are looked over for oddities once they are kept: beside the pages, and after a stop."""

import logging
import re

import pytest

from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.database import Database
from app.loads.pages.looking_over import LookingOver
from app.loads.record_queries import came_in
from app.loads.records import Load
from app.loads.sheet import _ACTS
from app.people.queries import act_words
from app.web.page import now
from tests.loads.logger_files import columns, run, sources
from tests.loads.test_record_reading import bring
from tests.makers import Shop
from tests.speed.serving import form_of
from tests.visits import Visit, words

FROZEN = {"TC2": dict.fromkeys(range(40, 80), "149.7")}


def test_every_kind_of_act_has_words() -> None:
    assert set(_ACTS) <= {tag.value for tag in Tag}
    for tag in Tag:
        assert re.fullmatch(r"[a-z][a-z ]+[a-z]", act_words(tag.value)), tag


def _looked_over(database: Database, load: Load) -> bool:
    with database.read() as session:
        return came_in(session, [load.id])[load.id].doubts is not None


def test_the_page_after_an_import_shows_what_was_noted(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    file = ("run.csv", run(), "text/csv")
    preview = visit.follow(visit.post(f"/loads/{load.code}/record", files=[("file", file)]))
    keep = f"/loads/{load.code}/record/keep"
    page = visit.follow(visit.post(keep, **form_of(preview.text, keep)))
    assert "is kept" in words(page.text)
    # The page waited: what the record was looked over for stands on it at once.
    assert _looked_over(database, load)
    with database.read() as session:
        noted = came_in(session, [load.id])[load.id].doubts
        assert verify_trail(session).problems == []
    assert noted is not None
    assert "looked the furnace record over" in words(page.text)
    assert "furnace_record:" not in page.text
    assert all(one.text in words(page.text) for one in noted)


def test_a_stop_between_the_import_and_the_notes_is_caught_up_with(database: Database) -> None:
    shop = Shop(database)
    loads = [shop.panel_in_load()[0] for _ in range(2)]
    for number, load in enumerate(loads):
        content = run(changed={"TC1": {number: "21.9"}})
        bring(database, load, shop.inspector, sources(content), columns(), at=now())
    assert not any(_looked_over(database, load) for load in loads)
    started = LookingOver(database)
    started.catch_up().result(timeout=30)
    started.close()
    assert all(_looked_over(database, load) for load in loads)


def test_a_fault_while_looking_over_is_logged_and_ends_nothing(
    database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    load, *_ = (shop := Shop(database)).panel_in_load()
    bring(database, load, shop.inspector, sources(run()), columns())
    looking = LookingOver(database)
    with caplog.at_level(logging.ERROR, logger="temperbook"):
        looking.begin("L-NOWHERE")
        looking.begin(load.code)
        looking.wait_for(load.code)
    looking.close()
    assert "not looked over" in caplog.text
    assert _looked_over(database, load)
