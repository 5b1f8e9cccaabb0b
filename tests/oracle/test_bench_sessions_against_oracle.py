"""Sessions, quarantine and the room of indentations, against the slow judge written apart.

Every expectation comes from the judging rules, 3.2.1 and 3.4, none from the program.
"""

import random
from collections import Counter
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from app.bench.rules.bracketing import Standing, newly_unproven, session_standing, takes_out_of_use
from app.errors import Refusal
from app.judging.witness.indentation import (
    BrinellIndentation,
    RockwellIndentation,
    VickersIndentation,
)
from app.judging.witness.indentation_room import room_of_indentation
from app.judging.witness.indentation_scale import check_asymmetry, check_scale

from .bench_case import Desk
from .bench_in_program import checks_of, taken_at
from .bench_sessions import force_kept, left_unproven, out_of_use, room, sizes_agree, standing
from .bench_tables import invented_desk
from .through_files import cases

STANDINGS = {
    Standing.AWAITING_OPENING: "awaiting",
    Standing.OPEN: "open",
    Standing.CLOSING: "closing",
    Standing.CLOSED: "closed",
    Standing.FAILED: "failed",
}
CRITERION = {"quantity": "hardness", "scale": "HRB", "min": "79", "standards_apart": "10"}
LEAST_OF_EACH = 200


def test_every_step_of_a_session_stands_where_the_rules_say() -> None:
    """3.4: standing, quarantine, and the readings a failed check leaves unproven."""
    seen: Counter[str] = Counter()
    for seed in range(cases(3000)):
        rng = random.Random(seed)  # noqa: S311 - repeatable cases, no secret
        whole = _with_failed_openings(rng, invented_desk(rng, CRITERION))
        told = checks_of(whole)
        # no session takes a reading before all its opening checks are made
        opened = [check.minute for check in whole.checks if check.moment == "opening"]
        minutes = [max(opened, default=0) + rng.randint(1, 120) for _ in range(6)]
        minutes = [minute for minute in minutes if all(c.minute != minute for c in whole.checks)]
        for length in range(1, len(told) + 1):
            desk = Desk("hardness", "HRB", None, "0.1", whole.checks[:length], (), {})
            exactly = standing(desk.checks)
            assert STANDINGS[session_standing(told[:length])] == exactly, seed
            gone = out_of_use(desk.checks)
            assert takes_out_of_use(told[:length]) is gone, seed
            by_now = [minute for minute in minutes if minute < desk.checks[-1].minute]
            lost = left_unproven(desk, by_now)
            taken = [(key, taken_at(minute)) for key, minute in enumerate(by_now)]
            if not told[length - 1].conforms:
                assert list(newly_unproven(taken, told[:length])) == lost, seed
                seen["left unproven"] += bool(lost)
            seen.update((exactly, "out of use" if gone else "in use"))
            if gone:
                break  # no check follows
    wanted = {*STANDINGS.values(), "out of use", "in use", "left unproven"}
    assert min(seen[one] for one in wanted) >= cases(100), seen


def _with_failed_openings(rng: random.Random, desk: Desk) -> Desk:
    """The session, now and then with one or two failed opening checks before all others."""
    if desk.checks:
        first = desk.checks[0]
        far_off = (str(Decimal(first.certified) + 9),)
        for _ in range(rng.choice([0, 0, 0, 1, 2])):
            minute = desk.checks[0].minute - 2
            desk.checks = (replace(first, readings=far_off, minute=minute), *desk.checks)
    return desk


def test_the_room_of_an_indentation_is_the_exact_one() -> None:
    """3.2.1: multiples of d and h, rounded up to 0.01 mm."""
    compared = 0
    for seed in range(cases(2000)):
        rng = random.Random(seed)  # noqa: S311 - repeatable cases, no secret
        scale, sizes, indentation = _indentation(rng)
        exactly, unsure = room(scale, sizes)
        told = room_of_indentation(indentation, scale)
        if unsure:
            continue
        compared += 1
        assert told is not None, sizes
        lengths = [Fraction(x) for x in (told.centres_mm, told.edge_mm, told.thickness_mm)]
        assert lengths == exactly, sizes
    assert compared >= cases(1990)


