from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.verdict import Outcome, Verdict
from app.judging.witness.acceptance import Obtained
from app.judging.witness.corrections import (
    CorrectionReason,
    CorrectionTable,
    InstrumentCorrection,
    Parameter,
    check_correction_table,
    correction_at,
    corrections_of,
    instrument_correction,
)
from app.judging.witness.coupon import Addend, Reading
from tests.judging.coupon_makers import conductivity, entry, hardness, hrb, judge

ROUND = CorrectionTable(
    "CT-1",
    "Round coupons",
    "B",
    Quantity.HARDNESS,
    "HRB",
    CorrectionReason.CURVATURE,
    Parameter.DIAMETER,
    (Decimal(70), Decimal(80), Decimal(90)),
    (Decimal(10), Decimal(20)),
    (
        (Decimal("3.0"), Decimal("1.0")),
        (Decimal("2.0"), Decimal("0.5")),
        (Decimal("1.0"), Decimal(0)),
    ),
    "DT-9, annex",
    Obtained.INVENTED,
)
CLAD = replace(
    ROUND,
    code="CT-2",
    quantity=Quantity.CONDUCTIVITY,
    unit="%IACS",
    reason=CorrectionReason.CLAD,
    parameter=None,
    readings=(Decimal(30), Decimal(50)),
    parameters=(),
    additions=((Decimal("-1.0"),), (Decimal("-3.0"),)),
)
POINTS = ((Decimal(60), Decimal("0.5")), (Decimal(80), Decimal("0.3")), (Decimal(95), Decimal(0)))


@pytest.mark.parametrize(
    ("reading", "diameter", "added"),
    [
        ("70", "10", "3"),
        ("90", "20", "0"),
        ("75", "10", "5/2"),
        ("70", "15", "2"),
        # Across first: 2.0 at 70 and 1.25 at 80, halfway between them 1.625.
        ("75", "15", "13/8"),
        # 2.4 at 70 and 1.55 at 80; a tenth of the way down from 2.4.
        ("71", "13", "463/200"),
    ],
)
def test_a_correction_lies_on_straight_lines_both_ways(
    reading: str, diameter: str, added: str
) -> None:
    assert correction_at(ROUND, Fraction(reading), Decimal(diameter)) == Fraction(added)


@pytest.mark.parametrize(
    ("reading", "diameter"),
    [("69.9", "15"), ("90.1", "15"), ("80", "9.99"), ("80", "20.01"), ("80", None)],
)
def test_outside_its_points_or_without_the_measure_there_is_no_correction(
    reading: str, diameter: str | None
) -> None:
    measure = None if diameter is None else Decimal(diameter)
    assert correction_at(ROUND, Fraction(reading), measure) is None


def test_a_table_without_a_measure_goes_by_the_reading_alone() -> None:
    assert correction_at(CLAD, Fraction(40), None) == -2
    assert correction_at(CLAD, Fraction(40), Decimal(3)) == -2


@pytest.mark.parametrize(
    ("reading", "added"),
    [("60", "1/2"), ("70", "2/5"), ("80", "3/10"), ("85", "1/5"), ("95", "0")],
)
def test_an_instrument_correction_is_straight_between_its_points(reading: str, added: str) -> None:
    assert instrument_correction(POINTS, Fraction(reading)) == Fraction(added)


def test_an_instrument_correction_is_never_guessed_beyond_its_points() -> None:
    assert instrument_correction(POINTS, Fraction("59.99")) is None
    assert instrument_correction(POINTS, Fraction("95.01")) is None
    assert instrument_correction((), Fraction(80)) is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": " "}, "name: nothing is given"),
        ({"source": ""}, "source: nothing is given"),
        ({"quantity": Quantity.ELONGATION, "unit": "%"}, "only hardness and conductivity"),
        ({"unit": "%IACS"}, "is no scale of hardness"),
        ({"parameter": None, "parameters": ()}, "curvature goes by diameter_mm"),
        ({"parameter": Parameter.THICKNESS}, "curvature goes by diameter_mm"),
        ({"reason": CorrectionReason.THICKNESS}, "thickness goes by thickness_mm"),
        ({"reason": CorrectionReason.CLAD}, "clad goes by thickness_mm or none"),
        ({"parameters": ()}, "the list needs at least one figure"),
        ({"readings": (Decimal(70),)}, "give at least two"),
        ({"readings": (Decimal(70), Decimal(90), Decimal(80))}, "80 stands after 90"),
        ({"readings": (Decimal(70), Decimal(70), Decimal(80))}, "70 stands after 70"),
        ({"readings": (Decimal(0), Decimal(70), Decimal(80))}, "0 must be above zero"),
        ({"parameters": (Decimal(20), Decimal(10))}, "parameters: 10 stands after 20"),
        ({"additions": ROUND.additions[:2]}, "2 rows for 3 readings"),
        ({"additions": (*ROUND.additions[:2], (Decimal(1),))}, "row of reading 90: 1 figures"),
    ],
)
def test_a_faulty_correction_table_is_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        check_correction_table(replace(ROUND, **change))


def test_a_parameter_without_use_is_refused() -> None:
    with pytest.raises(Refusal, match="given without a parameter"):
        check_correction_table(replace(CLAD, parameters=(Decimal(1),)))
    check_correction_table(ROUND)
    check_correction_table(CLAD)


