from dataclasses import replace
from decimal import Decimal

import pytest

from app.errors import Refusal
from app.judging.rounding import RoundingMethod
from app.judging.units import Quantity
from app.judging.verdict import Verdict
from app.judging.witness.acceptance import (
    Criterion,
    Entry,
    EntryKey,
    RetestOf,
    RetestRule,
    Surface,
    ThicknessRange,
    Zone,
    ZoneOutcome,
)
from app.judging.witness.acceptance_checks import check_table
from app.judging.witness.coupons import judge_coupon
from tests.judging.coupon_makers import (
    codes,
    conductivity,
    coupon,
    entry,
    guarded,
    hardness,
    hrb,
    iacs,
    judge,
    table,
    zoned,
)


def key(
    lower: str,
    upper: str,
    *,
    ends: tuple[bool, bool] = (True, True),
    surface: Surface | None = None,
) -> EntryKey:
    thickness = ThicknessRange(Decimal(lower), Decimal(upper), *ends)
    return EntryKey("Q-77", "K1", "plate", thickness, surface)


def span(lower: str, upper: str) -> tuple[Decimal, Decimal]:
    return Decimal(lower), Decimal(upper)


def pulled(**rest: object) -> Criterion:
    return replace(Criterion(Quantity.YIELD_STRENGTH, "ksi", maximum=Decimal(60)), **rest)


def zone(lower: str | None, upper: str | None, outcome: str = "accept") -> Zone:
    ends = [None if end is None else Decimal(end) for end in (lower, upper)]
    return Zone(ends[0], ends[1], ZoneOutcome(outcome))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (entry(hardness(minimum=None)), "no min, no max and no zones"),
        (entry(hardness(maximum=Decimal(80))), "83 is above max, 80"),
        (entry(hardness(readings_min=0)), "readings_min: 0 must be at least 1"),
        (entry(hardness(range_max=Decimal(-1))), "range_max"),
        (entry(hardness(resolution=Decimal(0))), "resolution: 0 must be above zero"),
        (entry(hardness(unit="HRQ")), "'HRQ' is no scale of hardness"),
        (entry(hardness(), source=" "), "source: nothing is given"),
        (entry(hardness(), key=key("20", "10")), "thickness_mm"),
        (entry(hardness(), key=key("10", "10", ends=(True, False))), "thickness_mm"),
        (entry(hardness(), retest=RetestRule(0, RetestOf.SETS)), "retest, further"),
        (entry(hardness(), depths_needed=Decimal(0)), "depths_needed"),
        (entry(hardness(instruments=("fixed", "handheld"))), "instruments: 'handheld' is unknown"),
        (entry(hardness(instruments=("fixed", "fixed"))), "or stands there twice"),
        (entry(hardness(standards_apart=Decimal(0))), "standards_apart: 0 must be above zero"),
        (entry(hardness(correction=" ")), "correction: nothing is given"),
        (entry(hardness(possible=span("90", "40"))), "possible: from 90 must be below to 40"),
        (entry(hardness(usual=span("80", "80"))), "usual: from 80 must be below to 80"),
        (entry(hardness(rise=span("9", "5"))), "rise: from 9 must be below to 5"),
        (entry(hardness(possible=span("-1", "90"))), "possible: -1 must not be below zero"),
        (
            entry(hardness(possible=span("60", "95"), usual=span("80", "96"))),
            "usual: 80 to 96 reaches outside what is possible, 60 to 95",
        ),
        (entry(hardness(possible=span("60", "82"))), "the limit 83 lies outside 60 to 82"),
        (entry(zoned(possible=span("38", "50"))), "the limit 37.9 lies outside 38 to 50"),
        (entry(pulled(instruments=("fixed",))), "instruments: only hardness and conductivity"),
        (entry(pulled(rise=span("1", "2"))), "rise: only hardness and conductivity"),
        (
            entry(hardness(correction="CT-1"), hardness(correction="CT-2")),
            "two criteria of hardness in HRB name different correction tables",
        ),
        (
            entry(conductivity(correction="CT-1"), conductivity(unit="MS/m")),
            "or one of them none",
        ),
        (guarded(zoned()), "a guarded entry cannot have zones"),
        (entry(zoned(rounding=RoundingMethod.ABSOLUTE)), "need the rounding method"),
        (entry(zoned(resolution=Decimal("0.01"))), "there is a gap"),
        (entry(zoned(resolution=Decimal("0.2"))), "is no multiple of the resolution 0.2"),
    ],
)
def test_a_faulty_entry_is_refused_by_name(row: Entry, says: str) -> None:
    with pytest.raises(Refusal, match=says) as refused:
        check_table(table(row))
    assert refused.value.sentence.startswith("Entry 1 (Q-77 K1 plate")


def test_how_a_criterion_is_to_be_measured_may_be_stated() -> None:
    measured = hardness(
        instruments=("fixed", "portable"),
        standards_apart=Decimal(10),
        possible=span("83", "99"),
        usual=span("83", "99"),
        correction="CT-1",
        rise=span("-1", "9.5"),
    )
    same = hardness(maximum=Decimal(99), minimum=None, correction=" ct-1 ")
    other_scale = hardness(unit="HRE")
    check_table(table(entry(measured, same, other_scale, pulled(possible=span("0", "90")))))


