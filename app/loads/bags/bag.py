"""A bag's leak check: two levels read off a gauge and the time between them. Pure.

Source of the rules: the judging rules, 4.4 and section 2; limit and time are the shop's own.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from app.errors import Refusal
from app.judging.rounding import last_place, round_to_place, shown
from app.judging.units import kilopascals, vacuum_factor
from app.judging.verdict import Finding, Outcome, worst
from app.loads.rules import SHOP_RULES

KPA = "kPa"
HIGHEST_LEVEL_KPA = Decimal(105)
"""No bag is further below ambient than the ambient itself; common practice, sea level."""


@dataclass(frozen=True, slots=True)
class LeakReading:
    """A bag's level below ambient at both ends of a time, as read off the gauge in its unit."""

    start: Decimal
    end: Decimal
    minutes: Decimal
    unit: str = KPA

    @property
    def start_kpa(self) -> Decimal:
        """The level at the start in kPa; converted ones to 6 places."""
        return self._kpa(self.start)

    @property
    def end_kpa(self) -> Decimal:
        """The level at the end in kPa; converted ones to 6 places."""
        return self._kpa(self.end)

    @property
    def drop_kpa(self) -> Decimal | Fraction:
        """What the bag lost, exactly, in kPa."""
        drop = self.start - self.end
        return drop if self.unit == KPA else kilopascals(drop, self.unit)

    @property
    def typed(self) -> dict[str, str] | None:
        """Unit and figures as they were read, where not in kPa; kept beside the converted ones."""
        if self.unit == KPA:
            return None
        return {"unit": self.unit, "start": str(self.start), "end": str(self.end)}

    def _kpa(self, level: Decimal) -> Decimal:
        return level if self.unit == KPA else Decimal(shown(kilopascals(level, self.unit)))


def refuse_impossible(reading: LeakReading) -> None:
    """Refuse levels no bag shows, a level that rose, and a time that is none.

    Raises:
        Refusal: with a sentence for each field.
    """
    vacuum_factor(reading.unit)
    problems = {}
    for name, words, typed, level in (
        ("start", "The level at the start", reading.start, reading.start_kpa),
        ("end", "The level at the end", reading.end, reading.end_kpa),
    ):
        if not 0 <= level <= HIGHEST_LEVEL_KPA:
            in_kpa = "" if reading.unit == KPA else f" ({shown(level)} kPa)"
            problems[name] = (
                f"{words} is {typed} {reading.unit}{in_kpa}; give it as the gauge shows it below "
                f"ambient: no bag goes beyond {HIGHEST_LEVEL_KPA} kPa. Is the unit right?"
            )
    if reading.minutes <= 0:
        problems["minutes"] = f"The time is {reading.minutes} min; give how long you waited."
    if not problems and reading.end > reading.start:
        problems["end"] = (
            f"The level rose from {reading.start} to {reading.end} {reading.unit}: was the pump "
            "still connected, or were the two levels swapped?"
        )
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def judge_leak(reading: LeakReading, *, limit_kpa: Decimal, minutes: Decimal) -> Finding:
    """Whether the bag holds: the drop, rounded once to the limit's last place, within the limit.

    The limit and the least time are included. A drop over the limit does not conform however short
    the time; a shorter time that stayed within it proves nothing. The rate per minute is shown
    beside the limit's and decides nothing more.
    Source: the judging rules, section 2; the limits are the shop's own.
    """
    drop = reading.drop_kpa
    rounded = round_to_place(drop, to=last_place(limit_kpa))
    rate, permitted = (
        f"{float(Fraction(loss) / Fraction(time)):.3g}"
        for loss, time in ((drop, reading.minutes), (limit_kpa, minutes))
    )
    if rounded > limit_kpa:
        outcome, says = Outcome.DOES_NOT_CONFORM, "The bag leaks"
    elif reading.minutes < minutes:
        outcome, says = Outcome.NOT_PROVEN, "The check was too short to show that the bag holds"
    else:
        outcome, says = Outcome.CONFORMS, "The bag holds"
    return Finding(
        "bag.leak",
        outcome,
        f"{says}: it lost {shown(drop)} kPa in {shown(reading.minutes)} min ({rate} kPa a minute), "
        f"and at most {shown(limit_kpa)} kPa in at least {shown(minutes)} min is permitted.",
        value=shown(rounded),
        limit=shown(limit_kpa),
        unit="kPa",
        source=SHOP_RULES,
        working=(
            *_converted(reading),
            f"drop {shown(reading.start_kpa)} - {shown(reading.end_kpa)} = {shown(drop)} kPa",
            f"rounded to the limit's last place: {shown(rounded)} kPa",
            f"{shown(rounded)} {'<=' if rounded <= limit_kpa else '>'} {shown(limit_kpa)} kPa",
            f"time {shown(reading.minutes)} min, at least {shown(minutes)} min asked",
            f"rate {rate} kPa a minute; the limit over its time is {permitted}",
        ),
    )


def _converted(reading: LeakReading) -> Iterable[str]:
    if reading.unit == KPA:
        return ()
    factor = shown(vacuum_factor(reading.unit))
    return (
        f"start {reading.start} {reading.unit} * {factor} = {shown(reading.start_kpa)} kPa",
        f"end {reading.end} {reading.unit} * {factor} = {shown(reading.end_kpa)} kPa",
    )


@dataclass(frozen=True, slots=True)
class LastCheck:
    """A panel's last leak check as it was kept; None where there is none."""

    outcome: str | None
    taken_at: datetime | None


def judge_bag(panel: str, last: LastCheck, *, closed_at: datetime, limit_stated: bool) -> Finding:
    """Whether a panel's bag was proven tight before the door closed.

    A cycle that states no limit asks for no check (a note). A check taken after the door closed
    proves nothing of the bag that went in.
    """
    if not limit_stated:
        says = f"The cycle states no leak limit, so the bag of {panel} needs no leak check."
        return Finding("bag.checked", Outcome.NOTE, says)
    if last.outcome is None or last.taken_at is None:
        says = f"No leak check of the bag of {panel} is on record."
        return Finding("bag.checked", Outcome.NOT_PROVEN, says)
    if last.taken_at > closed_at:
        says = f"The last leak check of the bag of {panel} was made after the door closed."
        return Finding("bag.checked", Outcome.NOT_PROVEN, says)
    outcome = Outcome(last.outcome)
    says = {
        Outcome.CONFORMS: f"The last leak check of the bag of {panel} conforms.",
        Outcome.DOES_NOT_CONFORM: f"The last leak check of the bag of {panel} does not conform; "
        "seal the bag and check it again.",
    }.get(outcome, f"The last leak check of the bag of {panel} proves nothing; check it again.")
    return Finding("bag.checked", outcome, says)


def outcome_of(findings: Iterable[Finding]) -> Outcome:
    """The worst of a check's findings: of the bag, and of the gauge that read it."""
    return Outcome(worst(findings).value)