def _indentation(rng: random.Random) -> tuple[str, tuple[str, ...], object]:
    def length(low: int, high: int) -> str:
        return str(Decimal(rng.randint(low, high)) / 1000)

    scale = rng.choice(["HBW 5/250", "HV10", "HRB", "HR15T", "HRE", "HRC"])
    if scale == "HBW 5/250":
        widths = (length(1200, 3000), length(1200, 3000))
        sizes = ("brinell", "2451.6625", "5", *widths)
        ball = BrinellIndentation(Decimal("2451.6625"), Decimal(5), tuple(map(Decimal, widths)))
        return scale, sizes, ball
    if scale == "HV10":
        widths = (length(200, 600), length(200, 600))
        pyramid = VickersIndentation(Decimal("98.0665"), tuple(map(Decimal, widths)))
        return scale, ("vickers", "98.0665", *widths), pyramid
    full, step = {"HRC": ("100", "0.002"), "HR15T": ("100", "0.001")}.get(scale, ("130", "0.002"))
    depth = length(10, 150)
    return (
        scale,
        ("rockwell", full, step, depth),
        RockwellIndentation(Decimal(full), Decimal(step), Decimal(depth)),
    )


def test_sizes_that_differ_too_much_are_refused() -> None:
    """3.2.1: in % of the larger, the limit included."""
    seen: Counter[bool] = Counter()
    for seed in range(cases(2000)):
        rng = random.Random(seed)  # noqa: S311 - repeatable cases, no secret
        larger, percent = rng.choice(["1.000", "0.5", "2.500"]), rng.choice(["1", "2", "2.5", "5"])
        edge = Decimal(larger) * (1 - Decimal(percent) / 100)
        smaller = str(edge + Decimal(rng.choice(["0", "0.001", "-0.001", "-0.0001", "0.01"])))
        sizes = (larger, smaller) if rng.random() < 0.5 else (smaller, larger)
        fine = sizes_agree(sizes, percent)
        seen[fine] += 1
        assert _refused(check_asymmetry, tuple(map(Decimal, sizes)), Decimal(percent)) is not fine
    assert min(seen[True], seen[False]) >= cases(LEAST_OF_EACH)


def test_an_indentation_made_otherwise_than_its_scale_says_is_refused() -> None:
    """3.2.1: method, ball, N and S of the scale's symbol, and the force within 1 % of it."""
    seen: Counter[bool] = Counter()
    for seed in range(cases(2000)):
        rng = random.Random(seed)  # noqa: S311 - repeatable cases, no secret
        kgf = rng.choice(["10", "250", "62.5"])
        asked = Decimal(kgf) * Decimal("9.80665")
        off = Decimal(rng.choice(["0.01", "-0.01", "0", "0.010001", "-0.010001", "0.02"]))
        force = asked * (1 + off)
        ball = rng.choice(["5", "2.5"])
        scale = {"10": "HV10", "250": "HBW 5/250", "62.5": "HBW 2.5/62.5"}[kgf]
        width = Decimal("0.9")
        if rng.random() < 0.5:
            method: object = BrinellIndentation(force, Decimal(ball), (width,))
            right = scale.startswith(f"HBW {ball}/")
        else:
            method, right = VickersIndentation(force, (width,)), scale == "HV10"
        fine = right and force_kept(str(force), kgf)
        seen[fine] += 1
        assert _refused(check_scale, scale, method, where="reading 1") is not fine, (scale, method)
    assert min(seen[True], seen[False]) >= cases(LEAST_OF_EACH)


@pytest.mark.parametrize(
    ("scale", "full", "step", "fine"),
    [
        ("HRB", "130", "0.002", True),
        ("HRB", "100", "0.002", False),
        ("HRB", "130", "0.001", False),
        ("HR15T", "100", "0.001", True),
        ("HRC", "100", "0.002", True),
        ("HRC", "130", "0.002", False),
        ("HV10", "130", "0.002", False),
    ],
)
def test_a_rockwell_depth_has_its_scales_figures(scale, full, step, fine) -> None:
    depth = RockwellIndentation(Decimal(full), Decimal(step), Decimal("0.05"))
    assert _refused(check_scale, scale, depth, where="reading 1") is not fine


def _refused(rule, *given: object, **named: object) -> bool:
    try:
        rule(*given, **named)
    except Refusal:
        return True
    return False
