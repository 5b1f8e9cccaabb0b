"""What a check on reference blocks starts from, and which standards the coupons that wait want."""

from dataclasses import dataclass
from datetime import date, tzinfo

from sqlalchemy.orm import Session

from app.bench.queries.evidence import coupon_files
from app.bench.queries.instruments import BlockChoice, blocks_for
from app.bench.queries.sessions import BenchAtWork, is_used
from app.bench.queries.waiting import AT_HAND, awaiting
from app.bench.rules.bracketing import Standing
from app.bench.rules.coupon_file import still_needed
from app.bench.rules.plausibility import asked_criteria
from app.bench.rules.standards import StandardsWanted, standards_wanted
from app.judging.units import Quantity


@dataclass(frozen=True, slots=True)
class StandardsAsked:
    """What the coupons that wait for a tester's quantity ask of its standards.

    ``wanted`` are the different pairs, each with the coupons of ``coupons``; ``without`` are the
    coupons whose table asks for none. ``blind``: a table among them hides its limits.
    """

    wanted: tuple[StandardsWanted, ...]
    coupons: dict[StandardsWanted, tuple[str, ...]]
    without: tuple[str, ...]
    blind: bool


def standards_asked(session: Session, bench: BenchAtWork, *, zone: tzinfo) -> StandardsAsked:
    """What the coupons that wait, and still need what the session measures, ask of standards."""
    waiting = [one.coupon_id for one in awaiting(session) if one.custody in AT_HAND]
    quantity = Quantity(bench.quantity)
    pairs: dict[StandardsWanted, list[str]] = {}
    without: list[str] = []
    blind = False
    files = coupon_files(session, waiting)
    for file in (files[key] for key in waiting):
        entry = file.entry()
        if entry is None or not asked_criteria(entry, quantity, bench.unit):
            continue
        if not still_needed(file, zone, quantity=quantity, unit=bench.unit):
            continue
        wanted = standards_wanted(entry, quantity, bench.unit)
        for one in wanted:
            pairs.setdefault(one, []).append(file.code)
        blind = blind or (bool(wanted) and file.table.blind)
        if not wanted:
            without.append(file.code)
    return StandardsAsked(
        wanted=tuple(pairs),
        coupons={one: tuple(codes) for one, codes in pairs.items()},
        without=tuple(without),
        blind=blind,
    )


@dataclass(frozen=True, slots=True)
class CheckGround:
    """What the form of a check starts from.

    ``is_used``: a further opening check cannot be made any more. ``blocks`` may be checked;
    ``asked`` is None where the opening is over.
    """

    is_used: bool
    blocks: tuple[BlockChoice, ...]
    asked: StandardsAsked | None


def check_ground(
    session: Session, bench: BenchAtWork, *, wanted: bool, on: date, zone: tzinfo
) -> CheckGround:
    """What the form of a check starts from; ``wanted``: one is asked for though none is due."""
    used = is_used(session, bench)
    opening = not used and bench.standing in {Standing.AWAITING_OPENING, Standing.OPEN}
    shown = opening or wanted or bench.standing is Standing.CLOSING
    return CheckGround(
        is_used=used,
        blocks=tuple(
            blocks_for(session, quantity=bench.quantity, unit=bench.unit, on=on) if shown else ()
        ),
        asked=standards_asked(session, bench, zone=zone) if opening else None,
    )
