"""Missing, unmarked and doubled coupons: when one may be named, when a spare may stand in. Pure.

Source: the judging rules, "Coupons that are missing, unmarked or doubled". A coupon that nothing on
record identifies is never evidence.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.panels.rules import Custody

AT_HAND = (Custody.RECOVERED, Custody.AT_BENCH, Custody.SHELVED)
"""Custody of a coupon that has been taken off its panel and is there."""
_MIDDLE = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class Ridden:
    """A coupon as it rode: where, and what its custody says. ``x`` runs along the panel, 0 to 1.

    ``doubt`` is what stands against it: an open report, or a decision that it is no evidence.
    ``stands_for`` is the coupon it stands in for already.
    """

    code: str
    panel: str
    load: str
    station: str
    x: Decimal
    steps: tuple[Custody, ...]
    doubt: str | None = None
    stands_for: str | None = None

    @property
    def last(self) -> Custody | None:
        """Its last hand-over."""
        return self.steps[-1] if self.steps else None


def end_of(x: Decimal) -> str:
    """Which end of its panel a station is at: the half of the length it lies in, or the middle."""
    if x == _MIDDLE:
        return "middle"
    return "left end" if x < _MIDDLE else "right end"


def why_not_reported_missing(code: str, steps: Sequence[Custody]) -> str | None:
    """Why a coupon is not to be reported as missing; None where it may be."""
    if steps and steps[-1] is Custody.SHELVED:
        return (
            f"{code} is shelved: what was read on it stands. If it is to be measured again, hand "
            "it over to the bench first."
        )
    return None


def why_not_the_missing_one() -> str:
    """Why a coupon that was missing is not shown to be anything."""
    return (
        "A coupon that was missing is no evidence, even where it has turned up: nothing on record "
        "says where it lay. Decide that it is no evidence, or that a spare stands in."
    )


def why_not_unmarked(mark: str, named: Ridden | None, *, panel: str, load: str) -> str | None:
    """Why a coupon found without a mark is not the one of that mark; None where it is.

    ``named`` is the coupon of the mark that was read after all, if it rode on the panel.
    """
    if not mark:
        return (
            "Nobody can name a coupon without its mark, however plain it seems: give the mark as "
            "it is read on the coupon, or decide that it is no evidence."
        )
    if named is None:
        return f"{mark} is no coupon that rode on {panel} in load {load}; read the mark again."
    if named.last is not Custody.PLACED:
        stands = "never placed" if named.last is None else named.last.value
        return (
            f"{named.code} is {stands}, so this cannot be it; only a coupon that was placed and "
            "not yet recovered can have lain there."
        )
    return None


def why_not_doubled(mark: str, coupon: Ridden) -> str | None:
    """Why the coupon in hand is not shown to be the one that rode; None where it is.

    Its mark has to be read, and its custody has to show it placed and then taken off.
    """
    if not mark:
        return (
            "Give the mark as it is read on the coupon in hand; without it nothing shows which of "
            "the two it is."
        )
    if mark != coupon.code:
        return f"The mark read is {mark}, and this is about {coupon.code}; read it again."
    if Custody.PLACED not in coupon.steps:
        return (
            f"Custody of {coupon.code} does not show it placed on {coupon.panel}, so nothing on "
            "record tells the two apart. Decide that it is no evidence."
        )
    if coupon.last not in AT_HAND:
        return (
            f"{coupon.code} is {coupon.last.value if coupon.last else 'not on record'}: record "
            "that it was taken off its panel, by its own scan, before it is named."
        )
    return None


def why_no_spare(lost: Ridden, typed: str, spare: Ridden | None) -> str | None:
    """Why the coupon ``typed`` may not stand in for the lost one; None where it may.

    ``spare`` is that coupon, if it rode on the same panel in the same load.
    """
    if not typed:
        return "Choose the coupon that stands in."
    if spare is None:
        return (
            f"{typed} did not ride on {lost.panel} in load {lost.load}; only a coupon that did can "
            f"stand in for {lost.code}."
        )
    return next(_against_spare(lost, spare), None)


def _against_spare(lost: Ridden, spare: Ridden) -> Iterator[str]:
    if spare.code == lost.code:
        yield f"{lost.code} cannot stand in for itself; choose another."
    if spare.last not in AT_HAND:
        stands = "not on record" if spare.last is None else spare.last.value
        yield f"{spare.code} is {stands}, not recovered; only one that is there can stand in."
    if spare.doubt is not None:
        yield f"{spare.code} is in doubt itself: {spare.doubt}."
    if spare.stands_for is not None:
        yield f"{spare.code} stands in for {spare.stands_for} already; choose another."
    if end_of(spare.x) != end_of(lost.x):
        yield (
            f"{spare.code} lay at {spare.station}, at the {end_of(spare.x)} of {lost.panel}; "
            f"{lost.code} lay at {lost.station}, at the {end_of(lost.x)}. Only a coupon of the "
            "same end can stand in."
        )
