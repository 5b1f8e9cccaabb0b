"""What is due of all equipment, a reference block, and what a tester's certificate may touch.

They stand here because the bench knows how often a block was read, and what was measured.
"""

from fastapi import APIRouter, Response

from app.bench.queries import indents_used
from app.equipment import queries
from app.equipment.queries import Subject, SubjectKind
from app.equipment.rules import indents_left_of
from app.people.queries import acts_about, names, open_holds_about
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.tracing.queries.measured import measured_since
from app.web.page import Page, Records

router = APIRouter()


@router.get("/equipment/due")
def show_due_board(page: Page, records: Records, by: SignedIn) -> Response:
    """Everything that is not simply in date, the most urgent first."""
    with records.read() as session:
        return page.show(
            "equipment/due.html",
            lines=queries.due_board(session, at=page.shop_time(), used=indents_used(session)),
            waiting=len(queries.waiting_reports(session)),
            may_review=may(by, Act.REVIEW_REPORT),
        )


@router.get("/blocks/{code:path}")
def show_block(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A reference block, what it is certified as, its indents, and whether it may be used."""
    with records.read() as session:
        block = queries.block(session, code.upper())
        report = queries.report(session, Subject(SubjectKind.BLOCK, block.id))
        used = indents_used(session, [block.id])[block.id]
        today = page.shop_time().date()
        return page.show(
            "equipment/block.html",
            block=block,
            report=report,
            due=queries.dues_of_blocks(session, [block], on=today)[block.id],
            used=used,
            left=indents_left_of(block.indents_most, used),
            names=names(session),
            acts=acts_about(session, "reference_block", block.code),
            on_hold=open_holds_about(session, "reference_block", block.code),
        )


@router.get("/tester-certificates/{key:int}/measured")
def show_measured(page: Page, records: Records, by: SignedIn, key: int) -> Response:
    """The coupons measured with a tester since the calibration before, with their panels."""
    with records.read() as session:
        found = measured_since(session, key, zone=page.settings.zone)
        return page.show(
            "tracing/measured.html",
            found=found,
            report=found.report,
            may_quarantine=may(by, Act.QUARANTINE_TESTER) and not found.quarantined,
        )
