"""The loads' pages: the list, excluded sensors. A load's own page reads across: see tracing."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.loads import lists, queries, service
from app.loads.forms import ExclusionForm
from app.loads.judged import JudgedRecord
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads")
def show_loads(page: Page, records: Records, by: SignedIn, before: int | None = None) -> Response:
    """The shop's loads, newest first."""
    with records.read() as session:
        lines, onward = lists.load_lines(session, before=before)
    return page.show(
        "loads/loads.html",
        lines=lines,
        more=f"/loads?before={onward}" if onward is not None else None,
        may_plan=may(by, Act.PLAN_LOAD),
    )


@router.get("/loads/{code:path}/exclude-sensor")
def show_exclusion(
    page: Page, records: Records, by: SignedIn, code: str, channel: str = ""
) -> Response:
    """The form to exclude a failed load sensor."""
    require(by, Act.EXCLUDE_SENSOR)
    return _exclusion_page(page, records, code, typed={"channel": channel})


@router.post("/loads/{code:path}/exclude-sensor")
def submit_exclusion(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Exclude a failed load sensor, signed, and judge the record again."""
    try:
        judged = _exclude(page, records, by, code, typed)
    except Refusal as refusal:
        kept = {name: text for name, text in typed.items() if name != "password"}
        return _exclusion_page(page, records, code, typed=kept, refusal=refusal)
    said = f"{typed.get('channel')} no longer decides."
    if judged is not None:
        said += f" The record was judged again: {judged.verdict.replace('_', ' ')}."
    return page.see_other("/loads", code, notice=said)


def _exclude(
    page: PageMaker, records: Database, by: Actor, code: str, typed: Typed
) -> JudgedRecord | None:
    form = parse(ExclusionForm, typed)
    return service.exclude_sensor(
        records,
        code,
        form.channel,
        reason=form.reason,
        password=form.password,
        by=by,
        at=now(),
        zone=page.settings.zone,
    )


def _exclusion_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        seats = queries.seats(session, load.id)
    return page.show(
        "loads/exclude_sensor.html",
        load=load,
        channels=[
            (one.channel, f"{one.channel}, sensor {one.code}, {one.station}")
            for one in seats.required
        ],
        meaning=Meaning.EXCLUDED_SENSOR.value,
        **kept(typed, refusal),
    )
