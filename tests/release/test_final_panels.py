"""A panel that is scrapped, returned or replaced takes no further act."""

import importlib
import inspect
import pkgutil
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

import app
from app.audit.identities import claim
from app.database import Database
from app.errors import Conflict, Refusal
from app.loads.bags.bag import LeakReading
from app.loads.planning.planned import plan_of_load
from app.loads.records import Load
from app.loads.service.bag import record_leak_check
from app.loads.service.load import plan_load
from app.loads.service.other_lot import accept_other_lot
from app.loads.service.photographs import Picture, keep_photographs
from app.loads.service.run import start_load
from app.loads.service.unwrapping import Unwrapped, record_unwrapping
from app.panels.records import Panel
from app.release import service
from app.release.rules.dispositions import Capacity
from app.release.rules.dividing import Piece
from app.release.rules.facts import DecisionKind
from app.release.service.nonconformances import open_nonconformance
from app.release.service.proposals import Answered, Proposed, answer, propose
from tests.loads.pictures import picture as picture_of
from tests.makers import NOW, Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.release.nonconformance_makers import approved
from tests.visits import PASSWORD

UTC = ZoneInfo("UTC")
WHY = "Cut as the invented cutting plan says."
HALVES = (Piece("H-1", Decimal(7000), Decimal(2600)), Piece("H-2", Decimal(7000), Decimal(2600)))


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


@pytest.fixture
def trees(sqlite_url: str) -> Evidence:
    database = Database(sqlite_url)
    return Evidence(database, Shop(database))


def _divide(evidence: Evidence, code: str) -> object:
    return service.divide_panel(
        evidence.database,
        code,
        HALVES,
        drawing="",
        reason=WHY,
        password=PASSWORD,
        by=evidence.shop.second,
        at=LATER,
        zone=UTC,
    )


def _mark(evidence: Evidence, code: str, new: str, at: datetime = LATER) -> str:
    return service.mark_anew(
        evidence.database,
        code,
        new,
        reason=WHY,
        password=PASSWORD,
        by=evidence.shop.second,
        at=at,
        zone=UTC,
    )


def test_a_final_panel_takes_no_further_act(evidence: Evidence) -> None:
    """Every service that takes a panel, walked for a scrapped one and for a replaced one."""
    replaced_load, replaced, coupons = evidence.ready()
    planned, scrapped, _, _ = evidence.shop.panel_in_load()
    service.place_hold(
        evidence.database, scrapped.code, reason="dropped", by=evidence.shop.auditor, at=LATER
    )
    number = approved(evidence.database, scrapped, DecisionKind.SCRAPPED, at=LATER)
    service.lift_hold(
        evidence.database,
        scrapped.code,
        disposition=DecisionKind.SCRAPPED,
        reason=WHY,
        seen=case(evidence.database, scrapped).seen,
        password=PASSWORD,
        by=evidence.shop.supervisor,
        at=LATER,
        zone=UTC,
    )
    other = approved(evidence.database, replaced, DecisionKind.REWORK)
    _divide(evidence, replaced.code)
    with evidence.database.read() as session:
        place = session.scalars(select(Load).where(Load.id == planned.id)).one()
        plan = plan_of_load(session, place)
    for panel, load, code in ((scrapped, planned, number), (replaced, replaced_load, other)):
        for name, act in _acts(evidence, panel.code, load.code, code, coupons[0].code).items():
            with pytest.raises(Refusal) as refused:
                act()
            told = refused.value.sentence
            assert panel.code in told or number in told, (name, told)
            assert any(
                word in told
                for word in ("scrap", "replaced", "nothing", "no hold", "no recall", "is closed")
            ), (name, told)
    again = replace(plan, code="L-9999")
    with pytest.raises(Refusal, match=f"{scrapped.code} is decided already: scrap"):
        plan_load(evidence.database, again, by=evidence.shop.second, at=LATER, zone=UTC)
    with pytest.raises(Refusal, match=f"{scrapped.code} is decided already: scrap"):
        start_load(
            evidence.database,
            planned.code,
            started_at=LATER,
            by=evidence.shop.second,
            at=LATER,
            zone=UTC,
        )
    with pytest.raises(Conflict, match="never reused"):
        _mark(evidence, "H-1", scrapped.code)
    with evidence.database.write() as session, pytest.raises(Conflict, match="never reused"):
        claim(session, scrapped.code, kind="panel", at=LATER)


