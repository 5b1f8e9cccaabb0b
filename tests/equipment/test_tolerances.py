"""Corrections beside the published tolerance of a thermocouple's type: notes only."""

from app.equipment.rules import tolerance_notes
from app.judging.verdict import Outcome


def test_every_correction_beyond_class_two_is_a_note_of_its_own() -> None:
    """IEC 60584-1:2013, class 2 of type K: 2.5 degC or 0.75 % (as quoted by makers)."""
    notes = tolerance_notes("K", [["100", "+2.6"], ["150", "2.5"], ["400", "-3.5"]])
    assert [(one.code, one.outcome) for one in notes] == [("sensor.tolerance", Outcome.NOTE)] * 2
    assert [(one.value, one.limit, one.unit) for one in notes] == [
        ("2.6", "2.5", "degC"),
        ("-3.5", "3", "degC"),
    ]
    assert notes[1].text == (
        "At 400 degC the correction of -3.5 degC is larger than the 3 degC of a new type K "
        "thermocouple of class 2: it may have drifted, or the certificate was misread."
    )


def test_a_correction_on_the_tolerance_or_where_none_is_published_has_no_note() -> None:
    """IEC 60584-1:2013, class 2 of type K: 2.5 degC or 0.75 %, up to 1200 degC (as quoted)."""
    assert tolerance_notes("K", [["150", "-2.5"], ["1200", "9"]]) == ()
    assert tolerance_notes("K", [["1300", "20"]]) == ()
    assert tolerance_notes("C", [["150", "9"]]) == ()
    assert tolerance_notes("K", []) == ()
