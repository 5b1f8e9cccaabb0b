"""Tags to print: what hangs on a panel, or on an instrument that is on hold."""

import hashlib
from io import BytesIO

import segno
from fastapi import APIRouter, Response
from markupsafe import Markup

from app.errors import Conflict
from app.panels import queries as panels
from app.people.signed_in import SignedIn
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.queries.upstream import nonconformances_of, open_holds_of, upstream_lines
from app.release.service import case_of
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/panels/{code:path}/tag")
def show_panel_tag(
    page: Page, records: Records, by: SignedIn, code: str, size: str = "sheet"
) -> Response:
    """A panel's tag: its mark to scan, where it stands, and every open hold on it."""
    zone = page.settings.zone
    with records.read() as session:
        key = panel_id(session, code.upper())
        facts = panel_facts(session, [key], zone=zone, in_full=True)[key]
        case = case_of(facts)
        return page.show(
            "release/hold_tag.html",
            kind="panel",
            code=facts.code,
            back=("/panels/", facts.code),
            standing=case.standing.value,
            holds=[
                (one.reason, one.placed_by, one.placed_at) for one in open_holds_of(session, key)
            ],
            numbers=nonconformances_of(session, key),
            place=panels.where_stand(session, [key]).get(key),
            hash=case.evidence_sha256[:12],
            qr=qr_code(facts.code),
            at=now(),
            size=_size(size),
        )


@router.get("/holds/{hold_id:int}/tag")
def show_hold_tag(
    page: Page, records: Records, by: SignedIn, hold_id: int, size: str = "sheet"
) -> Response:
    """The tag of a thing that is on hold, with every open hold on it.

    Raises:
        NotFound: there is no such hold.
        Conflict: it is lifted, so that its tag has to come off.
    """
    with records.read() as session:
        lines = upstream_lines(session, hold_id=hold_id)
        if not lines or lines[0].lifted_at is not None:
            raise Conflict(
                f"No hold {hold_id} is open, so it has no tag. Take off a tag that hangs."
            )
        hold = lines[0]
        on_it = upstream_lines(session, open_ones=True, thing=(hold.kind, hold.code))
    told = "\n".join(f"{one.id} {one.reason}" for one in on_it)
    return page.show(
        "release/hold_tag.html",
        kind=hold.kind.value.replace("_", " "),
        code=hold.code,
        back=("/holds/", str(hold.id)),
        standing="on hold",
        holds=[(one.reason, one.placed_by, one.placed_at) for one in on_it],
        numbers=(),
        place=None,
        hash=hashlib.sha256(told.encode()).hexdigest()[:12],
        qr=qr_code(hold.code),
        at=now(),
        size=_size(size),
    )


def qr_code(code: str) -> Markup:
    """An identity as a QR code (ISO/IEC 18004), for the page itself: SVG, sized by its style sheet.

    It holds the identity alone, as a scanner types it; a quiet zone of four modules is part of the
    drawing, and level Q restores a quarter of it, so that a scratched tag can still be read.
    """
    drawn = BytesIO()
    segno.make(code, error="q", micro=False, boost_error=False).save(
        drawn,
        kind="svg",
        border=4,
        light="#fff",
        dark="#000",
        xmldecl=False,
        svgns=True,
        omitsize=True,
        svgclass="tag__code",
        lineclass=None,
        nl=False,
    )
    return Markup(drawn.getvalue().decode())  # noqa: S704 - drawn here; no text of it is anybody's


def _size(asked: str) -> str:
    """The label of 100 x 150 mm, or a sheet of the printer's own size (A4 or Letter)."""
    return "label" if asked == "label" else "sheet"
