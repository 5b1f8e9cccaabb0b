"""A crowd at the shop's records: acts of many kinds, each with a time of its own, and what came.

Every act is tried on the records as its person reads them, while others change them. ``Told`` is
what the services answered; what is true is read from the rows afterwards.
"""

import random
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal

from sqlalchemy import select

from app.audit.actor import Actor
from app.bench import service as bench
from app.bench.records import Reading
from app.bench.service import Correction, ReadingsTaken
from app.database import Database
from app.errors import Refusal
from app.panels import queries as panels
from app.panels import service as custody
from app.panels.records import Coupon, Custody, Panel
from app.people.records import Person, Task
from app.people.rights import Role
from app.release import service
from app.release.queries import nonconformances as queries
from app.release.queries.open_nonconformances import open_nonconformances
from app.release.rules.dispositions import Capacity, required
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing
from app.release.service import Case
from app.release.service.nonconformances import open_nonconformance
from app.release.service.proposals import Answered, Proposed, answer, propose, seen_of
from tests.bench.bench_makers import ZONE, Bench
from tests.release.evidence_rows import Evidence, case
from tests.visits import PASSWORD

DISPUTED = 4
"""So many panels, the first, are disposed of by nonconformances, and seldom held besides."""
_REASON = "Reviewed, invented for the tests."
_NEXT = {Custody.AT_BENCH: Custody.SHELVED, Custody.SHELVED: Custody.AT_BENCH}


@dataclass(frozen=True)
class Told:
    """What a service answered: ``kept`` names what it said it did; None where it refused."""

    at: datetime
    by: str
    about: str
    kept: str | None


@dataclass
class Crowd:
    """The shop, its people by what they may, and what there is to act on."""

    database: Database
    evidence: Evidence
    start: datetime
    session_id: int
    panels: list[Panel] = field(default_factory=list)
    ridden: list[Coupon] = field(default_factory=list)
    unread: list[Coupon] = field(default_factory=list)
    inspectors: list[Actor] = field(default_factory=list)
    supervisors: list[Actor] = field(default_factory=list)
    engineers: list[Actor] = field(default_factory=list)
    designers: list[Actor] = field(default_factory=list)


def gather(database: Database, *, number: int) -> Crowd:
    """So many panels with whole evidence, as many coupons to measure, and ten people besides."""
    at_bench = Bench(database)
    evidence = Evidence(database, at_bench.shop)
    crowd = Crowd(database, evidence, at_bench.at + timedelta(hours=1), at_bench.open("HT-1"))
    for _ in range(number):
        _, panel, coupons = evidence.ready()
        crowd.panels.append(panel)
        crowd.ridden.extend(coupons[:1])
    crowd.unread.extend(at_bench.coupons(2 * number))
    groups = (
        (Role.INSPECTOR, crowd.inspectors, 3),
        (Role.SUPERVISOR, crowd.supervisors, 3),
        (Role.ENGINEER, crowd.engineers, 2),
        (Role.ENGINEER, crowd.designers, 2),
    )
    shop = at_bench.shop
    with database.write() as session:
        for role, group, count in groups:
            for _ in range(count):
                name = f"{role.value}{len(group)}{'d' if group is crowd.designers else ''}"
                actor = shop._person(session, name, f"Person {name}", role)  # noqa: SLF001 - a maker
                group.append(actor)
        for place, actor in enumerate(crowd.designers):
            person = session.get_one(Person, actor.id)
            design = shop.authorise(session, person, {Task.DESIGN})
            crowd.designers[place] = replace(actor, authorised={**actor.authorised, **design})
    return crowd


