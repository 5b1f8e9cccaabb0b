"""Where a session stands, and the room of an indentation: slow, from the judging rules alone."""

from fractions import Fraction

from .bench_case import BlockCheck, Desk
from .bench_figures import HIDDEN, bracketed, check_conforms, square_root
from .coupon_oracle import number

HUNDREDTH = Fraction(1, 100)
BALLS_MM = {"HRB": "1.5875", "HR15T": "1.5875", "HRE": "3.175"}  # a cone in every other scale
# Multiples of d, d and h (of d for Vickers): the table of 3.2.1.
ROOM = {
    "brinell": ("3", "2.5", "8"),
    "vickers": ("6", "3", "1.5"),
    "ball": ("3", "2.5", "15"),
    "cone": ("3", "2.5", "10"),
}


def standing(checks: tuple[BlockCheck, ...]) -> str:
    """3.4: awaiting, open, closing, closed or failed; with its tester out of use it is failed."""
    if any(out_of_use(checks[:length]) for length in range(1, len(checks) + 1)):
        return "failed"
    latest: dict[str, bool] = {}
    closed: set[str] = set()
    for check in checks:
        fine = check_conforms(check)
        if check.moment == "opening":
            latest[check.block] = fine
        elif check.moment == "closing":
            closed.add(check.block)
    if not latest or not all(latest.values()):
        return "awaiting"
    if closed >= set(latest):
        return "closed"
    return "closing" if closed else "open"


def out_of_use(checks: tuple[BlockCheck, ...]) -> bool:
    """3.4, quarantine: what the last check does to its tester."""
    told = [(check.moment, check_conforms(check)) for check in checks]
    if told[-1][1]:
        return False
    return told[-1][0] != "opening" or told[-2:-1] == [("opening", False)]


def left_unproven(desk: Desk, minutes: list[int]) -> list[int]:
    """The readings that stood before the session's last check and do not after it."""
    earlier = Desk(
        desk.quantity, desk.unit, desk.build, desk.step, desk.checks[:-1], desk.papers, desk.blocks
    )
    return [
        key
        for key, minute in enumerate(minutes)
        if bracketed(earlier, minute)[0] and not bracketed(desk, minute)[0]
    ]


def room(scale: str, sizes: tuple[str, ...]) -> tuple[list[Fraction], bool]:
    """Centre to centre, to the edge, and thickness, rounded up to 0.01 mm; and if any is unsure."""
    method, *figures = sizes
    given = [number(figure) for figure in figures]
    if method == "vickers":
        width = deep = sum(given[1:], Fraction(0)) / len(given[1:])
    elif method == "brinell":
        ball, width = given[1], sum(given[2:], Fraction(0)) / len(given[2:])
        deep = (ball - square_root(ball * ball - width * width)) / 2
    elif scale in BALLS_MM:
        method, deep, ball = "ball", given[2], number(BALLS_MM[scale])
        width = 2 * square_root(deep * (ball - deep))
    else:
        method, deep = "cone", given[2]
        width = 2 * deep * square_root(Fraction(3))  # tan 60 deg
    exact = zip(ROOM[method], (width, width, deep), strict=True)
    figures_mm = [number(times) * size for times, size in exact]
    unsure = any(0 < -figure % HUNDREDTH < HIDDEN for figure in figures_mm)
    return [-(-figure // HUNDREDTH) * HUNDREDTH for figure in figures_mm], unsure


def sizes_agree(sizes: tuple[str, str], most_percent: str) -> bool:
    """3.2.1: their difference in % of the larger, the limit included."""
    one, other = map(number, sizes)
    return abs(one - other) * 100 / max(one, other) <= number(most_percent)


def force_kept(force_n: str, kgf: str) -> bool:
    """3.2.1: within 1 % of the scale's force, ends included."""
    asked = number(kgf) * number("9.80665")
    return abs(number(force_n) - asked) <= asked / 100
