"""A lot that was entered wrongly: held at once, corrected by two people, judged again."""

import copy
from datetime import UTC
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.exc import DatabaseError

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.audit.writer import append
from app.bench.service.replay import replay_coupons
from app.database import Database
from app.errors import Conflict, GateOpen, NotAllowed, NotFound, Refusal
from app.panels import queries as panels
from app.panels.records import Coupon, Hold, HoldCause, HoldOn, LotCorrection, MaterialLot, Panel
from app.panels.rules import changes_of, changes_words
from app.panels.service import Material, register_coupons
from app.people.records import Person
from app.people.rights import Role
from app.release import service
from app.release.queries.decided import entries_since, in_use_concerned
from app.release.queries.two_people import alone_on
from app.release.rules.standing import Standing
from app.requirements.records import RequirementKind
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import TABLE_PAPER, bind
from tests.release.evidence_rows import Evidence, case
from tests.visits import PASSWORD, Visit, words

LOT = "LOT-1"
WHY = "Entered as bare; the certificate says clad."
SHOWN = "Certificate MC-1, page 2, line 4."


class Hall:
    """A bench whose table has an entry for bare material only, and the evidence beside it."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.bench = Bench(database)
        self.shop = self.bench.shop
        self.evidence = Evidence(database, self.shop)
        paper = copy.deepcopy(TABLE_PAPER)
        paper["entries"][0]["surface"] = "bare"
        with database.write() as session:
            self.shop.table_revision_id = self.shop._requirement(  # noqa: SLF001 - its own maker
                session, "AT-3", RequirementKind.ACCEPTANCE_TABLE, paper, {}
            )

    def measured(self) -> tuple[Panel, list[Coupon]]:
        """A panel with all its evidence, its two coupons measured and conforming."""
        _, panel, coupons = self.evidence.ready(verdicts=False)
        for coupon in coupons:
            self.bench.conductive(coupon)
            assert self.bench.hard(coupon).verdict == "conforms"
        return panel, list(coupons)

    def lot(self) -> MaterialLot:
        """The lot as it stands."""
        with self.database.read() as session:
            return panels.lot(session, LOT)

    def ask(self, by: Actor | None = None, **changed: Any) -> int:
        """Ask for the surface to be clad, or what is given; the correction's number."""
        lot = self.lot()
        names = ("alloy", "incoming_temper", "form", "thickness_mm", "surface")
        material = {name: getattr(lot, name) for name in names} | {"surface": "clad"}
        told = {"reason": WHY, "evidence": SHOWN, "seen": panels.figures_seen(lot)}
        told |= {name: changed.pop(name) for name in tuple(told) if name in changed}
        wanted = service.Wanted(
            material=Material(**(material | changed)),
            cast=lot.cast,
            certificate=lot.certificate,
            **told,
        )
        service.ask_lot_correction(
            self.database, LOT, wanted, by=by or self.shop.inspector, at=self.bench.tick()
        )
        with self.database.read() as session:
            waiting = panels.waiting_correction(session, lot_id=lot.id)
            assert waiting is not None
            return waiting.id

    def answer(self, key: int, *, by: Actor | None = None, approved: bool = True) -> int:
        """A second person's answer; how many coupons changed with the lot."""
        return service.answer_lot_correction(
            self.database,
            LOT,
            key,
            approved=approved,
            reason="Read the certificate myself.",
            password=PASSWORD,
            by=by or self.shop.supervisor,
            at=self.bench.tick(),
            zone=ZONE,
        )

    def holds(self, panel: Panel) -> list[Hold]:
        """The panel's holds, in the order placed."""
        with self.database.read() as session:
            return list(session.scalars(select(Hold).filter_by(panel_id=panel.id)))

    def replayed(self) -> list[str]:
        """What replay finds that is not as it was kept."""
        again = replay_coupons(self.database, zone=ZONE)
        return [f"{one.name}: {one.differs}" for one in again if one.differs]