class Worker:
    """One of the crowd's threads. ``number`` of an act decides its time, its kind and its luck."""

    def __init__(self, crowd: Crowd, database: Database) -> None:
        self.crowd = crowd
        self.database = database

    def act(self, number: int) -> Told:
        """Try one act. Whatever is no refusal is raised."""
        luck = random.Random(number)  # noqa: S311 - which act comes, not a secret
        at = self.crowd.start + timedelta(seconds=number)
        kinds: dict[Callable[[random.Random, datetime], tuple[str, str, str]], int] = {
            self._hold: 16,
            self._bring: 36,
            self._custody: 23,
            self._read: 6,
            self._correct: 4,
            self._decide: 9,
            self._dispose: 6,
        }
        (kind,) = luck.choices(list(kinds), list(kinds.values()))
        try:
            by, about, kept = kind(luck, at)
        except Refusal as refusal:
            return Told(at, "", type(refusal).__name__, None)
        return Told(at, by, about, kept)

    def _hold(
        self, luck: random.Random, at: datetime, panel: Panel | None = None
    ) -> tuple[str, str, str]:
        crowd = self.crowd
        among = crowd.panels if luck.random() < 1 / 10 else crowd.panels[DISPUTED:]
        panel = panel or luck.choice(among)
        by = luck.choice([*crowd.inspectors, *crowd.engineers, crowd.evidence.shop.auditor])
        service.place_hold(self.database, panel.code, reason=f"held at {at}", by=by, at=at)
        return by.username, panel.code, "hold"

    def _bring(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        panel, by = luck.choice(self.crowd.panels), luck.choice(self.crowd.inspectors)
        place = luck.choice(("RACK-1", "CAGE-1"))
        custody.bring_panel(self.database, panel=panel.code, place=place, by=by, at=at)
        return by.username, panel.code, "brought"

    def _custody(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        coupon, by = luck.choice(self.crowd.ridden), luck.choice(self.crowd.inspectors)
        with self.database.read() as session:
            last = panels.last_step(session, coupon.id)
        assert last is not None
        step = _NEXT[last.step]
        custody.record_custody(
            self.database, coupon=coupon.code, step=step, place="a shelf", by=by, at=at
        )
        return by.username, coupon.code, "custody"

    def _read(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        """Three readings of a coupon. The form is the coupon's, so that many come twice."""
        coupon, by = luck.choice(self.crowd.unread), self.crowd.evidence.shop.inspector
        taken = ReadingsTaken(
            coupon.code,
            tuple(map(Decimal, ("84.5", "85.0", "85.5"))),
            submission=f"form-of-{coupon.code}",
            spacing_confirmed=True,
        )
        bench.record_readings(
            self.database, taken, session_id=self.crowd.session_id, by=by, at=at, zone=ZONE
        )
        return by.username, coupon.code, "read"

    def _correct(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        """Mostly a slip among the coupons just measured; now and then one that turns a panel."""
        crowd, by = self.crowd, self.crowd.evidence.shop.inspector
        coupon = luck.choice(crowd.ridden if luck.random() < 1 / 8 else crowd.unread[:20])
        with self.database.read() as session:
            of_coupon = select(Reading).where(Reading.coupon_id == coupon.id).order_by(Reading.id)
            old = session.scalars(of_coupon.limit(1)).first()
        if old is None:
            raise Refusal("There is nothing to correct yet.")
        correction = Correction(
            coupon.code,
            old.id,
            old.value + Decimal("0.1"),
            reason="digits swapped, see print-out",
            submission=f"correction-{at}",
        )
        done = bench.correct_reading(self.database, correction, by=by, at=at, zone=ZONE)
        return by.username, coupon.code, "asked" if done.waits else "corrected"

    def _decide(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        """What the panel's standing asks for: release, finding that nothing departs, or recall."""
        panel = luck.choice(self.crowd.panels)
        seen = case(self.database, panel)
        given = {"password": PASSWORD, "at": at, "zone": ZONE}
        by = luck.choice(self.crowd.supervisors)
        if seen.standing is Standing.HELD and panel in self.crowd.panels[:DISPUTED]:
            return self._dispose(luck, at)
        if seen.standing is Standing.HELD:
            kind = DecisionKind.NO_DEPARTURE
            self._lift(seen, kind, by=by, at=at)
            return by.username, panel.code, kind.value
        if seen.standing is Standing.RECALLED:
            kind = luck.choice((DecisionKind.CONFIRMED, DecisionKind.WITHDRAWN))
            stands = kind is DecisionKind.CONFIRMED
            closing = service.Closing(panel.code, stands, _REASON, seen.seen)
            service.close_recalls(self.database, [closing], by=by, **given)
            return by.username, panel.code, kind.value
        if seen.standing in {Standing.RELEASED, Standing.USE_AS_IS}:
            return self._hold(luck, at, panel)
        by = luck.choice(self.crowd.inspectors)
        service.release_panel(self.database, panel.code, seen=seen.seen, by=by, **given)
        return by.username, panel.code, DecisionKind.RELEASED.value

    def _dispose(self, luck: random.Random, at: datetime) -> tuple[str, str, str]:
        """The next step of a nonconformance of one of a few panels."""
        crowd, panel = self.crowd, luck.choice(self.crowd.panels[:DISPUTED])
        by = luck.choice(crowd.supervisors)
        with self.database.read() as session:
            seen = case(self.database, panel)
            opened = open_nonconformances(session, [panel.id]).get(panel.id, ())
            weighed = (
                queries.weigh(session, opened[-1].code, opened[-1].id, seen.facts)
                if opened
                else None
            )
        if weighed is None:
            by = luck.choice(crowd.engineers)
            words = dict.fromkeys(("description", "requirement", "containment"), f"opened at {at}")
            open_nonconformance(self.database, panel.code, **words, by=by, at=at, zone=ZONE)
            return by.username, panel.code, "nonconformance"
        code, last = opened[-1].code, weighed.last
        if last is not None and not weighed.in_the_way:
            self._lift(seen, last.disposition, by=by, at=at)
            return by.username, panel.code, last.disposition.value
        fresh = last is not None and not last.is_refused
        fresh = fresh and last.evidence_sha256 == seen.evidence_sha256
        if last is None or not fresh:
            kind = luck.choice((DecisionKind.USE_AS_IS, DecisionKind.REPAIR))
            kind = DecisionKind.SCRAPPED if luck.random() < 1 / 10 else kind
            told = Proposed(kind, f"proposed at {at}", "As the invented sheet says.")
            propose(self.database, code, told, by=by, at=at, zone=ZONE)
            return by.username, panel.code, "proposal"
        given = {one.capacity for one in last.answers}
        wanted = sorted(required(last.disposition, customer_asked=False) - given)
        capacity = luck.choice(wanted or [Capacity.SUPERVISION])
        if capacity is not Capacity.SUPERVISION:
            by = luck.choice(crowd.designers if capacity is Capacity.DESIGN else crowd.engineers)
        told_back = Answered(
            capacity, luck.random() < 0.9, f"answered at {at}", "", None, seen_of(last)
        )
        answer(self.database, code, told_back, password=PASSWORD, by=by, at=at, zone=ZONE)
        return by.username, panel.code, "answer"

    def _lift(self, seen: Case, kind: DecisionKind, *, by: Actor, at: datetime) -> None:
        service.lift_hold(
            self.database,
            seen.facts.code,
            disposition=kind,
            reason=_REASON,
            seen=seen.seen,
            password=PASSWORD,
            by=by,
            at=at,
            zone=ZONE,
        )


def at_work(
    crowd: Crowd, database: Database, numbers: Sequence[int], *, threads: int
) -> list[Told]:
    """Do the acts of these numbers, each once, by so many threads; what was told of each.

    Raises:
        whatever an act raised that is no refusal.
    """
    waiting, one_at_a_time = list(reversed(numbers)), threading.Lock()
    told: list[Told] = []
    wrong: list[BaseException] = []
    worker = Worker(crowd, database)

    def take_part() -> None:
        try:
            while True:
                with one_at_a_time:
                    if wrong or not waiting:
                        return
                    number = waiting.pop()
                done = worker.act(number)
                with one_at_a_time:
                    told.append(done)
        except BaseException as raised:  # noqa: BLE001 - told to the test's own thread
            wrong.append(raised)

    group = [threading.Thread(target=take_part) for _ in range(threads)]
    for thread in group:
        thread.start()
    for thread in group:
        thread.join(timeout=120)
        assert not thread.is_alive(), "decisions wait for each other"
    if wrong:
        raise wrong[0]
    return told


def counted(told: Sequence[Told]) -> Counter[str]:
    """How many acts of each kind were kept; refused ones by the kind of refusal."""
    return Counter(one.kept or f"refused: {one.about}" for one in told)
