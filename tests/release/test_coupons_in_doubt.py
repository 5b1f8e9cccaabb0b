"""What coupons in doubt do to the evidence, without a database."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judging.verdict import Outcome, Verdict
from app.release.rules.facts import CouponFacts, PanelFacts, TroubleFacts
from app.release.rules.gates import Gate, evidence, recommend
from app.release.rules.snapshot import differences, snapshot
from app.release.rules.standing import Standing, standing_of
from tests.release.test_rules import COUPON, LOAD, PANEL, custody

OPEN = TroubleFacts("C-1", "missing")
OUT = replace(OPEN, outcome="no evidence", by="Ines Valcourt", reason="It is not to be found.")
REPLACED = replace(OUT, outcome="a spare stands in", spare="C-3")
NAMED = replace(OUT, outcome="shown to be this coupon", kind="its mark is on two coupons")
GONE = custody("cut and marked", "placed on the panel", "missing")


def a_coupon(code: str, x: str, **changed: Any) -> CouponFacts:
    return replace(COUPON, id=int(code[-1]), code=code, x=x, **changed)


def riding(*coupons: CouponFacts, **changed: Any) -> PanelFacts:
    return replace(PANEL, loads=(replace(LOAD, coupons=coupons, **changed),))


LOST = a_coupon("C-1", "0.1", verdict=None, custody=GONE)
RIGHT = a_coupon("C-2", "0.9")
SPARE = a_coupon("C-3", "0.2")


def gate(facts: PanelFacts, code: str) -> Gate:
    return next(one for one in evidence(facts) if one.code == code)


def doubted(trouble: TroubleFacts | None, **changed: Any) -> CouponFacts:
    return replace(LOST, trouble=trouble, **changed)


def test_an_open_report_is_not_proven_and_says_who_decides() -> None:
    facts = riding(doubted(OPEN), RIGHT, SPARE)
    for code in ("coupons.L-1", "coupon.C-1"):
        found = gate(facts, code)
        assert found.outcome is Outcome.NOT_PROVEN
        assert found.who == "a supervisor other than the person who reported it"
        assert "a supervisor has not decided about it" in found.text.lower()
    assert recommend(evidence(facts)) is Verdict.NOT_PROVEN


def test_a_coupon_that_nobody_can_name_is_not_proven_until_it_is_decided() -> None:
    nameless = TroubleFacts(None, "found without a mark")
    facts = riding(RIGHT, SPARE, nameless=(nameless,))
    assert gate(facts, "coupons.L-1").outcome is Outcome.NOT_PROVEN
    decided = replace(nameless, outcome="no evidence", by="Ines Valcourt", reason="A stray one.")
    found = gate(riding(RIGHT, SPARE, nameless=(decided,)), "coupons.L-1")
    assert found.outcome is Outcome.CONFORMS
    assert "A coupon: found without a mark; no evidence, decided by Ines Valcourt" in found.text


def test_the_spares_verdict_counts_in_the_lost_ones_place() -> None:
    facts = riding(doubted(REPLACED), RIGHT, SPARE)
    assert recommend(evidence(facts)) is Verdict.CONFORMS
    assert standing_of(facts) is Standing.READY
    said = gate(facts, "coupon.C-1").text
    assert said.startswith("C-3 stands in for C-1 at S1.")
    assert "decided by Ines Valcourt: It is not to be found." in said
    assert said.endswith("Coupon C-3 at S1 conforms to AT-1 revision A.")
    kept = snapshot(facts, evidence(facts))
    assert any("stands in for" in one["text"] for one in kept["gates"])


@pytest.mark.parametrize(
    ("spare", "outcome"),
    [
        ({"verdict": None}, Outcome.NOT_PROVEN),
        ({"provisional": True}, Outcome.NOT_PROVEN),
        ({"verdict": Verdict.NOT_PROVEN}, Outcome.NOT_PROVEN),
        ({"verdict": Verdict.DOES_NOT_CONFORM}, Outcome.DOES_NOT_CONFORM),
    ],
)
def test_a_spare_that_does_not_conform_speaks_as_the_lost_one_would(
    spare: dict[str, Any], outcome: Outcome
) -> None:
    facts = riding(doubted(REPLACED), RIGHT, replace(SPARE, **spare))
    assert gate(facts, "coupon.C-1").outcome is outcome
    assert recommend(evidence(facts)) is Verdict(outcome.value)


def test_a_coupon_that_is_no_evidence_is_not_counted() -> None:
    found = gate(riding(doubted(OUT), RIGHT), "coupons.L-1")
    assert found.outcome is Outcome.NOT_PROVEN
    assert found.text.startswith("1 of 2 coupons are evidence for P-1 in load L-1.")


def test_another_has_to_speak_for_the_end_where_it_lay() -> None:
    right_too = a_coupon("C-3", "0.8")
    found = gate(riding(doubted(OUT), RIGHT, right_too), "coupons.L-1")
    assert found.outcome is Outcome.NOT_PROVEN
    assert found.text.startswith("No coupon speaks for the left end of P-1.")
    assert recommend(evidence(riding(doubted(OUT), RIGHT, SPARE))) is Verdict.CONFORMS


def test_a_failed_result_is_not_taken_away_by_losing_the_coupon() -> None:
    for trouble in (OPEN, OUT, REPLACED):
        failed = doubted(trouble, verdict=Verdict.DOES_NOT_CONFORM)
        facts = riding(failed, RIGHT, SPARE)
        assert gate(facts, "coupon.C-1").outcome is Outcome.DOES_NOT_CONFORM
        assert recommend(evidence(facts)) is Verdict.DOES_NOT_CONFORM


def test_a_coupon_shown_to_be_the_one_speaks_for_itself() -> None:
    facts = riding(replace(COUPON, x="0.1", trouble=NAMED), RIGHT)
    assert recommend(evidence(facts)) is Verdict.CONFORMS
    assert "its mark is on two coupons; shown to be this coupon" in gate(facts, "coupons.L-1").text
    without = riding(replace(COUPON, x="0.1", verdict=None, trouble=NAMED), RIGHT)
    assert standing_of(without) is Standing.AWAITING_COUPONS


@pytest.mark.parametrize("trouble", [OPEN, OUT, REPLACED])
def test_the_bench_waits_for_no_coupon_in_doubt(trouble: TroubleFacts) -> None:
    here = doubted(trouble, custody=COUPON.custody)
    assert standing_of(riding(here, RIGHT, SPARE)) is not Standing.AWAITING_COUPONS


def test_where_no_coupon_is_in_doubt_the_evidence_says_what_it_always_said() -> None:
    """Decisions signed before reports were kept do not differ from the evidence now."""
    assert gate(PANEL, "coupons.L-1").text == (
        "2 coupons, 2 needed, each on record from its cutting over its place on the panel to its "
        "recovery."
    )
    assert differences(snapshot(PANEL, evidence(PANEL)), evidence(PANEL)) == []


def test_a_later_report_shows_as_a_difference_from_what_was_signed() -> None:
    signed = snapshot(riding(COUPON, RIGHT), evidence(riding(COUPON, RIGHT)))
    now = evidence(riding(replace(COUPON, trouble=OPEN), RIGHT))
    assert any("has not decided about it" in told for told in differences(signed, now))


@given(st.lists(st.sampled_from([None, OPEN, OUT, NAMED]), min_size=2, max_size=6))
def test_nothing_conforms_while_a_report_is_open_or_too_few_are_left(
    troubles: list[TroubleFacts | None],
) -> None:
    coupons = tuple(
        a_coupon(f"C-{number}", "0.1" if number % 2 else "0.9", trouble=trouble)
        for number, trouble in enumerate(troubles)
    )
    facts = riding(*coupons)
    left = [one for one in coupons if one.trouble in {None, NAMED}]
    ends = {one.x for one in coupons if one.trouble is OUT} - {one.x for one in left}
    proven = recommend(evidence(facts)) is Verdict.CONFORMS
    assert proven is (OPEN not in troubles and len(left) >= 2 and not ends)
