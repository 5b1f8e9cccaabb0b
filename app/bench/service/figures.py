"""What figures a form may bring: what cannot be is refused, what is odd is asked about."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from functools import lru_cache

from app.bench.queries.entry import TesterAt
from app.bench.queries.places import Place
from app.bench.queries.sessions import BenchAtWork
from app.bench.records import CheckMoment
from app.bench.rules.coupon_file import CouponFile
from app.bench.rules.plausibility import (
    asked_criteria,
    plausible_reading,
    why_beyond_tester,
    why_impossible,
    why_no_room_temperature,
    why_unlikely,
)
from app.bench.rules.sizes import Sizes, indentation_of, number_shown
from app.bench.service.sessions import MOST_READINGS, refuse_fields
from app.errors import Refusal
from app.judging.rounding import shown
from app.judging.units import Quantity
from app.judging.witness.eddy_current import temperatures_too_far_apart
from app.judging.witness.indentation_room import Room, room_of_indentation, room_of_number

SHORTEST_REASON = 10
"""Characters in which a late entry can say why it is late (our choice)."""


@dataclass(frozen=True, slots=True)
class ReadingsTaken:
    """One form of readings as keyed, in the order taken and in the tester's unit.

    ``sizes`` of indentations in mm stand in place of ``values`` where those were keyed.
    ``submission`` names the form, so that one sent twice is recorded once; ``seen`` is how many
    readings of the coupon were on record when the form was shown (None: it does not say).
    ``spacing_confirmed`` is the tick for hardness; the temperatures are asked for conductivity.
    ``measured_at`` and ``late_reason`` are given where it was measured earlier. ``confirmed``: what
    was unusual has been read again.
    """

    coupon_code: str
    values: tuple[Decimal, ...]
    submission: str
    coupon_c: Decimal | None = None
    block_c: Decimal | None = None
    spacing_confirmed: bool = False
    confirmed: bool = False
    sizes: tuple[Sizes, ...] = ()
    seen: int | None = None
    measured_at: datetime | None = None
    late_reason: str = ""


def field_of_reading(taken: ReadingsTaken) -> Callable[[int], str]:
    """The name of the form's field that a reading, counted from 1, was keyed into."""
    return (lambda number: f"size_{number}_1") if taken.sizes else (lambda n: f"reading_{n}")


def values_of(taken: ReadingsTaken, tester: TesterAt) -> tuple[Decimal, ...]:
    """The figures as read, or the numbers that the sizes give, rounded for reading.

    Raises:
        Refusal: the tester has no sizes, or an indentation gives no number.
    """
    if not taken.sizes:
        return taken.values
    numbers, wrong = [], {}
    for number, sizes in enumerate(taken.sizes, start=1):
        try:
            numbers.append(number_of(sizes, tester))
        except Refusal as refusal:
            wrong[f"size_{number}_1"] = refusal.sentence
    refuse_fields(wrong, {}, confirmed=False)
    return tuple(numbers)


def number_of(sizes: Sizes, tester: TesterAt) -> Decimal:
    """The hardness number that one indentation gives, rounded for reading.

    Raises:
        Refusal: the tester is not registered so that it could, or the indentation gives none.
    """
    if tester.sized is None:
        raise Refusal(
            f"{tester.code} shows its number itself: its force, and for Brinell its ball, are not "
            "registered. Key the numbers."
        )
    return number_shown(sizes, tester.sized)


def refuse_readings(
    file: CouponFile,
    tester: TesterAt,
    taken: ReadingsTaken,
    values: tuple[Decimal, ...],
    *,
    place: Place,
    quantity: Quantity,
    why_not: str | None,
) -> None:
    """Pass if the readings may be recorded as they stand; ``why_not``: why they would not count.

    Raises:
        Refusal: a figure cannot be, something is missing, or what is odd was not confirmed.
    """
    field = field_of_reading(taken)
    if not 1 <= len(values) <= MOST_READINGS:
        says = f"Key 1 to {MOST_READINGS} readings."
        raise Refusal(says, fields={field(1): says})
    wrong, odd = judge_figures(file, tester, quantity, values, taken.sizes, field=field)
    if len(values) < place.missing:
        odd[field(len(values) + 1)] = (
            f"The table asks for {place.missing}, and {len(values)} "
            f"{'is' if len(values) == 1 else 'are'} keyed."
        )
    if why_not is not None:
        odd.setdefault(field(1), why_not)
    if quantity is Quantity.HARDNESS and not taken.spacing_confirmed:
        wrong["spacing_confirmed"] = (
            "Confirm that spacing and edge distances were kept; where they were not, make the "
            "indents again elsewhere."
        )
    if quantity is Quantity.CONDUCTIVITY:
        _judge_temperatures(taken, wrong, odd)
    refuse_fields(wrong, odd, confirmed=taken.confirmed)


