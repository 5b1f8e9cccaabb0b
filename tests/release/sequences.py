"""The acts of `test_sequences.py`: a state machine over a shop with four panels."""

import json
import sqlite3
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.audit.writer import append
from app.bench import service as bench
from app.bench.records import Reading, VoidCause, VoidRequest
from app.bench.service import Correction
from app.database import Database
from app.errors import Refusal
from app.loads.records import LoadCoupon
from app.panels.records import Coupon, HoldOn, Panel, UpstreamHold
from app.people import queries as people
from app.people import service as accounts
from app.people.records import Authorisation, Person, Task
from app.people.rights import Role
from app.people.service import AccountAsStated, account_digest
from app.release import service
from app.release.queries import nonconformances as queries
from app.release.queries.open_nonconformances import open_nonconformances
from app.release.rules.dispositions import DEPARTURES, Capacity
from app.release.rules.dividing import Piece
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing
from app.release.service.nonconformances import open_nonconformance
from app.release.service.proposals import Answered, Proposed, answer, propose, seen_of
from app.requirements import queries as requirements
from app.requirements import service as papers
from app.requirements.records import RequirementKind, RequirementRevision
from app.requirements.service import Named
from tests.makers import NOW, TABLE_PAPER, Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.release.sequences_checked import Checked
from tests.requirements.papers import keyed, written
from tests.visits import PASSWORD

UTC = ZoneInfo("UTC")
TODAY = date(2026, 3, 5)
_REASON = "Looked at, invented for the tests."
_TABLE = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")
MORE = {
    "lior": (Role.INSPECTOR,),
    "basia": (Role.SUPERVISOR,),
    "wen": (Role.ENGINEER,),
    "mara.second": (Role.SUPERVISOR, Role.INSPECTOR, Role.ENGINEER),
}
"""Besides the shop's own people; the last is Mara Quill's other account."""
PEOPLE = ("mara", "deniz", "ines", "tomas", "olek", "rune", *MORE)
NUMBERS = ("ID-1", "ID-2", "ID-3")
HELD = (
    (HoldOn.MATERIAL_LOT, "LOT-1"),
    (HoldOn.LOAD, "L-0002"),
    (HoldOn.TESTER, "HT-1"),
    (HoldOn.PERSON, "mara"),
    (HoldOn.ACCEPTANCE_TABLE, "AT-1"),
)
who = st.sampled_from(PEOPLE)
inspecting = st.sampled_from(("deniz", "lior", "mara", "mara.second"))
supervising = st.sampled_from(("ines", "basia", "mara.second"))
engineering = st.sampled_from(("tomas", "wen", "mara.second"))
which = st.integers(0, 7)


def build(database: Database) -> Evidence:
    """The shop with its people, three panels that are ready and one that awaits its coupons."""
    evidence = Evidence(database, Shop(database))
    shop = evidence.shop
    with database.write() as session:
        for username, roles in MORE.items():
            shop._person(session, username, f"Person {username}", *roles)  # noqa: SLF001 - a maker
        numbers = {"mara": "ID-1", "mara.second": "ID-1", "deniz": "ID-2", "ines": "ID-3"}
        for username, number in numbers.items():
            person = people.person(session, username)
            person.identity_number = number
            about = ("person", username)
            append(session, Tag.PERSON_CHANGED, by="maker", at=NOW, about=about, rows=[person])
        for username in ("wen", "mara.second"):
            shop.authorise(session, people.person(session, username), {Task.DESIGN})
    for left_out in ({}, {}, {}, {"verdicts": False}):
        _, panel, _ = evidence.ready(**left_out)
        with database.write() as session:
            row = session.get_one(Panel, panel.id)
            # So that there can be rework.
            row.treatments_most = 2
            about = ("panel", row.code)
            append(session, Tag.PANEL_REGISTERED, by="maker", at=NOW, about=about, rows=[row])
    return evidence


@dataclass(frozen=True)
class _Panel:
    id: int
    code: str


