from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Refusal
from app.judging.units import HARDNESS_SCALES, Quantity
from app.judging.witness.coupon import Reading, check_coupon
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
    hardness_number,
)
from app.judging.witness.indentation_room import (
    Room,
    brinell_depth_mm,
    room_of_indentation,
    room_of_number,
)
from app.judging.witness.indentation_scale import (
    asymmetry_percent,
    brinell_scale,
    check_asymmetry,
    check_scale,
    mean_size,
    rockwell_scale,
    vickers_scale,
)
from tests.judging.coupon_makers import coupon

BRINELL = BrinellIndentation(Decimal("2451.6625"), Decimal(5), (Decimal("1.6"), Decimal("1.64")))
VICKERS = VickersIndentation(Decimal("98.07"), (Decimal("0.350"), Decimal("0.354")))
ROCKWELL = RockwellIndentation(Decimal(130), Decimal("0.002"), Decimal("0.092"))


def some(room: Room | None) -> Room:
    assert room is not None
    return room


@pytest.mark.parametrize(
    ("sizes", "percent"),
    [(("0.95", "1.00"), "5"), (("1.00", "0.95"), "5"), (("2",), "0"), (("3", "4"), "25")],
)
def test_asymmetry_is_the_difference_in_percent_of_the_larger(
    sizes: tuple[str, ...], percent: str
) -> None:
    assert asymmetry_percent(tuple(map(Decimal, sizes))) == Fraction(percent)


def test_asymmetry_at_its_limit_is_permitted_and_beyond_it_is_refused() -> None:
    check_asymmetry((Decimal("0.95"), Decimal("1.00")), Decimal(5))
    with pytest.raises(Refusal) as refused:
        check_asymmetry((Decimal("0.949"), Decimal("1.00")), Decimal(5))
    assert refused.value.sentence == (
        "The indentation's sizes 0.949 and 1.00 mm differ by 5.1 % of the larger, more than the "
        "5 % permitted: measure it again, or make another one."
    )


def test_sizes_that_are_no_sizes_are_refused() -> None:
    for sizes in ((), (Decimal(0), Decimal(1))):
        with pytest.raises(Refusal, match="above zero"):
            asymmetry_percent(sizes)


@pytest.mark.parametrize(
    ("scale", "indentation"),
    [
        ("HBW 5/250", BRINELL),
        ("HBW", BRINELL),
        ("HV10", VICKERS),
        ("HV", VICKERS),
        ("HRB", ROCKWELL),
        ("HRBW", ROCKWELL),
        ("HBW 5/250", BrinellIndentation(Decimal("2476.179"), Decimal(5), (Decimal(2),))),
    ],
)
def test_an_indentation_made_as_its_scale_says_is_taken(
    scale: str, indentation: Indentation
) -> None:
    check_scale(scale, indentation, where="Reading 1")


@pytest.mark.parametrize(
    ("scale", "indentation", "says"),
    [
        ("HRB", BRINELL, "HRB is no Brinell scale"),
        ("HBW 5/250", VICKERS, "HBW 5/250 is no Vickers scale"),
        ("HV10", ROCKWELL, "HV10 is no Rockwell scale"),
        ("HBW 10/500", BRINELL, "a ball of 10 mm, not 5 mm"),
        ("HBW 5/125", BRINELL, "is measured with 1225.83125 N, and 2451.6625 N"),
        ("HV5", VICKERS, "is measured with 49.03325 N, and 98.07 N"),
        ("HRC", ROCKWELL, "counts down from 100 in steps of 0.002 mm, not from 130"),
        (
            "HR15T",
            RockwellIndentation(Decimal(100), Decimal("0.002"), Decimal("0.02")),
            "in steps of 0.001 mm, not from 100 in steps of 0.002",
        ),
        (
            "HBW 5/250",
            BrinellIndentation(Decimal("2476.1795"), Decimal(5), (Decimal(2),)),
            "more than 1 % from it",
        ),
    ],
)
def test_an_indentation_made_otherwise_is_refused(
    scale: str, indentation: Indentation, says: str
) -> None:
    with pytest.raises(Refusal, match=says):
        check_scale(scale, indentation, where="Reading 1")
    with pytest.raises(Refusal, match=says):
        check_coupon(coupon(Reading(Quantity.HARDNESS, scale, indentation=indentation)))


