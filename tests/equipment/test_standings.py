"""How furnaces and instruments stand with their papers, by their procedure's early warning."""

from datetime import date

import pytest

from app.equipment.rules import DueState, certificate_due, furnace_dues
from app.judging.furnace.calibrations import CertificateOnRecord
from app.judging.furnace.furnace_checks import Maintenance, Review
from app.judging.furnace.procedure import InstrumentKind
from tests.judging.procedure_makers import SURVEY, check, furnace, procedure

MADE = date(2031, 3, 1)
STATES = [
    ("2031-05-17", DueState.IN_DATE),
    ("2031-05-18", DueState.DUE_SOON),
    ("2031-06-01", DueState.DUE_SOON),
    ("2031-06-02", DueState.OVERDUE),
]
"""Fourteen days of warning before 1 June 2031, the last day; both ends included."""


@pytest.mark.parametrize(("on", "state"), STATES)
def test_a_furnace_s_check_is_warned_of_as_its_procedure_asks(on: str, state: DueState) -> None:
    kept = furnace(check(SURVEY, MADE))
    due = furnace_dues(kept, procedure(), on=date.fromisoformat(on))[SURVEY]
    assert (due.state, due.due_on) == (state, date(2031, 6, 1))


@pytest.mark.parametrize(("on", "state"), STATES)
def test_an_instrument_is_warned_of_likewise(on: str, state: DueState) -> None:
    accepted = Review("Ines Valcourt", accepted=True)
    paper = CertificateOnRecord(
        date(2030, 12, 1), date(2041, 1, 1), "Rune Adair", accepted, "an invented certificate"
    )
    kind, day = InstrumentKind.SENSOR, date.fromisoformat(on)
    due = certificate_due([paper], kind, [procedure()], on=day)
    assert (due.state, due.due_on) == (state, date(2031, 6, 1))


def test_work_that_asks_for_a_check_is_named_from_its_day_on() -> None:
    work = Maintenance("door seal changed", date(2031, 4, 2), frozenset({SURVEY}))
    kept = furnace(check(SURVEY, MADE), maintenance=(work,))
    before, since = (
        furnace_dues(kept, procedure(), on=day)[SURVEY]
        for day in (date(2031, 4, 1), date(2031, 4, 2))
    )
    assert before.state is DueState.IN_DATE
    assert (since.state, since.words) == (
        DueState.ASKED_FOR,
        "asked for since 2031-04-02: door seal changed",
    )