class Acts(RuleBasedStateMachine):
    """One sequence. Each rule is one act; what services refuse has to leave nothing behind."""

    def __init__(
        self, database: Database, evidence: Evidence, path: Path, done: Counter[str]
    ) -> None:
        super().__init__()
        self.database = database
        self.evidence = evidence
        self.done = done
        self.at: datetime = LATER
        self.beside = sqlite3.connect(path)
        self.checked = Checked(database)
        self.pieces = 0
        self.is_new = True

    def teardown(self) -> None:
        """At the end of a sequence the trail holds."""
        self.beside.close()
        with self.database.read() as session:
            report = verify_trail(session)
        assert report.holds, report.problems

    # What the rules share.

    def _version(self) -> int:
        """A number that moves with everything that another connection commits."""
        version: int = self.beside.execute("PRAGMA data_version").fetchone()[0]
        return version

    def _try(self, name: str, act: Callable[[datetime], object]) -> None:
        self.at += timedelta(minutes=1)
        before = self._version()
        try:
            act(self.at)
        except Refusal:
            assert self._version() == before, f"a refused act, {name}, changed the records"
            self.done[f"refused: {name}"] += 1
            return
        self.done[name] += 1
        self.is_new = True
        # What a page does after each form that was taken.
        service.recall_changed(self.database, since=None, at=self.at, zone=UTC)

    def _as(self, username: str) -> Actor:
        with self.database.read() as session:
            return people.actor(session, username, today=TODAY)

    def _panel(self, place: int, *wanted: Standing) -> _Panel:
        """The panel of that place; one that stands as wanted rather, where there is any."""
        with self.database.read() as session:
            rows = session.execute(select(Panel.id, Panel.code).order_by(Panel.id)).all()
        for standing in wanted:
            fitting = [row for row in rows if self.checked.standings.get(row.id) == standing.value]
            if fitting:
                return _Panel(*fitting[place % len(fitting)])
        return _Panel(*rows[place % len(rows)])

    def _coupon(self, panel: _Panel) -> Any:
        with self.database.read() as session:
            query = select(Coupon).join(LoadCoupon).where(LoadCoupon.panel_id == panel.id).limit(1)
            return session.scalars(query.order_by(Coupon.id.desc())).first()

    @initialize(count=st.integers(1, 3), disposition=st.sampled_from(DEPARTURES))
    def some_are_decided(self, count: int, disposition: DecisionKind) -> None:
        """So that most sequences are about panels that are in use, or ended."""
        by = self._as("lior")
        for place in range(count):
            panel = self._panel(place)
            seen = self._seen(panel).seen
            self._try("release", lambda at, p=panel, s=seen: self._release(p, s, by, at))
        self._review(self._panel(2), "deniz", disposition, ("wen", "basia"), "ines", 5)

    # Holds.

    @rule(username=who, place=which, rare=st.integers(0, 1))
    def hold(self, username: str, place: int, rare: int) -> None:
        if rare:
            return
        by, panel = self._as(username), self._panel(place)
        self._try(
            "hold",
            lambda at: service.place_hold(
                self.database, panel.code, reason="A dent.", by=by, at=at
            ),
        )

    @rule(username=who, held=st.sampled_from(HELD), rare=st.integers(0, 2))
    def hold_upstream(self, username: str, held: tuple[HoldOn, str], rare: int) -> None:
        if rare:
            return
        by, thing = self._as(username), service.HeldThing(*held)
        self._try(
            "hold upstream",
            lambda at: service.place_upstream_hold(
                self.database, thing, reason="In doubt.", by=by, at=at
            ),
        )

    @rule(username=supervising)
    def lift_upstream(self, username: str) -> None:
        by = self._as(username)
        with self.database.read() as session:
            keys = session.scalars(select(UpstreamHold.id).order_by(UpstreamHold.id)).all()
        lifted = self.checked.lifted
        open_ones = [key for key in keys if key not in lifted]
        if open_ones:
            self._try(
                "lift upstream",
                lambda at: service.lift_upstream_hold(
                    self.database, open_ones[0], finding=_REASON, password=PASSWORD, by=by, at=at
                ),
            )

    # Decisions.

    @rule(username=inspecting, place=which)
    def release(self, username: str, place: int) -> None:
        by, panel = self._as(username), self._panel(place, Standing.READY)
        seen = self._seen(panel)
        self._try("release", lambda at: self._release(panel, seen.seen, by, at))

    def _seen(self, panel: _Panel) -> Any:
        return case(self.database, panel)  # type: ignore[arg-type]  # it asks for the id alone

    def _release(self, panel: _Panel, seen: str, by: Actor, at: datetime) -> None:
        service.release_panel(
            self.database, panel.code, seen=seen, password=PASSWORD, by=by, at=at, zone=UTC
        )

    @rule(username=supervising, place=which, stands=st.booleans())
    def find_no_departure_or_close(self, username: str, place: int, stands: bool) -> None:  # noqa: FBT001 - drawn
        by, panel = self._as(username), self._panel(place, Standing.RECALLED, Standing.HELD)
        seen = self._seen(panel)
        if seen.standing is Standing.RECALLED:
            closing = service.Closing(panel.code, stands, _REASON, seen.seen)
            self._try(
                "close",
                lambda at: service.close_recalls(
                    self.database, [closing], password=PASSWORD, by=by, at=at, zone=UTC
                ),
            )
            return
        kind = DecisionKind.NO_DEPARTURE
        self._try("no departure", lambda at: self._lift(panel, seen.seen, kind, by, at))

    def _lift(self, panel: _Panel, seen: str, kind: DecisionKind, by: Actor, at: datetime) -> None:
        service.lift_hold(
            self.database,
            panel.code,
            disposition=kind,
            reason=_REASON,
            seen=seen,
            password=PASSWORD,
            by=by,
            at=at,
            zone=UTC,
        )

    @rule(
        place=which,
        opener=who,
        disposition=st.sampled_from(DEPARTURES),
        answers=st.tuples(engineering, supervising),
        carries_out=supervising,
        length=st.sampled_from((5, 4, 5, 3, 2, 1)),
    )
    def nonconformance(
        self,
        place: int,
        opener: str,
        disposition: DecisionKind,
        answers: tuple[str, str],
        carries_out: str,
        length: int,
    ) -> None:
        """Steps of one, on a panel that is held where there is any."""
        panel = self._panel(place, Standing.HELD)
        self._review(panel, opener, disposition, answers, carries_out, length)

    def _review(
        self,
        panel: _Panel,
        opener: str,
        disposition: DecisionKind,
        answers: tuple[str, str],
        carries_out: str,
        length: int,
    ) -> None:
        """So many steps of a nonconformance: opened, proposed, twice answered, carried out."""
        words = dict.fromkeys(("description", "requirement", "containment"), "Invented.")
        given: dict[str, Any] = {"zone": UTC}
        first = self._as(opener)
        if not self._opened(panel):
            self._try(
                "open",
                lambda at: open_nonconformance(
                    self.database, panel.code, **words, by=first, at=at, **given
                ),
            )
        code = self._opened(panel)
        if code is None or length == 1:
            return
        proposed = Proposed(disposition, _REASON, "As the invented sheet says.")
        engineer, supervisor = map(self._as, answers)
        self._try(
            "propose",
            lambda at: propose(self.database, code, proposed, by=engineer, at=at, **given),
        )
        by_design = disposition in {DecisionKind.USE_AS_IS, DecisionKind.REPAIR}
        capacities = (
            (engineer, Capacity.DESIGN if by_design else Capacity.QUALITY),
            (supervisor, Capacity.SUPERVISION),
        )
        for by, capacity in capacities[: length - 2]:
            self._answer(panel, code, by, capacity)
        if length > len(capacities) + 2:
            by, seen = self._as(carries_out), self._seen(panel)
            self._try("dispose", lambda at: self._lift(panel, seen.seen, disposition, by, at))

    def _opened(self, panel: _Panel) -> str | None:
        with self.database.read() as session:
            found = open_nonconformances(session, [panel.id]).get(panel.id, ())
        return found[-1].code if found else None

    def _answer(self, panel: _Panel, code: str, by: Actor, capacity: Capacity) -> None:
        with self.database.read() as session:
            key = queries.nonconformance(session, code).id
            proposals = queries.proposals_of(session, code, key, panel.code)
        if not proposals:
            return
        answered = Answered(capacity, True, "", "", None, seen_of(proposals[-1]))  # noqa: FBT003 - approves
        self._try(
            "answer",
            lambda at: answer(
                self.database, code, answered, password=PASSWORD, by=by, at=at, zone=UTC
            ),
        )

    # Evidence.

    @rule(place=which, taker=inspecting)
    def supply(self, place: int, taker: str) -> None:
        """What is missing: a rework's load with its evidence, or coupons that were not measured."""
        panel = self._panel(place, Standing.REWORK, Standing.AWAITING_COUPONS)
        by = self._as(taker)
        seen = self._seen(panel)
        again = f"{panel.code}-AGAIN"
        with self.database.read() as session:
            row = session.get_one(Panel, panel.id)
            session.expunge(row)
        loads = {load.code: load for load in seen.facts.loads}
        if seen.standing is Standing.REWORK and again not in loads:
            self.at += timedelta(minutes=1)
            with self.database.write() as session:
                load, coupons = self.evidence.loaded_again(session, row, self.at)
                self.evidence.fill(session, load, row, coupons, verdicts=False)
                self.evidence.measured(session, coupons, by_id=by.id)
            self.done["rework"] += 1
        elif seen.standing is Standing.AWAITING_COUPONS:
            with self.database.write() as session:
                query = select(Coupon).join(LoadCoupon).where(LoadCoupon.panel_id == panel.id)
                coupons = list(session.scalars(query))
                self.evidence.measured(session, coupons, by_id=by.id)
            self.done["measured"] += 1
        self.is_new = True

    @rule(place=which, username=inspecting)
    def ask_void(self, place: int, username: str) -> None:
        self._on_reading(
            "ask void",
            place,
            lambda coupon, reading, at: bench.ask_void(
                self.database,
                coupon_code=coupon.code,
                reading_id=reading.id,
                cause=VoidCause.SLIPPED,
                evidence="The indenter left two marks.",
                by=self._as(username),
                at=at,
            ),
        )

    @rule(place=which, username=inspecting)
    def correct(self, place: int, username: str) -> None:
        self._on_reading(
            "correct",
            place,
            lambda coupon, reading, at: bench.correct_reading(
                self.database,
                Correction(
                    coupon.code,
                    reading.id,
                    reading.value + Decimal("0.1"),
                    reason="digits swapped, see print-out",
                    submission=f"correction-{at}",
                ),
                by=self._as(username),
                at=at,
                zone=UTC,
            ),
        )

    def _on_reading(self, name: str, place: int, act: Callable[[Any, Any, datetime], Any]) -> None:
        coupon = self._coupon(self._panel(place))
        if coupon is None:
            return
        with self.database.read() as session:
            query = select(Reading).where(Reading.coupon_id == coupon.id)
            reading = session.scalars(query.order_by(Reading.id.desc())).first()
        if reading is not None:
            self._try(name, lambda at: act(coupon, reading, at))

    @rule(username=supervising, approved=st.booleans(), back=st.integers(0, 2))
    def answer_void(self, username: str, approved: bool, back: int) -> None:  # noqa: FBT001 - drawn
        by = self._as(username)
        with self.database.read() as session:
            rows = session.execute(
                select(VoidRequest.id, Coupon.code)
                .join(Reading, Reading.id == VoidRequest.reading_id)
                .join(Coupon, Coupon.id == Reading.coupon_id)
                .order_by(VoidRequest.id.desc())
            ).all()
        if not rows:
            return
        request, code = rows[back % len(rows)]
        self._try(
            "answer void",
            lambda at: bench.answer_void(
                self.database,
                coupon_code=code,
                request_id=request,
                approved=approved,
                reason="Seen under the glass.",
                by=by,
                at=at,
                zone=UTC,
            ),
        )

    # Descent, people, requirements: see the rules below.

    @rule(place=which, username=inspecting, whole=st.booleans(), rare=st.integers(0, 4))
    def divide(self, place: int, username: str, whole: bool, rare: int) -> None:  # noqa: FBT001 - drawn
        if rare != 1:
            return
        by, panel = self._as(username), self._panel(place)
        self.pieces += 1
        name = f"P-9{self.pieces:02d}"
        given: dict[str, Any] = {"reason": _REASON, "password": PASSWORD, "by": by, "zone": UTC}
        if whole:
            self._try(
                "mark anew",
                lambda at: service.mark_anew(self.database, panel.code, name, at=at, **given),
            )
            return
        pieces = [Piece(f"{name}-{n}", Decimal(300), Decimal(200)) for n in "AB"]
        self._try(
            "divide",
            lambda at: service.divide_panel(
                self.database, panel.code, pieces, drawing="DRW-9", at=at, **given
            ),
        )

    @rule(username=who, number=st.sampled_from(NUMBERS), rare=st.integers(0, 2))
    def change_number(self, username: str, number: str, rare: int) -> None:
        if rare:
            return
        with self.database.read() as session:
            person = people.person(session, username)
            stated = AccountAsStated(person.full_name, None, number)
            seen = account_digest(person)
        by = self._as("rune")
        self._try(
            "change number",
            lambda at: accounts.change_person(
                self.database, username, stated, seen=seen, by=by, at=at
            ),
        )

    @rule(username=supervising, whose=who, rare=st.integers(0, 1))
    def end_authorisation(self, username: str, whose: str, rare: int) -> None:
        if rare:
            return
        by = self._as(username)
        with self.database.read() as session:
            query = select(Authorisation.id).join(Person, Person.id == Authorisation.person_id)
            key = session.scalars(query.where(Person.username == whose)).first()
        if key is not None:
            self._try(
                "end authorisation",
                lambda at: accounts.end_authorisation(
                    self.database, key, reason=_REASON, by=by, at=at, today=TODAY
                ),
            )

    @rule(username=engineering, wrong=st.sampled_from(("83.0", "84.0")))
    def write_table(self, username: str, wrong: str) -> None:
        """Revision B, or another attempt at it."""
        paper = json.loads(json.dumps({**TABLE_PAPER, "revision": "B"}))
        paper["entries"][0]["criteria"][0]["min"] = wrong
        by, again = self._as(username), self._is_written()
        self._try(
            "write",
            lambda at: papers.write_table(
                self.database,
                code="AT-1",
                paper=json.dumps(paper),
                filename="AT-1.json",
                source_document="invented document, issue 2",
                by=by,
                at=at,
                again="two digits were transposed" if again else None,
            ),
        )

    def _is_written(self) -> bool:
        """Whether revision B is on record in this sequence."""
        with self.database.read() as session:
            query = select(RequirementRevision.id).where(RequirementRevision.revision == "B")
            return session.scalars(query).first() is not None

    @precondition(_is_written)
    @rule(username=inspecting, wrong=st.booleans())
    def key_again(self, username: str, wrong: bool) -> None:  # noqa: FBT001 - drawn
        by = self._as(username)
        # After the first keying only what differed is asked for.
        wrong = wrong and written(self.database, _TABLE).differences is None
        slip = {"entry_1__hardness_hrb__minimum": "38.0"} if wrong else {}
        self._try("key again", lambda at: keyed(self.database, _TABLE, by, at=at, **slip))

    @precondition(_is_written)
    @rule(username=supervising)
    def verify(self, username: str) -> None:
        by, revision = self._as(username), written(self.database, _TABLE)
        self._try(
            "verify",
            lambda at: papers.verify(
                self.database,
                _TABLE,
                compared=[one.anchor for one in requirements.parts_of(revision)],
                in_force_from=None,
                password=PASSWORD,
                by=by,
                at=at,
                attempt=revision.attempt,
            ),
        )

    @rule(username=who, revision=st.sampled_from("AB"), rare=st.integers(0, 3))
    def withdraw(self, username: str, revision: str, rare: int) -> None:
        if rare:
            return
        by, named = self._as(username), Named(_TABLE.kind, "AT-1", revision)
        self._try(
            "withdraw",
            lambda at: papers.withdraw(self.database, named, reason=_REASON, by=by, at=at),
        )

    @invariant()
    def the_rules_hold(self) -> None:
        """Read from the rows after every act that changed them."""
        if self.is_new:
            self.checked.look()
            self.is_new = False
