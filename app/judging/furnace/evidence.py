"""Whether the furnace was fit on the day of the load. Pure: dates and classes in, findings out.

Source: the judging rules, 4.5. The shop's pyrometry procedure says what a class means and how often
each check is due.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from app.judging.furnace.furnace_checks import (
    CheckOnRecord,
    FurnaceOnDay,
    Standing,
    counting,
    is_accepted,
    is_rejected,
    standing,
)
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.rounding import shown
from app.judging.verdict import Finding, Outcome, Verdict


@dataclass(frozen=True, slots=True)
class Band:
    """A stage's tolerance below and above its set temperature, in degC."""

    below_c: Decimal
    above_c: Decimal


@dataclass(frozen=True, slots=True)
class LoadAsked:
    """What a load asks of its furnace. Days are the shop's; ``ends_on`` None: not on record."""

    starts_on: date
    ends_on: date | None
    bands: tuple[Band, ...]
    set_temperatures_c: tuple[Decimal, ...]


def judge_furnace(
    furnace: FurnaceOnDay, procedure: Procedure | None, load: LoadAsked
) -> tuple[Finding, ...]:
    """Whether the furnace was fit for the load: seven findings, and a note a kind at most.

    In order: the procedure that governs it; survey, accuracy test and recorder calibration at the
    start; the three through the end; the class against the bands; the surveyed range against the
    set temperatures; notes on checks that failed after the load. ``procedure`` is the verified
    revision in force for this furnace on the day, or None.
    """
    on = load.starts_on
    standings = tuple(standing(kind, furnace, procedure, on=on) for kind in CheckKind)
    return (
        _judge_procedure(furnace, procedure),
        *(_standing_finding(one, on) for one in standings),
        _judge_through_end(standings, load.ends_on),
        _judge_class_by(furnace, procedure, load.bands),
        _judge_range(standings[0], load.set_temperatures_c),
        *_later_failures(furnace, load),
    )


def counting_survey(furnace: FurnaceOnDay, *, on: date) -> CheckOnRecord | None:
    """The survey that counts on a day: its zone is where a load's positions must lie."""
    surveys = [one for one in furnace.checks if one.kind is CheckKind.UNIFORMITY_SURVEY]
    return counting(surveys, on=on)


_CHECK_CODES = {
    CheckKind.UNIFORMITY_SURVEY: "furnace.survey",
    CheckKind.ACCURACY_TEST: "furnace.accuracy_test",
    CheckKind.RECORDER_CALIBRATION: "furnace.recorder",
}


def _judge_procedure(furnace: FurnaceOnDay, procedure: Procedure | None) -> Finding:
    name, letter = furnace.furnace_class, furnace.instrumentation_type
    if procedure is None:
        says = f"No verified pyrometry procedure governs furnace {furnace.code}."
        return Finding("furnace.procedure", Outcome.NOT_PROVEN, says)
    if name is None or letter is None:
        says = f"Furnace {furnace.code} is qualified to no class and instrumentation type."
        return Finding("furnace.procedure", Outcome.NOT_PROVEN, says, source=procedure.title)
    says = f"{procedure.title} governs furnace {furnace.code}, kept to class {name}, type {letter}."
    return Finding("furnace.procedure", Outcome.CONFORMS, says, source=procedure.title)


def _standing_finding(one: Standing, on: date) -> Finding:
    return Finding(
        code=_CHECK_CODES[one.kind],
        outcome=one.outcome,
        text=one.text,
        value=on.isoformat(),
        limit=None if one.last_day is None else one.last_day.isoformat(),
        source=None if one.check is None else one.check.report,
        working=one.working,
    )


def _judge_through_end(standings: Sequence[Standing], ends_on: date | None) -> Finding:
    """What is in date at the start must be so on the day of the end, that day included."""
    good = [one for one in standings if one.outcome is Outcome.CONFORMS]
    outcome = Outcome.NOT_PROVEN
    if ends_on is None:
        says = "When the load ends is not on record, nor what is still in date then."
    elif len(good) < len(standings):
        says = f"Not every check is proven at the start, so neither is it at the end, {ends_on}."
    else:
        lapsing = [
            f"the {one.kind} (until {one.last_day})"
            for one in good
            if one.last_day is not None and one.last_day < ends_on
        ]
        says = f"Before the load's end on {ends_on} runs out: {', '.join(lapsing)}."
        if not lapsing:
            outcome = Outcome.CONFORMS
            says = f"All three checks stay in date until the load's end on {ends_on}."
    return Finding(
        code="furnace.through_end",
        outcome=outcome,
        text=says,
        value=None if ends_on is None else ends_on.isoformat(),
        working=tuple(
            f"{one.kind}: {'nothing counts' if one.last_day is None else f'until {one.last_day}'}"
            for one in standings
        ),
    )