@pytest.fixture
def hall(database: Database) -> Hall:
    return Hall(database)


@pytest.fixture
def on_sqlite(sqlite_url: str) -> Hall:
    return Hall(Database(sqlite_url))


def test_bare_becomes_clad_and_bare_again_by_two_people_each_time(hall: Hall) -> None:
    panel, coupons = hall.measured()
    with hall.database.write() as session:
        hall.shop.coupon(session, "C-9")
    key = hall.ask()

    # Held at once, and nothing changed yet; the hold cannot be lifted before the answer.
    (hold,) = hall.holds(panel)
    assert hold.cause is HoldCause.UPSTREAM
    assert "may be wrong, surface bare to clad: Entered as bare" in hold.reason
    assert hall.lot().surface == "bare"
    assert hold.upstream_hold_id is not None
    lifted = {"finding": "Looked at the certificate.", "password": PASSWORD}
    lifted |= {"by": hall.shop.supervisor}
    with pytest.raises(Conflict, match="waits for its answer"):
        service.lift_upstream_hold(
            hall.database, hold.upstream_hold_id, at=hall.bench.tick(), **lifted
        )
    with pytest.raises(Conflict, match="waits for a second person's answer already"):
        hall.ask()

    assert hall.answer(key) == 3
    assert hall.lot().surface == "clad"
    for coupon in coupons:
        assert hall.bench.now(coupon).verdict == "not_proven"
        assert "is for Q-77 K1 plate, 12.5 mm, clad; nearest" in hall.bench.texts(coupon)
    assert hall.replayed() == []
    (gate,) = [one for one in case(hall.database, panel).gates if one.code == "material"]
    assert gate.outcome.value == "not_proven"
    assert gate.text.endswith("has no single entry for Q-77 K1 plate, 12.5 mm, clad.")
    with pytest.raises(Conflict, match="Somebody has answered"):
        hall.answer(key)
    # Nobody changes it any more, past the program or not.
    for record, figures in (
        (MaterialLot, {"surface": "bare"}),
        (MaterialLot, {"cast": "CAST-2"}),
        (MaterialLot, {"code": "LOT-9"}),
        (Coupon, {"surface": "bare"}),
        (Coupon, {"lot_id": 9}),
    ):
        with pytest.raises(DatabaseError), hall.database.write() as session:
            session.execute(update(record).values(figures))

    # Back again: what was not proven would conform, and it takes as much evidence and two people.
    with pytest.raises(Refusal) as refused:
        hall.ask(surface="bare", evidence="seen")
    assert list(refused.value.fields) == ["evidence"]
    key = hall.ask(by=hall.shop.supervisor, surface="bare")
    with pytest.raises(NotAllowed, match="You asked for this correction"):
        hall.answer(key)
    hall.answer(key, by=hall.shop.engineer)
    for coupon in coupons:
        assert hall.bench.now(coupon).verdict == "conforms"
    assert hall.replayed() == []
    for number in dict.fromkeys(one.upstream_hold_id for one in hall.holds(panel)):
        assert number is not None
        service.lift_upstream_hold(hall.database, number, at=hall.bench.tick(), **lifted)
    with hall.database.read() as session:
        assert panels.open_hold_on(session, HoldOn.MATERIAL_LOT, [LOT]) == []
        back, first = panels.lot_corrections(session, hall.lot().id)
        assert [changes_words(one.changes) for one in (first, back)] == [
            "surface bare to clad",
            "surface clad to bare",
        ]
        for one in (back, first):
            assert one.answer is not None
            assert one.answer.intact
            assert one.answer.coupons == (*(coupon.code for coupon in coupons), "C-9")


