"""Two tables as one: whatever conforms under the composed one conforms under both."""

import random
from dataclasses import replace
from decimal import Decimal

import pytest

from app.errors import Refusal
from app.judging.rounding import RoundingMethod
from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.acceptance import (
    Criterion,
    DecisionRule,
    Entry,
    EntryKey,
    Obtained,
    RetestOf,
    RetestRule,
    Statistic,
    Surface,
    Table,
    ThicknessRange,
    Zone,
    ZoneOutcome,
)
from app.judging.witness.acceptance_checks import check_table
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.coupons import find_entry, judge_coupon
from app.judging.witness.strictest import Layer, compose, is_as_strict

HARD = Criterion(Quantity.HARDNESS, "HRB", minimum=Decimal("83.0"), readings_min=2)


def _thick(low: str, high: str, *, up_to: bool = True) -> ThicknessRange:
    return ThicknessRange(Decimal(low), Decimal(high), lower_included=True, upper_included=up_to)


def _table(*criteria: Criterion, **changed: object) -> Table:
    key = EntryKey("Q-77", "K1", "plate", _thick("6", "40"))
    entry = Entry(key, criteria or (HARD,), "clause 1", Obtained.COMMON_PRACTICE)
    return Table("Invented", "A", (replace(entry, **changed),))


def _composed(base: Table, extra: Table) -> Table:
    return compose(Layer("shop", base), Layer("customer", extra), name="Both", revision="1").table


def _coupon(thickness: str, *readings: Reading, surface: Surface = Surface.BARE) -> Coupon:
    u = {(Quantity.HARDNESS, "HRB"): Decimal("0.4")}
    return Coupon("Q-77", "K1", "plate", Decimal(thickness), surface, readings, u)


def _some_zones(draw: random.Random) -> tuple[Zone, ...]:
    cuts = sorted(draw.sample(range(370, 430, 4), draw.randint(1, 3)))
    ends = [None, *[Decimal(cut) / 10 for cut in cuts]]
    also = (Criterion(Quantity.HARDNESS, "HRB", minimum=Decimal(draw.randint(81, 85))),)
    zones = []
    for lower, upper in zip(ends, [*ends[1:], None], strict=True):
        outcome = draw.choice(list(ZoneOutcome))
        zones.append(
            Zone(
                None if lower is None else lower,
                None if upper is None else upper - Decimal("0.1"),
                outcome,
                also if outcome is ZoneOutcome.ACCEPT_IF else (),
            )
        )
    return tuple(zones)


def _some_table(draw: random.Random, *, guarded: bool) -> Table:
    entries, low = [], draw.randint(0, 8)
    for _ in range(draw.randint(1, 3)):
        high = low + draw.randint(1, 6)
        digits = draw.choice((0, 1))
        hard = Criterion(
            Quantity.HARDNESS,
            "HRB",
            minimum=round(Decimal(draw.randint(810, 850)) / 10, digits),
            maximum=draw.choice((None, round(Decimal(draw.randint(860, 900)) / 10, digits))),
            statistic=draw.choice(list(Statistic)),
            readings_min=draw.randint(1, 3),
            range_max=draw.choice((None, Decimal("1.5"), Decimal("3"))),
            rounding=draw.choice(list(RoundingMethod)),
        )
        conductivity = Criterion(Quantity.CONDUCTIVITY, "%IACS", statistic=Statistic.MEAN)
        if guarded:
            conductivity = replace(conductivity, minimum=Decimal("38.0"))
        else:
            conductivity = replace(conductivity, zones=_some_zones(draw), resolution=Decimal("0.1"))
        criteria = draw.choice(((hard,), (hard, conductivity), (conductivity,)))
        surface = draw.choice((None, Surface.BARE))
        key = EntryKey("Q-77", "K1", "plate", _thick(str(low), str(high), up_to=False), surface)
        decision = DecisionRule.GUARDED if guarded else DecisionRule.SIMPLE
        entries.append(Entry(key, criteria, "clause", Obtained.INVENTED, decision))
        low = high + draw.randint(0, 2)
    table = Table("Generated", "A", tuple(entries))
    check_table(table)
    return table


def _plainly_conforms(coupon: Coupon, table: Table) -> bool:
    """Minimum and maximum of each hardness reading, compared as found: nothing of the judge's."""
    entry = find_entry(coupon, table)
    assert entry is not None
    values = [one.value for one in coupon.readings if one.value is not None]
    return all(
        (one.minimum is None or one.minimum <= value)
        and (one.maximum is None or value <= one.maximum)
        for one in entry.criteria
        for value in values
    )


def test_whatever_conforms_under_the_composed_table_conforms_under_both() -> None:
    draw = random.Random(20261125)  # noqa: S311 - cases, not secrets
    conforming = composed_tables = 0
    for case in range(250):
        base = _some_table(draw, guarded=False)
        extra = _some_table(draw, guarded=case % 5 == 0)
        try:
            both = _composed(base, extra)
        except Refusal as refusal:
            assert "cannot be composed" in refusal.sentence  # noqa: PT017
            continue
        composed_tables += 1
        for _ in range(12):
            near = draw.randint(-15, 35)
            readings = [
                Reading(Quantity.HARDNESS, "HRB", Decimal(830 + near + draw.randint(-7, 7)) / 10)
                for _ in range(draw.randint(1, 4))
            ]
            readings.append(
                Reading(Quantity.CONDUCTIVITY, "%IACS", Decimal(draw.randint(365, 430)) / 10)
            )
            coupon = _coupon(
                str(Decimal(draw.randint(1, 400)) / 20),
                *readings,
                surface=draw.choice((Surface.BARE, Surface.CLAD)),
            )
            speaks = [table for table in (base, extra) if find_entry(coupon, table) is not None]
            apart = [judge_coupon(coupon, table).verdict for table in speaks]
            joined = judge_coupon(coupon, both).verdict
            if joined is Verdict.CONFORMS:
                assert base in speaks
                assert set(apart) == {Verdict.CONFORMS}, (base, extra, coupon)
                conforming += 1
            elif base in speaks and case % 5:
                assert set(apart) != {Verdict.CONFORMS}, (base, extra, coupon)
    assert composed_tables > 150
    assert conforming > 100


