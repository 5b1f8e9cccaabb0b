"""A bench session's page: what comes next stands first."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries
from app.bench.forms import figures_keyed
from app.bench.pages.asked import Asked
from app.bench.pages.check_form import (
    CheckForm,
    StandardsLeft,
    check_form,
    may_check,
    moment_wanted,
    standards_left,
)
from app.bench.pages.entry_form import entry_form
from app.bench.queries import CheckGround, Walk
from app.bench.queries.sessions import BenchAtWork, Save
from app.bench.queries.waiting import Expected
from app.bench.records import CheckMoment, CouponVerdict
from app.bench.rules.bracketing import Standing, day_of
from app.bench.rules.verdict import verdict_on
from app.equipment import queries as equipment
from app.errors import Refusal
from app.judging.units import Quantity
from app.people.rights import Act, may, missing_to_measure
from app.web.entries import kept
from app.web.page import PageMaker, Records, now

_ENDED = {
    Standing.CLOSED: "This session is closed",
    Standing.FAILED: "Ended by a failed check: measure again in a new session",
}


@dataclass(frozen=True, slots=True)
class CheckDue:
    """When the next check is due, and in how many seconds of the server's clock; negative: past."""

    at: datetime
    seconds: int

    @property
    def is_overdue(self) -> bool:
        """Whether the time has passed."""
        return self.seconds < 0


def session_page(
    page: PageMaker, records: Records, by: Actor, session_id: int, asked: Asked
) -> Response:
    """The session as it stands, with what was asked for or typed."""
    zone, at = page.settings.zone, now()
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        out = None
        if bench.standing not in _ENDED:
            out = equipment.quarantine_of(session, [bench.tester_id]).get(bench.tester_id)
        lacks = missing_to_measure(by, bench.quantity)
        mine = bench.operator_id == by.id and may(by, Act.MEASURE) and lacks is None
        is_open = bench.standing is Standing.OPEN and out is None
        entry, refusal = None, asked.refusal
        if asked.coupon and is_open and mine:
            try:
                offer = queries.offer_for(
                    session, as_code(asked.coupon), bench, zone=zone, again=bool(asked.typed)
                )
                entry = entry_form(
                    offer, bench, queries.ground_for(session, bench, offer.file), asked
                )
            except Refusal as unexpected:
                refusal = refusal or unexpected
        groups = queries.expected_coupons(
            session, quantity=Quantity(bench.quantity), unit=bench.unit, zone=zone
        )
        ground = queries.check_ground(
            session, bench, wanted=bool(asked.check), on=day_of(at, zone), zone=zone
        )
        walks = queries.walks_in(session, bench, person_id=by.id, zone=zone)
        left_behind = queries.aftermath(session, bench, on=day_of(at, zone))
        drafts = queries.drafts_in(session, bench.id) if is_open and mine else []
        saves = queries.last_saves(session, bench.id)
        ids = [one.coupon_id for one in saves]
        verdicts = queries.latest_coupon_verdicts(session, ids)
        hidden = queries.hidden_for_now(session, ids, zone=zone)
        step = queries.tester_at(session, bench.tester_id).resolution
    check, left = (None, []) if out else _check(bench, by, asked, ground)
    return page.show(
        "bench/session.html",
        bench=bench,
        mine=mine,
        lacks=lacks if may(by, Act.MEASURE) and bench.standing not in _ENDED else None,
        may_measure=may(by, Act.MEASURE),
        is_open=is_open,
        quarantine=out,
        due=check_due(bench, at),
        next_step="Out of use" if out else _next_step(bench, entry, check, groups, walks),
        entry=entry,
        moved=asked.moved,
        scanned=asked.coupon if refusal and not entry and not asked.typed else "",
        check=check,
        standards_left=left,
        walks=walks,
        may_close=is_open and may_check(bench, by, CheckMoment.CLOSING),
        groups=groups,
        aftermath=left_behind,
        drafts=drafts,
        step=step,
        **_saves(bench, saves, verdicts, hidden, asked),
        **kept(asked.typed, refusal),
        figures=figures_keyed(asked.typed),
    )


def check_due(bench: BenchAtWork, at: datetime) -> CheckDue | None:
    """When the session's next check is due; None where it is not open or has no interval."""
    due_at = bench.check_due_at
    if due_at is None:
        return None
    return CheckDue(due_at, int((due_at - at).total_seconds()))


def _check(
    bench: BenchAtWork, by: Actor, asked: Asked, ground: CheckGround
) -> tuple[CheckForm | None, list[StandardsLeft]]:
    """The form of the check that is next or asked for, and the standards that coupons want yet."""
    moment = moment_wanted(bench, asked, is_used=ground.is_used)
    left = [] if ground.asked is None else standards_left(bench, ground.asked, ground.blocks)
    return check_form(bench, by, asked, moment, blocks=ground.blocks, left=left), left


def _saves(
    bench: BenchAtWork,
    saves: Sequence[Save],
    verdicts: Mapping[int, CouponVerdict],
    hidden: Collection[int],
    asked: Asked,
) -> dict[str, Any]:
    """The last forms recorded with their verdicts, and the one just saved.

    Of the ``hidden``, which are measured blind and lack readings, no verdict is shown yet.
    """
    saved = next((one for one in saves if one.coupon == asked.saved.upper()), None)
    judged = None if saved is None else verdicts[saved.coupon_id]
    return {
        "saves": [
            (one, verdicts[one.coupon_id], _on_quantity(verdicts[one.coupon_id], bench))
            for one in saves
        ],
        "hidden": hidden,
        "saved": judged,
        "saved_on": None if judged is None else _on_quantity(judged, bench),
        "saved_hidden": saved is not None and saved.coupon_id in hidden,
        "saved_coupon": asked.saved.upper(),
    }


def _on_quantity(judged: CouponVerdict, bench: BenchAtWork) -> str:
    """The verdict on what is measured in this session; on the whole where they are not apart."""
    on = verdict_on(judged.paper, bench.quantity)
    return on.value if on is not None else judged.verdict


def _next_step(
    bench: BenchAtWork,
    entry: dict[str, Any] | None,
    check: CheckForm | None,
    groups: Mapping[str, list[Expected]],
    walks: Sequence[Walk],
) -> str:
    """What comes next, in a few words."""
    to_close = " and ".join(bench.to_close)
    meter = [one.coupon for one in walks if one.meter_in(bench.id)]
    if bench.standing in _ENDED:
        return _ENDED[bench.standing]
    if entry is not None:
        return f"Readings of {entry['seat'].coupon}"
    if check is not None:
        return f"{check.moment.capitalize()} check"
    if bench.standing in {Standing.AWAITING_OPENING, Standing.CLOSING}:
        opening = bench.standing is Standing.AWAITING_OPENING
        what = "opening check" if opening else f"closing check on {to_close}"
        return f"{bench.operator} makes the {what}"
    if meter:
        return f"{meter[0]} does not conform: check {bench.tester} again"
    left = sum(one.needed > 0 and one.at_hand for group in groups.values() for one in group)
    return "Scan a coupon" if left else "All expected coupons are measured: make the closing check"