def _acts(
    evidence: Evidence, panel: str, load: str, number: str, coupon: str
) -> dict[str, Callable[[], object]]:
    """Every act that names a panel, by its service's name."""
    database, shop = evidence.database, evidence.shop
    by: dict[str, Any] = {"by": shop.second, "at": LATER}
    sign = {**by, "password": PASSWORD}
    boss: dict[str, Any] = {**sign, "by": shop.supervisor, "zone": UTC}
    with database.read() as session:
        row = session.scalars(select(Panel).where(Panel.code == panel)).one()
    seen = case(database, row).seen
    clear = Unwrapped(
        bag_intact=True,
        surface_clear=True,
        findings="",
        recovered=frozenset(),
        missing=frozenset(),
    )
    shot = Picture(file_name="mark.png", content=picture_of("PNG"))
    proposed = Proposed(DecisionKind.RETURNED, WHY, WHY)
    answered = Answered(
        Capacity.SUPERVISION, approves=True, remark="", document="", file=None, seen="1-0"
    )
    words = {"description": WHY, "requirement": WHY, "containment": WHY}
    leak = LeakReading(Decimal(88), Decimal(87), Decimal(5))
    return {
        "place_hold": lambda: service.place_hold(database, panel, reason=WHY, **by),
        "release_panel": lambda: service.release_panel(
            database, panel, seen=seen, zone=UTC, **sign
        ),
        "lift_hold": lambda: service.lift_hold(
            database, panel, disposition=DecisionKind.NO_DEPARTURE, reason=WHY, seen=seen, **boss
        ),
        "close_recalls": lambda: service.close_recalls(
            database, [service.Closing(panel, stands=True, reason=WHY, seen=seen)], **boss
        ),
        "divide_panel": lambda: _divide(evidence, panel),
        "mark_anew": lambda: _mark(evidence, panel, "NEW-1"),
        "open_nonconformance": lambda: open_nonconformance(
            database, panel, zone=UTC, **words, **by
        ),
        "propose": lambda: propose(
            database, number, proposed, by=shop.supervisor, at=LATER, zone=UTC
        ),
        "answer": lambda: answer(database, number, answered, **boss),
        "record_leak_check": lambda: record_leak_check(
            database, load, panel, leak, gauge=None, taken_at=NOW, zone=UTC, **by
        ),
        "record_unwrapping": lambda: record_unwrapping(
            database, load, panel, clear, taken_at=NOW, **by
        ),
        "keep_photographs": lambda: keep_photographs(
            database, load, panel, [shot], finding_id=None, caption="", **by
        ),
        "accept_other_lot": lambda: accept_other_lot(
            database, coupon, panel, reason=WHY, **(sign | {"by": shop.supervisor})
        ),
    }


_STILL_POSSIBLE = {
    "bring_panel": "it stands somewhere until it is gone",
    "report_trouble": "is about a coupon, which may speak for what came of the panel",
    "record_made_unusable": "is for scrapped panels only",
    "witness_scrap": "is for scrapped panels only",
    "enter_action": "is about the cause, not the panel",
    "keep_notice": "tells a customer; decides nothing",
}


def test_no_service_that_takes_a_panel_is_left_out_of_that_walk(trees: Evidence) -> None:
    walked = set(_acts(trees, trees.shop.panel_in_load()[1].code, "", "", ""))
    found = set()
    for module in pkgutil.walk_packages(app.__path__, "app."):
        if ".service." not in module.name:
            continue
        loaded = importlib.import_module(module.name)
        in_release = module.name.startswith("app.release.")
        for name, function in inspect.getmembers(loaded, inspect.isfunction):
            asked = set(inspect.signature(function).parameters)
            names = {"panel", "panel_code", "closings"} | ({"code"} if in_release else set())
            if function.__module__ == module.name and "database" in asked and asked & names:
                found.add(name)
    found = {name for name in found if not name.startswith("_")}
    assert found == walked | set(_STILL_POSSIBLE)