def test_minimum_and_maximum_by_hand_and_by_plain_comparison() -> None:
    draw = random.Random(7)  # noqa: S311 - cases, not secrets
    limits = [Decimal("82.0"), Decimal("82.5"), Decimal("83.0"), Decimal("83.5")]
    for _ in range(60):
        base, extra = (
            _table(
                replace(HARD, minimum=low, maximum=low + 2, rounding=RoundingMethod.ABSOLUTE),
            )
            for low in (draw.choice(limits), draw.choice(limits))
        )
        both = _composed(base, extra)
        (only,) = both.entries[0].criteria
        lows = [table.entries[0].criteria[0].minimum for table in (base, extra)]
        assert only.minimum == max(low for low in lows if low is not None)
        for tenth in range(815, 865, 3):
            coupon = _coupon("12", Reading(Quantity.HARDNESS, "HRB", Decimal(tenth) / 10))
            conforms = _plainly_conforms(coupon, both)
            assert conforms == (
                _plainly_conforms(coupon, base) and _plainly_conforms(coupon, extra)
            )


def test_each_value_names_its_layer_and_ranges_are_cut_at_their_ends() -> None:
    extra = _table(
        replace(HARD, minimum=Decimal("84.0"), maximum=Decimal("90.0"), readings_min=1),
        key=EntryKey("q-77 ", "K1", "plate", _thick("10", "50", up_to=False), Surface.CLAD),
        source="order 7, clause 3",
        obtained=Obtained.INVENTED,
        decision=DecisionRule.GUARDED,
    )
    base = _table(HARD, retest=RetestRule(2, RetestOf.COUPONS))
    made = compose(Layer("shop", base), Layer("customer", extra), name="Both", revision="1")
    keys = [str(entry.key) for entry in made.table.entries]
    assert keys == [
        "Q-77 K1 plate from 6 to 40 mm, bare",
        "Q-77 K1 plate from 6 to below 10 mm, clad",
        "Q-77 K1 plate from 10 to 40 mm, clad",
        "Q-77 K1 plate from 6 to 40 mm, clad removed",
    ]
    bare, _, clad, _ = made.table.entries
    assert bare.criteria[0].source == "shop: clause 1"
    assert (bare.retest, clad.retest) == (RetestRule(2, RetestOf.COUPONS), None)
    assert clad.decision is DecisionRule.GUARDED
    assert clad.obtained is Obtained.INVENTED
    assert clad.criteria[0].source == (
        "readings 2 by shop: clause 1; minimum 84.0, maximum 90.0 by customer: order 7, clause 3"
    )
    assert made.left_out == ()
    other = replace(base.entries[0].key, alloy="Q-78")
    alone = compose(
        Layer("shop", base), Layer("customer", _table(HARD, key=other)), name="B", revision="1"
    )
    assert alone.left_out == (other,)
    # Composed again with the same it asks nothing more, and the base alone is not as strict.
    assert is_as_strict(clad, extra.entries[0])
    assert not is_as_strict(base.entries[0], extra.entries[0])


def test_a_larger_minimum_that_rounds_down_further_is_not_taken_for_the_stricter() -> None:
    both = _composed(
        _table(replace(HARD, minimum=Decimal("83"))), _table(replace(HARD, minimum=Decimal("82.8")))
    )
    assert [one.minimum for one in both.entries[0].criteria] == [Decimal("83"), Decimal("82.8")]
    readings = [Reading(Quantity.HARDNESS, "HRB", Decimal("82.6"))] * 2
    # 82.6 is 83 to the whole number, and below 82.8 to the tenth.
    assert judge_coupon(_coupon("12", *readings), both).verdict is Verdict.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("base", "extra", "says"),
    [
        (_table(replace(HARD, correction="CT-1")), _table(HARD), "different correction tables"),
        (
            _table(HARD),
            _table(replace(HARD, minimum=None, maximum=Decimal("82.0"))),
            "is above max",
        ),
        (
            _table(HARD, retest=RetestRule(1, RetestOf.SETS)),
            _table(HARD, retest=RetestRule(1, RetestOf.COUPONS)),
            "neither is stricter",
        ),
        (
            _table(replace(HARD, instruments=("fixed",))),
            _table(replace(HARD, instruments=("portable",))),
            "no build of instrument",
        ),
        (
            _table(replace(HARD, minimum=Decimal("83.4"), resolution=Decimal("1"))),
            _table(HARD, decision=DecisionRule.GUARDED),
            "no multiple of its step",
        ),
    ],
)
def test_what_cannot_hold_at_once_is_refused(base: Table, extra: Table, says: str) -> None:
    with pytest.raises(Refusal, match=says) as refused:
        _composed(base, extra)
    assert "Q-77 K1 plate" in refused.value.sentence
