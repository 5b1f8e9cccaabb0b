"""Pairs about decisions on panels: who had a hand in what a panel rests on."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from typing import Any

from app.bench.records import CorrectionAnswer, CorrectionRequest, Reading, VoidAnswer
from app.panels import queries as panels
from app.panels.records import Hold, HoldOn, Panel
from app.panels.service import Material
from app.people import service as signing
from app.people.rights import Hand
from app.release.queries.panel_facts import panel_facts
from app.release.rules.facts import DecisionKind
from app.release.service import lot_corrections, upstream
from app.release.service.cases import case_of, decide
from tests.makers import NOW, bind
from tests.release.evidence_rows import Evidence
from tests.release.nonconformance_makers import approved
from tests.rights.pairs import ZONE, TwoPeople
from tests.rights.second import SAID, Second
from tests.visits import PASSWORD

_HANDS = (Hand.TOOK, Hand.CORRECTED, Hand.VOIDED)


def on_panels(two: TwoPeople) -> Iterator[tuple[str, Callable[[], Second]]]:
    """Each pair by name; a call does the first half as the first person."""
    for hand in _HANDS:
        yield f"releases, and is the one {hand}", partial(_released, two, hand)
        yield f"closes a recall, and is the one {hand}", partial(_recalled, two, hand)
        yield f"answers a proposal, and is the one {hand}", partial(_answered, two, hand)
    yield "measures and disposes", partial(_disposed, two)
    yield "opens a nonconformance and finds no departure", partial(_no_departure, two)
    yield "reports a failure and lifts the hold", partial(_failed, two)
    yield "asks for a lot to be corrected and answers", partial(_lot, two)


def _panel(two: TwoPeople, hand: Hand | None = None) -> Panel:
    """A panel with all its evidence; the first person had the hand in its readings."""
    shop, evidence = two.shop, Evidence(two.database, two.shop)
    _, panel, coupons = evidence.ready(verdicts=False)
    taker = two.own if hand is Hand.TOOK else shop.inspector
    with two.database.write() as session:
        reading, *_ = evidence.measured(session, coupons, by_id=taker.id)
        if hand is Hand.CORRECTED:
            correction = _correction(reading, two.own.id)
            bind(session, correction)
            bind(session, CorrectionAnswer(request_id=correction.id, **_declined(two)))
        if hand is Hand.VOIDED:
            void = evidence.void_asked(session, reading, two.own.id)
            bind(session, VoidAnswer(request_id=void.id, **_declined(two)))
        session.expunge_all()
    return panel


def _correction(reading: Reading, by_id: int) -> CorrectionRequest:
    return CorrectionRequest(
        reading_id=reading.id,
        value=Decimal("84.9"),
        reason=SAID,
        evidence=SAID,
        submission=f"correction-of-{reading.id}",
        asked_by_id=by_id,
        asked_at=NOW,
    )


def _declined(two: TwoPeople) -> dict[str, Any]:
    by_id = two.shop.supervisor.id
    return {"approved": False, "reason": SAID, "answered_by_id": by_id, "answered_at": NOW}


def _held(two: TwoPeople, panel: Panel) -> None:
    with two.database.write() as session:
        by_id = two.shop.second.id
        bind(session, Hold(panel_id=panel.id, reason=SAID, placed_by_id=by_id, placed_at=NOW))


def _released(two: TwoPeople, hand: Hand) -> Second:
    code = _panel(two, hand).code
    return Second(hand, f"/panels/{code}/release", reads=f"/panels/{code}/decision")


def _recalled(two: TwoPeople, hand: Hand) -> Second:
    """A released panel that is held since."""
    panel, at = _panel(two, hand), datetime.now(UTC)
    proof = signing.re_authenticate(two.database, two.shop.second, password=PASSWORD, at=at)
    with two.database.write() as session:
        row = panels.panel(session, panel.code)
        case = case_of(panel_facts(session, [row.id], zone=ZONE, in_full=True)[row.id])
        decide(session, row, case, proof, kind=DecisionKind.RELEASED, reason="", at=at)
    _held(two, panel)
    with two.database.read() as session:
        facts = panel_facts(session, [panel.id], zone=ZONE, in_full=True)[panel.id]
    fields = {"stands": "withdrawn", "reason": SAID, "seen": case_of(facts).seen}
    return Second(hand, "/recalls", {f"{name}:{panel.code}": sent for name, sent in fields.items()})


def _answered(two: TwoPeople, hand: Hand) -> Second:
    return two.proposed(_panel(two, hand).code, "quality", hand)


def _disposed(two: TwoPeople) -> Second:
    panel = _panel(two, Hand.TOOK)
    _held(two, panel)
    approved(two.database, panel, DecisionKind.USE_AS_IS)
    sent = {"disposition": "use as is", "reason": SAID}
    page = f"/panels/{panel.code}"
    return Second(Hand.TOOK, f"{page}/lift", sent, reads=f"{page}/decision")


def _no_departure(two: TwoPeople) -> Second:
    code = _panel(two).code
    two.opened(code, by=two.own)
    sent = {"disposition": DecisionKind.NO_DEPARTURE.value, "reason": SAID}
    return Second(Hand.OPENED, f"/panels/{code}/lift", sent, reads=f"/panels/{code}/decision")


def _failed(two: TwoPeople) -> Second:
    """A hold on a tester whose last certificate, entered by the first person, found it astray."""
    failed = {"as_found_within": False, "entered_by_id": two.own.id}
    with two.database.write() as session:
        two.shop.tester(session, "HT-ASTRAY", "hardness", "HRB", certificate=failed)
    number, _ = upstream.place_upstream_hold(
        two.database,
        upstream.HeldThing(HoldOn.TESTER, "HT-ASTRAY"),
        reason=SAID,
        by=two.shop.second,
        at=datetime.now(UTC),
    )
    return Second(Hand.FAILED_IT, f"/holds/{number}/lift", {"finding": SAID})


def _lot(two: TwoPeople) -> Second:
    """A lot of its own, as asking holds whatever rests on it."""
    with two.database.write() as session:
        two.shop.lot(session, "LOT-OTHERWISE")
        lot = panels.lot(session, "LOT-OTHERWISE")
        figures = panels.figures_of(lot)
        seen = panels.figures_seen(lot)
    cast, certificate = figures.pop("cast"), figures.pop("certificate")
    thickness_mm = Decimal(figures.pop("thickness_mm"))
    wanted = lot_corrections.Wanted(
        material=Material(**{**figures, "alloy": "Q-78"}, thickness_mm=thickness_mm),
        cast=cast,
        certificate=certificate,
        reason=SAID,
        evidence=SAID,
        seen=seen,
    )
    lot_corrections.ask_lot_correction(
        two.database, "LOT-OTHERWISE", wanted, by=two.own, at=datetime.now(UTC)
    )
    with two.database.read() as session:
        asked = panels.waiting_correction(session, lot_id=panels.lot(session, "LOT-OTHERWISE").id)
        assert asked is not None
        sent = {"correction": str(asked.id), "answer": "decline", "reason": SAID}
    return Second(Hand.ASKED, "/lots/LOT-OTHERWISE/correction-answer", sent)
