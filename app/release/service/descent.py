"""A panel is divided, or marked anew: others stand for it from then on, and carry on what it had.

Nothing a panel went through is lost by giving it another identity: the loads, coupons and holds of
the one before count for every one that comes of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.records import Identity
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_sha256
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.records import Decided, Descent, HoldCause, Panel, PanelDescent
from app.panels.service import hold_panel, refuse_final
from app.people import service as signing
from app.people.records import Meaning, Signature
from app.people.rights import Act, require
from app.release.queries.panel_facts import panel_facts
from app.release.rules.dividing import Piece, check_pieces, descent_content, why_under_way
from app.release.rules.facts import PanelFacts
from app.release.service.cases import needed_reason

_TAGS = {Descent.DIVIDED: Tag.PANEL_DIVIDED, Descent.MARKED_ANEW: Tag.PANEL_MARKED_ANEW}


def divide_panel(
    database: Database,
    code: str,
    pieces: Sequence[Piece],
    *,
    drawing: str,
    reason: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> list[str]:
    """Divide a panel into pieces with identities of their own; hands these back.

    The pieces keep its lot, order, temper and limit of treatments; an empty ``drawing`` is the
    panel's own.

    Raises:
        NotAllowed: the person divides no panels.
        NotFound: no such panel.
        Conflict: an identity belongs to something already.
        Refusal: nothing more is done with the panel, it is under way in a load, the pieces cannot
            be cut from it, the reason is shorter than ten signs, or the password is wrong.
    """
    given = [Piece(_code(one.code), one.length_mm, one.width_mm) for one in pieces]
    step = _Step(Descent.DIVIDED, needed_reason(reason), " ".join(drawing.split()))
    return _replace(database, code, given, step, password=password, by=by, at=at, zone=zone)


def mark_anew(
    database: Database,
    code: str,
    new_code: str,
    *,
    reason: str,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> str:
    """Give a whole panel a new identity, which is handed back; its old one is never used again.

    Raises:
        NotAllowed, NotFound, Conflict, Refusal: as :func:`divide_panel`.
    """
    step = _Step(Descent.MARKED_ANEW, needed_reason(reason), "")
    new = _code(new_code, field="code")
    return _replace(database, code, new, step, password=password, by=by, at=at, zone=zone)[0]


@dataclass(frozen=True, slots=True)
class _Step:
    """How panels come of one, why, and by which drawing; an empty one is the panel's own."""

    kind: Descent
    reason: str
    drawing: str


def _replace(
    database: Database,
    code: str,
    given: list[Piece] | str,
    step: _Step,
    *,
    password: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> list[str]:
    """Put others in the panel's place, all in one transaction; ``given`` is one new mark, or all.

    Rights first, then the password, which is slow, then the decision.
    """
    require(by, Act.DIVIDE_PANEL)
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        parent = panels.panel(session, code)
        refuse_final(parent)
        facts = panel_facts(session, [parent.id], zone=zone)[parent.id]
        under_way = why_under_way(facts)
        if under_way is not None:
            raise Refusal(under_way)
        whole = isinstance(given, str)
        new = [Piece(given, parent.length_mm, parent.width_mm)] if isinstance(given, str) else given
        if not whole:
            check_pieces(parent.code, parent.length_mm, parent.width_mm, new)
        drawing = step.drawing or parent.drawing
        content = descent_content(
            parent=parent.code,
            kind=step.kind.value,
            reason=step.reason,
            drawing=drawing,
            pieces=new,
        )
        digest = paper_sha256(content)
        signature = signing.sign(
            session, proof, meaning=Meaning.DIVIDED, content_sha256=digest, at=at
        )
        rows: list[Base] = [signature]
        for piece in new:
            rows += _piece(session, parent, piece, step, signature=signature, drawing=drawing)
        parent.decided = Decided.REPLACED
        append(
            session,
            _TAGS[step.kind],
            by=by,
            at=at,
            about=("panel", parent.code),
            rows=[*rows, parent],
            note=f"{', '.join(piece.code for piece in new)}: {step.reason}",
        )
        for piece in new:
            _carry_holds(session, piece.code, facts, by=by, at=at)
        return [piece.code for piece in new]


def _piece(
    session: Session,
    parent: Panel,
    piece: Piece,
    step: _Step,
    *,
    signature: Signature,
    drawing: str,
) -> list[Base]:
    """A panel that comes of another, with its identity and its descent."""
    at, by_id = signature.signed_at, signature.person_id
    identity: Identity = claim(session, piece.code, kind="panel", at=at)
    session.flush()
    panel = Panel(
        code=piece.code,
        lot_id=parent.lot_id,
        drawing=drawing,
        order_number=parent.order_number,
        target_temper=parent.target_temper,
        length_mm=piece.length_mm,
        width_mm=piece.width_mm,
        treatments_most=parent.treatments_most,
        treatments_before=parent.treatments_before,
        decided=Decided.OPEN,
        registered_by_id=by_id,
        registered_at=at,
    )
    session.add(panel)
    session.flush()
    descent = PanelDescent(
        panel_id=panel.id,
        parent_id=parent.id,
        kind=step.kind,
        reason=step.reason,
        signature_id=signature.id,
        by_id=by_id,
        at=at,
    )
    session.add(descent)
    return [identity, panel, descent]


def _carry_holds(
    session: Session, code: str, facts: PanelFacts, *, by: Actor, at: datetime
) -> None:
    """Hold a piece for every open hold, and every open nonconformance, of what it came from."""
    panel = panels.panel(session, code)
    upstream = panels.upstream_of_holds(session, [hold.id for hold in facts.open_holds])
    held = [
        (f"{facts.code}, of which it came, is on hold: {hold.reason}", upstream.get(hold.id))
        for hold in facts.open_holds
    ]
    held += [
        (f"{one.code} of {facts.code}, of which it came, is open: {one.description}", None)
        for one in facts.nonconformances
        if one.is_open
    ]
    for reason, upstream_id in held:
        hold_panel(
            session,
            panel.id,
            code,
            reason=reason,
            cause=HoldCause.PARENT_HELD,
            upstream_hold_id=upstream_id,
            by=by,
            at=at,
        )


def _code(typed: str, *, field: str = "pieces") -> str:
    try:
        return as_code(typed)
    except Refusal as fault:
        raise Refusal(fault.sentence, fields={field: fault.sentence}) from None
