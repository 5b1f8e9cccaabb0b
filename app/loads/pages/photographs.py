"""Photographs of a panel: choose and keep them, and show them again."""

from urllib.parse import quote

from fastapi import APIRouter, Response

from app.database import Database
from app.errors import NotFound, Refusal
from app.loads import queries, run_queries, service
from app.loads.bags import photograph, surface
from app.loads.bags.bag_forms import PhotographForm
from app.loads.picture import Shelf
from app.loads.service import Picture
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.settings import Settings
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

# A picture of its own: nothing may run or load in it.
_PICTURE_POLICY = "default-src 'none'; sandbox"
_small: Shelf[bytes] = Shelf(200)


@router.get("/loads/{code:path}/photographs/{key:int}/small")
def show_small(records: Records, by: SignedIn, code: str, key: int) -> Response:
    """A photograph, small and upright, for a page that shows many."""
    content, _, _ = _kept(records, code, key)
    made = _small.get((code, str(key)), lambda: photograph.small(content))
    return Response(made, media_type="image/jpeg", headers=_headers())


@router.get("/loads/{code:path}/photographs/{key:int}")
def show_photograph(records: Records, by: SignedIn, code: str, key: int) -> Response:
    """A photograph, byte for byte as it came."""
    content, media_type, name = _kept(records, code, key)
    told = f"inline; filename*=UTF-8''{quote(name, safe='')}"
    return Response(content, media_type=media_type, headers=_headers(told))


def _headers(disposition: str = "inline") -> dict[str, str]:
    return {
        "Content-Security-Policy": _PICTURE_POLICY,
        "Content-Disposition": disposition,
        # A kept photograph never changes.
        "Cache-Control": "private, max-age=86400, immutable",
    }


def _kept(records: Database, code: str, key: int) -> tuple[bytes, str, str]:
    with records.read() as session:
        load = queries.load(session, code)
        found = run_queries.photograph(session, load.id, key)
    if found is None:
        raise NotFound(f"Load {code} has no such photograph on record.")
    return found


@router.get("/loads/{code:path}/photographs/of/{panel:path}")
def show_photographs(page: Page, records: Records, by: SignedIn, code: str, panel: str) -> Response:
    """A panel's photographs in a load, and the form to add some."""
    return _photographs_page(page, records, code, panel, may_add=may(by, Act.UNWRAP), typed={})


@router.post("/loads/{code:path}/photographs/of/{panel:path}")
def submit_photographs(  # noqa: PLR0917 - a route's own parameters
    page: Page, records: Records, by: SignedIn, code: str, panel: str, typed: TypedForm
) -> Response:
    """Keep photographs; a refusal keeps the words, the files have to be chosen again."""
    require(by, Act.UNWRAP)
    try:
        form = parse(PhotographForm, {**typed, "panel": panel})
        count = service.keep_photographs(
            records,
            code,
            form.panel,
            _pictures(typed, page.settings),
            finding_id=form.about,
            caption=form.caption,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _photographs_page(
            page, records, code, panel, may_add=True, typed=dict(typed), refusal=refusal
        )
    notice = f"{count} photograph{'' if count == 1 else 's'} kept with {form.panel}."
    return page.see_other("/loads", code, "photographs", "of", form.panel, notice=notice)


def _pictures(typed: Typed, settings: Settings) -> list[Picture]:
    """The files chosen, read whole.

    Raises:
        Refusal: one is larger than is taken.
    """
    limit = settings.photograph_limit_mb * 1_000_000
    pictures = []
    for file in typed.every_file("photographs"):
        name = (file.filename or "").replace("\\", "/").rsplit("/", 1)[-1]
        content = file.file.read(limit + 1)
        if len(content) > limit:
            sentence = (
                f"{name}: photographs up to {settings.photograph_limit_mb} MB are taken. Save it "
                "smaller and choose it again; nothing was kept."
            )
            raise Refusal(sentence, fields={"photographs": sentence})
        pictures.append(Picture(name, content))
    return pictures


def _photographs_page(
    page: PageMaker,
    records: Database,
    code: str,
    panel_code: str,
    *,
    may_add: bool,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        shown = surface.surface_of(session, load.id).get(panel_code.upper())
    if shown is None:
        raise NotFound(f"Panel {panel_code} is not in load {code}.")
    return page.show(
        "loads/photographs.html",
        load=load,
        panel=shown,
        finds=[(one.id, one.words) for one in shown.finds],
        limit_mb=page.settings.photograph_limit_mb,
        may_add=may_add,
        **kept(typed, refusal),
    )
