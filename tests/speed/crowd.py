"""Fifty people at fifty testers, each with a session of their own and coupons at hand."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.bench import service as bench
from app.bench.records import CheckMoment
from app.bench.service import CheckTaken
from app.database import Database
from app.panels.records import Custody
from app.people.rights import Role
from tests.makers import Shop

FAR = date(2126, 1, 1)
ZONE = UTC


@dataclass(frozen=True, slots=True)
class AtWork:
    """One person, the session they opened, and the coupons that they will measure."""

    by: Actor
    session_id: int
    coupons: tuple[str, ...]


def make_crowd(database: Database, *, people: int, coupons: int) -> list[AtWork]:
    """That many inspectors, each with a hardness tester, a reference block and an open session.

    Each has that many coupons at hand, of a panel of their own in a load of its own.
    """
    shop = Shop(database)
    crowd = []
    for number in range(1, people + 1):
        with database.write() as session:
            by = shop._person(session, f"reader{number}", f"Reader {number}", Role.INSPECTOR)  # noqa: SLF001
            _tester(session, shop, number)
        _, _, placed, _ = shop.panel_in_load(coupons=coupons)
        with database.write() as session:
            for coupon in placed:
                shop.custody(session, coupon, Custody.RECOVERED)
        codes = tuple(coupon.code for coupon in placed)
        crowd.append(AtWork(by, _opened(database, by, number), codes))
    return crowd


def _tester(session: Session, shop: Shop, number: int) -> None:
    """A hardness tester and a block, both with an accepted certificate that lasts."""
    certificate = {"due_on": FAR, "expanded_uncertainty": Decimal("0.6")}
    shop.tester(session, f"HT-{number + 1}", "hardness", "HRB", certificate=certificate)
    shop.block(session, f"RB-{number + 1}", "hardness", "HRB", "85.0", "1.0", expires_on=FAR)


def _opened(database: Database, by: Actor, number: int) -> int:
    """A session with its opening check, by today's clock."""
    at = datetime.now(UTC)
    session_id = bench.open_session(
        database, tester_code=f"HT-{number + 1}", by=by, at=at, zone=ZONE
    )
    taken = CheckTaken(CheckMoment.OPENING, f"RB-{number + 1}", (Decimal("85.2"), Decimal("84.8")))
    bench.record_check(database, taken, session_id=session_id, by=by, at=at, zone=ZONE)
    return session_id
