"""Decisions on unwrapping: the bag, the surface search, and where each coupon went."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Refusal
from app.judging.rounding import round_to_place
from app.loads import queries
from app.loads.records import SurfaceFinding, Unwrapping
from app.loads.service.recalling import recall_by_unwrapping
from app.loads.service.refusals import refuse_cancelled, refuse_future, working_panel_in
from app.loads.service.trouble import SHORTEST, Report, note_at_unwrapping
from app.loads.trouble_queries import ridden
from app.loads.trouble_records import TroubleKind
from app.loads.trouble_rules import Ridden
from app.panels.records import Custody, CustodyStep
from app.people.records import Task
from app.people.rights import Act, require, require_task


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing the surface search found, and where: x along the panel, y across, 0 to 1."""

    kind: str
    x: Decimal
    y: Decimal
    size_mm: Decimal | None
    words: str

    def in_words(self, *, length_mm: Decimal, width_mm: Decimal) -> str:
        """As a person would say it: what, how large, where on the panel."""
        along, across = (
            round_to_place(share * whole, to=Decimal(1))
            for share, whole in ((self.x, length_mm), (self.y, width_mm))
        )
        size = "" if self.size_mm is None else f", {self.size_mm} mm"
        more = f": {self.words}" if self.words else ""
        return f"{self.kind}{size}, {along} mm along and {across} mm across{more}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unwrapped:
    """What was found when a panel was unwrapped.

    Every coupon on it is recovered, missing, or lay there without a mark; ``searched`` says where
    the missing ones were searched for, and what lay there instead.
    """

    bag_intact: bool
    surface_clear: bool | None
    """True nothing found, False something found, None not searched yet."""
    findings: str
    recovered: frozenset[str]
    missing: frozenset[str]
    unmarked: frozenset[str] = frozenset()
    searched: str = ""
    contour_gap_mm: Decimal | None = None
    """Largest gap to the checking fixture as measured; None: not measured yet."""
    contour_limit_mm: Decimal | None = None
    """Largest gap the drawing permits, included."""
    places: tuple[Found, ...] = ()
    """What the surface search found, placed on the panel."""


def record_unwrapping(
    database: Database,
    load_code: str,
    panel_code: str,
    found: Unwrapped,
    *,
    taken_at: datetime,
    by: Actor,
    at: datetime,
) -> None:
    """Keep what was found; a later one for the same panel corrects it, its places included.

    Each coupon's custody goes on to recovered; one that has gone further stays there. One that is
    missing, or lay there without a mark, is reported, and the panel is on hold at once.

    Raises:
        NotAllowed: the person unwraps no panels, or is not authorised for the surface search that
            they say they made.
        NotFound: no such load.
        Conflict: the load was cancelled.
        Refusal: the panel is not in it, a coupon is not accounted for or was reported before, or
            a burst bag, a find or a search is not described.
    """
    require(by, Act.UNWRAP)
    if found.surface_clear is not None:
        require_task(by, Task.SURFACE_SEARCH)
    refuse_future(taken_at, at)
    _refuse_undescribed(found)
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        panel = working_panel_in(session, load, panel_code)
        coupons = [
            coupon
            for coupon in queries.seats(session, load.id).coupons
            if coupon.panel_id == panel.id
        ]
        _refuse_unaccounted(found, coupons)
        rode = ridden(session, load.id, panel.id)
        _refuse_found_again(found, rode)
        size = {"length_mm": panel.length_mm, "width_mm": panel.width_mm}
        placed = "; ".join(one.in_words(**size) for one in found.places)
        row = Unwrapping(
            load_id=load.id,
            panel_id=panel.id,
            bag_intact=found.bag_intact,
            surface_clear=found.surface_clear,
            findings=found.findings.strip() or placed,
            by_id=by.id,
            taken_at=taken_at,
            entered_at=at,
            contour_gap_mm=found.contour_gap_mm,
            contour_limit_mm=found.contour_limit_mm,
        )
        recall_by_unwrapping(session, load, row, by=by, at=at)
        session.add(row)
        session.flush()
        rows = [
            row,
            *(_place(one, row) for one in found.places),
            *_custody_after(found, rode, row),
        ]
        session.add_all(rows)
        append(
            session,
            Tag.UNWRAPPED,
            by=by,
            at=at,
            about=("load", load.code),
            rows=rows,
            note=_in_words(panel.code, found),
        )
        reports = list(_reports(found, rode))
        note_at_unwrapping(session, load, panel.id, reports, by=by, at=at)


def _place(found: Found, row: Unwrapping) -> SurfaceFinding:
    return SurfaceFinding(
        unwrapping_id=row.id,
        kind=found.kind,
        x=found.x,
        y=found.y,
        size_mm=found.size_mm,
        words=found.words,
    )