def judge_figures(
    file: CouponFile,
    tester: TesterAt,
    quantity: Quantity,
    values: Sequence[Decimal],
    sizes: Sequence[Sizes] = (),
    *,
    field: Callable[[int], str] = lambda number: f"reading_{number}",
) -> tuple[dict[str, str], dict[str, str]]:
    """What cannot be and what is unusual, by field. No sentence names a limit of the table.

    ``sizes`` of the indentations that gave the values, where those were keyed.
    """
    entry = file.entry()
    bounds = plausible_reading(quantity, tester.unit, entry)
    wrong: dict[str, str] = {}
    odd: dict[str, str] = {}
    for number, value in enumerate(values, start=1):
        impossible = why_impossible(value, bounds)
        beyond = why_beyond_tester(value, tester.unit, tester.code, tester.reach)
        if impossible is not None or beyond is not None:
            wrong[field(number)] = impossible or beyond or ""
            continue
        indented = sizes[number - 1] if sizes else None
        asks = why_unlikely(value, bounds) or _why_unfit(file, tester, value, indented)
        if asks is not None:
            odd[field(number)] = asks
    if entry is not None and not asked_criteria(entry, quantity, tester.unit):
        odd.setdefault(
            field(1),
            f"The table asks for no {quantity.words} in {tester.unit} on this coupon: these would "
            "not count.",
        )
    return wrong, odd


def _why_unfit(
    file: CouponFile, tester: TesterAt, value: Decimal, sizes: Sizes | None
) -> str | None:
    """The sentence for an indentation of a doubtful size, or too deep for the coupon; or None."""
    room = room_for(tester, value, sizes)
    reason = None if room is None else room.doubt or room.why_too_thin(file.thickness_mm)
    return None if reason is None else f"{shown(value)} {tester.unit}: {reason}."


@lru_cache(maxsize=2048)
def room_for(tester: TesterAt, value: Decimal, sizes: Sizes | None = None) -> Room | None:
    """The room an indentation needs: of its sizes in mm where they are known, else of its number.

    None where the scale tells too little.
    """
    if sizes is not None and tester.sized is not None:
        return room_of_indentation(indentation_of(sizes, tester.sized), tester.unit)
    return room_of_number(value, tester.unit) if value > 0 else None


def judge_temperature(name: str, value: Decimal | None) -> str | None:
    """The sentence for a temperature that is missing or cannot be; None for any other."""
    if value is None:
        return f"Give the temperature of the {name}; conductivity changes with it."
    return why_no_room_temperature(value)


def _judge_temperatures(taken: ReadingsTaken, wrong: dict[str, str], odd: dict[str, str]) -> None:
    for field, name, value in (
        ("coupon_c", "coupon", taken.coupon_c),
        ("block_c", "reference block", taken.block_c),
    ):
        if (says := judge_temperature(name, value)) is not None:
            wrong[field] = says
    if taken.coupon_c is None or taken.block_c is None:
        return
    apart = temperatures_too_far_apart(taken.coupon_c, taken.block_c)
    if apart is not None:
        odd["coupon_c"] = f"These readings would not count: {apart}. Let both rest side by side."


def taken_at(taken: ReadingsTaken, bench: BenchAtWork, *, at: datetime, zone: tzinfo) -> datetime:
    """When the readings were taken: now by the server's clock, or earlier as stated with a reason.

    Raises:
        Refusal: an earlier time without a reason, outside the session, or later than now.
    """
    if taken.measured_at is None:
        if taken.late_reason.strip():
            says = "Say when it was measured, or take the reason out."
            raise Refusal(says, fields={"measured_at": says})
        return at
    opened = [one.at for one in bench.checks if one.moment == CheckMoment.OPENING.value]
    said = _clock(taken.measured_at, zone)
    wrong = {}
    if taken.measured_at > at:
        wrong["measured_at"] = f"{said} is still to come; it is {_clock(at, zone)} now."
    elif not opened or taken.measured_at <= max(opened):
        begun = f"of {_clock(max(opened), zone)}" if opened else "of this session"
        wrong["measured_at"] = (
            f"{said} lies before the opening check {begun}: nothing proves what was read then. "
            "Measure again."
        )
    if len(taken.late_reason.strip()) < SHORTEST_REASON:
        wrong["late_reason"] = (
            f"Say in at least {SHORTEST_REASON} characters why it is entered only now."
        )
    refuse_fields(wrong, {}, confirmed=False)
    return taken.measured_at


def _clock(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).strftime("%Y-%m-%d %H:%M:%S")
