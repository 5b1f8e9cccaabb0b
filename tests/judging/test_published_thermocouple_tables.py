"""Thermocouple voltages against the printed ITS-90 tables, to the last printed digit."""

from decimal import Decimal

import pytest

from app.judging.furnace.thermocouples import emf_mv, highest_c, lowest_c, temperature_c
from app.judging.rounding import round_to_place

MICROVOLT = Decimal("0.001")

# NIST SRD 60 (the tables of NIST Monograph 175), seen in a public copy of NIST's file: rows of the
# printed tables in mV, reference junction at 0 degC; first temperature and step, then the figures.
ROWS = {
    "K": [
        (-260, -1, "-6.441 -6.444 -6.446 -6.448 -6.450 -6.452 -6.453 -6.455 -6.456 -6.457 -6.458"),
        (-200, -1, "-5.891 -5.907 -5.922 -5.936 -5.951 -5.965 -5.980 -5.994 -6.007 -6.021 -6.035"),
        (0, -1, "0.000 -0.039 -0.079 -0.118 -0.157 -0.197 -0.236 -0.275 -0.314 -0.353 -0.392"),
        (0, 1, "0.000 0.039 0.079 0.119 0.158 0.198 0.238 0.277 0.317 0.357 0.397"),
        (110, 1, "4.509 4.550 4.591 4.633 4.674 4.715 4.756 4.797 4.838 4.879 4.920"),
        (120, 1, "4.920 4.961 5.002 5.043 5.084 5.124 5.165 5.206 5.247 5.288 5.328"),
        (140, 1, "5.735 5.775 5.815 5.856 5.896 5.937 5.977 6.017 6.058 6.098 6.138"),
        (150, 1, "6.138 6.179 6.219 6.259 6.299 6.339 6.380 6.420 6.460 6.500 6.540"),
        (170, 1, "6.941 6.981 7.021 7.060 7.100 7.140 7.180 7.220 7.260 7.300 7.340"),
        (590, 1, "24.480 24.523 24.565 24.608 24.650 24.693 24.735 24.778 24.820 24.863 24.905"),
        (1300, 1, "52.410 52.445 52.480 52.515 52.550 52.585 52.620 52.654 52.689 52.724 52.759"),
    ],
    "T": [
        (-260, -1, "-6.232 -6.236 -6.239 -6.242 -6.245 -6.248 -6.251 -6.253 -6.255 -6.256 -6.258"),
        (-50, -1, "-1.819 -1.853 -1.887 -1.920 -1.954 -1.987 -2.021 -2.054 -2.087 -2.120 -2.153"),
        (20, 1, "0.790 0.830 0.870 0.911 0.951 0.992 1.033 1.074 1.114 1.155 1.196"),
        (120, 1, "5.228 5.277 5.325 5.373 5.422 5.470 5.519 5.567 5.616 5.665 5.714"),
        (150, 1, "6.704 6.754 6.805 6.855 6.905 6.956 7.006 7.057 7.107 7.158 7.209"),
        (180, 1, "8.237 8.289 8.341 8.393 8.445 8.497 8.550 8.602 8.654 8.707 8.759"),
        (390, 1, "20.255 20.317 20.378 20.440 20.502 20.563 20.625 20.687 20.748 20.810 20.872"),
    ],
    "J": [
        (-200, -1, "-7.890 -7.912 -7.934 -7.955 -7.976 -7.996 -8.017 -8.037 -8.057 -8.076 -8.095"),
        (120, 1, "6.360 6.415 6.470 6.525 6.579 6.634 6.689 6.744 6.799 6.854 6.909"),
        (150, 1, "8.010 8.065 8.120 8.175 8.231 8.286 8.341 8.396 8.452 8.507 8.562"),
        (590, 1, "32.519 32.577 32.636 32.694 32.752 32.810 32.869 32.927 32.985 33.044 33.102"),
    ],
    "N": [
        (20, 1, "0.525 0.552 0.578 0.605 0.632 0.659 0.685 0.712 0.739 0.766 0.793"),
        (120, 1, "3.374 3.405 3.435 3.466 3.496 3.527 3.557 3.588 3.619 3.649 3.680"),
        (150, 1, "4.302 4.333 4.365 4.396 4.428 4.459 4.491 4.523 4.554 4.586 4.618"),
        (900, 1, "32.371 32.410 32.449 32.488 32.527 32.566 32.605 32.644 32.683 32.722 32.761"),
        (1290, 1, "47.152 47.188 47.224 47.260 47.296 47.333 47.369 47.405 47.441 47.477 47.513"),
    ],
    "E": [
        (350, 1, "24.964 25.044 25.123 25.202 25.281 25.360 25.440 25.519 25.598 25.678 25.757"),
        (500, 1, "37.005 37.086 37.167 37.248 37.329 37.410 37.491 37.572 37.653 37.734 37.815"),
        (990, 1, "75.621 75.696 75.771 75.847 75.922 75.997 76.072 76.147 76.223 76.298 76.373"),
    ],
    "R": [
        (-40, -1, "-0.188 -0.192 -0.196 -0.200 -0.204 -0.208 -0.211 -0.215 -0.219 -0.223 -0.226"),
        (20, 1, "0.111 0.117 0.123 0.129 0.135 0.141 0.147 0.153 0.159 0.165 0.171"),
        (70, 1, "0.431 0.438 0.445 0.452 0.459 0.466 0.473 0.480 0.487 0.494 0.501"),
    ],
    "S": [
        (1400, 1, "14.373 14.385 14.397 14.409 14.421 14.433 14.445 14.457 14.470 14.482 14.494"),
        (1660, 1, "17.483 17.495 17.507 17.518 17.530 17.542 17.553 17.565 17.577 17.588 17.600"),
        (1760, 1, "18.609 18.620 18.630 18.641 18.651 18.661 18.672 18.682 18.693"),
    ],
    "B": [
        (20, 1, "-0.003 -0.003 -0.003 -0.003 -0.003 -0.002 -0.002 -0.002 -0.002 -0.002 -0.002"),
        (150, 1, "0.092 0.094 0.095 0.096 0.098 0.099 0.101 0.102 0.104 0.106 0.107"),
        (630, 1, "1.975 1.981 1.987 1.993 1.999 2.006 2.012 2.018 2.025 2.031 2.037"),
        (1790, 1, "13.476 13.488 13.499 13.511 13.522 13.534 13.545 13.557 13.568 13.580 13.591"),
    ],
}
# The same file, headings of its inverse functions: voltages at the ends of their ranges. Those of
# type S are cut there, not rounded, so these are compared to one printed digit.
ENDS = [
    *(("E", "-200", "-8.825"), ("E", "1000", "76.373")),
    *(("J", "-210", "-8.095"), ("J", "760", "42.919"), ("J", "1200", "69.553")),
    *(("K", "-200", "-5.891"), ("K", "500", "20.644"), ("K", "1372", "54.886")),
    *(("N", "-200", "-3.990"), ("N", "600", "20.613"), ("N", "1300", "47.513")),
    *(("R", "-50", "-0.226"), ("R", "250", "1.923"), ("R", "1200", "13.228")),
    *(("R", "1664.5", "19.739"), ("R", "1768.1", "21.103")),
    *(("S", "-50", "-0.235"), ("S", "250", "1.874"), ("S", "1200", "11.950")),
    *(("S", "1664.5", "17.536"), ("S", "1768.1", "18.693")),
    *(("T", "-200", "-5.603"), ("T", "400", "20.872")),
    *(("B", "250", "0.291"), ("B", "700", "2.431"), ("B", "1820", "13.820")),
]
PRINTED = [
    (letter, Decimal(first + step * at), Decimal(text))
    for letter, rows in ROWS.items()
    for first, step, row in rows
    for at, text in enumerate(row.split())
]


