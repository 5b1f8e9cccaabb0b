"""What was entered wrongly of a material lot: asked for by one person, answered by another.

It stands here and not with the lots, because asking holds whatever rests on the lot and approving
judges its coupons again, all in the transaction of the act itself. Nothing waits for the answer: a
lot in doubt is held from the moment somebody doubts it, and the hold outlives the answer until a
supervisor lifts it like any other.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append, together
from app.bench.queries.papers_since import judged_at_hand
from app.bench.service.verdicts import judge_again
from app.database import Base, Database
from app.equipment.rules.reports import SentFile
from app.equipment.service.terms import keep_file
from app.errors import Conflict, NotAllowed, NotFound, Refusal, refuse
from app.loads.records import LoadCoupon
from app.panels import queries as panels
from app.panels.queries.lot_corrections import answer_content
from app.panels.records import (
    Coupon,
    HoldOn,
    LotCorrection,
    LotCorrectionAnswer,
    MaterialLot,
    Panel,
)
from app.panels.rules import changes_of, changes_words, one_line
from app.panels.service import Material, check_material
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import Act, require
from app.release.service.upstream import HeldThing, hold_thing

SHORTEST = 10
"""Letters and signs of a reason, and of what shows the right figures."""
_AT_ONCE = 100
"""Coupons judged together; all of them in the one transaction."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a lot should have been entered, all its figures, and what shows it.

    ``seen`` is :func:`app.panels.queries.figures_seen` of what the person had before them.
    """

    material: Material
    cast: str
    certificate: str
    reason: str
    evidence: str
    seen: str
    file: SentFile | None = None

    @property
    def figures(self) -> dict[str, str]:
        """The figures as a lot's are kept."""
        return {
            "alloy": one_line(self.material.alloy),
            "incoming_temper": one_line(self.material.incoming_temper),
            "form": one_line(self.material.form),
            "thickness_mm": str(self.material.thickness_mm),
            "surface": self.material.surface,
            "cast": one_line(self.cast),
            "certificate": one_line(self.certificate),
        }


def ask_lot_correction(
    database: Database, lot_code: str, wanted: Wanted, *, by: Actor, at: datetime
) -> tuple[int, int]:
    """Ask for a lot to be corrected, and hold the lot with every panel that rests on it, at once.

    Hands back the hold's number and how many panels it put on hold. The lot's figures stay as they
    are until a second person has approved.

    Raises:
        NotFound: no such lot.
        Conflict: a correction of it waits already, or the figures changed since the form was shown.
        Refusal: nothing differs, a figure cannot be, the reason or the evidence is too short, or
            the file is none that is kept.
    """
    require(by, Act.ASK_LOT_CORRECTION)
    check_material(wanted.material)
    reason = _said(wanted.reason, "reason", "what was entered wrongly, and how you know")
    evidence = _said(
        wanted.evidence, "evidence", "what shows the right figures, such as the certificate's page"
    )
    with database.write() as session:
        lot = panels.lot(session, lot_code)
        if panels.waiting_correction(session, lot_id=lot.id) is not None:
            raise Conflict(
                f"A correction of lot {lot.code} waits for a second person's answer already; once "
                "it is answered, ask for what is still wrong then."
            )
        if panels.figures_seen(lot) != wanted.seen:
            raise Conflict(
                f"Lot {lot.code} was corrected since this page was opened. Open its page again and "
                "look what stands there now; nothing was recorded."
            )
        before, after = panels.figures_of(lot), wanted.figures
        changes = changes_of(before, after)
        if not changes:
            raise Refusal(
                f"Nothing differs from what is on record of lot {lot.code}: change the figure that "
                "was entered wrongly."
            )
        told = changes_words(changes)
        digest, kept = keep_file(session, wanted.file, at=at)
        held, count = hold_thing(
            session,
            HeldThing(HoldOn.MATERIAL_LOT, lot.code),
            reason=f"What was entered of it may be wrong, {told}: {reason}",
            by=by,
            at=at,
        )
        row = LotCorrection(
            lot_id=lot.id,
            before=before,
            after=after,
            reason=reason,
            evidence=evidence,
            evidence_sha256=digest,
            upstream_hold_id=held.id,
            asked_by_id=by.id,
            asked_at=at,
        )
        session.add(row)
        append(
            session,
            Tag.LOT_CORRECTION_ASKED,
            by=by,
            at=at,
            about=("material_lot", lot.code),
            rows=[*kept, row],
            note=f"{told}: {reason}",
        )
        return held.id, count


