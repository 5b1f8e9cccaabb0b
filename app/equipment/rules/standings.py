"""How furnaces, sensors and gauges stand with their papers, in few words. Pure.

The same reports count as in the evidence of a load: those that a second person has accepted.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from app.equipment.rules.dates import SOON_DAYS, Due, DueState, due_by
from app.judging.furnace.calibrations import CertificateOnRecord
from app.judging.furnace.furnace_checks import (
    FurnaceOnDay,
    Reviewed,
    asking_event,
    counting,
    is_rejected,
    standing,
)
from app.judging.furnace.procedure import CheckKind, InstrumentKind, Procedure
from app.judging.verdict import Outcome, Verdict


def furnace_dues(
    furnace: FurnaceOnDay, procedure: Procedure | None, *, on: date
) -> dict[CheckKind, Due]:
    """How each of a furnace's three checks stands for a load that would start on a day."""
    return {kind: _check_due(kind, furnace, procedure, on=on) for kind in CheckKind}


def certificate_due(
    certificates: Sequence[CertificateOnRecord],
    kind: InstrumentKind,
    procedures: Sequence[Procedure],
    *,
    on: date,
) -> Due:
    """How a sensor or gauge stands on a day by its certificates, the newest entry first.

    Where several procedures are in force, the earliest of their last days holds.
    """
    found = counting(certificates, on=on)
    if found is None:
        return _uncounted(certificates, on)
    counted = [
        day
        for one in procedures
        if (day := one.last_day_of_instrument(kind, found.done_on)) is not None
    ]
    stands = due_by(min([found.due_on, *counted]), on=on, soon_days=warning_days(procedures))
    return _with_waiting(stands, found.done_on, certificates, on)


def standing_by_certificates(certificates: Sequence[CertificateOnRecord], *, on: date) -> Due:
    """How an instrument that no procedure governs stands on a day, the newest entry first."""
    found = counting(certificates, on=on)
    if found is None:
        return _uncounted(certificates, on)
    return _with_waiting(due_by(found.due_on, on=on), found.done_on, certificates, on)


def warning_days(procedures: Sequence[Procedure]) -> int:
    """How many days ahead a paper is said to be due soon: as the procedures ask, else our own."""
    return max((one.early_warning_days for one in procedures), default=SOON_DAYS)


def _check_due(
    kind: CheckKind, furnace: FurnaceOnDay, procedure: Procedure | None, *, on: date
) -> Due:
    stands = standing(kind, furnace, procedure, on=on)
    if stands.check is None or stands.last_day is None:
        return _uncounted([one for one in furnace.checks if one.kind is kind], on)
    if stands.check.verdict is Verdict.DOES_NOT_CONFORM:
        return Due(DueState.FAILED, f"failed on {stands.check.done_on}", stands.last_day)
    if on > stands.last_day or stands.outcome is Outcome.CONFORMS:
        soon = SOON_DAYS if procedure is None else procedure.early_warning_days
        due = due_by(stands.last_day, on=on, soon_days=soon)
        ours = [one for one in furnace.checks if one.kind is kind]
        return _with_waiting(due, stands.check.done_on, ours, on)
    first = asking_event(stands.check, furnace, on=on)
    if first is not None:
        return Due(DueState.ASKED_FOR, f"asked for since {first.on}: {first.event}", first.on)
    words = stands.text
    if procedure is None:
        words = "no verified procedure governs it"
    elif furnace.furnace_class is None:
        words = "qualified to no class and type"
    return Due(DueState.NOT_PROVEN, words, stands.last_day)


def _with_waiting(due: Due, counts: date, papers: Sequence[Reviewed], on: date) -> Due:
    """The same with what helps where it is not simply in date: a newer paper nobody reviewed."""
    newer = [one.done_on for one in papers if counts < one.done_on <= on and one.review is None]
    if due.state is DueState.IN_DATE or not newer:
        return due
    return replace(due, words=f"{due.words}; the one of {max(newer)} waits for review")


def _uncounted(papers: Sequence[Reviewed], on: date) -> Due:
    """Nothing counts on the day: why."""
    made = [paper for paper in papers if paper.done_on <= on]
    if not made:
        return Due(DueState.MISSING, "no paper on record")
    newest = max(made, key=lambda paper: paper.done_on)
    if is_rejected(newest):
        return Due(DueState.MISSING, f"the one of {newest.done_on} was rejected")
    return Due(DueState.WAITING, f"the one of {newest.done_on} waits for review")