def test_every_printed_voltage_of_nist_srd_60_is_reproduced() -> None:
    """NIST SRD 60, rows of the tables of eight types: each figure to the last printed digit."""
    wrong = [
        (letter, at, text, emf_mv(letter, at))
        for letter, at, text in PRINTED
        if round_to_place(emf_mv(letter, at), to=MICROVOLT) != text
    ]
    assert not wrong
    assert len(PRINTED) > 400


@pytest.mark.parametrize(("letter", "at", "text"), ENDS)
def test_the_ends_of_the_inverse_functions_of_nist_srd_60(letter: str, at: str, text: str) -> None:
    """NIST SRD 60, headings of the inverse functions: within one printed digit."""
    assert abs(emf_mv(letter, Decimal(at)) - Decimal(text)) < MICROVOLT


def test_every_printed_voltage_is_turned_back_into_its_temperature() -> None:
    """NIST SRD 60: within what half a printed digit is worth at that temperature."""
    half = MICROVOLT / 2
    for letter, at, text in PRINTED:
        lower = Decimal(250) if letter == "B" else lowest_c(letter)
        if not lower < at < highest_c(letter):
            continue
        low, high = (temperature_c(letter, text + end) for end in (-half, half))
        assert low <= at <= high, (letter, at)


@pytest.mark.parametrize(
    ("letter", "voltage", "at"), [("K", "6.138", "149.991"), ("T", "6.704", "149.998")]
)
def test_inverse_values_from_the_published_coefficients(letter: str, voltage: str, at: str) -> None:
    """Worked from NIST's coefficients by another program: 6.138 mV of K, 6.704 mV of T."""
    assert round_to_place(temperature_c(letter, Decimal(voltage)), to=MICROVOLT) == Decimal(at)


def test_a_cold_junction_adds_voltages_not_temperatures() -> None:
    """Worked from NIST's coefficients by another program: type K, E(150) - E(25) = 5.1381 mV."""
    between = emf_mv("K", Decimal(150)) - emf_mv("K", Decimal(25))
    assert round_to_place(between, to=Decimal("0.0001")) == Decimal("5.1381")
    solved = temperature_c("K", Decimal("5.1381"), reference_c=Decimal(25))
    assert abs(solved - 150) < Decimal("0.001")
