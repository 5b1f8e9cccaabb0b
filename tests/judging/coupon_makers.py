"""Coupons, readings and tables of an invented alloy for the tests of coupon judging."""

from dataclasses import replace
from decimal import Decimal

from app.judging.units import Quantity
from app.judging.witness.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    EntryKey,
    Obtained,
    Statistic,
    Table,
    ThicknessRange,
    Zone,
    ZoneOutcome,
)
from app.judging.witness.acceptance_checks import check_table
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.coupons import CouponVerdict, judge_coupon


def hrb(*values: str) -> tuple[Reading, ...]:
    return tuple(Reading(Quantity.HARDNESS, "HRB", Decimal(value)) for value in values)


def iacs(*values: str, **rest: object) -> tuple[Reading, ...]:
    readings = (Reading(Quantity.CONDUCTIVITY, "%IACS", Decimal(value)) for value in values)
    return tuple(replace(reading, **rest) for reading in readings)


def strength(value: str, unit: str = "ksi") -> tuple[Reading, ...]:
    return (Reading(Quantity.YIELD_STRENGTH, unit, Decimal(value)),)


def hardness(**rest: object) -> Criterion:
    criterion = Criterion(Quantity.HARDNESS, "HRB", minimum=Decimal(83), readings_min=3)
    return replace(criterion, **rest)


def conductivity(**rest: object) -> Criterion:
    criterion = Criterion(
        Quantity.CONDUCTIVITY, "%IACS", minimum=Decimal("38.0"), statistic=Statistic.MEAN
    )
    return replace(criterion, **rest)


def zoned(**rest: object) -> Criterion:
    limit = Criterion(Quantity.YIELD_STRENGTH, "ksi", maximum=Decimal("67.9"))
    zones = (
        Zone(None, Decimal("37.9"), ZoneOutcome.REJECT),
        Zone(Decimal("38.0"), Decimal("39.9"), ZoneOutcome.ACCEPT_IF, (limit,)),
        Zone(Decimal("40.0"), None, ZoneOutcome.ACCEPT),
    )
    return replace(conductivity(minimum=None, zones=zones), **rest)


def entry(*criteria: Criterion, **rest: object) -> Entry:
    plate = ThicknessRange(Decimal("6.35"), Decimal(50), lower_included=True, upper_included=False)
    row = Entry(
        key=EntryKey("Q-77", "K1", "plate", plate),
        criteria=criteria or (hardness(),),
        source="DT-9, row 4",
        obtained=Obtained.INVENTED,
    )
    return replace(row, **rest)


def table(*entries: Entry) -> Table:
    return Table("DT-9", "B", entries or (entry(),))


def coupon(*readings: Reading, **rest: object) -> Coupon:
    cut = Coupon("Q-77", "K1", "plate", Decimal("12.5"), None, readings)
    return replace(cut, **rest)


def judge(row: Entry, *readings: Reading, **rest: object) -> CouponVerdict:
    accepted = table(row)
    check_table(accepted)
    return judge_coupon(coupon(*readings, **rest), accepted)


def guarded(*criteria: Criterion) -> Entry:
    return entry(*criteria, decision=DecisionRule.GUARDED)


def codes(judged: CouponVerdict) -> list[str]:
    return [finding.code for finding in judged.findings]