def answer_lot_correction(
    database: Database,
    lot_code: str,
    correction_id: int,
    *,
    approved: bool,
    reason: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> int:
    """Approve or decline a correction of a lot, signed; how many coupons changed with the lot.

    Approved, the lot's figures change, a coupon's thickness or surface with them where it was the
    lot's, and every coupon concerned that was judged before is judged again; a panel in use whose
    coupon turned is recalled. Declined, nothing changes. The hold stays either way, until it is
    lifted.

    Raises:
        NotAllowed: the person may not, or asked for it, under whatever account.
        NotFound, Conflict: no such correction of the lot, or it has been answered.
        Refusal: the reason is too short, or the password is wrong.
    """
    require(by, Act.ANSWER_LOT_CORRECTION)
    reason = _said(reason, "reason", "why you approve or decline")
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        lot = panels.lot(session, lot_code)
        asked = _open_correction(session, lot, correction_id)
        if by.is_person(asked.asked_by_id):
            raise NotAllowed(
                "You asked for this correction. What a lot is made of is changed by two people: "
                "another supervisor or engineer has to answer."
            )
        moved = _moved_with(session, lot, asked) if approved else []
        coupons = [_as_it_was(one) for one in moved]
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.ANSWERED_LOT_CORRECTION,
            content_sha256=answer_content(asked, approved=approved, reason=reason, coupons=coupons),
            at=at,
        )
        row = LotCorrectionAnswer(
            correction_id=asked.id,
            approved=approved,
            reason=reason,
            coupons=coupons,
            signature_id=signature.id,
            answered_by_id=by.id,
            answered_at=at,
        )
        session.add(row)
        # The database changes a lot only where the approval is on record.
        session.flush()
        changed: list[Base] = _corrected(lot, moved, asked) if approved else []
        told = changes_words(changes_of(asked.before, asked.after))
        with together(session):
            append(
                session,
                Tag.LOT_CORRECTION_DECIDED,
                by=by,
                at=at,
                about=("material_lot", lot.code),
                rows=[signature, row, *changed],
                note=f"{'approved' if approved else 'declined'}, {told}: {reason}",
            )
            for one in moved:
                append(
                    session,
                    Tag.COUPON_CORRECTED,
                    by=by,
                    at=at,
                    about=("coupon", one.code),
                    rows=[one],
                    note=f"with lot {lot.code}: {one.thickness_mm} mm, {one.surface}",
                )
        if approved:
            _judge_again(session, lot, by=by, at=at, zone=zone)
        return len(moved)


def _said(typed: str, field: str, what: str) -> str:
    words = " ".join(typed.split())
    if len(words) < SHORTEST:
        refuse(field, f"Say {what}, in at least {SHORTEST} characters.")
    return words


def _open_correction(session: Session, lot: MaterialLot, correction_id: int) -> LotCorrection:
    asked = session.get(LotCorrection, correction_id)
    if asked is None or asked.lot_id != lot.id:
        raise NotFound(f"Lot {lot.code} has no such correction. Load its page again.")
    waiting = panels.waiting_correction(session, lot_id=lot.id)
    if waiting is None or waiting.id != asked.id:
        raise Conflict("Somebody has answered this correction meanwhile; load the page again.")
    return asked


def _moved_with(session: Session, lot: MaterialLot, asked: LotCorrection) -> list[Coupon]:
    """The coupons of the lot that have a figure of it which is corrected.

    One that was entered with a thickness or surface of its own keeps it: it was cut or stripped.
    """
    changed = {one.name for one in changes_of(asked.before, asked.after)}
    of_lot = session.scalars(select(Coupon).where(Coupon.lot_id == lot.id).order_by(Coupon.id))
    return [
        one
        for one in of_lot
        if ("thickness_mm" in changed and one.thickness_mm == lot.thickness_mm)
        or ("surface" in changed and one.surface == lot.surface)
    ]


def _as_it_was(coupon: Coupon) -> dict[str, Any]:
    return {
        "id": coupon.id,
        "code": coupon.code,
        "thickness_mm": str(coupon.thickness_mm),
        "surface": coupon.surface,
    }


def _corrected(lot: MaterialLot, moved: Sequence[Coupon], asked: LotCorrection) -> list[Base]:
    """Put the figures right in lot and coupons; the lot's row, for its entry on the trail."""
    for one in moved:
        if one.thickness_mm == lot.thickness_mm:
            one.thickness_mm = Decimal(asked.after["thickness_mm"])
        if one.surface == lot.surface:
            one.surface = asked.after["surface"]
    for name, figure in asked.after.items():
        setattr(lot, name, Decimal(figure) if name == "thickness_mm" else figure)
    return [lot]


def _judge_again(
    session: Session, lot: MaterialLot, *, by: Actor, at: datetime, zone: tzinfo
) -> None:
    """Judge what was judged of the lot's coupons, and of those that ride on its panels."""
    session.flush()
    of_lot = select(Coupon.id).where(Coupon.lot_id == lot.id)
    rode = select(LoadCoupon.coupon_id).join(Panel, Panel.id == LoadCoupon.panel_id)
    on_its_panels = rode.where(Panel.lot_id == lot.id)
    concerned = session.scalars(judged_at_hand([of_lot, on_its_panels]).distinct()).all()
    for first in range(0, len(concerned), _AT_ONCE):
        judge_again(session, concerned[first : first + _AT_ONCE], by=by, at=at, zone=zone)
