"""What asks for two people: how one person does the first half, and what sends the second."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select

from app.audit.actor import Actor
from app.bench import service as bench_service
from app.bench.records import Reading, VoidCause
from app.database import Database
from app.equipment import service as equipment
from app.equipment.records import FurnaceCheckKind
from app.equipment.rules.reports import SentFile
from app.loads import service as loads
from app.loads.records import FurnaceRecord
from app.loads.service.trouble import Report
from app.loads.trouble_records import TroubleKind
from app.panels import queries as panels
from app.panels.records import Hold, HoldOn
from app.people import queries as people
from app.people import service as signing
from app.people.records import Person, Task
from app.people.rights import Role
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.service import actions, nonconformances, proposals, scrap, upstream
from app.release.service.cases import case_of, decide
from app.requirements import queries as requirements
from app.requirements import service as writing
from app.requirements.pages import keyed as keying_page
from app.requirements.rules import values
from app.requirements.service import Named
from tests.bench.bench_makers import Bench
from tests.loads.logger_files import columns, run, sources
from tests.loads.pictures import picture
from tests.makers import NOW, TABLE_PAPER, Shop, bind
from tests.release.evidence_rows import Evidence
from tests.release.nonconformance_makers import approved
from tests.requirements.papers import keyed, written
from tests.visits import PASSWORD

ZONE = ZoneInfo("Europe/Lisbon")
SAID = "said where two people are asked for"


@dataclass
class Second:
    """What the second of two people sends: where to and what."""

    path: str
    sent: dict[str, Any]
    reads: str | None = None
    """The page whose hidden ``seen`` the form carries."""


class TwoPeople:
    """Somebody with two accounts of every role, and somebody else; the first half of each pair.

    ``seen_on`` reads a page as somebody else and hands back its hidden ``seen``.
    """

    def __init__(self, database: Database, seen_on: Callable[[str], str]) -> None:
        self.database = database
        self.seen_on = seen_on
        self.bench = Bench(database)
        self.shop: Shop = self.bench.shop
        self.own = self._everything("ada", "Ada Lorn", "W-1001")
        self._everything("ada.second", "Ada Lorn", "W-1001")
        self._everything("bo", "Bo Marsh", "W-1002")
        self.own = self._actor("ada")

    def _everything(self, username: str, name: str, number: str) -> Actor:
        with self.database.write() as session:
            actor = self.shop._person(session, username, name, *Role)  # noqa: SLF001 - its maker
            person = session.get_one(Person, actor.id)
            person.identity_number = number
            bind(session, person)
            self.shop.authorise(session, person, {Task.DESIGN})
        return actor

    def _actor(self, username: str) -> Actor:
        with self.database.read() as session:
            return people.actor(session, username, today=datetime.now(UTC).date())

    @property
    def pairs(self) -> dict[str, Callable[[], Second]]:
        """Each pair by name, as written; a call does the first half as the first person."""
        named = [name for name in vars(type(self)) if name.startswith("pair_")]
        return {name.removeprefix("pair_"): getattr(self, name) for name in named}

    def _table(self, revision: str) -> Named:
        return writing.write_table(
            self.database,
            code="AT-1",
            paper=json.dumps({**TABLE_PAPER, "revision": revision}),
            filename="AT-1.json",
            source_document="invented document",
            by=self.own,
            at=NOW,
        )

    def pair_writes_and_verifies(self) -> Second:
        named = self._table("B")
        keyed(self.database, named, self.shop.second)
        compared = [one.anchor for one in requirements.parts_of(written(self.database, named))]
        return Second(
            "/tables/AT-1/verify", {"revision": "B", "attempt": "1", "compared": compared}
        )

    def pair_writes_and_keys(self) -> Second:
        named = self._table("C")
        asked = writing.asked_of(written(self.database, named))
        places, right = keying_page._fields(asked), values(asked)
        cells = {name: right[place] for name, place in places.items()}
        return Second("/tables/AT-1/keying", {"revision": "C", "attempt": "1", **cells})

    def pair_enters_and_reviews(self) -> Second:
        with self.database.write() as session:
            check = self.shop.furnace_check(
                session,
                self.shop.furnace_id,
                next(iter(FurnaceCheckKind)),
                review=None,
                entered_by_id=self.own.id,
            )
            return Second(f"/furnaces/FN-1/checks/{check.id}/review", {"answer": "accept"})

    def pair_asks_and_answers_a_void(self) -> Second:
        coupon = self.bench.coupon()
        self.bench.hard(coupon, by=self.shop.second)
        with self.database.read() as session:
            reading = session.scalars(
                select(Reading).where(Reading.coupon_id == coupon.id).order_by(Reading.id)
            ).first()
            assert reading is not None
        request = bench_service.ask_void(
            self.database,
            coupon_code=coupon.code,
            reading_id=reading.id,
            cause=VoidCause.SLIPPED,
            evidence="the print shows a drag mark",
            by=self.own,
            at=self.bench.tick(),
        )
        sent = {"request": str(request), "answer": "decline", "reason": SAID}
        return Second(f"/coupons/{coupon.code}/void-answer", sent)

    def pair_asks_and_answers_a_correction(self) -> Second:
        coupon = self.bench.coupon()
        self.bench.hard(coupon, "84.5", "85.0", "76.0", by=self.own)
        with self.database.read() as session:
            newest = select(Reading).where(Reading.coupon_id == coupon.id)
            reading = session.scalars(newest.order_by(Reading.id.desc())).first()
            assert reading is not None
        self.bench.correct(coupon, reading, "84.7", by=self.own, evidence=SAID)
        (request,) = self.bench.asked(coupon)
        sent = {"request": str(request.id), "answer": "decline", "reason": SAID}
        return Second(f"/coupons/{coupon.code}/correction-answer", sent)

    def pair_imports_and_confirms(self) -> Second:
        load, *_ = self.shop.panel_in_load()
        loads.import_record(
            self.database,
            load.code,
            sources(run(sensors=("A", "B"))),
            columns("VAC", TC1="A", TC2="B"),
            by=self.own,
            at=NOW + timedelta(hours=8),
            zone=UTC,
        )
        with self.database.read() as session:
            record = session.scalars(
                select(FurnaceRecord.id).where(FurnaceRecord.load_id == load.id)
            ).one()
        return Second(f"/loads/{load.code}/record/layout", {"record": str(record)})

    def pair_reports_and_decides_about_a_coupon(self) -> Second:
        load, panel, coupons, _ = self.shop.panel_in_load()
        report = Report(TroubleKind.MISSING, "searched the table and the floor", coupons[0].code)
        key = loads.report_trouble(
            self.database, load.code, panel.code, report, by=self.own, at=NOW + timedelta(hours=1)
        )
        sent = {"outcome": "no evidence", "reason": SAID}
        return Second(f"/troubles/{key}", sent)

    def pair_takes_out_of_use_and_lets_be_used(self) -> Second:
        equipment.place_quarantine(
            self.database, tester="CM-1", reason=SAID, by=self.own, at=datetime.now(UTC)
        )
        return Second("/testers/CM-1/quarantine/lift", {"reason": SAID})

    def _measured_by_own(self) -> str:
        """A panel with all its evidence, the readings taken by the first person."""
        usual, self.shop.inspector = self.shop.inspector, self.own
        _, panel, _ = Evidence(self.database, self.shop).ready()
        self.shop.inspector = usual
        return panel.code

    def pair_measures_and_releases(self) -> Second:
        code = self._measured_by_own()
        return Second(f"/panels/{code}/release", {}, reads=f"/panels/{code}/decision")

    def pair_measures_and_disposes(self) -> Second:
        code = self._measured_by_own()
        with self.database.write() as session:
            panel = panels.panel(session, code)
            hold = Hold(
                panel_id=panel.id, reason=SAID, placed_by_id=self.shop.second.id, placed_at=NOW
            )
            bind(session, hold)
            session.expunge_all()
        approved(self.database, panel, DecisionKind.USE_AS_IS)
        sent = {"disposition": "use as is", "reason": SAID}
        return Second(f"/panels/{code}/lift", sent, reads=f"/panels/{code}/decision")

    def pair_measures_and_answers_a_proposal(self) -> Second:
        return self._proposed(self._measured_by_own(), "quality")

    def pair_answers_twice(self) -> Second:
        with self.database.write() as session:
            panel = self.shop.panel(session).code
        second = self._proposed(panel, "supervision")
        code = second.path.split("/")[2]
        seen = self.seen_on(f"/nonconformances/{code}")
        proposals.answer(
            self.database,
            code,
            proposals.Answered(Capacity.QUALITY, True, SAID, "", None, seen),  # noqa: FBT003
            password=PASSWORD,
            by=self.own,
            at=datetime.now(UTC),
            zone=ZONE,
        )
        return second

    def _opened(self, panel: str) -> str:
        return nonconformances.open_nonconformance(
            self.database,
            panel,
            description=SAID,
            requirement=SAID,
            containment=SAID,
            by=self.shop.second,
            at=datetime.now(UTC),
            zone=ZONE,
        )

    def _proposed(self, panel: str, capacity: str) -> Second:
        code = self._opened(panel)
        proposed = proposals.Proposed(DecisionKind.RETURNED, SAID, SAID)
        proposals.propose(
            self.database,
            code,
            proposed,
            by=self.shop.supervisor,
            at=datetime.now(UTC),
            zone=ZONE,
        )
        page = f"/nonconformances/{code}"
        sent = {"capacity": capacity, "approves": "yes", "remark": SAID}
        return Second(f"{page}/answers", sent, reads=page)

    def pair_owns_an_action_and_checks_it(self) -> Second:
        with self.database.write() as session:
            panel = self.shop.panel(session).code
        code = self._opened(panel)
        due = datetime.now(UTC).date() + timedelta(days=9)
        key = actions.enter_action(
            self.database,
            code,
            actions.Action(SAID, SAID, "ada", due),
            by=self.shop.supervisor,
            at=datetime.now(UTC),
            zone=ZONE,
        )
        return Second(
            f"/nonconformances/{code}/actions/{key}/check", {"effective": "yes", "found": SAID}
        )

    def pair_makes_scrap_unusable_and_witnesses(self) -> Second:
        at = datetime.now(UTC)
        proof = signing.re_authenticate(
            self.database, self.shop.supervisor, password=PASSWORD, at=at
        )
        with self.database.write() as session:
            panel = self.shop.panel(session)
            facts = panel_facts(session, [panel.id], zone=ZONE, in_full=True)[panel.id]
            kind = DecisionKind.SCRAPPED
            decide(session, panel, case_of(facts), proof, kind=kind, reason=SAID, at=at)
            code = panel.code
        done = scrap.MadeUnusable(SAID, SAID, SentFile("mark.jpg", picture()))
        scrap.record_made_unusable(self.database, code, done, password=PASSWORD, by=self.own, at=at)
        return Second(f"/panels/{code}/scrap/witness", {})

    def pair_is_held_and_lifts_it(self) -> Second:
        number, _ = upstream.place_upstream_hold(
            self.database,
            upstream.HeldThing(HoldOn.PERSON, "ada"),
            reason=SAID,
            by=self.shop.second,
            at=datetime.now(UTC),
        )
        return Second(f"/holds/{number}/lift", {"finding": SAID})

    def pair_is_authorised_and_authorises(self) -> Second:
        today = datetime.now(UTC).date()
        sent = {
            "task": Task.HARDNESS.value,
            "from_day": today.isoformat(),
            "last_day": (today + timedelta(days=30)).isoformat(),
            "grounds": SAID,
        }
        return Second("/people/ada/authorisations", sent)

    def pair_has_roles_and_changes_them(self) -> Second:
        sent = {"full_name": "Ada Lorn", "identity_number": "W-1001", "roles": ["inspector"]}
        return Second("/people/ada/change", sent, reads="/people/ada")
