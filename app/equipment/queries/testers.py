"""What is read about testers: their accepted certificates, and which are out of use."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.equipment.queries.certificates import tester_papers
from app.equipment.records import (
    QuarantineLift,
    ReportReview,
    Tester,
    TesterCertificate,
    TesterQuarantine,
)
from app.equipment.rules import Due, FoundPaper, out_of_use, standing_by_certificates
from app.errors import NotFound
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class Quarantine:
    """A tester is out of use: since when, why, and who may not lift it.

    ``check_id`` names the failed check that brought it about, ``operator_id`` whose session that
    ended; both None where a person took the tester out of use.
    """

    id: int
    tester_id: int
    check_id: int | None
    operator_id: int | None
    reason: str
    placed_by_id: int
    placed_by: str
    placed_at: datetime


@dataclass(frozen=True, slots=True)
class PastQuarantine:
    """A quarantine that was placed once, with what lifted it; ``lift`` None while it is open."""

    placed: TesterQuarantine
    lift: QuarantineLift | None


def tester(session: Session, code: str) -> Tester:
    """The tester of that identity; NotFound if there is none."""
    found = session.scalars(select(Tester).where(Tester.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No tester {code} is on record.")
    return found


def testers(session: Session) -> Sequence[Tester]:
    """Every tester, by code."""
    return session.scalars(select(Tester).order_by(Tester.code)).all()


def tester_certificates(
    session: Session, tester_ids: Collection[int]
) -> dict[int, list[TesterCertificate]]:
    """Certificates that a second person accepted, by tester, the newest made first; one query.

    Of two made on one day the one entered later comes first. Nothing else is evidence of a tester.
    """
    found: dict[int, list[TesterCertificate]] = {key: [] for key in tester_ids}
    for row in session.scalars(
        select(TesterCertificate)
        .join(ReportReview, ReportReview.tester_certificate_id == TesterCertificate.id)
        .where(TesterCertificate.tester_id.in_(list(tester_ids)), ReportReview.accepted)
        .order_by(TesterCertificate.done_on.desc(), TesterCertificate.id.desc())
    ):
        found[row.tester_id].append(row)
    return found


def every_tester_certificate(session: Session, tester_id: int) -> Sequence[TesterCertificate]:
    """A tester's certificates, accepted or not, the newest made first."""
    return session.scalars(
        select(TesterCertificate)
        .where(TesterCertificate.tester_id == tester_id)
        .order_by(TesterCertificate.done_on.desc(), TesterCertificate.id.desc())
    ).all()


def found_paper(row: TesterCertificate, of: Tester) -> FoundPaper:
    """What a certificate says of the tester as found, beside the accuracy its maker states."""
    return FoundPaper(row.as_found or (), row.as_found_within, of.accuracy, of.unit)


def quarantine_of(session: Session, tester_ids: Iterable[int]) -> dict[int, Quarantine]:
    """The testers among those that are out of use now, by key; one query."""
    places = aliased(Person)
    rows = session.execute(
        select(
            TesterQuarantine.id,
            TesterQuarantine.tester_id,
            TesterQuarantine.check_id,
            TesterQuarantine.operator_id,
            TesterQuarantine.reason,
            TesterQuarantine.placed_by_id,
            places.full_name,
            TesterQuarantine.placed_at,
        )
        .join(places, places.id == TesterQuarantine.placed_by_id)
        .outerjoin(QuarantineLift, QuarantineLift.quarantine_id == TesterQuarantine.id)
        .where(TesterQuarantine.tester_id.in_(list(tester_ids)), QuarantineLift.id.is_(None))
        .order_by(TesterQuarantine.id.desc())
    )
    return {row.tester_id: Quarantine(*row) for row in rows}


def testers_out_of_use(session: Session) -> Sequence[str]:
    """The codes of all testers that are out of use now; one query."""
    return session.scalars(
        select(Tester.code)
        .join(TesterQuarantine, TesterQuarantine.tester_id == Tester.id)
        .outerjoin(QuarantineLift, QuarantineLift.quarantine_id == TesterQuarantine.id)
        .where(QuarantineLift.id.is_(None))
        .distinct()
        .order_by(Tester.code)
    ).all()


def quarantines(session: Session, tester_id: int) -> list[PastQuarantine]:
    """Every quarantine of a tester, the newest first; one query."""
    rows = session.execute(
        select(TesterQuarantine, QuarantineLift)
        .outerjoin(QuarantineLift, QuarantineLift.quarantine_id == TesterQuarantine.id)
        .where(TesterQuarantine.tester_id == tester_id)
        .order_by(TesterQuarantine.id.desc())
    )
    return [PastQuarantine(placed, lift) for placed, lift in rows]


def dues_of_testers(session: Session, tester_ids: Collection[int], *, on: date) -> dict[int, Due]:
    """How testers stand on a day, by key: out of use, or by their certificates; two queries."""
    papers = tester_papers(session, tester_ids)
    out = quarantine_of(session, tester_ids)
    return {
        key: out_of_use() if key in out else standing_by_certificates(papers[key], on=on)
        for key in tester_ids
    }