@pytest.mark.parametrize(
    ("zones", "says"),
    [
        ((zone(None, "37.9"), zone("38.1", None)), "there is a gap between up to 37.9 and 38.1"),
        ((zone(None, "38.0"), zone("38.0", None)), "overlap"),
        ((zone(None, "37.9"), zone("38.0", "39.0")), "nothing covers values above 39.0"),
        ((zone("37.0", "37.9"), zone("38.0", None)), "nothing covers values below 37.0"),
        ((zone(None, "37.9"), zone(None, None)), "overlap"),
        ((zone(None, "37.9"), zone("38", None)), "stated to different places"),
        ((zone(None, "37.9"), zone("39.0", "38.0"), zone("39.1", None)), "from is above to"),
        ((zone(None, None, "accept_if"),), "accept_if needs"),
        ((Zone(None, None, ZoneOutcome.ACCEPT, (hardness(),)),), "only accept_if may have"),
        (
            (Zone(None, None, ZoneOutcome.ACCEPT_IF, (hardness(readings_min=0),)),),
            "also 1 .hardness., readings_min",
        ),
    ],
)
def test_zones_must_cover_every_value_once(zones: tuple[Zone, ...], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        check_table(table(entry(conductivity(minimum=None, zones=zones))))


def test_zones_may_be_written_in_any_order() -> None:
    zones = (zone("38.0", None), zone(None, "37.9", "reject"))
    row = entry(conductivity(minimum=None, zones=zones))
    assert judge(row, *iacs("38.0")).verdict is Verdict.CONFORMS
    assert judge(row, *iacs("37.9")).verdict is Verdict.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("one", "other", "overlap"),
    [
        (key("6", "10"), key("10", "20"), True),
        (key("6", "10", ends=(True, False)), key("10", "20"), False),
        (key("6", "10"), key("10", "20", ends=(False, True)), False),
        (key("6", "30"), key("10", "20"), True),
        (key("6", "10", surface=Surface.BARE), key("6", "10", surface=Surface.CLAD), False),
        (key("6", "10", surface=Surface.BARE), key("6", "10"), True),
    ],
)
def test_two_entries_for_the_same_coupon_are_refused_and_both_named(
    one: EntryKey,
    other: EntryKey,
    overlap: bool,  # noqa: FBT001 - a column of the table above
) -> None:
    pair = table(entry(hardness(), key=one), entry(hardness(), key=other))
    if not overlap:
        check_table(pair)
        return
    with pytest.raises(Refusal, match=r"Entries 1 .* and 2 .* could match the same coupon"):
        check_table(pair)


def test_judging_by_two_matching_entries_is_refused_even_unchecked() -> None:
    with pytest.raises(Refusal, match="Two entries match"):
        judge_coupon(coupon(*hrb("84")), table(entry(), entry()))


@pytest.mark.parametrize(
    ("thickness", "matches"),
    [("6.34", False), ("6.35", True), ("49.999", True), ("50", False), ("50.0", False)],
)
def test_a_thickness_on_an_end_matches_only_where_the_end_is_included(
    thickness: str,
    matches: bool,  # noqa: FBT001 - a column of the table above
) -> None:
    judged = judge(entry(), *hrb("84", "84", "84"), thickness_mm=Decimal(thickness))
    assert (judged.entry is not None) is matches


def test_a_coupon_without_a_thickness_matches_no_entry() -> None:
    judged = judge(entry(), *hrb("84", "84", "84"), thickness_mm=None)
    assert judged.verdict is Verdict.NOT_PROVEN
    assert codes(judged) == ["entry.none"]


def test_no_entry_is_not_proven_with_the_nearest_keys_shown() -> None:
    judged = judge(entry(), *hrb("84", "84", "84"), temper="K9")
    assert judged.verdict is Verdict.NOT_PROVEN
    assert judged.entry is None
    assert "nearest: Q-77 K1 plate from 6.35 to below 50 mm" in judged.findings[0].text


def test_an_entry_for_bare_does_not_take_a_coupon_of_unknown_surface() -> None:
    row = entry(hardness(), key=key("6", "20", surface=Surface.BARE))
    assert judge(row, *hrb("84", "84", "84")).entry is None
    assert judge(row, *hrb("84", "84", "84"), surface=Surface.BARE).entry is row


def test_further_criteria_inside_a_zone_may_have_zones_of_their_own() -> None:
    inner = Criterion(
        Quantity.HARDNESS, "HRB", zones=(zone(None, "82", "reject"), zone("83", None))
    )
    outer = (Zone(None, None, ZoneOutcome.ACCEPT_IF, (inner,)),)
    row = entry(conductivity(minimum=None, zones=outer))
    assert judge(row, *iacs("38"), *hrb("83")).verdict is Verdict.CONFORMS
    assert judge(row, *iacs("38"), *hrb("82")).verdict is Verdict.DOES_NOT_CONFORM
