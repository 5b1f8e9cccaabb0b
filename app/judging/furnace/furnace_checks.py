"""Which check of a furnace counts on the day of a load, and what it proves. Pure.

A report counts only once a second person has accepted it; the check that counts is the newest one
made on or before the day that does. Every day in here is a day in the shop's zone.

Source: the judging rules, 4.5.4.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol, TypeVar

from app.judging.furnace.furnace_reports import SurveyedRange
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.furnace.zone import Zone
from app.judging.verdict import Outcome, Verdict


@dataclass(frozen=True, slots=True)
class Review:
    """Who reviewed a report, and whether they accepted it."""

    by: str
    accepted: bool


@dataclass(frozen=True, slots=True)
class CheckOnRecord:
    """A survey, accuracy test or recorder calibration as it stands on record.

    ``due_on`` is the last day, included, that its report or its entry states; ``verdict`` is what
    its figures say; ``entered_by`` and the reviewer are names by which people are told apart. A
    survey has the range of its set temperatures and its zone besides.
    """

    kind: CheckKind
    done_on: date
    due_on: date
    verdict: Verdict
    made_to_class: str | None
    made_to_type: str | None
    entered_by: str
    review: Review | None
    report: str | None
    surveyed: SurveyedRange | None = None
    zone: Zone | None = None


@dataclass(frozen=True, slots=True)
class Maintenance:
    """Work on the furnace and the checks that it asks for, to be made on that day or later."""

    event: str
    on: date
    asks_for: frozenset[CheckKind]


@dataclass(frozen=True, slots=True)
class FurnaceOnDay:
    """A furnace with everything on record about it, later entries too.

    ``furnace_class`` and ``instrumentation_type`` are what it is qualified to on the day of the
    load; None: it is qualified to none. ``checks`` come newest entry first.
    """

    code: str
    furnace_class: str | None
    instrumentation_type: str | None
    checks: tuple[CheckOnRecord, ...]
    maintenance: tuple[Maintenance, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a furnace stands with one kind of check on a day.

    ``check`` is the one that counts; ``last_day`` the last on which it is in date, included; both
    None where nothing counts.
    """

    kind: CheckKind
    outcome: Outcome
    text: str
    check: CheckOnRecord | None
    last_day: date | None
    working: tuple[str, ...]


class Reviewed(Protocol):
    """A paper made on a day, entered by one person and reviewed by another."""

    @property
    def done_on(self) -> date:
        """The day it was made."""

    @property
    def entered_by(self) -> str:
        """Who entered it."""

    @property
    def review(self) -> Review | None:
        """What the second person said, or None."""


ReviewedT = TypeVar("ReviewedT", bound=Reviewed)


def is_accepted(paper: Reviewed) -> bool:
    """Whether somebody else than who entered the paper has accepted it."""
    review = paper.review
    return review is not None and review.accepted and review.by != paper.entered_by


def is_rejected(paper: Reviewed) -> bool:
    """Whether somebody else than who entered the paper has refused it."""
    review = paper.review
    return review is not None and not review.accepted and review.by != paper.entered_by


def counting(papers: Sequence[ReviewedT], *, on: date) -> ReviewedT | None:
    """The newest accepted paper made on or before a day; of two of a day, the first given."""
    made = [paper for paper in papers if paper.done_on <= on and is_accepted(paper)]
    return max(made, key=lambda paper: paper.done_on) if made else None


def missing_words(name: str, papers: Sequence[Reviewed], *, on: date) -> str:
    """Why nothing counts on a day, as a sentence that says what is needed."""
    made = [paper for paper in papers if paper.done_on <= on]
    if made:
        newest = max(made, key=lambda paper: paper.done_on)
        words = f"The {name} of {newest.done_on}"
        if is_rejected(newest) and newest.review is not None:
            return f"{words} was refused by {newest.review.by}, who reviewed it; enter another."
        return f"{words} was entered by {newest.entered_by}, and nobody else has reviewed it."
    if papers:
        first = min(papers, key=lambda paper: paper.done_on)
        return (
            f"The {name} of {first.done_on} is later than the load of {on}; one from before is "
            "needed."
        )
    return f"No {name} is on record for the day of the load."


def asking_event(check: CheckOnRecord, furnace: FurnaceOnDay, *, on: date) -> Maintenance | None:
    """The first work after the check, up to a day, that asks for a new one; None without any."""
    asking = [
        event
        for event in furnace.maintenance
        if check.kind in event.asks_for and check.done_on < event.on <= on
    ]
    return min(asking, key=lambda event: event.on) if asking else None


