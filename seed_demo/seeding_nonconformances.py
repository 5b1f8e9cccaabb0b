"""Filling the demonstration: nonconformances, what is proposed and answered, actions, scrap."""

from datetime import datetime, timedelta
from functools import partial

from app.equipment.rules import SentFile
from app.release.queries.nonconformances import nonconformance, proposals_of
from app.release.rules.dispositions import Capacity
from app.release.rules.facts import DecisionKind
from app.release.service.actions import Action, check_action, enter_action
from app.release.service.nonconformances import open_nonconformance
from app.release.service.notices import keep_notice
from app.release.service.proposals import Answered, Proposed, answer, propose, seen_of
from app.release.service.scrap import MadeUnusable, record_made_unusable, witness_scrap
from seed_demo.diary import DemoShop
from seed_demo.drawn_find import scanned_sheet
from seed_demo.load_plan import Load, Panel
from seed_demo.scenario_decided import DEPARTURES, STEPS, WAITING, WAITING_ON, Departure
from seed_demo.seeding_people import DESIGN_DELEGATE

ENGINEER, SUPERVISOR, WITNESS = "skestle", "awrayburn", "pquennell"
_QUALITY, _SUPERVISION = (Capacity.QUALITY, ENGINEER), (Capacity.SUPERVISION, SUPERVISOR)
_DESIGN = (Capacity.DESIGN, DESIGN_DELEGATE)
ANSWERS = {
    DecisionKind.USE_AS_IS: (_SUPERVISION, _DESIGN),
    DecisionKind.REWORK: (_SUPERVISION, _QUALITY),
    DecisionKind.SCRAPPED: (_SUPERVISION, _QUALITY),
}


class _Case:
    """One nonconformance: what it is about and, once it is opened, its number."""

    def __init__(self, shop: DemoShop, panel: str, departure: Departure, password: str) -> None:
        self.shop, self.panel, self.departure, self.password = shop, panel, departure, password
        self.code = ""
        self._action = 0

    def open(self, who: str, at: datetime) -> None:
        self.code = open_nonconformance(
            self.shop.database,
            self.panel,
            description=self.departure.description,
            requirement=self.departure.requirement,
            containment=self.departure.containment,
            by=self.shop.people[who],
            at=at,
            zone=self.shop.zone,
        )

    def propose(self, disposition: DecisionKind, reason: str, who: str, at: datetime) -> None:
        proposed = Proposed(disposition, reason, self.departure.instructions)
        by, zone = self.shop.people[who], self.shop.zone
        propose(self.shop.database, self.code, proposed, by=by, at=at, zone=zone)

    def answer(self, capacity: Capacity, who: str, at: datetime) -> None:
        """Approve what is proposed."""
        with self.shop.database.read() as session:
            row = nonconformance(session, self.code)
            seen = seen_of(proposals_of(session, self.code, row.id, self.panel)[-1])
        answer(
            self.shop.database,
            self.code,
            Answered(
                capacity=capacity, approves=True, remark="", document="", file=None, seen=seen
            ),
            password=self.password,
            by=self.shop.people[who],
            at=at,
            zone=self.shop.zone,
        )

    def act(self, at: datetime) -> None:
        """Enter what is done so that it does not come back."""
        told = self.departure.action
        assert told is not None, "asked for where there is one"  # noqa: S101
        wanted = Action(
            cause=told.cause,
            action=told.action,
            owner=told.owner,
            due_on=at.date() + timedelta(days=told.due_in_days),
        )
        by, zone = self.shop.people[ENGINEER], self.shop.zone
        self._action = enter_action(self.shop.database, self.code, wanted, by=by, at=at, zone=zone)

    def check(self, found: str, at: datetime) -> None:
        check_action(
            self.shop.database,
            self._action,
            effective=True,
            found=found,
            password=self.password,
            by=self.shop.people[ENGINEER],
            at=at,
        )

    def notify(self, at: datetime) -> None:
        keep_notice(
            self.shop.database,
            self.code,
            contact="Sunniva Kestle, quality office, Tarnwick (invented), telephone 014",
            wish=self.departure.notice,
            by=self.shop.people[ENGINEER],
            at=at,
            zone=self.shop.zone,
        )


def enter_nonconformance(  # noqa: PLR0917 - who, where and what, as every act of the diary
    shop: DemoShop, load: Load, panel: Panel, kind: DecisionKind, password: str, at: datetime
) -> None:
    """From opening to the last answer, all after ``at`` and before the next morning."""
    case = _Case(shop, panel.number, DEPARTURES[panel.number], password)
    opened, proposed, first, second = (at + step for step in STEPS)
    shop.enter(opened, partial(case.open, load.decided_by))
    propose_it = partial(case.propose, kind, panel.disposition, load.lifted_by)
    shop.enter(proposed, propose_it)
    for when, (capacity, who) in zip((first, second), ANSWERS[kind], strict=True):
        shop.enter(when, partial(case.answer, capacity, who))
    told = case.departure.action
    if told is not None:
        shop.enter(at + timedelta(days=1), case.act)
        if told.found:
            checked = at + timedelta(days=told.due_in_days + 4)
            shop.enter(checked, partial(case.check, told.found))
    if case.departure.notice:
        shop.enter(at + timedelta(days=1, hours=1), case.notify)


def enter_waiting_proposal(shop: DemoShop, password: str) -> None:
    """Opened the day before yesterday, answered for supervision; the design organisation waits."""
    case = _Case(shop, WAITING_ON, WAITING, password)
    at = shop.day(2, 9, 30)
    shop.enter(at, partial(case.open, "imorrowby"))
    reason = "As TW-1050 of the same load: four minutes at one junction, coupons conform."
    proposed = partial(case.propose, DecisionKind.USE_AS_IS, reason, "rhalvarth")
    shop.enter(at + timedelta(hours=2), proposed)
    shop.enter(at + timedelta(hours=5), partial(case.answer, *_SUPERVISION))


def enter_scrap(shop: DemoShop, load: Load, panel: str, password: str, at: datetime) -> None:
    """The scrapped panel is marked and cut in two, and somebody else sees it."""
    shop.enter(at, partial(_make_unusable, shop, load, panel, password))
    shop.enter(at + timedelta(minutes=40), partial(_witness, shop, panel, password))


def _make_unusable(shop: DemoShop, load: Load, panel: str, password: str, at: datetime) -> None:
    sheet = scanned_sheet(f"SCRAP {panel}", "red paint, both faces", title="Photograph of the mark")
    done = MadeUnusable(
        marking=f"SCRAP {panel} in red paint, 100 mm high, on both faces at the door end",
        made_unusable="Sawn through across its whole width at half its length",
        photograph=SentFile(f"scrap-{panel}.png", sheet),
    )
    by = shop.people[load.decided_by]
    record_made_unusable(shop.database, panel, done, password=password, by=by, at=at)


def _witness(shop: DemoShop, panel: str, password: str, at: datetime) -> None:
    by = shop.people[WITNESS]
    witness_scrap(shop.database, panel, password=password, by=by, at=at)
