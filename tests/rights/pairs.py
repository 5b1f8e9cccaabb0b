"""What asks for two people: how one person does the first half, and what sends the second."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from sqlalchemy import select

from app.audit.actor import Actor
from app.bench import service as bench_service
from app.bench.records import Reading, VoidCause
from app.database import Database
from app.equipment import service as equipment
from app.equipment.rules.reports import SentFile
from app.loads import service as loads
from app.loads.records import FurnaceRecord
from app.loads.service.trouble import Report
from app.loads.trouble_records import TroubleKind
from app.panels import queries as panels
from app.panels.records import Coupon, HoldOn
from app.panels.service import Material
from app.people import queries as people
from app.people import service as signing
from app.people.records import Person, Task
from app.people.rights import Hand, Role
from app.release import service as release
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.service import actions, nonconformances, proposals, scrap, upstream
from app.release.service.cases import case_of, decide
from tests.bench.bench_makers import Bench
from tests.loads.logger_files import columns, run, sources
from tests.loads.pictures import picture
from tests.makers import NOW, Shop, bind
from tests.rights.second import SAID, Second
from tests.visits import PASSWORD

ZONE = ZoneInfo("Europe/Lisbon")


class TwoPeople:
    """Somebody with two accounts of every role, and somebody else; the first half of each pair.

    ``seen_on`` reads a page as somebody else and hands back its hidden ``seen``.
    """

    def __init__(self, database_url: str, seen_on: Callable[[str], str]) -> None:
        self.database_url = database_url
        self.database = Database(database_url)
        self.seen_on = seen_on
        self.bench = Bench(self.database)
        self.shop: Shop = self.bench.shop
        self.own = self._everything("ada", "Ada Lorn", "W1001")
        self._everything("ada.second", "Ada Lorn", "W1001")
        self._everything("bo", "Bo Marsh", "W1002")
        self.own = self.actor("ada")

    def _everything(self, username: str, name: str, number: str) -> Actor:
        with self.database.write() as session:
            actor = self.shop._person(session, username, name, *Role)  # noqa: SLF001 - its maker
            person = session.get_one(Person, actor.id)
            person.identity_number = number
            bind(session, person)
            self.shop.authorise(session, person, {Task.DESIGN})
        return actor

    def actor(self, username: str) -> Actor:
        """Who that account's person is now."""
        with self.database.read() as session:
            return people.actor(session, username, today=datetime.now(UTC).date())

    @property
    def pairs(self) -> dict[str, Callable[[], Second]]:
        """Each pair by name, as written; a call does the first half as the first person."""
        named = [name for name in vars(type(self)) if name.startswith("pair_")]
        return {name.removeprefix("pair_"): getattr(self, name) for name in named}

    def asked_void(self, coupon: Coupon, reading: Reading, by: Actor) -> int:
        """The id of a request that the reading be voided."""
        return bench_service.ask_void(
            self.database,
            coupon_code=coupon.code,
            reading_id=reading.id,
            cause=VoidCause.SLIPPED,
            evidence="the print shows a drag mark",
            by=by,
            at=self.bench.tick(),
        )

    def pair_asks_and_answers_a_void(self) -> Second:
        coupon = self.bench.coupon()
        self.bench.hard(coupon, by=self.shop.second)
        request = self.asked_void(coupon, self.bench.readings(coupon)[0], self.own)
        sent = {"request": str(request), "answer": "decline", "reason": SAID}
        return Second(Hand.ASKED, f"/coupons/{coupon.code}/void-answer", sent)

    def pair_asks_and_answers_a_correction(self) -> Second:
        coupon = self.bench.coupon()
        self.bench.hard(coupon, "84.5", "85.0", "76.0", by=self.own)
        reading = self.bench.readings(coupon)[-1]
        self.bench.correct(coupon, reading, "84.7", by=self.own, evidence=SAID)
        (request,) = self.bench.asked(coupon)
        sent = {"request": str(request.id), "answer": "decline", "reason": SAID}
        return Second(Hand.ASKED, f"/coupons/{coupon.code}/correction-answer", sent)

    def pair_asks_and_answers_a_lot_correction(self) -> Second:
        with self.database.write() as session:
            # A lot of its own: what rests on it is held from now on.
            self.shop.lot(session, "LOT-9")
        with self.database.read() as session:
            seen = panels.figures_seen(panels.lot(session, "LOT-9"))
        clad = Material("Q-77", "W", "plate", Decimal("12.5"), "clad")
        wanted = release.Wanted(clad, "CAST-1", "MC-1", SAID, SAID, seen)
        at = self.bench.tick()
        release.ask_lot_correction(self.database, "LOT-9", wanted, by=self.own, at=at)
        with self.database.read() as session:
            (asked,) = panels.waiting_lot_corrections(session)
        sent = {"correction": str(asked.id), "answer": "decline", "reason": SAID}
        return Second(Hand.ASKED, "/lots/LOT-9/correction-answer", sent)

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
        path = f"/loads/{load.code}/record/layout"
        return Second(Hand.BROUGHT_IN, path, {"record": str(record)})

    def pair_reports_and_decides_about_a_coupon(self) -> Second:
        load, panel, coupons, _ = self.shop.panel_in_load()
        report = Report(TroubleKind.MISSING, "searched the table and the floor", coupons[0].code)
        key = loads.report_trouble(
            self.database, load.code, panel.code, report, by=self.own, at=NOW + timedelta(hours=1)
        )
        sent = {"outcome": "no evidence", "reason": SAID}
        return Second(Hand.REPORTED, f"/troubles/{key}", sent)

    def pair_takes_out_of_use_and_lets_be_used(self) -> Second:
        equipment.place_quarantine(
            self.database, tester="CM-1", reason=SAID, by=self.own, at=datetime.now(UTC)
        )
        return Second(Hand.PLACED, "/testers/CM-1/quarantine/lift", {"reason": SAID})

    def pair_answers_twice(self) -> Second:
        with self.database.write() as session:
            panel = self.shop.panel(session).code
        second = self.proposed(panel, "supervision", Hand.ANSWERED)
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

    def opened(self, panel: str, by: Actor | None = None) -> str:
        """The code of a new nonconformance of the panel."""
        return nonconformances.open_nonconformance(
            self.database,
            panel,
            description=SAID,
            requirement=SAID,
            containment=SAID,
            by=by or self.shop.second,
            at=datetime.now(UTC),
            zone=ZONE,
        )

    def proposed(self, panel: str, capacity: str, hand: Hand) -> Second:
        """A proposal for the panel, to be answered in the capacity."""
        code = self.opened(panel)
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
        return Second(hand, f"{page}/answers", sent, reads=page)

    def pair_owns_an_action_and_checks_it(self) -> Second:
        with self.database.write() as session:
            panel = self.shop.panel(session).code
        code = self.opened(panel)
        due = datetime.now(UTC).date() + timedelta(days=9)
        key = actions.enter_action(
            self.database,
            code,
            actions.Action(SAID, SAID, "ada", due),
            by=self.shop.supervisor,
            at=datetime.now(UTC),
            zone=ZONE,
        )
        path = f"/nonconformances/{code}/actions/{key}/check"
        return Second(Hand.OWNS_ACTION, path, {"effective": "yes", "found": SAID})

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
        return Second(Hand.MADE_UNUSABLE, f"/panels/{code}/scrap/witness")

    def pair_is_held_and_lifts_it(self) -> Second:
        number, _ = upstream.place_upstream_hold(
            self.database,
            upstream.HeldThing(HoldOn.PERSON, "ada"),
            reason=SAID,
            by=self.shop.second,
            at=datetime.now(UTC),
        )
        return Second(Hand.HELD, f"/holds/{number}/lift", {"finding": SAID})
