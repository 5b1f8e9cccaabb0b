"""What a coupon's page is composed of. Reads only; its forms are answered in ``coupons``."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries
from app.bench.forms import figures_keyed
from app.bench.queries.baseline import baselines
from app.bench.queries.coupon_readings import changes_since
from app.bench.queries.moves import walk_for
from app.bench.queries.retests import RetestOffer
from app.bench.queries.waiting import AT_HAND
from app.bench.records import VoidCause
from app.bench.rules.coupon_file import CouponFile, judge_file
from app.errors import Refusal
from app.judging.units import UNITS, Quantity
from app.judging.witness.coupons import all_criteria
from app.panels.queries import coupon as coupon_of
from app.panels.queries import custody
from app.people.queries import acts_about, names
from app.people.records import Meaning
from app.people.rights import Act, may, missing_to_measure
from app.web.entries import kept
from app.web.forms import Typed
from app.web.page import PageMaker, Records

_BENCH_QUANTITIES = {Quantity.HARDNESS, Quantity.CONDUCTIVITY}

_UNMEASURED: dict[str, Any] = {
    "plan": None,
    "checks": (),
    "readings": (),
    "retest": None,
    "walk": None,
    "offer": None,
    "no_offer": None,
    "check_failed": False,
    "blind": False,
}
"""What there is to show of a coupon that rides in no load."""


@dataclass(frozen=True)
class Opened:
    """Which form of the page is open, about which reading, and what was typed into it."""

    form: str = ""
    reading: int = 0
    typed: Mapping[str, str] = field(default_factory=dict)
    refusal: Refusal | None = None

    @property
    def positions(self) -> list[str]:
        """The coupons ticked for a retest."""
        return self.typed.every("positions") if isinstance(self.typed, Typed) else []


def coupon_page(
    page: PageMaker, records: Records, by: Actor, code: str, opened: Opened
) -> Response:
    """The page of one coupon, with the form that was asked for open.

    Raises:
        NotFound: no coupon has that identity.
    """
    with records.read() as session:
        coupon = coupon_of(session, as_code(code))
        place = queries.coupon_place(session, coupon.id)
        steps = custody(session, coupon.id)
        people = names(session)
        verdicts = queries.verdicts(session, coupon.id)
        files = queries.coupon_files(session, [coupon.id])
        file = files.get(coupon.id)
        shown = _measured(page, session, by, file, files) if file else _UNMEASURED
        before = baselines(session, [coupon.id]).get(coupon.id, ())
        trail = acts_about(session, "coupon", place.code)
    at_hand = bool(file) and bool(steps) and steps[-1].step in AT_HAND
    readings = shown["readings"]
    concerned = next((one for one in readings if one.id == opened.reading), None)
    return page.show(
        "bench/coupon.html",
        place=place,
        steps=[(one, people[one.by_id]) for one in steps],
        latest=verdicts[0] if verdicts else None,
        earlier=verdicts[1:],
        people=people,
        baselines=before,
        changes=changes_since(before, readings),
        trail=trail,
        may_correct=may(by, Act.MEASURE),
        may_ask=may(by, Act.ASK_VOID),
        may_answer=may(by, Act.APPROVE_VOID),
        may_answer_correction=may(by, Act.ANSWER_CORRECTION),
        may_hand_over=may(by, Act.RECORD_CUSTODY),
        may_enter=at_hand and may(by, Act.MEASURE),
        form=opened.form,
        concerned=concerned,
        lacks=None
        if concerned is None or concerned.session_id is None
        else missing_to_measure(by, concerned.quantity),
        subject=opened.reading,
        causes=[(cause.value, cause.value) for cause in VoidCause],
        tests=_laboratory_tests(file),
        submission=opened.typed.get("submission") or secrets.token_urlsafe(24),
        figures=figures_keyed(opened.typed),
        positions=opened.positions,
        meaning=Meaning.OPENED_RETEST.value,
        **kept(opened.typed, opened.refusal),
        **shown,
    )


def _measured(
    page: PageMaker,
    session: Any,
    by: Actor,
    file: CouponFile,
    files: Mapping[int, CouponFile],
) -> dict[str, Any]:
    """What there is to show of a coupon that rides in a load."""
    zone = page.settings.zone
    sessions = queries.bench_sessions(session, queries.sessions_of(file))
    readings = queries.reading_lines(session, file, sessions, zone=zone)
    retest = queries.retest_of(session, file.id)
    judged = judge_file(file, files, zone)
    # Measured blind: nothing tells how it stands until its readings are in.
    blind = file.table.blind and bool(queries.hidden_for_now(session, [file.id], zone=zone))
    offered = None
    if not blind and _may_retest(by, judged.verdict.value, file) and not judged.provisional:
        offered = queries.retest_offer(session, file, zone)
    return {
        "plan": queries.panel_plan(session, file, zone=zone),
        "checks": sessions.values(),
        "readings": readings,
        "retest": retest,
        "walk": None if blind else walk_for(session, file, judged, person_id=by.id, zone=zone),
        "offer": offered if isinstance(offered, RetestOffer) else None,
        "no_offer": offered if isinstance(offered, str) else None,
        "blind": blind,
        "check_failed": any("check after it failed" in (one.why_not or "") for one in readings),
    }


def _may_retest(by: Actor, verdict: str, file: CouponFile) -> bool:
    """Whether the retest is spoken of: the entry permits one and the verdict calls for it."""
    entry = file.entry()
    permits = entry is not None and entry.retest is not None
    calls = verdict == "does_not_conform" and file.retest is None
    return permits and calls and may(by, Act.OPEN_RETEST)


def _laboratory_tests(file: CouponFile | None) -> list[tuple[str, str]]:
    """The tests a laboratory can report, those the table's entry asks for first."""
    entry = file.entry() if file is not None else None
    asked = [
        (one.quantity, one.unit)
        for one in (all_criteria(entry.criteria) if entry is not None else ())
        if one.quantity not in _BENCH_QUANTITIES
    ]
    others = [
        (quantity, unit)
        for quantity in Quantity
        if quantity not in _BENCH_QUANTITIES
        for unit in UNITS[quantity]
    ]
    return [
        (f"{quantity.value}|{unit}", f"{quantity.words}, {unit}")
        for quantity, unit in dict.fromkeys([*asked, *others])
    ]
