"""Spacing, edge and thickness of indentations against printed rules and tables."""

from decimal import Decimal

import pytest

from app.judging.witness.indentation import BrinellIndentation, VickersIndentation
from app.judging.witness.indentation_room import Room, room_of_indentation, room_of_number


def brinell(ball: str, diameter: str) -> Room:
    indentation = BrinellIndentation(Decimal(1000), Decimal(ball), (Decimal(diameter),))
    room = room_of_indentation(indentation, "HBW")
    assert room is not None
    return room


def test_iso_6507_1_2018_light_metals_six_and_three_diagonals() -> None:
    """ISO 6507-1:2018, clause 7 (seen): light metals, centres 6 d, edge 3 d of the mean diagonal.

    ISO 6507-1:1997, 6.3 (seen): thickness 1.5 d.
    """
    sizes = (Decimal("0.34"), Decimal("0.36"))
    room = room_of_indentation(VickersIndentation(Decimal("98.07"), sizes), "HV10")
    assert room is not None
    lengths = (room.centres_mm, room.edge_mm, room.thickness_mm)
    # 1.5 * 0.35 is 0.525, rounded up.
    assert lengths == (Decimal("2.10"), Decimal("1.05"), Decimal("0.53"))


def test_is_1587_summary_three_and_two_and_a_half_diameters() -> None:
    """A public summary of IS 1587:1993 (seen): centres 3 d, edge 2.5 d of the mean diameter."""
    room = brinell("10", "2.50")
    assert (room.centres_mm, room.edge_mm) == (Decimal("7.50"), Decimal("6.25"))


@pytest.mark.parametrize(
    ("ball", "diameter", "printed"),
    [
        *(("1", "0.2", "0.08"), ("1", "0.3", "0.18"), ("1", "0.6", "0.80")),
        *(("2.5", "0.6", "0.29"), ("2.5", "1.0", "0.83"), ("2.5", "1.5", "2.00")),
        *(("5", "1.2", "0.58"), ("5", "1.5", "0.92"), ("5", "3.0", "4.00")),
        *(("10", "2.4", "1.17"), ("10", "3.0", "1.84"), ("10", "6.0", "8.00")),
    ],
)
def test_iso_6506_1_annex_b_least_thickness_from_memory(
    ball: str, diameter: str, printed: str
) -> None:
    """ISO 6506-1:2014, 6.3 (seen): eight times the depth; its Annex B, from memory, rounds.

    Ours is rounded up, so it may be the next hundredth.
    """
    difference = brinell(ball, diameter).thickness_mm - Decimal(printed)
    assert Decimal(0) <= difference <= Decimal("0.01")


@pytest.mark.parametrize(
    ("ball", "least", "most"), [("2.5", "0.63", "1.50"), ("5", "1.25", "3.00"), ("10", "2.5", "6")]
)
def test_hardness_tester_manual_sizes_of_indent(ball: str, least: str, most: str) -> None:
    """A tester's manual, p. 8 (seen): the indent is 0.25 D to 0.6 D; ISO 6506-1 has 0.24 D."""
    assert brinell(ball, least).doubt is None
    assert brinell(ball, most).doubt is None
    beyond = str(Decimal(most) + Decimal("0.01"))
    assert "outside 0.24 to 0.6" in (brinell(ball, beyond).doubt or "")
    below = str(Decimal(ball) * Decimal("0.239"))
    assert brinell(ball, below).doubt is not None


E18_MINIMUM_MM = [
    *(("HRC", "69", "0.56"), ("HRC", "67", "0.61"), ("HRC", "65", "0.66"), ("HRC", "62", "0.71")),
    *(("HRB", "94", "0.61"), ("HRB", "87", "0.66"), ("HRB", "80", "0.71"), ("HRB", "71", "0.76")),
]


@pytest.mark.parametrize(("scale", "number", "printed"), E18_MINIMUM_MM)
def test_astm_e18_least_thickness_as_printed_in_a_testers_manual(
    scale: str, number: str, printed: str
) -> None:
    """ASTM E18's table of least thickness, as reprinted in a tester's manual, p. 26 (seen).

    ISO 6508-1's multiples of the depth, which ours are, ask for no less on the scales B and C
    (on A, which light metals do not use, they ask for up to 0.14 mm less).
    """
    room = room_of_number(Decimal(number), scale)
    assert room is not None
    assert room.thickness_mm >= Decimal(printed)


def test_iso_6508_1_thickness_of_fifteen_and_ten_depths_from_memory() -> None:
    """ISO 6508-1: 15 h with a ball, 10 h with the cone (from memory); HRB 84 is 0.092 mm deep."""
    ball, cone = room_of_number(Decimal(84), "HRB"), room_of_number(Decimal(60), "HRC")
    assert ball is not None
    assert cone is not None
    assert ball.thickness_mm == Decimal("1.38")
    assert cone.thickness_mm == Decimal("0.80")
