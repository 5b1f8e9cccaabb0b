"""Whether the furnace was fit on the day of the load. Pure: dates and classes in, findings out.

Source: the judging rules, 4.5. The tolerance of each furnace class is handed over by the caller
from the furnace's own papers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from app.judging.rounding import shown
from app.judging.verdict import Finding, Outcome


@dataclass(frozen=True, slots=True)
class DatedTest:
    """A survey, accuracy test or calibration on record: when made, until when good, its result.

    ``furnace_class`` and ``instrumentation_type`` are those it was made to; None where its paper
    states none.
    """

    made_on: date
    due_on: date
    passed: bool = True
    furnace_class: str | None = None
    instrumentation_type: str | None = None
    source: str | None = None


@dataclass(frozen=True, slots=True)
class FurnaceEvidence:
    """What is on record about the furnace. None: no such record, or not stated."""

    furnace_class: str | None
    instrumentation_type: str | None
    uniformity_c: Decimal | None
    survey: DatedTest | None
    accuracy_test: DatedTest | None
    recorder_calibration: DatedTest | None


@dataclass(frozen=True, slots=True)
class Band:
    """A stage's tolerance below and above its set temperature, in degC."""

    below_c: Decimal
    above_c: Decimal


def judge_furnace_evidence(
    evidence: FurnaceEvidence, *, loaded_on: date, bands: Sequence[Band], source: str | None = None
) -> tuple[Finding, ...]:
    """Four findings: survey, accuracy test, recorder calibration, and class against the bands.

    A test is good up to and including its due date. ``loaded_on`` is the day the load started, in
    the shop's zone; ``source`` names the procedure for findings whose record has none.
    """
    made_to = (evidence.furnace_class, evidence.instrumentation_type)
    tests = (
        ("survey", "uniformity survey", evidence.survey, made_to),
        ("accuracy_test", "system accuracy test", evidence.accuracy_test, made_to),
        ("recorder", "recorder calibration", evidence.recorder_calibration, (None, None)),
    )
    dated = []
    for code, name, test, furnace in tests:
        outcome, says = _dated_outcome(name, test, loaded_on, furnace)
        dated.append(
            Finding(
                code=f"furnace.{code}",
                outcome=outcome,
                text=says,
                value=loaded_on.isoformat(),
                limit=None if test is None else test.due_on.isoformat(),
                source=source if test is None else test.source or source,
                working=_dated_working(name, test, loaded_on),
            )
        )
    return (*dated, _judge_class(evidence, bands, source))


def _dated_working(name: str, test: DatedTest | None, loaded_on: date) -> tuple[str, ...]:
    """The dates and classes compared, line by line."""
    started = f"load started on {loaded_on}"
    if test is None:
        return (f"{name}: none on record", started)
    result = "passed" if test.passed else "failed"
    made_to = (
        f"made to class {test.furnace_class or 'not stated'}, "
        f"instrumentation type {test.instrumentation_type or 'not stated'}"
    )
    return (f"{name} made on {test.made_on}, due on {test.due_on}, {result}", made_to, started)


def _dated_outcome(
    name: str,
    test: DatedTest | None,
    loaded_on: date,
    furnace: tuple[str | None, str | None],
) -> tuple[Outcome, str]:
    """In date conforms; overdue or failed does not; missing, later, made to another: not proven."""
    if test is None:
        return Outcome.NOT_PROVEN, f"No {name} is on record for the day of the load."
    made = f"The {name} of {test.made_on}"
    if test.made_on > loaded_on:
        says = f"{made} is later than the load of {loaded_on}; one from before is needed."
        return Outcome.NOT_PROVEN, says
    if not test.passed:
        return Outcome.DOES_NOT_CONFORM, f"{made} failed."
    if loaded_on > test.due_on:
        says = f"{made} was due again on {test.due_on}; the load started on {loaded_on}."
        return Outcome.DOES_NOT_CONFORM, says
    other = _made_to_another(test, furnace)
    if other is not None:
        return Outcome.NOT_PROVEN, f"{made} was made to {other}."
    return Outcome.CONFORMS, f"{made} is in date until {test.due_on}."


def _made_to_another(test: DatedTest, furnace: tuple[str | None, str | None]) -> str | None:
    """How the test's class or instrumentation type differs from the furnace's, or None."""
    made_to = (test.furnace_class, test.instrumentation_type)
    kinds = ("class", "instrumentation type")
    for kind, of_test, of_furnace in zip(kinds, made_to, furnace, strict=True):
        if None not in {of_test, of_furnace} and of_test != of_furnace:
            return f"{kind} {of_test}, and the furnace is {kind} {of_furnace}"
    return None


def _judge_class(evidence: FurnaceEvidence, bands: Sequence[Band], source: str | None) -> Finding:
    """The narrowest side of any band is no less than the class's tolerance; equal conforms."""
    if evidence.uniformity_c is None or not bands:
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
    tolerance = evidence.uniformity_c
    good = narrowest >= tolerance
    name = f"class {evidence.furnace_class or 'not stated'}"
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