def _refuse_undescribed(found: Unwrapped) -> None:
    """Refuse a burst bag, a find or a search without a word, and places where nothing was found."""
    if found.missing | found.unmarked and len(found.searched.strip()) < SHORTEST:
        sentence = (
            "Say where the missing coupons were searched for, or what lay there without a mark, "
            f"in {SHORTEST} signs or more."
        )
        raise Refusal(sentence, fields={"searched": sentence})
    if found.places and found.surface_clear is not False:
        sentence = (
            "Places are marked on the panel, and the surface search says that nothing was found. "
            "Correct the one or the other."
        )
        raise Refusal(sentence, fields={"surface": sentence})
    _refuse_half_a_contour(found)
    if found.findings.strip():
        return
    if not found.bag_intact or (found.surface_clear is False and not found.places):
        sentence = "Say what was found: where the bag burst, or what the surface search showed."
        raise Refusal(sentence, fields={"findings": sentence})


def _refuse_half_a_contour(found: Unwrapped) -> None:
    """Refuse a gap without its limit or the other way round, and figures that cannot be."""
    gap, limit = found.contour_gap_mm, found.contour_limit_mm
    problems = {}
    if (gap is None) != (limit is None):
        missing = "contour_gap" if gap is None else "contour_limit"
        problems[missing] = (
            "A contour is the largest gap measured and the largest that the drawing permits: give "
            "both, or neither if it was not measured yet."
        )
    if gap is not None and gap < 0:
        problems["contour_gap"] = "A gap is 0 mm or more."
    if limit is not None and limit <= 0:
        problems["contour_limit"] = "The largest gap permitted is more than 0 mm."
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _refuse_unaccounted(found: Unwrapped, coupons: Sequence[queries.CouponPlace]) -> None:
    """Refuse unless each coupon on the panel has one fate."""
    problems = {}
    fates = (found.recovered, found.missing, found.unmarked)
    for coupon in coupons:
        if sum(coupon.code in fate for fate in fates) != 1:
            problems[f"coupon:{coupon.code}"] = (
                f"Say whether coupon {coupon.code} at {coupon.station} was recovered or is missing."
            )
    strangers = frozenset().union(*fates) - {coupon.code for coupon in coupons}
    if strangers:
        problems["form"] = f"{', '.join(sorted(strangers))}: not on this panel in this load."
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _refuse_found_again(found: Unwrapped, rode: Mapping[str, tuple[int, Ridden]]) -> None:
    """Refuse a coupon that was reported and is now said to be recovered as if nothing had been."""
    problems = {
        f"coupon:{code}": (
            f"{code} cannot simply be recovered: {coupon.doubt or 'it is recorded as missing'}. "
            "Record it as before; a supervisor decides about it on the load's page."
        )
        for code, (_, coupon) in rode.items()
        if code in found.recovered
        and (
            coupon.last is Custody.MISSING
            or (coupon.doubt is not None and coupon.last in _NOT_YET_OFF)
        )
    }
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


_NOT_YET_OFF = (None, Custody.CUT, Custody.PLACED)


def _custody_after(
    found: Unwrapped, rode: Mapping[str, tuple[int, Ridden]], row: Unwrapping
) -> list[CustodyStep]:
    """The hand-overs that follow; none for a coupon that is there already or has gone further."""
    return [
        CustodyStep(
            coupon_id=key,
            step=Custody.RECOVERED,
            place=coupon.station,
            note="",
            by_id=row.by_id,
            taken_at=row.taken_at,
            entered_at=row.entered_at,
        )
        for code, (key, coupon) in rode.items()
        if code in found.recovered and coupon.last in _NOT_YET_OFF
    ]


def _reports(found: Unwrapped, rode: Mapping[str, tuple[int, Ridden]]) -> Iterator[Report]:
    """What is to be reported: what is missing and has not gone further, and what has no mark."""
    told = " ".join(found.searched.split())
    for code, (_, coupon) in rode.items():
        if code in found.missing and coupon.last in {*_NOT_YET_OFF, Custody.RECOVERED}:
            yield Report(
                TroubleKind.MISSING, f"Not found when {coupon.panel} was unwrapped. {told}", code
            )
        if code in found.unmarked and coupon.last in _NOT_YET_OFF:
            yield Report(
                TroubleKind.UNMARKED,
                f"At {coupon.station}, where {code} was placed, lay a coupon without a legible "
                f"mark. {told}",
                code,
            )


def _in_words(panel_code: str, found: Unwrapped) -> str:
    bag = "bag intact" if found.bag_intact else "bag burst"
    surface = {
        True: "surface clear",
        False: "surface search found something",
        None: "surface not searched yet",
    }[found.surface_clear]
    contour = ""
    if found.contour_gap_mm is not None:
        contour = f", gap {found.contour_gap_mm} mm of {found.contour_limit_mm} mm"
    missing = f"; missing: {', '.join(sorted(found.missing))}" if found.missing else ""
    unmarked = f"; no mark: {', '.join(sorted(found.unmarked))}" if found.unmarked else ""
    return f"{panel_code}: {bag}, {surface}{contour}{missing}{unmarked}"
