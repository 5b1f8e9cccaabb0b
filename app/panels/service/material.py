"""Decisions about material: lots received, panels and coupons cut from them.

``at`` is the server's time in the shop's zone: its calendar day is the day of the entry.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import NotFound, Refusal, refuse
from app.judging.witness.acceptance import Surface
from app.panels import queries
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel
from app.panels.rules import one_line, wrong_surface
from app.people.rights import Act, require

SURFACES = tuple(surface.value for surface in Surface)
"""What a coupon's surface may be, as in an acceptance table."""

_MOST_TREATMENTS = 99
_LONGEST_SIDE_MM = Decimal(100_000)
_THICKEST_MM = Decimal(1000)


@dataclass(frozen=True, slots=True)
class Material:
    """What a lot is made of, as its certificate says."""

    alloy: str
    incoming_temper: str
    form: str
    thickness_mm: Decimal
    surface: str


def receive_lot(
    database: Database,
    *,
    code: str,
    material: Material,
    cast: str,
    certificate: str,
    received_on: date,
    by: Actor,
    at: datetime,
) -> str:
    """Put a material lot on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.RECEIVE_MATERIAL)
    check_material(material)
    if received_on > at.date():
        refuse("received_on", f"{received_on} is still to come; give the day the lot came.")
    lot = MaterialLot(
        code=as_code(code),
        alloy=one_line(material.alloy),
        incoming_temper=one_line(material.incoming_temper),
        form=one_line(material.form),
        thickness_mm=material.thickness_mm,
        surface=material.surface,
        cast=one_line(cast),
        certificate=one_line(certificate),
        received_on=received_on,
        entered_by_id=by.id,
        entered_at=at,
    )
    with database.write() as session:
        identity = claim(session, lot.code, kind="material_lot", at=at)
        session.flush()
        session.add(lot)
        append(
            session,
            Tag.LOT_RECEIVED,
            by=by,
            at=at,
            about=("material_lot", lot.code),
            rows=[identity, lot],
            note=f"{lot.alloy} {lot.incoming_temper} {lot.form}, {lot.thickness_mm} mm",
        )
        return lot.code


def register_panel(
    database: Database,
    *,
    code: str,
    lot: str,
    drawing: str,
    order_number: str,
    target_temper: str,
    length_mm: Decimal,
    width_mm: Decimal,
    treatments_most: int,
    treatments_before: int,
    by: Actor,
    at: datetime,
) -> str:
    """Put a panel cut from a lot on record and hand back its identity.

    ``treatments_most`` counts every thermal treatment of the panel's life, ``treatments_before``
    those it had seen when it came.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.RECEIVE_MATERIAL)
    for field, side in (("length_mm", length_mm), ("width_mm", width_mm)):
        if not 0 < side <= _LONGEST_SIDE_MM:
            refuse(field, f"{side} mm cannot be; give it above 0 and up to {_LONGEST_SIDE_MM}.")
    if not 1 <= treatments_most <= _MOST_TREATMENTS:
        refuse("treatments_most", f"Give the most treatments as 1 to {_MOST_TREATMENTS}.")
    if not 0 <= treatments_before <= _MOST_TREATMENTS:
        refuse("treatments_before", f"Give the treatments so far as 0 to {_MOST_TREATMENTS}.")
    with database.write() as session:
        panel = Panel(
            code=as_code(code),
            lot_id=_lot(session, lot).id,
            drawing=one_line(drawing),
            order_number=one_line(order_number),
            target_temper=one_line(target_temper),
            length_mm=length_mm,
            width_mm=width_mm,
            treatments_most=treatments_most,
            treatments_before=treatments_before,
            decided=Decided.OPEN,
            registered_by_id=by.id,
            registered_at=at,
        )
        identity = claim(session, panel.code, kind="panel", at=at)
        session.flush()
        session.add(panel)
        append(
            session,
            Tag.PANEL_REGISTERED,
            by=by,
            at=at,
            about=("panel", panel.code),
            rows=[identity, panel],
            note=f"cut from {lot}, drawing {panel.drawing}, to become {panel.target_temper}",
        )
        return panel.code


def register_coupons(
    database: Database,
    *,
    lot: str,
    codes: Sequence[str],
    place: str,
    by: Actor,
    at: datetime,
    thickness_mm: Decimal | None = None,
    diameter_mm: Decimal | None = None,
    surface: str | None = None,
) -> int:
    """Put coupons cut from a lot on record, all or none, each cut and marked; how many.

    ``place`` is where they lie; thickness and surface are the lot's where None. ``diameter_mm`` is
    that of round coupons, None for flat ones.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong with which, or whose identity it is.
    """
    require(by, Act.RECEIVE_MATERIAL)
    if thickness_mm is not None:
        _check_thickness(thickness_mm)
    if diameter_mm is not None and not 0 < diameter_mm <= _THICKEST_MM:
        refuse(
            "diameter_mm",
            f"A diameter of {diameter_mm} mm cannot be; give it above 0 and up to "
            f"{_THICKEST_MM} mm, or leave it empty for flat coupons.",
        )
    if surface is not None:
        _check_surface(surface)
    with database.write() as session:
        cut_from = _lot(session, lot)
        for typed in codes:
            coupon = Coupon(
                code=_coupon_code(typed),
                lot_id=cut_from.id,
                thickness_mm=cut_from.thickness_mm if thickness_mm is None else thickness_mm,
                surface=cut_from.surface if surface is None else surface,
                registered_by_id=by.id,
                registered_at=at,
                diameter_mm=diameter_mm,
            )
            _register_coupon(session, coupon, cut_from, place=one_line(place), by=by, at=at)
    return len(codes)


def _register_coupon(
    session: Session, coupon: Coupon, lot: MaterialLot, *, place: str, by: Actor, at: datetime
) -> None:
    """One coupon with its first step of custody and its own entry on the trail."""
    identity = claim(session, coupon.code, kind="coupon", at=at)
    session.flush()
    session.add(coupon)
    session.flush()
    step = CustodyStep(
        coupon_id=coupon.id,
        step=Custody.CUT,
        place=place,
        note="",
        by_id=by.id,
        taken_at=at,
        entered_at=at,
    )
    session.add(step)
    append(
        session,
        Tag.COUPON_REGISTERED,
        by=by,
        at=at,
        about=("coupon", coupon.code),
        rows=[identity, coupon, step],
        note=f"cut and marked from {lot.code}, {_size(coupon)}; lies at {place}",
    )


def _size(coupon: Coupon) -> str:
    thick = f"{coupon.thickness_mm} mm"
    return thick if coupon.diameter_mm is None else f"{thick}, {coupon.diameter_mm} mm round"


def _lot(session: Session, code: str) -> MaterialLot:
    try:
        return queries.lot(session, code.strip().upper())
    except NotFound as fault:
        refuse("lot", fault.sentence)


def _coupon_code(typed: str) -> str:
    try:
        return as_code(typed)
    except Refusal as fault:
        refuse("codes", fault.sentence)


def check_material(material: Material) -> None:
    """Refuse a thickness that cannot be, or a surface that no table asks for."""
    _check_thickness(material.thickness_mm)
    _check_surface(material.surface)


def _check_thickness(thickness_mm: Decimal) -> None:
    if not 0 < thickness_mm <= _THICKEST_MM:
        refuse(
            "thickness_mm",
            f"A thickness of {thickness_mm} mm cannot be; give it above 0 and up to "
            f"{_THICKEST_MM} mm.",
        )


def _check_surface(surface: str) -> None:
    problem = wrong_surface(surface, SURFACES)
    if problem is not None:
        refuse("surface", problem)
