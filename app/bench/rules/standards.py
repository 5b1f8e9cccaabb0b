"""Which reference standards a criterion wants about its limits, and whether they are there. Pure.

Source: the judging rules, 3.4; that a meter is standardised on two standards about the range to be
measured, a stated distance apart, is common practice.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.bench.rules.bracketing import CLOSING, OPENING, Check, Standing, session_standing
from app.judging.rounding import shown
from app.judging.units import Quantity, conversion_factor
from app.judging.witness.acceptance import Criterion, Entry
from app.judging.witness.coupons import all_criteria


@dataclass(frozen=True, slots=True)
class StandardsWanted:
    """Two standards, one at or below every limit and one at or above, this far apart or farther.

    All figures in ``unit``; ``lowest`` and ``highest`` are the outermost limits, both included.
    """

    lowest: Decimal
    highest: Decimal
    apart: Decimal
    unit: str

    @property
    def words(self) -> str:
        """What is wanted, as a phrase."""
        return (
            f"two standards, one at or below {shown(self.lowest)} {self.unit} and one at or above "
            f"{shown(self.highest)} {self.unit}, at least {shown(self.apart)} {self.unit} apart"
        )

    @property
    def words_without_limits(self) -> str:
        """The same for who measures blind, naming no limit."""
        return (
            "two standards that lie about the table's limits, at least "
            f"{shown(self.apart)} {self.unit} apart"
        )


def standards_of(criterion: Criterion) -> StandardsWanted | None:
    """What the criterion wants of standards; None where it asks for none, or has no limit."""
    bounds = [criterion.minimum, criterion.maximum]
    bounds += [end for zone in criterion.zones for end in (zone.lower, zone.upper)]
    limits = [bound for bound in bounds if bound is not None]
    if criterion.standards_apart is None or not limits:
        return None
    return StandardsWanted(min(limits), max(limits), criterion.standards_apart, criterion.unit)


def standards_wanted(
    entry: Entry | None, quantity: Quantity, unit: str
) -> tuple[StandardsWanted, ...]:
    """What an entry wants of the standards of a session that reads ``quantity`` in ``unit``."""
    if entry is None:
        return ()
    wanted = [
        standards_of(criterion)
        for criterion in all_criteria(entry.criteria)
        if criterion.quantity is quantity and conversion_factor(unit, to=criterion.unit) is not None
    ]
    return tuple(dict.fromkeys(one for one in wanted if one is not None))


def frames(wanted: StandardsWanted, certified: Iterable[Decimal], unit: str) -> bool:
    """Whether two of the certified values, in ``unit``, lie as wanted; ends included."""
    factor = conversion_factor(unit, to=wanted.unit)
    if factor is None:
        return False
    values = [Fraction(value) * factor for value in certified]
    low = [value for value in values if value <= wanted.lowest]
    high = [value for value in values if value >= wanted.highest]
    return bool(low and high) and max(high) - min(low) >= wanted.apart


def why_not_framed(
    wanted: StandardsWanted, checks: Sequence[Check], unit: str, *, blind: bool = False
) -> str | None:
    """Why a session's standards do not frame the limits, as a phrase; None where they do.

    Its opening checks must, and its closing checks too once it is closed. Certified values are in
    ``unit``, that of the session's tester. ``blind``: the phrase names no limit.
    """
    moments = [OPENING]
    if session_standing(checks) is Standing.CLOSED:
        moments.append(CLOSING)
    for moment in moments:
        if not frames(wanted, _certified(checks, moment), unit):
            asked = wanted.words_without_limits if blind else wanted.words
            return f"its table asks for {asked}; the {moment} checks were not made on such a pair"
    return None


@dataclass(frozen=True, slots=True)
class Standard:
    """A reference standard: its identity, and its certified value in the tester's unit."""

    code: str
    value: Decimal


def pair_for(
    wanted: StandardsWanted, usable: Sequence[Standard], unit: str, *, with_one: Standard | None
) -> tuple[Standard, Standard] | None:
    """The first two usable standards that lie as wanted, ``with_one`` among them; None: no such."""
    for number, first in enumerate(usable):
        for second in usable[number + 1 :]:
            if with_one is not None and with_one.code not in {first.code, second.code}:
                continue
            if frames(wanted, (first.value, second.value), unit):
                return first, second
    return None


def why_no_help(
    wanted: Sequence[StandardsWanted],
    chosen: Standard,
    *,
    opened: Sequence[Standard],
    usable: Sequence[Standard],
    unit: str,
) -> str | None:
    """Why an opening check on ``chosen`` does not bring a session nearer to what is wanted.

    None where it does, where nothing is left wanted, or where no usable pair would do either.
    ``opened`` were checked at the opening already; ``usable`` are all that may be chosen. The
    sentence names blocks and no limit, so it may be read by who measures blind.
    """
    left = [one for one in wanted if not frames(one, (each.value for each in opened), unit)]
    together = [each.value for each in (*opened, chosen)]
    if any(frames(one, together, unit) for one in left):
        return None
    known = list({each.code: each for each in (*opened, chosen, *usable)}.values())
    begun = {
        one: next((each for each in opened if pair_for(one, known, unit, with_one=each)), None)
        for one in left
    }
    first_half = [one for one in left if begun[one] is None]
    if any(pair_for(one, known, unit, with_one=chosen) for one in first_half):
        return None
    for one, half in begun.items():
        pair = pair_for(one, known, unit, with_one=half)
        if pair is not None:
            subject = f"{chosen.code} does" if half is None else f"{half.code} and {chosen.code} do"
            return (
                f"{subject} not lie about the limits of the coupons that wait, as their table "
                f"asks. Take {pair[0].code} and {pair[1].code}."
            )
    return None


def _certified(checks: Sequence[Check], moment: str) -> list[Decimal]:
    """The certified values of the blocks that conformed at that moment."""
    return [
        check.certified
        for check in checks
        if check.moment == moment and check.conforms and check.certified is not None
    ]
