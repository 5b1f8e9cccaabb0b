"""A second person reads a report and accepts or rejects it, signed."""

from datetime import datetime

from app.audit.actor import Actor
from app.audit.facts import row_facts
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.equipment import queries
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import ReportReview
from app.errors import Conflict, NotAllowed, refuse
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign

SHORTEST_REMARK = 10


def review_report(
    database: Database,
    subject: Subject,
    *,
    accepted: bool,
    remark: str,
    password: str,
    by: Actor,
    at: datetime,
) -> None:
    """Accept or reject a report that somebody else entered; only an accepted one counts.

    Raises:
        NotAllowed: neither supervisor nor engineer, or the person who entered it.
        Refusal, NotFound, Conflict: a remark that is wanted and missing, no such report, or that
            somebody has reviewed it already.
    """
    require(by, Act.REVIEW_REPORT)
    with database.read() as session:
        found = queries.report(session, subject)
        refuse_own_or_reviewed(found, by, people.names(session))
    remark = remark.strip()
    _refuse_without_remark(found, remark, accepted=accepted)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        report = queries.report(session, subject)
        refuse_own_or_reviewed(report, by, people.names(session))
        content = {
            "report": row_facts(report.row),
            "accepted": accepted,
            "remark": remark,
        }
        signature = sign(
            session,
            proof,
            meaning=Meaning.REVIEWED_REPORT,
            content_sha256=paper_sha256(content),
            at=at,
        )
        review = ReportReview(
            accepted=accepted,
            remark=remark,
            reviewed_by_id=by.id,
            reviewed_at=at,
            signature_id=signature.id,
            **{subject.column: subject.id},
        )
        session.add(review)
        said = "accepted" if accepted else f"rejected: {remark}"
        append(
            session,
            Tag.REPORT_REVIEWED,
            by=by,
            at=at,
            about=report.about,
            rows=[signature, review],
            note=f"{report.words} {said}",
        )


def asks_for_remark(report: queries.ReportOnFile) -> bool:
    """Whether a report is accepted with a remark alone: a tester's without as-found figures.

    How the tester read until then is not shown by it, and the remark says why that may be.
    """
    return report.subject.kind is SubjectKind.TESTER_CERTIFICATE and not report.row.as_found


def _refuse_without_remark(report: queries.ReportOnFile, remark: str, *, accepted: bool) -> None:
    if len(remark) >= SHORTEST_REMARK:
        return
    if not accepted:
        refuse("remark", f"Say why it is rejected, in at least {SHORTEST_REMARK} characters.")
    if asks_for_remark(report):
        refuse(
            "remark",
            "It has no as-found figures, so it does not show how the tester read until then. Say "
            f"why it is accepted so, in at least {SHORTEST_REMARK} characters.",
        )


def refuse_own_or_reviewed(report: queries.ReportOnFile, by: Actor, names: dict[int, str]) -> None:
    """Pass where this person may review the report now.

    Raises:
        Conflict: somebody has reviewed it.
        NotAllowed: they entered it themselves.
    """
    if report.review is not None:
        said = "accepted" if report.review.accepted else "rejected"
        who = names[report.review.reviewed_by_id]
        raise Conflict(f"{who} has {said} the {report.words} already.")
    if by.is_person(report.entered_by_id):
        raise NotAllowed(
            f"You entered the {report.words} yourself; another supervisor or engineer has to "
            "review it."
        )