def test_one_person_under_two_accounts_is_refused_and_found_where_it_came_out_later(
    on_sqlite: Hall,
) -> None:
    hall = on_sqlite
    panel, _ = hall.measured()
    with hall.database.write() as session:
        twin = hall.shop._person(session, "mara.two", "Mara Quill", Role.ENGINEER)  # noqa: SLF001
    key = hall.ask()
    same = Actor(
        twin.id, twin.username, twin.full_name, twin.roles, frozenset({hall.shop.inspector.id})
    )
    with pytest.raises(NotAllowed, match="You asked for this correction"):
        hall.answer(key, by=same)
    assert hall.lot().surface == "bare"
    # Nobody knew that they were one person when the second account approved it.
    hall.answer(key, by=twin)
    with hall.database.write() as session:
        assert alone_on(session, [panel.id], zone=UTC) == {}
        for account in (twin, hall.shop.inspector):
            person = session.get_one(Person, account.id)
            person.identity_number = "W-7"
            bind(session, person)
    with hall.database.read() as session:
        ((told,),) = alone_on(session, [panel.id], zone=UTC).values()
        assert told.what == f"Asking for and approving a correction of lot {LOT}"


def test_a_released_panel_is_recalled_and_cannot_be_confirmed(on_sqlite: Hall) -> None:
    hall = on_sqlite
    panel, coupons = hall.measured()
    service.release_panel(
        hall.database,
        panel.code,
        seen=case(hall.database, panel).seen,
        password=PASSWORD,
        by=hall.shop.second,
        at=hall.bench.tick(),
        zone=ZONE,
    )
    with hall.database.write() as session:
        append(session, Tag.LOT_CORRECTION_DECIDED, by="x", at=hall.bench.at, about=("lot", "-"))
        about = ("material_lot", LOT)
        append(session, Tag.LOT_CORRECTION_DECIDED, by="ines", at=hall.bench.at, about=about)
    with hall.database.read() as session:
        seen = [one for one in entries_since(session, None) if one.kind == "material_lot"]
        assert in_use_concerned(session, seen) == {panel.id: "ines"}
    key = hall.ask()
    assert case(hall.database, panel).standing is Standing.RECALLED
    hall.answer(key)
    recalled = [one.reason for one in hall.holds(panel) if one.cause is HoldCause.EVIDENCE_CHANGED]
    assert recalled == [
        f"Coupon {coupons[0].code} conformed when the panel was decided on, and now: not proven."
    ]
    closing = service.Closing(panel.code, True, WHY, case(hall.database, panel).seen)  # noqa: FBT003
    with pytest.raises(GateOpen, match="has no single entry"):
        service.close_recalls(
            hall.database,
            [closing],
            password=PASSWORD,
            by=hall.shop.supervisor,
            at=hall.bench.tick(),
            zone=ZONE,
        )


def test_what_has_figures_of_its_own_keeps_them_and_declined_nothing_changes(
    on_sqlite: Hall,
) -> None:
    hall = on_sqlite
    for code, surface in (("C-1", "clad removed"), ("C-2", None)):
        register_coupons(
            hall.database,
            lot=LOT,
            codes=[code],
            place="saw",
            surface=surface,
            by=hall.shop.inspector,
            at=hall.bench.tick(),
        )
    hall.answer(hall.ask(), approved=False)
    assert hall.lot().surface == "bare"
    with hall.database.read() as session:
        (line,) = panels.lot_corrections(session, hall.lot().id)
        assert line.answer is not None
        assert (line.answer.approved, line.answer.coupons) == (False, ())
        # What was asked stays held until a supervisor lifts it.
        assert len(panels.open_hold_on(session, HoldOn.MATERIAL_LOT, [LOT])) == 1
    key = hall.ask(thickness_mm=Decimal("14.0"))
    assert hall.answer(key) == 2
    with pytest.raises(Conflict, match="was corrected since this page was opened"):
        hall.ask(seen="0" * 64)
    with pytest.raises(Refusal, match="Nothing differs"):
        hall.ask(surface="clad")
    with pytest.raises(NotFound):
        hall.answer(77)
    with hall.database.read() as session:
        found = session.scalars(select(Coupon).order_by(Coupon.id)).all()
        assert [(one.code, str(one.thickness_mm), one.surface) for one in found] == [
            ("C-1", "14.0", "clad removed"),
            ("C-2", "14.0", "clad"),
        ]
        assert verify_trail(session).holds


