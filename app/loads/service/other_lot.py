"""A supervisor accepts a coupon of another lot than its panel's."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotFound, Refusal
from app.loads import run_queries
from app.loads.records import LotException
from app.panels.records import Coupon, Panel
from app.panels.service import refuse_final
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign


def accept_other_lot(
    database: Database,
    coupon_code: str,
    panel_code: str,
    *,
    reason: str,
    password: str,
    by: Actor,
    at: datetime,
) -> None:
    """Keep, signed, that a coupon of another lot may speak for a panel.

    Raises:
        NotAllowed: the person is no supervisor.
        NotFound: no such coupon or panel.
        Conflict: it is accepted already.
        Refusal: no reason, a wrong password, both are of one lot, or the panel is scrapped,
            returned or replaced.
    """
    require(by, Act.ACCEPT_OTHER_LOT)
    if not reason.strip():
        sentence = "Say why the coupon may speak for a panel of another lot."
        raise Refusal(sentence, fields={"reason": sentence})
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        coupon, panel = _pair(session, coupon_code, panel_code)
        content = {"coupon": coupon.code, "panel": panel.code, "reason": reason.strip()}
        signature = sign(
            session,
            proof,
            meaning=Meaning.LOT_EXCEPTION,
            content_sha256=paper_sha256(content),
            at=at,
        )
        row = LotException(
            coupon_id=coupon.id,
            panel_id=panel.id,
            reason=reason.strip(),
            by_id=by.id,
            at=at,
            signature_id=signature.id,
        )
        session.add(row)
        append(
            session,
            Tag.OTHER_LOT_ACCEPTED,
            by=by,
            at=at,
            about=("panel", panel.code),
            rows=[signature, row],
            note=f"coupon {coupon.code}: {row.reason}",
        )


def _pair(session: Session, coupon_code: str, panel_code: str) -> tuple[Coupon, Panel]:
    """The two, of different lots, without an exception so far."""
    coupon = session.scalars(select(Coupon).where(Coupon.code == coupon_code)).one_or_none()
    panel = session.scalars(select(Panel).where(Panel.code == panel_code)).one_or_none()
    if coupon is None:
        raise NotFound(f"No coupon {coupon_code} is on record.")
    if panel is None:
        raise NotFound(f"No panel {panel_code} is on record.")
    refuse_final(panel)
    if coupon.lot_id == panel.lot_id:
        raise Refusal(
            f"Coupon {coupon.code} and panel {panel.code} are of one lot; nothing is to accept."
        )
    if run_queries.find_exception(session, coupon.id, panel.id) is not None:
        raise Conflict(
            f"Coupon {coupon.code} is accepted for panel {panel.code} already; plan the load."
        )
    return coupon, panel
