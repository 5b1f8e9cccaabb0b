"""Where a load stands, what a leak check shows, and what a plan lacks. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from app.judging.rounding import last_place, round_to_place, shown
from app.judging.verdict import Finding, Outcome

RULES_VERSION = "1"
"""Goes up whenever a furnace record could be judged differently from before."""
HIGHEST_LEVEL_KPA = Decimal(105)
"""No bag is further below ambient than the ambient itself; common practice, sea level."""
SHOP_RULES = "the cycle's shop rules"


class Standing(StrEnum):
    """How far a load has come; the value is what the page says."""

    PLANNED = "planned"
    CHECKED = "bag checked"
    RECORDED = "record in"
    UNWRAPPED = "unwrapped"


def standing(*, panels: set[int], checked: set[int], recorded: bool, unwrapped: set[int]) -> str:
    """How far a load has come, from the panels in it and those with each step done.

    ``checked`` are the panels whose latest leak check conforms. A load is unwrapped when every
    panel is and its record is in.
    """
    if recorded and panels <= unwrapped:
        return Standing.UNWRAPPED.value
    if recorded:
        return Standing.RECORDED.value
    if panels and panels <= checked:
        return Standing.CHECKED.value
    return Standing.PLANNED.value


@dataclass(frozen=True, slots=True)
class LeakReading:
    """A bag's level at both ends of a time, kPa below ambient, as read."""

    start_kpa: Decimal
    end_kpa: Decimal
    minutes: Decimal


def judge_leak(reading: LeakReading, *, limit_kpa: Decimal, minutes: Decimal) -> Finding:
    """Whether the bag holds: the drop, rounded once to the limit's last place, within the limit.

    The limit and the least time are included. A drop over the limit does not conform however short
    the time; a shorter time that stayed within it proves nothing.
    Source: the judging rules, section 2; the limits are the shop's own.
    """
    drop = reading.start_kpa - reading.end_kpa
    rounded = round_to_place(drop, to=last_place(limit_kpa))
    working = [
        f"drop {shown(reading.start_kpa)} - {shown(reading.end_kpa)} = {shown(drop)} kPa",
        f"rounded to the limit's last place: {shown(rounded)} kPa",
        f"{shown(rounded)} {'<=' if rounded <= limit_kpa else '>'} {shown(limit_kpa)} kPa",
        f"time {shown(reading.minutes)} min, at least {shown(minutes)} min asked",
    ]
    if rounded > limit_kpa:
        outcome, says = Outcome.DOES_NOT_CONFORM, "The bag leaks"
    elif reading.minutes < minutes:
        outcome, says = Outcome.NOT_PROVEN, "The check was too short to show that the bag holds"
    else:
        outcome, says = Outcome.CONFORMS, "The bag holds"
    return Finding(
        "bag.leak",
        outcome,
        f"{says}: it lost {shown(drop)} kPa in {shown(reading.minutes)} min, and at most "
        f"{shown(limit_kpa)} kPa in at least {shown(minutes)} min is permitted.",
        value=shown(rounded),
        limit=shown(limit_kpa),
        unit="kPa",
        source=SHOP_RULES,
        working=tuple(working),
    )


def judge_count(panel: str, thing: str, *, found: int, least: int | None) -> Finding:
    """Whether a panel has as many coupons or load sensors as the cycle's shop rules ask."""
    code = f"plan.{thing.replace(' ', '_')}s"
    if least is None:
        return Finding(
            code,
            Outcome.NOTE,
            f"Panel {panel} has {found} {thing}{'' if found == 1 else 's'}; the cycle's shop rules "
            "ask for no number.",
        )
    enough = found >= least
    return Finding(
        code,
        Outcome.CONFORMS if enough else Outcome.DOES_NOT_CONFORM,
        f"Panel {panel} has {found} {thing}{'' if found == 1 else 's'}; at least {least} "
        f"{'is' if least == 1 else 'are'} asked.",
        value=str(found),
        limit=str(least),
        source=SHOP_RULES,
    )


def judge_treatments(panel: str, *, number: int, most: int) -> Finding:
    """Whether this thermal treatment of the panel, counting from 1, is within those permitted."""
    within = number <= most
    return Finding(
        "plan.treatments",
        Outcome.CONFORMS if within else Outcome.DOES_NOT_CONFORM,
        f"This is thermal treatment {number} of panel {panel}; at most {most} "
        f"{'is' if most == 1 else 'are'} permitted.",
        value=str(number),
        limit=str(most),
        source="the panel's drawing",
    )


def judge_lots(coupon: str, panel: str, *, coupon_lot: str, panel_lot: str) -> Finding:
    """Whether a coupon is of the same material lot as the panel it rides on."""
    same = coupon_lot == panel_lot
    return Finding(
        "plan.coupon_lot",
        Outcome.CONFORMS if same else Outcome.DOES_NOT_CONFORM,
        f"Coupon {coupon} and panel {panel} are both of lot {panel_lot}."
        if same
        else f"Coupon {coupon} is of lot {coupon_lot}, panel {panel} of lot {panel_lot}; a coupon "
        "speaks only for its own lot.",
        value=coupon_lot,
        limit=panel_lot,
    )


@dataclass(frozen=True, slots=True)
class Certified:
    """A sensor and the certificate that covers a day, or the newest one before it."""

    name: str
    done_on: date | None
    due_on: date | None


def judge_sensor_certificates(sensors: Sequence[Certified], *, day: date) -> Finding:
    """Whether every load sensor was in calibration on the day; due days are included."""
    missing = [sensor.name for sensor in sensors if sensor.due_on is None]
    overdue = [
        f"{sensor.name} (due {sensor.due_on})"
        for sensor in sensors
        if sensor.due_on is not None and sensor.due_on < day
    ]
    working = tuple(
        f"{sensor.name}: "
        + ("no certificate" if sensor.due_on is None else f"{sensor.done_on} to {sensor.due_on}")
        for sensor in sensors
    )
    if overdue:
        outcome = Outcome.DOES_NOT_CONFORM
        says = f"Overdue for calibration on {day}: {', '.join(overdue)}."
    elif missing or not sensors:
        outcome = Outcome.NOT_PROVEN
        named = ", ".join(missing) or "any load sensor"
        says = f"No certificate is on record from before {day} for {named}."
    else:
        outcome = Outcome.CONFORMS
        says = f"All {len(sensors)} load sensors were in calibration on {day}."
    return Finding("sensors.calibration", outcome, says, working=working)


def blocking(findings: Sequence[Finding]) -> list[Finding]:
    """The findings that stand against a plan: all that neither conform nor are mere notes."""
    fine = (Outcome.CONFORMS, Outcome.NOTE)
    return [finding for finding in findings if finding.outcome not in fine]
