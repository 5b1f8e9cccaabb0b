"""A material lot's own page: what was entered, what was found wrong in it, what was cut from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.panels import queries, service
from app.panels.records import MaterialLot
from app.people.queries import acts_about, names, open_holds_about
from app.people.records import Meaning
from app.people.rights import Act, may
from app.web.entries import kept
from app.web.page import PageMaker, Records

_CUT_SHOWN = 100


@dataclass(frozen=True)
class OpenedForm:
    """Which form of the page is open, "ask" or "answer", and what was typed into it."""

    form: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    refusal: Refusal | None = None


def lot_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    panels_after: int = 0,
    coupons_after: int = 0,
    opened: OpenedForm | None = None,
) -> Response:
    """The page of one lot, with every correction of it and the form that was asked for open.

    Raises:
        NotFound: no lot has that identity.
    """
    opened = opened or OpenedForm()
    with records.read() as session:
        lot = queries.lot(session, code.upper())
        panels = queries.lot_panels(session, lot.id, after=panels_after, most=_CUT_SHOWN + 1)
        coupons = queries.lot_coupons(session, lot.id, after=coupons_after, most=_CUT_SHOWN + 1)
        corrections = queries.lot_corrections(session, lot.id)
        waiting = next((one for one in corrections if one.answer is None), None)
        typed = opened.typed or (_as_it_stands(lot) if opened.form == "ask" else {})
        safe = {name: text for name, text in typed.items() if name != "password"}
        own = waiting is not None and by.is_person(waiting.asked_by_id)
        return page.show(
            "panels/lot.html",
            lot=lot,
            panels=panels[:_CUT_SHOWN],
            coupons=coupons[:_CUT_SHOWN],
            panels_last=panels[_CUT_SHOWN - 1].id if len(panels) > _CUT_SHOWN else None,
            coupons_last=coupons[_CUT_SHOWN - 1].id if len(coupons) > _CUT_SHOWN else None,
            entered_by=names(session)[lot.entered_by_id],
            acts=acts_about(session, "material_lot", lot.code),
            on_hold=open_holds_about(session, "material_lot", lot.code),
            may_receive=may(by, Act.RECEIVE_MATERIAL),
            corrections=corrections,
            waiting=waiting,
            form=opened.form,
            may_ask=waiting is None and may(by, Act.ASK_LOT_CORRECTION),
            may_answer=waiting is not None and not own and may(by, Act.ANSWER_LOT_CORRECTION),
            asked_it=own,
            surfaces=[(surface, surface) for surface in service.SURFACES],
            meaning=Meaning.ANSWERED_LOT_CORRECTION.value,
            **kept(safe, opened.refusal),
        )


def _as_it_stands(lot: MaterialLot) -> dict[str, str]:
    """What the form for a correction begins with: the figures on record."""
    figures = queries.figures_of(lot)
    figures["product_form"] = figures.pop("form")
    return figures | {"seen": queries.figures_seen(lot)}
