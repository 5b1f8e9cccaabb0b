"""Places: a panel is brought by two scans, kept apart while held, and found again by a walk."""

import pytest

from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.panels import service
from app.panels.rules import walked
from app.release.service import place_hold
from app.tracing.queries.holds_waiting import not_kept_apart
from tests.makers import NOW, Shop
from tests.visits import Visit, words


def test_a_walk_says_what_differs() -> None:
    walk = walked(["P-1", "P-2"], ["P-2", "P-9"])
    assert (walk.found, walk.missing, walk.unexpected) == (("P-2",), ("P-1",), ("P-9",))
    assert walked([], []).found == ()


def test_a_held_panel_is_brought_to_quarantine_by_two_scans(
    database: Database, visit: Visit
) -> None:
    shop = Shop(database)
    with database.write() as session:
        panel, free = shop.panel(session).code, shop.panel(session).code
    given = {"is_quarantine": True, "by": shop.engineer, "at": NOW}
    with pytest.raises(NotAllowed):
        service.register_place(database, code="Q-1", name="Cage", **{**given, "by": shop.second})
    with pytest.raises(Refusal, match="in words"):
        service.register_place(database, code="Q-1", name=" ", **given)
    place_hold(database, panel, reason="A scratch.", by=shop.auditor, at=NOW)
    with database.read() as session:
        assert not_kept_apart(session) == []
    service.register_place(database, code="q-1", name="Cage by the west door", **given)
    service.register_place(database, code="R-1", name="Rack", **{**given, "is_quarantine": False})
    with pytest.raises(Conflict):
        service.register_place(database, code="Q-1", name="Cage", **given)
    service.bring_panel(database, panel=panel, place="R-1", by=shop.second, at=NOW)
    with database.read() as session:
        assert [(one.code, one.place) for one in not_kept_apart(session)] == [(panel, "R-1")]
    visit.sign_in("deniz")
    assert f'href="/bring?panel={panel}"' in visit.get("/").text
    first = visit.post("/bring", panel=panel.lower(), place="")
    assert (first.status_code, "It stands at R-1" in words(first.text)) == (200, True)
    assert "autofocus" in first.text.split('name="place"')[1][:200]
    wrong = visit.post("/bring", panel=panel, place=free)
    assert (wrong.status_code, f"No place {free} is on record" in wrong.text) == (404, True)
    done = visit.follow(visit.post("/bring", panel=panel, place="q-1"))
    assert f"{panel} stands at Q-1 now" in done.text
    with database.read() as session:
        assert not_kept_apart(session) == []
    dossier = words(visit.get(f"/panels/{panel}").text)
    assert "Q-1 , Cage by the west door, quarantine" in dossier
    assert "R-1, Rack" in dossier
    assert "Kept at Q-1" in visit.get(f"/panels/{panel}/tag").text
    walk = words(visit.post("/places/Q-1/walk", codes=f"{free}\nX-9").text)
    assert f"{panel} should be here and was not scanned" in walk
    assert f"{free} is here; on record it was never brought anywhere" in walk
    assert "X-9 was scanned, but no panel has that identity" in walk
    assert visit.get("/places/Q-9").status_code == 404
    assert "Cage by the west door" in visit.get("/places").text
