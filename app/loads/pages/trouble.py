"""Report a coupon as missing, unmarked or doubled, and decide about it."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.loads import queries, service
from app.loads.trouble_forms import AnswerForm, ReportForm
from app.loads.trouble_queries import Trouble, ridden, trouble, troubles_of_load
from app.loads.trouble_records import TroubleKind, TroubleOutcome
from app.loads.trouble_rules import Ridden, end_of, why_no_spare
from app.panels.queries import custody_of
from app.people.queries import names
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_KINDS = (
    (TroubleKind.MISSING.value, "Missing", "it was searched for and is not there"),
    (
        TroubleKind.UNMARKED.value,
        "Without a mark",
        "a coupon is there, and its mark cannot be read",
    ),
    (TroubleKind.DOUBLED.value, "Doubled", "its mark is on a second coupon too"),
)
_OUTCOMES = {
    TroubleOutcome.IDENTIFIED: (
        "Shown to be this coupon",
        "by the mark on it and by its custody, both read by you",
    ),
    TroubleOutcome.NO_EVIDENCE: ("No evidence", "nothing rests on it any more, whatever it reads"),
    TroubleOutcome.SPARE: (
        "A spare stands in",
        "one that rode at the same end of the panel and is recovered",
    ),
}


@router.get("/loads/{code:path}/troubles/report")
def show_report(
    page: Page, records: Records, by: SignedIn, code: str, *, panel: str = "", coupon: str = ""
) -> Response:
    """The form that reports a coupon; ``panel`` and ``coupon`` fill in what it is about."""
    return _report_page(page, records, by, code, typed={"panel": panel, "coupon": coupon})


@router.post("/loads/{code:path}/troubles/report")
def submit_report(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Report a coupon; its panel is on hold at once."""
    try:
        form = parse(ReportForm, typed)
        key = service.report_trouble(records, code, form.panel, form.report(), by=by, at=now())
    except Refusal as refusal:
        return _report_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Reported. Panel {form.panel} is on hold until a supervisor has decided."
    return page.see_other("/troubles", str(key), notice=notice)


@router.get("/troubles/{key:int}")
def show_trouble(page: Page, records: Records, by: SignedIn, key: int) -> Response:
    """A report: what was found, the custody that speaks for or against it, and the decision."""
    return _trouble_page(page, records, by, key)


@router.post("/troubles/{key:int}")
def submit_answer(
    page: Page, records: Records, by: SignedIn, key: int, typed: TypedForm
) -> Response:
    """Decide about a reported coupon, signed."""
    try:
        form = parse(AnswerForm, typed)
        ended = service.answer_trouble(
            records, key, form.answer(), password=form.password, by=by, at=now()
        )
    except Refusal as refusal:
        return _trouble_page(page, records, by, key, typed=typed, refusal=refusal)
    notice = f"Decided: {ended}. The hold on the panel is lifted by its own decision."
    return page.see_other("/troubles", str(key), notice=notice)


def _report_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.REPORT_TROUBLE)
    with records.read() as session:
        load = queries.load(session, code)
        seats = queries.seats(session, load.id)
        reports = troubles_of_load(session, load.id)
    chosen = typed.get("panel", "").strip().upper()
    panel = next((one for one in seats.panels if one.code == chosen), None)
    if panel is None and len(seats.panels) == 1:
        panel = seats.panels[0]
    on_panel = [one for one in seats.coupons if panel is not None and one.panel_id == panel.id]
    return page.show(
        "loads/report_trouble.html",
        load=load,
        panels=[one.code for one in seats.panels],
        panel=panel,
        kinds=_KINDS,
        coupons=[(one.code, f"{one.code} at {one.station}") for one in on_panel],
        reports=reports,
        **kept(typed, refusal),
    )


def _trouble_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    key: int,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    """The report as it stands; after a refusal with what was typed, the password apart."""
    with records.read() as session:
        found = trouble(session, key)
        coupons = ridden(session, found.load_id, found.panel_id)
        known = names(session)
        keys = {found.about: found.about_id, found.other: found.other_id}
        asked = {code: key for code, key in keys.items() if code is not None and key is not None}
        steps = custody_of(session, list(asked.values()))
    lost = coupons[found.about][1] if found.about in coupons else None
    mine = by.is_person(found.reported_by_id)
    return page.show(
        "loads/trouble.html",
        trouble=found,
        lost=lost,
        end=None if lost is None else end_of(lost.x),
        custodies=[
            (code, [(one, known[one.by_id]) for one in steps[asked[code]]]) for code in asked
        ],
        riders=[_rider(one, lost) for _, one in coupons.values()],
        outcomes=_outcomes(found),
        spares=_spares(lost, [one for _, one in coupons.values()]),
        meaning=Meaning.ANSWERED_TROUBLE.value,
        may_answer=found.is_open and not mine and may(by, Act.ANSWER_TROUBLE),
        mine=mine,
        may_photograph=may(by, Act.UNWRAP),
        **kept({n: t for n, t in (typed or {}).items() if n != "password"}, refusal),
    )


def _rider(one: Ridden, lost: Ridden | None) -> dict[str, Any]:
    """A coupon of the panel, and whether it could stand in for the lost one."""
    why_not = None
    if lost is not None and one.code != lost.code:
        why_not = why_no_spare(lost, one.code, one) or "it can stand in"
    return {
        "code": one.code,
        "station": one.station,
        "end": end_of(one.x),
        "stands": one.last.value if one.last is not None else None,
        "words": why_not,
    }


def _spares(lost: Ridden | None, coupons: list[Ridden]) -> list[tuple[str, str]]:
    """The coupons that may stand in, to choose from."""
    if lost is None:
        return []
    return [
        (one.code, f"{one.code} at {one.station}, {end_of(one.x)}")
        for one in coupons
        if why_no_spare(lost, one.code, one) is None
    ]


def _outcomes(found: Trouble) -> list[tuple[str, str, str]]:
    """What can be decided: a missing coupon is never named, and a spare needs one it replaces."""
    left_out = set()
    if found.kind is TroubleKind.MISSING:
        left_out.add(TroubleOutcome.IDENTIFIED)
    if found.about is None:
        left_out.add(TroubleOutcome.SPARE)
    return [(one.value, *words) for one, words in _OUTCOMES.items() if one not in left_out]
