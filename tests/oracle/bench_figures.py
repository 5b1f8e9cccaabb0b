"""Exact figures of the bench, one rule of section 3.2 to 3.4 at a time, slowly.

Written from the judging rules alone. Fractions throughout; pi and square roots are worked out here
to far more digits than any comparison needs, and say so where they could turn one.
"""

import math
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from .bench_case import BlockCheck, Desk, Paper, TableInForce
from .coupon_oracle import in_unit, number, rounded

DIGITS = 70
SCALE = 10**DIGITS
HIDDEN = Fraction(1, 10**40)  # nearer than this, an irrational figure decides nothing here


def _arc_tangent_of_one_over(whole: int) -> int:
    """``SCALE * arctan(1 / whole)`` by its series."""
    power = total = SCALE // whole
    odd, sign = 1, 1
    while power:
        power //= whole * whole
        odd, sign = odd + 2, -sign
        total += sign * power // odd
    return total


# Machin: pi / 4 = 4 arctan(1/5) - arctan(1/239).
PI = Fraction(4 * (4 * _arc_tangent_of_one_over(5) - _arc_tangent_of_one_over(239)), SCALE)


def square_root(square: Fraction) -> Fraction:
    """To 70 digits, and exactly where the root is rational."""
    top, under = math.isqrt(square.numerator), math.isqrt(square.denominator)
    if top * top == square.numerator and under * under == square.denominator:
        return Fraction(top, under)
    return Fraction(math.isqrt(square.numerator * SCALE * SCALE // square.denominator), SCALE)


def hardness(sizes: tuple[str, ...]) -> tuple[Fraction, bool]:
    """The number of an indentation (3.2.1), and whether it is exact."""
    method, *figures = sizes
    given = [number(figure) for figure in figures]
    if method == "rockwell":
        full, step, depth = given
        return full - depth / step, True
    if method == "vickers":
        force, *diagonals = given
        mean = sum(diagonals, Fraction(0)) / len(diagonals)
        return Fraction("0.1891") * force / (mean * mean), True
    force, ball, *diameters = given
    mean = sum(diameters, Fraction(0)) / len(diameters)
    cap = ball - square_root(ball * ball - mean * mean)
    return Fraction("0.102") * 2 * force / (PI * ball * cap), False


def straight(points: list[tuple[Fraction, Fraction]], at: Fraction) -> Fraction | None:
    """On the straight line between the two points about ``at``; None outside all of them."""
    for (low, low_figure), (high, high_figure) in pairwise(points):
        if low <= at <= high:
            return low_figure + (high_figure - low_figure) * (at - low) / (high - low)
    return None


def instrument_adds(paper: Paper, at: Fraction) -> Fraction | None:
    points = [(number(read), number(added)) for read, added in paper.corrections]
    return straight(points, at) if points else Fraction(0)


def table_adds(table: TableInForce, at: Fraction, measure: str | None) -> Fraction | None:
    """First along the measure in every row, then along the readings: the same as bilinear."""
    column = []
    for read, row in zip(table.readings, table.additions, strict=True):
        if table.by is None:
            added: Fraction | None = number(row[0])
        elif measure is None:
            added = None
        else:
            points = [(number(m), number(a)) for m, a in zip(table.measures, row, strict=True)]
            added = straight(points, number(measure))
        if added is None:
            return None
        column.append((number(read), added))
    return straight(column, at)


@lru_cache(maxsize=1000)
def check_conforms(check: BlockCheck) -> bool:
    """3.4: the mean's error, rounded to the permitted error's last place, within it."""
    mean = sum(map(number, check.readings), Fraction(0)) / len(check.readings)
    places = len(check.permitted.partition(".")[2])
    error = rounded(mean - number(check.certified), Fraction(1, 10**places))
    return abs(error) <= number(check.permitted)


def paper_of(papers: tuple[Paper, ...], day: int) -> Paper | None:
    """The paper that speaks for a day: the newest made by then, if it lasts that long."""
    made = [paper for paper in papers if paper.done <= day]
    if not made:
        return None
    newest = max(paper.done for paper in made)
    paper = next(paper for paper in made if paper.done == newest)
    return paper if paper.due >= day else None


def bracketed(desk: Desk, minute: int) -> tuple[bool, bool]:
    """3.2 and 3.4: whether the checks prove a reading of that minute, and only provisionally."""
    told = [(check, check_conforms(check)) for check in desk.checks]
    opening = {check.block for check in desk.checks if check.moment == "opening"}
    failed = any(not fine and check.moment != "opening" for check, fine in told)
    closings = {check.block for check, fine in told if fine and check.moment == "closing"}
    ended = failed or (bool(opening) and closings >= opening)
    if not opening:
        return False, False
    waiting = not ended
    for block in opening:
        mine = [(check.minute, fine) for check, fine in told if check.block == block]
        before = [fine for at, fine in mine if at < minute]
        after = [fine for at, fine in mine if at > minute]
        if not before or not before[-1] or (after and not after[0]):
            return False, False
        if not after and ended:
            return False, False
    return True, waiting


def stand_about(desk: Desk, unit: str, limits: list[Fraction], apart: Fraction) -> bool:
    """3.4: two standards of the opening about every limit, at least that far apart."""
    values = [
        in_unit(number(check.certified), desk.unit, unit)
        for check in desk.checks
        if check.moment == "opening"
    ]
    below = [value for value in values if value is not None and value <= min(limits)]
    above = [value for value in values if value is not None and value >= max(limits)]
    return bool(below and above) and max(above) - min(below) >= apart


def squared_uncertainty(
    used: list[tuple[Desk, int, int]], own: list[Fraction], unit: str, *, averaged: bool
) -> Fraction | None:
    """3.3.1: U squared of one of ``own`` or of their mean; ``used`` are (session, day, minute)."""
    testers, blocks, studies = [], [], []
    for desk, day, minute in used:
        paper = paper_of(desk.papers, day)
        if paper is None or paper.expanded is None:
            return None
        testers.append(in_unit(number(paper.expanded), desk.unit, unit))
        known = {desk.blocks[check.block] for check in desk.checks} - {None}
        blocks += [in_unit(number(figure), desk.unit, unit) for figure in known]
        closed = [(at, deviation) for at, deviation in desk.studies if at <= minute]
        if closed:
            studies.append(in_unit(number(max(closed)[1]), desk.unit, unit))
        else:
            studies.append(None)
    if not testers:
        return None
    square = (max(testers) / 2) ** 2
    if blocks:
        square += (max(blocks) / 2) ** 2
    scatter = Fraction(0)
    if None not in studies:
        scatter = max(studies) ** 2
    elif len(own) >= 3:
        mean = sum(own, Fraction(0)) / len(own)
        scatter = sum(((one - mean) ** 2 for one in own), Fraction(0)) / (len(own) - 1)
    square += scatter / len(own) if averaged else scatter
    return 4 * square