def test_figures_are_compared_as_written() -> None:
    (change,) = changes_of(_FIGURES, _FIGURES | {"thickness_mm": "12.50"})
    assert changes_words([change]) == "thickness, mm 12.5 to 12.50"
    assert changes_of(_FIGURES, dict(_FIGURES)) == ()


_FIGURES = {
    "alloy": "Q-77",
    "incoming_temper": "W",
    "form": "plate",
    "thickness_mm": "12.5",
    "surface": "bare",
    "cast": "CAST-1",
    "certificate": "MC-1",
}


def test_a_lot_altered_past_the_program_is_found(on_sqlite: Hall) -> None:
    hall = on_sqlite
    hall.answer(hall.ask())
    with hall.database.engine.connect() as connection:
        for name in ("material_lot_corrected", "material_lot_keeps"):
            connection.execute(text(f"DROP TRIGGER {name}"))
        connection.execute(text("UPDATE material_lot SET surface = 'bare'"))
        connection.commit()
    with hall.database.read() as session:
        (problem,) = verify_trail(session).problems
    assert problem.startswith("The row material lot 1 is not as entry")


class TestPages:
    """On the pages, with one database."""

    @pytest.fixture
    def database_url(self, sqlite_url: str) -> str:
        return sqlite_url

    def test_asked_on_the_lots_page_answered_from_today(
        self, database: Database, visit: Visit
    ) -> None:
        hall = Hall(database)
        hall.measured()
        visit.sign_in("mara")
        assert "Something of this lot was entered wrongly" in words(visit.get(f"/lots/{LOT}").text)
        page = visit.get(f"/lots/{LOT}?correct=1")
        assert 'name="cast" type="text" value="CAST-1"' in page.text
        seen = panels.figures_seen(hall.lot())
        form = _FIGURES | {"product_form": "plate", "surface": "clad", "seen": seen}
        address = f"/lots/{LOT}/correct"
        refused = visit.post(address, **form | {"cast": "CAST-2"}, reason="clad", evidence=SHOWN)
        assert refused.status_code == 422
        assert "Say what was entered wrongly" in words(refused.text)
        assert 'value="CAST-2"' in refused.text
        pdf = {"file": ("page.pdf", b"%PDF-1.4 invented", "application/pdf")}
        told = visit.follow(visit.post(address, **form, reason=WHY, evidence=SHOWN, files=pdf)).text
        assert "1 panel was put on hold with it" in words(told)
        assert "another supervisor or engineer answers" in words(told)
        assert "file kept as evidence" in words(told)
        with database.read() as session:
            key = session.scalars(select(LotCorrection.id)).one()
        link = f'href="/lots/{LOT}#corrections"'
        assert link not in visit.get("/").text
        for username in ("tomas", "ines"):
            visit.sign_in(username)
            today = visit.get("/").text
            assert link in today
            assert "asks to correct lot LOT-1, surface bare to clad" in words(today)
        answer = {"correction": str(key), "answer": "approve", "password": PASSWORD}
        refused = visit.post(f"/lots/{LOT}/correction-answer", **answer, reason="seen")
        assert refused.status_code == 422
        assert PASSWORD not in refused.text
        assert "seen</textarea>" in refused.text
        answer |= {"reason": "Read the certificate myself."}
        told = visit.follow(visit.post(f"/lots/{LOT}/correction-answer", **answer)).text
        assert "Lot LOT-1 is corrected, and 2 coupons with it" in words(told)
        assert "Signed: Ines Valcourt" in words(told)
        assert link not in visit.get("/").text
        again = visit.post(f"/lots/{LOT}/correction-answer", **answer)
        assert again.status_code == 409
        assert "Somebody has answered this correction" in words(again.text)
