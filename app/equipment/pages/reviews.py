"""Reports that a second person reviews: the list of them, and each with what it rests on."""

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries, service
from app.equipment.forms import ReviewForm
from app.equipment.pages.shared import download_headers
from app.equipment.queries import ReportOnFile, Subject, SubjectKind
from app.equipment.rules import as_found, as_found_findings, judge_figures, tolerance_notes
from app.errors import Refusal
from app.judging.furnace.procedure import CheckKind
from app.judging.verdict import Finding
from app.people.queries import acts_about, names
from app.people.records import Meaning
from app.people.rights import Act, lacks, may
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_AWAY = {"password": ""}


@router.get("/reviews")
def show_reviews(page: Page, records: Records, by: SignedIn) -> Response:
    """Reports that wait for a second person, the longest waiting first."""
    with records.read() as session:
        return page.show(
            "equipment/reviews.html",
            reports=queries.waiting_reports(session),
            names=names(session),
            by_id=by.id,
            may_review=may(by, Act.REVIEW_REPORT),
        )


@router.get("/report-files/{sha256}")
def show_report_file(records: Records, by: SignedIn, sha256: str) -> Response:
    """A report's file, byte for byte."""
    with records.read() as session:
        found = queries.report_file(session, sha256)
        return Response(
            found.content,
            media_type=found.media_type,
            headers=download_headers(found.file_name),
        )


def _shown(kind: SubjectKind) -> Callable[..., Response]:
    """The route that shows a report of one kind, what it rests on, and its review."""

    def show_report(page: Page, records: Records, by: SignedIn, code: str, key: int) -> Response:
        return _report_page(page, records, by, code, Subject(kind, key))

    return show_report


def _reviewed(kind: SubjectKind) -> Callable[..., Response]:
    """The route that accepts or rejects a report of one kind."""

    def submit_review(
        page: Page, records: Records, by: SignedIn, code: str, key: int, *, typed: TypedForm
    ) -> Response:
        return _review(page, records, by, code, Subject(kind, key), typed)

    return submit_review


for _kind in SubjectKind:
    _address = f"{_kind.address}/{{key:int}}"
    router.add_api_route(_address, _shown(_kind), methods=["GET"])
    router.add_api_route(f"{_address}/review", _reviewed(_kind), methods=["POST"])


def _review(  # noqa: PLR0917 - what every route hands on
    page: PageMaker, records: Records, by: Actor, code: str, subject: Subject, typed: TypedForm
) -> Response:
    try:
        form = parse(ReviewForm, typed)
        with records.read() as session:
            report = queries.report_of(session, subject, code.upper())
        service.review_report(
            records,
            subject,
            accepted=form.answer == "accept",
            remark=form.remark,
            password=form.password,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _report_page(page, records, by, code, subject, typed=typed, refusal=refusal)
    said = "accepted" if form.answer == "accept" else "rejected"
    return page.see_other("/reviews", notice=f"The {report.words} is {said}.")


def _report_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    subject: Subject,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        report = queries.report_of(session, subject, code.upper())
        file = report_file(session, report)
        return page.show(
            f"equipment/review_{subject.kind.replace(' ', '_')}.html",
            report=report,
            file=file,
            names=names(session),
            acts=acts_about(session, *report.about),
            own=by.is_person(report.entered_by_id),
            lacks=lacks(by, Act.REVIEW_REPORT),
            may_review=may(by, Act.REVIEW_REPORT)
            and report.review is None
            and not by.is_person(report.entered_by_id),
            remark_needed=service.asks_for_remark(report),
            meaning=Meaning.REVIEWED_REPORT.value,
            **_besides(session, report),
            **kept({**(typed or {}), **_AWAY}, refusal),
        )


def report_file(session: Any, report: ReportOnFile) -> Any:
    """The file that came with a report, or None."""
    digest = getattr(report.row, "report_sha256", None)
    return None if digest is None else queries.report_file(session, digest)


def _besides(session: Any, report: ReportOnFile) -> dict[str, Any]:
    """What a report of its kind shows besides: findings, and what it was judged by."""
    if report.subject.kind is SubjectKind.FURNACE_CHECK:
        return {"findings": _findings(session, report)}
    if report.subject.kind is SubjectKind.SENSOR_CERTIFICATE:
        sensor = queries.sensor(session, report.about[1])
        return {
            "sensor": sensor,
            "findings": tolerance_notes(sensor.thermocouple_type, report.row.corrections),
        }
    if report.subject.kind is SubjectKind.TESTER_CERTIFICATE:
        tester = queries.tester(session, report.about[1])
        paper = queries.found_paper(report.row, tester)
        return {
            "tester": tester,
            "found": as_found(paper),
            "findings": as_found_findings(paper),
        }
    if report.subject.kind is SubjectKind.QUALIFICATION:
        return {"procedure": queries.procedure_named(session, report.row.procedure_id)}
    return {}


def _findings(session: Any, report: ReportOnFile) -> tuple[Finding, ...]:
    """What the figures show, by the procedure's revision that judged them when they came in."""
    check = report.row
    procedure = queries.procedure_of_check(session, check)
    if check.results is None or procedure is None or check.made_to_class is None:
        return ()
    kind = CheckKind(check.kind.value)
    return judge_figures(kind, check.results, procedure, furnace_class=check.made_to_class)
