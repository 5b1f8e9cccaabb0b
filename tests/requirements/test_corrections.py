"""Correction tables: written with their grid, verified by a second person, in force."""

import copy
import json
import re
from datetime import timedelta
from typing import Any

import pytest

from app.database import Database
from app.documents.correction_table import correction_table_from_json
from app.errors import BadFile, NotAllowed
from app.people.queries import acts_about
from app.requirements import queries, service
from app.requirements.queries import RevisionState
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from tests.makers import NOW, TABLE_PAPER, Shop
from tests.requirements.papers import keyed_if_asked
from tests.visits import PASSWORD, Visit, words

LATER = NOW + timedelta(hours=1)
CURVED: dict[str, Any] = {
    "name": "Invented round coupons",
    "revision": "A",
    "quantity": "hardness",
    "scale": "HRB",
    "reason": "curvature",
    "parameter": "diameter_mm",
    "parameters": ["6", "10", "25"],
    "readings": ["60.0", "80.0", "100.0"],
    "additions": [["4.5", "3.0", "1.0"], ["3.5", "2.0", "0.5"], ["2.0", "1.0", "0.0"]],
    "source": "invented document 9, table 2",
    "obtained": "invented",
}
GRID = "\t6\t10\t25\n60,0\t4,5\t3,0\t1,0\n80,0\t3,5\t2,0\t0,5\n100,0\t2,0\t1,0\t0,0\n"
FIELDS = {
    "code": "cc-1",
    "name": "Invented round coupons",
    "revision": "A",
    "source_document": "invented document 9",
    "source": "invented document 9, table 2",
    "obtained": "invented",
    "corrects": "hardness|HRB",
    "goes_by": "curvature",
    "grid": GRID,
}


def _write(shop: Shop, **changed: Any) -> Named:
    return service.write_correction_table(
        shop.database,
        code="cc-1",
        paper=json.dumps({**CURVED, **changed}),
        filename="C.json",
        source_document="invented document 9",
        by=shop.engineer,
        at=NOW,
    )


def _verify(shop: Shop, named: Named, **changed: Any) -> None:
    with shop.database.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    given: dict[str, Any] = {
        "compared": [part.anchor for part in queries.parts_of(found[-1])],
        "in_force_from": None,
        "password": PASSWORD,
        "by": shop.supervisor,
        "at": LATER,
        **changed,
    }
    keyed_if_asked(shop.database, named)
    service.verify(shop.database, named, **given)


def test_it_corrects_nothing_until_a_second_person_has_compared_every_figure(
    database: Database,
) -> None:
    shop = Shop(database)
    named = _write(shop)
    with database.read() as session:
        (unverified,) = queries.named(session, "CC-1", kind=named.kind)
    assert not unverified.in_force(LATER)
    with pytest.raises(NotAllowed):
        _verify(shop, named, by=shop.engineer)
    _verify(shop, named)
    with database.read() as session:
        (in_force,) = queries.named(session, "CC-1", kind=named.kind)
        assert not in_force.in_force(NOW)
        assert in_force.in_force(LATER)
        assert queries.state_of(in_force, LATER) is RevisionState.IN_FORCE
        assert len(acts_about(session, "correction_table", "CC-1")) == 3
    table = queries.correction_table_of(in_force)
    assert (table.code, table.revision, table.unit) == ("CC-1", "A", "HRB")
    assert str(table.additions[0][0]) == "4.5"


def test_the_revision_in_force_is_the_one_of_that_time(database: Database) -> None:
    shop = Shop(database)
    _verify(shop, _write(shop))
    later = LATER + timedelta(days=2)
    named = _write(shop, revision="B")
    _verify(shop, named, at=later)
    with database.read() as session:
        found = queries.named(session, "CC-1", kind=named.kind)
    for at, revision in ((LATER, "A"), (later - timedelta(seconds=1), "A"), (later, "B")):
        assert [one.revision for one in found if one.in_force(at)][-1] == revision
        assert queries.shown_first(found, at).revision == revision


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"additions": [["1", "2", "3"]]}, "1 rows for 3 readings"),
        ({"readings": ["60", "90", "80"]}, "80 stands after 90"),
        ({"parameter": "thickness_mm"}, "goes by diameter_mm"),
        ({"reason": "weather"}, "reason"),
        ({"scale": None, "unit": "HRB"}, "scale"),
    ],
)
def test_a_grid_that_could_not_be_used_is_refused(
    database: Database, changed: dict[str, Any], told: str
) -> None:
    shop = Shop(database)
    with pytest.raises(BadFile, match=told):
        _write(shop, **changed)


def test_the_form_takes_a_grid_as_pasted_and_shows_it_for_comparison(
    database: Database, visit: Visit
) -> None:
    Shop(database)
    visit.sign_in("mara")
    assert visit.get("/register/correction-table").status_code == 403
    visit.sign_in("tomas")
    assert visit.get("/register/correction-table").status_code == 200
    page = visit.follow(visit.post("/register/correction-table", **FIELDS))
    text = words(page.text)
    assert "No reading is corrected by this revision until another person has keyed" in text
    taken = visit.get("/corrections/CC-1/paper?revision=A")
    kept = correction_table_from_json(json.loads(taken.content), code="CC-1")
    wanted = correction_table_from_json(CURVED, code="CC-1")
    assert kept.additions == wanted.additions
    assert (kept.readings, kept.parameters) == (wanted.readings, wanted.parameters)
    keyed_if_asked(database, Named(RequirementKind.CORRECTION_TABLE, "CC-1", "A"))
    visit.sign_in("ines")
    page = visit.get("/corrections/CC-1?revision=A")
    compared = re.findall(r'name="compared" value="([^"]+)"', page.text)
    signed = visit.post(
        "/corrections/CC-1/verify",
        revision="A",
        compared=compared,
        in_force_from="",
        password=PASSWORD,
    )
    assert "in force" in words(visit.follow(signed).text)
    assert "Correction tables" in words(visit.get("/shop").text)
    assert visit.get("/rests-on/CC-1").status_code == 200


@pytest.mark.parametrize(
    ("grid", "told"),
    [
        ("", "Figures"),
        ("60 1 2 3\n", "readings"),
        (GRID.replace("4,5", "four"), "Line 2, figure 2"),
        (GRID.replace("\t0,5", ""), "Line 3: 3 figures where 4 are needed"),
    ],
)
def test_a_grid_with_a_slip_keeps_what_was_pasted(
    database: Database, visit: Visit, grid: str, told: str
) -> None:
    Shop(database)
    visit.sign_in("tomas")
    page = visit.post("/register/correction-table", **{**FIELDS, "grid": grid})
    assert page.status_code == 422
    assert told in words(page.text)
    assert grid.strip().splitlines()[-1:] == [] or grid.strip().splitlines()[-1] in page.text


def test_the_tables_that_ask_for_it_rest_on_it(database: Database, visit: Visit) -> None:
    shop = Shop(database)
    _verify(shop, _write(shop))
    paper = copy.deepcopy(TABLE_PAPER)
    paper["entries"][0]["criteria"][0]["correction"] = "CC-1"
    service.write_table(
        database,
        code="AT-9",
        paper=json.dumps(paper),
        filename="T.json",
        source_document="invented document 9",
        by=shop.engineer,
        at=NOW,
    )
    visit.sign_in("tomas")
    text = words(visit.get("/rests-on/CC-1").text)
    assert "AT-9" in text
    assert "revision A asks for it" in text
    assert "corrected by correction table CC-1" in words(visit.get("/tables/AT-9").text)