def test_the_tester_comes_first_and_the_table_at_the_value_so_far() -> None:
    """70 is read 0.4 low: at 70.4 on 10 mm the table adds 3 - 0.04 = 2.96."""
    applied = corrections_of(
        Fraction(70),
        "HRB",
        instrument=InstrumentCorrection(POINTS, "HRB", "certificate C-4"),
        table=ROUND,
        diameter_mm=Decimal(10),
        thickness_mm=None,
    )
    assert [(one.value, one.table) for one in applied.addends] == [
        (Fraction("0.4"), None),
        (Fraction("2.96"), "CT-1"),
    ]
    assert applied.why_not is None


@pytest.mark.parametrize(
    ("value", "unit", "diameter", "reason"),
    [
        ("99", "HRB", "10", "99 HRB lies outside the tester's corrections (certificate C-4)"),
        ("68", "HRB", "10", "68.42 HRB on 10 mm lies outside correction table CT-1 revision B"),
        (
            "80",
            "HRB",
            None,
            (
                "correction table CT-1 revision B goes by diameter, and the coupon has none on "
                "record"
            ),
        ),
    ],
)
def test_why_a_correction_cannot_be_worked_out_is_said(
    value: str, unit: str, diameter: str | None, reason: str
) -> None:
    applied = corrections_of(
        Fraction(value),
        unit,
        instrument=InstrumentCorrection(POINTS, "HRB", "certificate C-4"),
        table=ROUND,
        diameter_mm=None if diameter is None else Decimal(diameter),
        thickness_mm=Decimal(12),
    )
    assert (applied.why_not, applied.addends) == (reason, ())


def test_a_correction_is_brought_to_the_unit_of_the_reading() -> None:
    """23.2 MS/m is 40 %IACS: minus 2 %IACS is minus 1.16 MS/m."""
    applied = corrections_of(
        Fraction("23.2"), "MS/m", instrument=None, table=CLAD, diameter_mm=None, thickness_mm=None
    )
    assert applied.addends[0].value == Fraction("-1.16")


def test_a_table_for_another_scale_corrects_nothing() -> None:
    applied = corrections_of(
        Fraction(80),
        "HRE",
        instrument=None,
        table=ROUND,
        diameter_mm=Decimal(10),
        thickness_mm=None,
    )
    assert applied.why_not == (
        "correction table CT-1 revision B is for HRB, and the reading is in HRE"
    )


def test_each_addend_is_a_line_of_working_and_the_sum_is_judged() -> None:
    added = (
        Addend("instrument correction", Decimal("0.4"), "certificate C-4"),
        Addend("correction for curvature", Fraction(1, 3), "CT-1 revision B", "CT-1"),
    )
    reading = Reading(Quantity.HARDNESS, "HRB", Decimal("82.6"), addends=added)
    judged = judge(entry(hardness(readings_min=1, correction="ct-1")), reading)
    assert judged.verdict is Verdict.CONFORMS
    assert judged.findings[0].working[:3] == (
        "reading 1: 82.6 HRB as entered",
        "reading 1: instrument correction 82.6 + (0.4) = 83 HRB (certificate C-4)",
        (
            "reading 1: correction for curvature 83 + (0.333333...) = 83.333333... HRB (CT-1 "
            "revision B)"
        ),
    )


def test_a_criterion_that_names_a_table_takes_only_what_it_was_applied_to() -> None:
    row = entry(hardness(readings_min=1, correction="CT-1"))
    judged = judge(row, *hrb("99"))
    assert judged.verdict is Verdict.NOT_PROVEN
    assert [finding.code for finding in judged.findings] == [
        "hardness.readings",
        "hardness.uncorrected",
    ]
    assert judged.findings[1].outcome is Outcome.NOTE
    assert "correction table CT-1, which the entry asks for, was not applied" in (
        judged.findings[1].text
    )


def test_a_clad_correlation_corrects_conductivity() -> None:
    applied = corrections_of(
        Fraction(40), "%IACS", instrument=None, table=CLAD, diameter_mm=None, thickness_mm=None
    )
    reading = Reading(Quantity.CONDUCTIVITY, "%IACS", Decimal("40.0"), addends=applied.addends)
    row = entry(conductivity(correction="CT-2"))
    judged = judge(row, reading)
    assert (judged.verdict, judged.findings[0].value) == (Verdict.CONFORMS, "38")


_TENTHS = st.integers(0, 200).map(lambda tenths: Decimal(tenths) / 10)


@given(reading=_TENTHS, diameter=_TENTHS)
def test_between_its_points_a_correction_is_the_mean_of_its_corners_by_area(
    reading: Decimal, diameter: Decimal
) -> None:
    """Bilinear another way: each corner weighs as much as the area opposite to it."""
    low, high, near, far = Decimal(70), Decimal(80), Decimal(10), Decimal(20)
    at, on = low + reading / 20, near + diameter / 20
    (low_near, low_far), (high_near, high_far) = ROUND.additions[:2]
    weighed = (
        low_near * (high - at) * (far - on)
        + low_far * (high - at) * (on - near)
        + high_near * (at - low) * (far - on)
        + high_far * (at - low) * (on - near)
    )
    assert correction_at(ROUND, Fraction(at), on) == Fraction(weighed) / 100