def test_every_scale_is_known_by_exactly_one_method() -> None:
    for scale in HARDNESS_SCALES:
        known = [brinell_scale(scale), vickers_scale(scale), rockwell_scale(scale)]
        methods = sum(one is not None for one in known)
        assert methods == (0 if scale in {"HBW", "HV"} else 1), scale


@pytest.mark.parametrize("scale", [one for one in HARDNESS_SCALES if one not in {"HBW", "HV"}])
def test_a_scale_s_number_has_its_room(scale: str) -> None:
    room = room_of_number(Decimal(60), scale)
    assert room is not None
    assert Decimal(0) < room.edge_mm < room.centres_mm
    assert room.thickness_mm > 0


def test_the_room_of_a_number_is_that_of_the_indentation_that_gave_it() -> None:
    for scale, indentation in (("HBW 5/250", BRINELL), ("HV10", VICKERS), ("HRB", ROCKWELL)):
        number = hardness_number(indentation).value
        rounded = Decimal(number.numerator) / Decimal(number.denominator)
        measured, derived = room_of_indentation(indentation, scale), room_of_number(rounded, scale)
        lengths = [
            (one.centres_mm, one.edge_mm, one.thickness_mm)
            for one in map(some, (measured, derived))
        ]
        # HV10 is 98.0665 N and the tester's 98.07 N: the last hundredth may differ.
        for of_one, of_other in zip(*lengths, strict=True):
            assert abs(of_one - of_other) <= Decimal("0.01")


def test_a_depth_of_penetration_by_geometry() -> None:
    """A ball of 5 mm that leaves 3 mm: (5 - sqrt(25 - 9)) / 2 = 0.5 mm."""
    assert brinell_depth_mm(Fraction(3), Fraction(5)) == Fraction(1, 2)
    room = some(
        room_of_indentation(BrinellIndentation(Decimal(1), Decimal(5), (Decimal(3),)), "HBW")
    )
    assert (room.centres_mm, room.edge_mm, room.thickness_mm) == (9, Decimal("7.5"), 4)
    assert room.working == (
        "h = (D - sqrt(D^2 - d^2)) / 2 = (5 - sqrt(5^2 - 3.0000^2)) / 2 = 0.5000 mm",
        "centre to centre: 3 * 3.0000 mm",
        "centre to edge: 2.5 * 3.0000 mm",
        "thickness: 8 * 0.5000 mm",
    )


def test_the_rule_is_a_sentence_and_a_thin_coupon_has_a_reason() -> None:
    room = some(room_of_indentation(VICKERS, "HV10"))
    assert room.words == (
        "At least 2.12 mm from the centre of one indentation to the next, 1.06 mm to the edge, and "
        "0.53 mm of thickness (ISO 6507-1, light metals)."
    )
    assert room.why_too_thin(Decimal("0.53")) is None
    assert "0.52 mm is thinner than the 0.53 mm" in (room.why_too_thin(Decimal("0.52")) or "")


def test_what_the_scale_does_not_tell_has_no_room() -> None:
    assert room_of_number(Decimal(100), "HBW") is None
    assert room_of_number(Decimal(100), "HV") is None
    assert room_of_number(Decimal(131), "HRB") is None
    # So soft that the ball would go in beyond its middle.
    assert room_of_number(Decimal("0.5"), "HBW 10/500") is None


def test_the_mean_of_the_sizes() -> None:
    assert mean_size(BRINELL) == Fraction("1.62")
    assert mean_size(VICKERS) == Fraction("0.352")
