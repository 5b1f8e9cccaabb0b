"""What an entry's rules say, without a database."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.bench.rules.plausibility import plausible_reading, why_beyond_tester
from app.bench.rules.scanned import as_scanned
from app.bench.rules.sizes import number_from, number_shown, sized_tester
from app.database import paper_text
from app.documents.table import load_table
from app.errors import Refusal
from app.judging.units import Quantity
from tests.makers import TABLE_PAPER

ENTRY = load_table(paper_text(TABLE_PAPER)).entries[0]


@pytest.mark.parametrize(
    "typed",
    ["TW-1071-A", " TW-1071-A\r\n", "\x02TW-1071-A\x03", "]C1TW-1071-A", "\x1d]d2TW-1071-A"],
)
def test_only_the_mark_itself_is_left_of_a_scan(typed: str) -> None:
    assert as_scanned(typed) == "TW-1071-A"


@given(st.from_regex(r"\A[A-Z0-9][A-Z0-9./-]{0,30}[A-Z0-9]\Z"))
def test_a_mark_without_anything_about_it_stays_as_it_is(code: str) -> None:
    assert as_scanned(code) == code


@pytest.mark.parametrize(
    ("value", "reach", "is_beyond"),
    [
        ("20.0", ("20", "90"), False),
        ("90.0", ("20", "90"), False),
        ("19.9", ("20", "90"), True),
        ("90.1", ("20", "90"), True),
        ("0.1", (None, "90"), False),
        ("900", ("20", None), False),
        ("19.9", (None, None), False),
    ],
)
def test_the_ends_of_a_testers_range_are_in_it(
    value: str, reach: tuple[str | None, str | None], *, is_beyond: bool
) -> None:
    least, most = (None if end is None else Decimal(end) for end in reach)
    says = why_beyond_tester(Decimal(value), "HRB", "HT-1", (least, most))
    assert (says is not None) is is_beyond


def test_bounds_that_the_table_states_take_the_place_of_the_derived_ones() -> None:
    hardness, conductivity = ENTRY.criteria
    stated = replace(
        ENTRY,
        criteria=(
            replace(hardness, possible=(Decimal("60"), Decimal("100"))),
            replace(conductivity, usual=(Decimal("35"), Decimal("45"))),
        ),
    )
    derived = plausible_reading(Quantity.HARDNESS, "HRB", ENTRY)
    bounds = plausible_reading(Quantity.HARDNESS, "HRB", stated)
    assert (bounds.least, bounds.most) == (60, 100)
    assert (bounds.usual_least, bounds.usual_most) == (derived.usual_least, derived.usual_most)
    # 100 %IACS is 58 MS/m by definition: IEC 60028.
    bounds = plausible_reading(Quantity.CONDUCTIVITY, "MS/m", stated)
    assert (bounds.usual_least, bounds.usual_most) == (Fraction("20.3"), Fraction("26.1"))


@pytest.mark.parametrize(
    ("unit", "force", "ball", "is_sized"),
    [
        ("HV10", "98.07", None, True),
        ("HBW 10/500", "4903", "10", True),
        ("HBW 10/500", "4903", None, False),
        ("HV10", None, None, False),
        ("HRB", "980", "1.588", False),
    ],
)
def test_only_brinell_and_vickers_testers_have_sizes(
    unit: str, force: str | None, ball: str | None, *, is_sized: bool
) -> None:
    def figure(text: str | None) -> Decimal | None:
        return None if text is None else Decimal(text)

    assert (sized_tester(unit, figure(force), figure(ball), None) is not None) is is_sized


def test_the_number_is_exact_and_only_shown_rounded() -> None:
    tester = sized_tester("HV10", Decimal("98.07"), None, None)
    assert tester is not None
    sizes = (Decimal("0.394"), Decimal("0.396"))
    # ISO 6507-1: HV = 0.1891 F / d^2, d the mean of both diagonals.
    exact = Fraction("0.1891") * Fraction("98.07") / Fraction("0.395") ** 2
    assert number_from(sizes, tester) == exact
    assert str(number_shown(sizes, tester)) == "118.9"


def test_a_limit_of_asymmetry_is_included() -> None:
    tester = sized_tester("HV10", Decimal("98.07"), None, Decimal("5"))
    assert tester is not None
    number_from((Decimal("0.400"), Decimal("0.380")), tester)
    with pytest.raises(Refusal, match="differ by"):
        number_from((Decimal("0.400"), Decimal("0.3799")), tester)