def standing(
    kind: CheckKind, furnace: FurnaceOnDay, procedure: Procedure | None, *, on: date
) -> Standing:
    """What the furnace's checks of a kind prove for a load that starts on a day."""
    checks = [check for check in furnace.checks if check.kind is kind]
    working = tuple(_check_words(check) for check in checks) or (f"{kind}: none on record",)
    working = (*working, f"load started on {on}")
    check = counting(checks, on=on)
    if check is None:
        says = missing_words(kind, checks, on=on)
        return Standing(kind, Outcome.NOT_PROVEN, says, None, None, working)
    last_day, due_words = _last_day(check, furnace, procedure)
    made = f"The {kind} of {check.done_on}"
    outcome, says = _outcome(check, checks, furnace, procedure, last_day=last_day, on=on)
    return Standing(kind, outcome, f"{made} {says}", check, last_day, (*working, *due_words))


def _check_words(check: CheckOnRecord) -> str:
    made_to = (
        f"made to class {check.made_to_class or 'not stated'}, type "
        f"{check.made_to_type or 'not stated'}"
    )
    if is_accepted(check) and check.review is not None:
        review = f"accepted by {check.review.by}"
    elif is_rejected(check) and check.review is not None:
        review = f"refused by {check.review.by}"
    else:
        review = "not reviewed by anybody else"
    result = check.verdict.value.replace("_", " ")
    return (
        f"{check.kind} made on {check.done_on}, stated to hold until {check.due_on}, {result}; "
        f"{made_to}; entered by {check.entered_by}, {review}"
    )


def _last_day(
    check: CheckOnRecord, furnace: FurnaceOnDay, procedure: Procedure | None
) -> tuple[date, tuple[str, ...]]:
    """The earlier of what the report states and what the procedure's interval comes to."""
    letter, name = furnace.instrumentation_type, furnace.furnace_class
    row = None
    if procedure is not None and name is not None and letter is not None:
        row = procedure.interval(check.kind, name, letter)
    if procedure is None or row is None:
        return check.due_on, ()
    counted = procedure.last_day_of(check.done_on, row.every)
    words = (
        f"every {row.every.words} ({procedure.title}, {row.origin.source}): in date until "
        f"{counted}; the earlier of that and {check.due_on} holds"
    )
    return min(check.due_on, counted), (words,)


def _outcome(  # noqa: PLR0911 - one return a rule, in the order in which they decide
    check: CheckOnRecord,
    checks: Sequence[CheckOnRecord],
    furnace: FurnaceOnDay,
    procedure: Procedure | None,
    *,
    last_day: date,
    on: date,
) -> tuple[Outcome, str]:
    """The outcome, and the sentence's end."""
    if check.verdict is Verdict.DOES_NOT_CONFORM:
        return Outcome.DOES_NOT_CONFORM, "failed."
    if check.verdict is Verdict.NOT_PROVEN:
        return Outcome.NOT_PROVEN, "does not prove what it should; its figures say why."
    if on > last_day:
        return Outcome.DOES_NOT_CONFORM, f"was in date until {last_day}; the load started on {on}."
    lacking = _lacking_rule(check.kind, furnace, procedure)
    if lacking is not None:
        return Outcome.NOT_PROVEN, f"cannot be weighed: {lacking}."
    other = _made_to_another(check, furnace)
    if other is not None:
        return Outcome.NOT_PROVEN, other
    newer = _newer_failure(check, checks, on)
    if newer is not None:
        says = f"is followed by one of {newer.done_on} that did not pass and is not reviewed yet."
        return Outcome.NOT_PROVEN, says
    event = asking_event(check, furnace, on=on)
    if event is not None:
        return Outcome.NOT_PROVEN, f"is older than {event.event} of {event.on}; make a new one."
    return Outcome.CONFORMS, f"is in date until {last_day}."


def _lacking_rule(
    kind: CheckKind, furnace: FurnaceOnDay, procedure: Procedure | None
) -> str | None:
    letter, name = furnace.instrumentation_type, furnace.furnace_class
    if procedure is None:
        return "no verified pyrometry procedure governs the furnace"
    if name is None or letter is None:
        return "the furnace is qualified to no class and instrumentation type"
    if procedure.interval(kind, name, letter) is None:
        return f"{procedure.title} has no interval for it in class {name}, type {letter}"
    return None


def _made_to_another(check: CheckOnRecord, furnace: FurnaceOnDay) -> str | None:
    """How the check's class or instrumentation type differs; a recorder is made to neither."""
    if check.kind is CheckKind.RECORDER_CALIBRATION:
        return None
    pairs = (
        ("class", check.made_to_class, furnace.furnace_class),
        ("instrumentation type", check.made_to_type, furnace.instrumentation_type),
    )
    for kind, of_check, of_furnace in pairs:
        if of_check is None:
            return f"does not say to which {kind} it was made."
        if of_check != of_furnace:
            return f"was made to {kind} {of_check}, and the furnace is {kind} {of_furnace}."
    return None


def _newer_failure(
    check: CheckOnRecord, checks: Sequence[CheckOnRecord], on: date
) -> CheckOnRecord | None:
    """A newer check by that day that did not pass and that nobody else has weighed yet."""
    return next(
        (
            other
            for other in checks
            if check.done_on <= other.done_on <= on
            and other.verdict is not Verdict.CONFORMS
            and not is_accepted(other)
            and not is_rejected(other)
        ),
        None,
    )