def _judge_class_by(
    furnace: FurnaceOnDay, procedure: Procedure | None, bands: Sequence[Band]
) -> Finding:
    """The class's tolerance is the procedure's, never the furnace's own word."""
    name = furnace.furnace_class
    rule = None if procedure is None or name is None else procedure.class_rule(name)
    if rule is None and procedure is not None and name is not None:
        says = f"{procedure.title} does not say what class {name} means."
        return Finding("furnace.class", Outcome.NOT_PROVEN, says, source=procedure.title)
    tolerance = None if rule is None else rule.uniformity_c
    return _judge_class(name, tolerance, bands, None if rule is None else rule.origin.source)


def _judge_class(
    furnace_class: str | None,
    tolerance: Decimal | None,
    bands: Sequence[Band],
    source: str | None,
) -> Finding:
    """The narrowest side of any band is no less than the class's tolerance; equal conforms."""
    if tolerance is None or not bands:
        return Finding(
            code="furnace.class",
            outcome=Outcome.NOT_PROVEN,
            text=(
                "The furnace's class and uniformity tolerance are not on record."
                if bands
                else "The cycle's bands are not on record."
            ),
            source=source,
        )
    narrowest = min(min(band.below_c, band.above_c) for band in bands)
    good = narrowest >= tolerance
    name = f"class {furnace_class or 'not stated'}"
    return Finding(
        code="furnace.class",
        outcome=Outcome.CONFORMS if good else Outcome.DOES_NOT_CONFORM,
        text=(
            f"The furnace ({name}, uniform to {shown(tolerance)} degC) is "
            f"{'good enough' if good else 'too coarse'} for a band of {shown(narrowest)} degC on "
            "its narrowest side."
        ),
        value=shown(narrowest),
        limit=shown(tolerance),
        unit="degC",
        source=source,
        working=(
            *(f"band: {shown(band.below_c)} below, {shown(band.above_c)} above" for band in bands),
            f"narrowest side {shown(narrowest)} {'>=' if good else '<'} {shown(tolerance)} degC",
        ),
    )


def _judge_range(survey: Standing, sets_c: Sequence[Decimal]) -> Finding:
    """Every set temperature of the cycle within those the survey was made at, ends included."""
    code = "furnace.range"
    surveyed = None if survey.check is None else survey.check.surveyed
    if surveyed is None:
        says = "At which set temperatures the furnace was surveyed is not on record."
        return Finding(code, Outcome.NOT_PROVEN, says)
    if not sets_c:
        says = "The cycle's set temperatures are not on record."
        return Finding(code, Outcome.NOT_PROVEN, says)
    outside = [shown(one) for one in sets_c if not surveyed.covers(one)]
    ends = f"{shown(surveyed.lowest_c)} to {shown(surveyed.highest_c)} degC"
    says = f"The set temperatures lie within the surveyed range, {ends}."
    if outside:
        says = f"Set at {', '.join(outside)} degC, outside the surveyed range, {ends}."
    return Finding(
        code=code,
        outcome=Outcome.NOT_PROVEN if outside else Outcome.CONFORMS,
        text=says,
        value=", ".join(shown(one) for one in sets_c),
        limit=ends.removesuffix(" degC"),
        unit="degC",
        source=None if survey.check is None else survey.check.report,
    )


def _later_failures(furnace: FurnaceOnDay, load: LoadAsked) -> list[Finding]:
    """A note for each kind of check whose next verdict after the load was a failure."""
    notes = []
    over = load.starts_on if load.ends_on is None else load.ends_on
    for kind in CheckKind:
        ours = [check for check in furnace.checks if check.kind is kind and not is_rejected(check)]
        failed = [
            check
            for check in ours
            if check.done_on > load.starts_on and check.verdict is Verdict.DOES_NOT_CONFORM
        ]
        if not failed:
            continue
        first = min(failed, key=lambda check: check.done_on)
        good = [
            check.done_on
            for check in ours
            if check.done_on < first.done_on
            and check.verdict is Verdict.CONFORMS
            and is_accepted(check)
        ]
        if any(over < day for day in good):
            continue
        since = f"the last good one was made on {max(good)}" if good else "no good one came before"
        says = f"The {kind} of {first.done_on}, after this load's start, failed; {since}."
        notes.append(
            Finding(
                "furnace.later_failure",
                Outcome.NOTE,
                says,
                value=first.done_on.isoformat(),
                limit=max(good).isoformat() if good else None,
                source=first.report,
            )
        )
    return notes
