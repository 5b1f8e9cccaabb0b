"""Analysis of variance and tester studies against published figures."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cache

import pytest
from scipy.stats import f as fisher

from app.judging.witness.repeatability import Analysis, Source, Trial, analyse, exceeded, one_way

# NIST StRD datasets for one-way analysis of variance, data and certified values as NIST publishes
# them (seen).
_SIRSTV = """
196.3052 196.1240 196.1890 196.2569 196.3403
196.3042 196.3825 196.1669 196.3257 196.0422
196.1303 196.2005 196.2889 196.0343 196.1811
196.2795 196.1748 196.1494 196.1485 195.9885
196.2119 196.1051 196.1850 196.0052 196.2090
"""
_ATMWTAG = """
1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486
1419 1569 1508 1672 1385 1518 1662 1424 1360 1333 1610 1477
1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448
1198 1482 1334 1609 1101 1512 1469 1360 1254 1261 1450 1368
"""
"""Two instruments of 24 readings each; the last four digits after 107.868."""
_GENERATED = (4, 3, 5, 3, 5, 3, 5, 3, 5)
"""Middle of each treatment of the generated sets, in tenths above the constant digits."""


def _rows(text: str) -> list[list[Fraction]]:
    return [[Fraction(one) for one in line.split()] for line in text.strip().splitlines()]


def _generated(constant: int, each: int) -> list[list[Fraction]]:
    half = each // 2
    return [
        [constant + Fraction(tenth + step, 10) for step in (0, *([-1, 1] * half))]
        for tenth in _GENERATED
    ]


def _silver() -> list[list[Fraction]]:
    texts = _ATMWTAG.split()
    values = [Fraction(f"107.868{text}") for text in texts]
    return [values[:24], values[24:]]


CERTIFIED = [
    ("SiRstv", _rows(_SIRSTV), "5.11462616000000E-02", "2.16636560000000E-01",
     "1.18046237440255E+00"),
    ("AtmWtAg", _silver(), "3.63834187500000E-09", "1.04951729166667E-08",
     "1.59467335677930E+01"),
    ("SmLs01", _generated(1, 21), "1.68000000000000E+00", "1.80000000000000E+00",
     "2.10000000000000E+01"),
    ("SmLs02", _generated(1, 201), "1.60800000000000E+01", "1.80000000000000E+01",
     "2.01000000000000E+02"),
    ("SmLs04", _generated(10**6, 21), "1.68000000000000E+00", "1.80000000000000E+00",
     "2.10000000000000E+01"),
    ("SmLs07", _generated(10**12, 21), "1.68000000000000E+00", "1.80000000000000E+00",
     "2.10000000000000E+01"),
    ("SmLs08", _generated(10**12, 201), "1.60800000000000E+01", "1.80000000000000E+01",
     "2.01000000000000E+02"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("groups", "between", "within", "f"), [pytest.param(*one[1:], id=one[0]) for one in CERTIFIED]
)
def test_nist_strd_one_way_certified_values(
    groups: Sequence[Sequence[Fraction]], between: str, within: str, f: str
) -> None:
    """NIST Statistical Reference Datasets, analysis of variance: all fifteen certified digits."""
    outside, inside = one_way(groups)
    assert _to_fifteen(outside.squares) == Decimal(between)
    assert _to_fifteen(inside.squares) == Decimal(within)
    assert outside.f is not None
    assert _to_fifteen(outside.f) == Decimal(f)


def _to_fifteen(value: Fraction) -> Decimal:
    return Decimal(f"{Decimal(value.numerator) / Decimal(value.denominator):.14E}")


# AIAG, Measurement Systems Analysis, 4th edition, the study carried through chapter III: data and
# figures as quoted in a public test file (seen there, not in the manual).
_MANUAL = """
0.29 0.41 0.64 0.08 0.25 0.07 0.04 -0.11 -0.15
-0.56 -0.68 -0.58 -0.47 -1.22 -0.68 -1.38 -1.13 -0.96
1.34 1.17 1.27 1.19 0.94 1.34 0.88 1.09 0.67
0.47 0.50 0.64 0.01 1.03 0.20 0.14 0.20 0.11
-0.80 -0.92 -0.84 -0.56 -1.20 -1.28 -1.46 -1.07 -1.45
0.02 -0.11 -0.21 -0.20 0.22 0.06 -0.29 -0.67 -0.49
0.59 0.75 0.66 0.47 0.55 0.83 0.02 0.01 0.21
-0.31 -0.20 -0.17 -0.63 0.08 -0.34 -0.46 -0.56 -0.49
2.26 1.99 2.01 1.80 2.12 2.19 1.77 1.45 1.87
-1.36 -1.25 -1.31 -1.68 -1.62 -1.50 -1.49 -1.77 -2.16
"""
# Houf and Berman (1988), thermal impedance of ten power modules, with the variance components
# worked by hand in a public verification report of open statistics software (both seen).
_MODULES = """
37 38 37 41 41 40 41 42 41
42 41 43 42 42 42 43 42 43
30 31 31 31 31 31 29 30 28
42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29
42 42 43 45 45 45 44 46 45
25 26 27 28 28 30 29 27 27
40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26
35 34 34 35 35 34 35 34 35
"""


@cache
def _study(text: str) -> Analysis:
    return analyse(
        [
            Trial("ABC"[place // 3], str(number), Decimal(value))
            for number, line in enumerate(text.strip().splitlines(), start=1)
            for place, value in enumerate(line.split())
        ]
    )


def _source(study: Analysis, name: str) -> Source:
    return next(one for one in study.sources if one.name == name)


def _is(value: Fraction | Decimal | float | None, printed: str) -> bool:
    """Whether a value is the printed one when written with as many places."""
    assert value is not None
    places = len(printed.partition(".")[2])
    half = Fraction(1, 2 * 10**places)
    return abs(Fraction(value) - Fraction(printed)) <= half + Fraction(1, 10**12)


@pytest.mark.parametrize(
    ("name", "squares", "freedom", "mean_square"),
    [
        ("part", "88.3619", 9, "9.81799"),
        ("operator", "3.1673", 2, "1.58363"),
        ("interaction", "0.3590", 18, "0.01994"),
        ("repeatability", "2.7589", 60, "0.04598"),
        ("total", "94.6471", 89, None),
    ],
)
def test_the_manuals_study_line_by_line(
    name: str, squares: str, freedom: int, mean_square: str | None
) -> None:
    """AIAG, Measurement Systems Analysis, 4th edition: analysis of variance of the example."""
    line = _source(_study(_MANUAL), name)
    assert _is(line.squares, squares)
    assert line.freedom == freedom
    assert mean_square is None or _is(line.mean_square, mean_square)


@pytest.mark.parametrize(
    ("name", "f"), [("part", "492.291"), ("operator", "79.406"), ("interaction", "0.434")]
)
def test_the_manuals_study_f(name: str, f: str) -> None:
    """The same example: parts and operators over the interaction, it over repeatability."""
    assert _is(_source(_study(_MANUAL), name).f, f)


def test_the_manuals_study_puts_the_interaction_together_with_repeatability() -> None:
    """The same example: p = 0.974, so 78 degrees of freedom and 0.03997."""
    study = _study(_MANUAL)
    assert _is(_source(study, "interaction").probability, "0.974")
    assert study.pooled_source is not None
    assert study.pooled_source.freedom == 78
    assert _is(study.pooled_source.squares, "3.1179")
    assert _is(study.pooled_source.mean_square, "0.03997")


@pytest.mark.parametrize(
    ("names", "variance", "contribution", "of_total"),
    [
        (("repeatability", "operator", "interaction"), "0.09143", "7.76", "27.86"),
        (("repeatability",), "0.03997", "3.39", "18.42"),
        (("operator",), "0.05146", "4.37", "20.90"),
        (("part",), "1.08645", "92.24", "96.04"),
    ],
)
def test_the_manuals_study_components(
    names: tuple[str, ...], variance: str, contribution: str, of_total: str
) -> None:
    """The same example without interaction: the components and their shares."""
    study = _study(_MANUAL)
    found = study.variance(*names)
    assert _is(found, variance)
    assert _is(100 * found / study.variance(), contribution)
    assert _is(study.share(found), of_total)


def test_the_manuals_study_tells_four_categories_apart() -> None:
    """The same example: 1.41 * parts / instrument, cut off."""
    assert _study(_MANUAL).categories == 4


def test_the_manuals_study_by_ranges() -> None:
    """The same example by averages and ranges: EV = 0.20188, AV = 0.22963 (from memory)."""
    ranges = _study(_MANUAL).by_ranges
    assert abs(ranges.repeatability - Decimal("0.20188")) <= Decimal("0.00005")
    assert abs(ranges.reproducibility - Decimal("0.22963")) <= Decimal("0.0001")


@pytest.mark.parametrize(
    ("names", "variance", "contribution"),
    [
        (("repeatability",), "0.511", "1.02"),
        (("operator",), "0.565", "1.13"),
        (("interaction",), "0.728", "1.45"),
        (("operator", "interaction"), "1.293", "2.58"),
        (("repeatability", "operator", "interaction"), "1.804", "3.60"),
        (("part",), "48.293", "96.40"),
        ((), "50.096", "100.00"),
    ],
)
def test_the_power_modules_components(
    names: tuple[str, ...], variance: str, contribution: str
) -> None:
    """Houf and Berman (1988): a study whose interaction is kept, with its printed components."""
    study = _study(_MODULES)
    assert not study.pooled
    found = study.variance(*names)
    assert _is(found, variance)
    assert _is(100 * found / study.variance(), contribution)


@pytest.mark.parametrize(
    ("printed", "freedom", "under"),
    [("4.96", 1, 10), ("3.49", 2, 20), ("2.71", 5, 20), ("161.45", 1, 1)],
)
def test_the_f_exceeded_by_one_in_twenty(printed: str, freedom: int, under: int) -> None:
    """NIST/SEMATECH e-Handbook 1.3.6.7.3, F table at 5 % (from memory)."""
    assert exceeded(Fraction(printed), freedom, under) == pytest.approx(0.05, abs=2.5e-4)


@pytest.mark.parametrize("f", ["0.001", "0.434", "1", "5.27", "79.4"])
@pytest.mark.parametrize(("freedom", "under"), [(1, 1), (2, 18), (18, 60), (40, 3)])
def test_the_chance_of_an_f_as_a_numerical_library_has_it(f: str, freedom: int, under: int) -> None:
    """An independent implementation of the F distribution."""
    ours = exceeded(Fraction(f), freedom, under)
    assert ours == pytest.approx(float(fisher.sf(float(f), freedom, under)), rel=1e-9)
