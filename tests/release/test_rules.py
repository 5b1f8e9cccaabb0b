"""The evidence list and the standing of a panel, without a database."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.audit.actor import Actor
from app.judging.verdict import Finding, Outcome, Verdict
from app.people.rights import Act
from app.release.rules.facts import (
    AloneFacts,
    CouponFacts,
    CustodyFacts,
    DecisionFacts,
    DecisionKind,
    HoldFacts,
    LeakFacts,
    LoadFacts,
    NonconformanceFacts,
    PanelFacts,
    RecordFacts,
    RevisionFacts,
    UnwrappingFacts,
    UpstreamFacts,
)
from app.release.rules.gates import Gate, address, evidence, recommend
from app.release.rules.signed import signature_standing
from app.release.rules.snapshot import differences, opened_since, snapshot
from app.release.rules.standing import Standing, awaits_bench, standing_of
from app.release.service.hands import hands

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
GOOD = (Finding("furnace.survey", Outcome.CONFORMS, "In date."),)
BAD = Finding("test", Outcome.DOES_NOT_CONFORM, "Below the limit.")
UNSURE = Finding("test", Outcome.NOT_PROVEN, "Too few readings.")
CYCLE = RevisionFacts(1, "CY-1", "A", 1, 2, NOW - 30 * HOUR, None)
TABLE = replace(CYCLE, id=2, code="AT-1")
HOLD = HoldFacts(1, "A dent.", 3, NOW)


def custody(*steps: str) -> tuple[CustodyFacts, ...]:
    return tuple(CustodyFacts(step, "bay", "", 1, NOW) for step in steps)


COUPON = CouponFacts(
    id=1,
    code="C-1",
    lot_code="LOT-1",
    station="S1",
    x="0.3",
    y="0.5",
    entry="Q-77 K1",
    custody=custody("cut and marked", "placed on the panel", "recovered"),
    verdict=Verdict.CONFORMS,
    judged_by_table_id=2,
    rests_on="a",
    taken_by=frozenset({1}),
)
LOAD = LoadFacts(
    id=1,
    code="L-1",
    planned_at=NOW,
    starts_at=NOW,
    treatment_number=1,
    former="F-1",
    furnace_code="FN-1",
    cycle=CYCLE,
    table=TABLE,
    entry="Q-77 K1",
    entry_number=1,
    coupons_needed=2,
    record=RecordFacts("0" * 64, "l.csv", Verdict.CONFORMS, (), "b"),
    furnace=GOOD,
    leak=LeakFacts(Outcome.CONFORMS, "88.0", "87.0", "5", "2.0"),
    unwrapping=UnwrappingFacts(
        bag_intact=True,
        surface_clear=True,
        findings="",
        contour_gap_mm="0.8",
        contour_limit_mm="1.5",
    ),
    coupons=(COUPON, replace(COUPON, id=2, code="C-2")),
)
PANEL = PanelFacts(
    id=1,
    code="P-1",
    lot_code="LOT-1",
    alloy="Q-77",
    incoming_temper="W",
    form="plate",
    thickness_mm="12.5",
    cast="CAST-1",
    certificate="MC-1",
    drawing="D-1",
    order_number="O-1",
    target_temper="K1",
    length_mm="14000",
    width_mm="2600",
    treatments_most=2,
    treatments_before=0,
    decided="open",
    registered_by_id=1,
    registered_at=NOW,
    loads=(LOAD,),
)


def with_load(**changed: Any) -> PanelFacts:
    return replace(PANEL, loads=(replace(LOAD, **changed),))


def with_coupon(**changed: Any) -> PanelFacts:
    return with_load(coupons=(replace(COUPON, **changed), LOAD.coupons[1]))


def decided(*kinds: DecisionKind, panel: PanelFacts = PANEL) -> PanelFacts:
    made = tuple(
        DecisionFacts(n, kind, "reason", "0" * 64, 2, NOW + n * HOUR, "Name", "meaning", "1" * 64)
        for n, kind in enumerate(kinds, 1)
    )
    return replace(panel, decisions=made)


def gate(facts: PanelFacts, code: str) -> Gate:
    (found,) = [one for one in evidence(facts) if one.code == code]
    return found


def test_complete_evidence_conforms_and_the_panel_is_ready() -> None:
    assert {one.outcome for one in evidence(PANEL)} == {Outcome.CONFORMS}
    assert recommend(evidence(PANEL)) is Verdict.CONFORMS
    assert standing_of(PANEL) is Standing.READY


MISSING: dict[str, Callable[[PanelFacts], PanelFacts]] = {
    "record": lambda p: _each_load(p, record=None),
    "verdict of the record": lambda p: _each_load(
        p, record=None if p.loads[0].record is None else replace(p.loads[0].record, verdict=None)
    ),
    "furnace papers": lambda p: _each_load(p, furnace=()),
    "leak check": lambda p: _each_load(p, leak=None),
    "unwrapping": lambda p: _each_load(p, unwrapping=None),
    "contour": lambda p: _each_load(
        p,
        unwrapping=p.loads[0].unwrapping and replace(p.loads[0].unwrapping, contour_gap_mm=None),
    ),
    "surface search": lambda p: _each_load(
        p, unwrapping=UnwrappingFacts(bag_intact=True, surface_clear=None, findings="")
    ),
    "cycle's verification": lambda p: _each_load(
        p, cycle=replace(CYCLE, verified_by_id=None, in_force_from=None)
    ),
    "table's verification": lambda p: _each_load(
        p, table=replace(TABLE, verified_by_id=None, in_force_from=None)
    ),
    "table entry": lambda p: _each_load(p, entry=None),
    "number of coupons needed": lambda p: _each_load(p, coupons_needed=None),
    "coupons": lambda p: _each_load(p, coupons=()),
    "one coupon": lambda p: _each_load(p, coupons=p.loads[0].coupons[:1]),
    "verdict of a coupon": lambda p: _each_coupon(p, verdict=None),
    "custody": lambda p: _each_coupon(p, custody=()),
    "closing check": lambda p: _each_coupon(p, provisional=True),
    "verdict by the governing table": lambda p: _each_coupon(p, judged_by_table_id=99),
    "answer to a void": lambda p: _each_coupon(p, voids_open=1),
    "load": lambda p: replace(p, loads=()),
}


def _each_load(panel: PanelFacts, **changed: Any) -> PanelFacts:
    return replace(panel, loads=tuple(replace(load, **changed) for load in panel.loads))


def _each_coupon(panel: PanelFacts, **changed: Any) -> PanelFacts:
    return replace(
        panel,
        loads=tuple(
            replace(load, coupons=tuple(replace(c, **changed) for c in load.coupons))
            for load in panel.loads
        ),
    )


@pytest.mark.parametrize("what", MISSING)
def test_missing_evidence_is_not_proven(what: str) -> None:
    assert recommend(evidence(MISSING[what](PANEL))) is Verdict.NOT_PROVEN


@given(st.sets(st.sampled_from(sorted(set(MISSING) - {"load"})), min_size=1))
def test_nothing_conforms_with_any_evidence_missing(missing: set[str]) -> None:
    panel = PANEL
    for what in sorted(missing):
        if panel.loads[0].record is None and what == "verdict of the record":
            continue
        panel = MISSING[what](panel)
    assert recommend(evidence(panel)) is Verdict.NOT_PROVEN
    assert standing_of(panel) is not Standing.READY


@given(st.lists(st.sampled_from(list(Outcome)), max_size=6))
def test_a_recommendation_conforms_only_where_every_gate_does(outcomes: list[Outcome]) -> None:
    gates = [Gate(str(n), "t", outcome, "", ("panel", "P")) for n, outcome in enumerate(outcomes)]
    found = recommend(gates)
    conforms = bool(outcomes) and all(outcome is Outcome.CONFORMS for outcome in outcomes)
    assert (found is Verdict.CONFORMS) == conforms
    assert (found is Verdict.DOES_NOT_CONFORM) == (Outcome.DOES_NOT_CONFORM in outcomes)


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        pytest.param(with_coupon(lot_code="LOT-2"), "material", id="coupon-of-another-lot"),
        pytest.param(replace(PANEL, treatments_most=0), "treatments", id="one-treatment-too-many"),
        pytest.param(
            with_load(record=replace(LOAD.record, verdict=Verdict.DOES_NOT_CONFORM)),  # type: ignore[type-var]
            "record.L-1",
            id="record-fails",
        ),
        pytest.param(with_load(furnace=(*GOOD, BAD)), "furnace.L-1", id="survey-overdue"),
        pytest.param(
            with_load(leak=replace(LOAD.leak, outcome=Outcome.DOES_NOT_CONFORM)),  # type: ignore[type-var]
            "leak.L-1",
            id="leak-check-fails",
        ),
        pytest.param(
            with_load(unwrapping=UnwrappingFacts(False, True, "Burst.")),  # noqa: FBT003
            "bag.L-1",
            id="bag-burst",
        ),
        pytest.param(
            with_load(unwrapping=UnwrappingFacts(True, False, "A wrinkle.")),  # noqa: FBT003
            "surface.L-1",
            id="surface-finding",
        ),
        pytest.param(
            with_coupon(verdict=Verdict.DOES_NOT_CONFORM, findings=(BAD,)),
            "coupon.C-1",
            id="coupon-fails",
        ),
        pytest.param(
            with_coupon(verdict=Verdict.DOES_NOT_CONFORM, provisional=True),
            "coupon.C-1",
            id="coupon-fails-provisionally",
        ),
        pytest.param(
            with_load(cycle=replace(CYCLE, verified_by_id=1)), "cycle.L-1", id="own-verification"
        ),
        pytest.param(
            with_load(table=replace(TABLE, in_force_from=NOW + HOUR)),
            "table.L-1",
            id="table-not-yet-in-force",
        ),
        pytest.param(
            with_load(table=replace(TABLE, withdrawn_at=NOW)), "table.L-1", id="table-withdrawn"
        ),
        pytest.param(replace(PANEL, holds=(HOLD,)), "hold", id="open-hold"),
    ],
)
def test_evidence_against_the_panel_does_not_conform_and_holds_it(
    facts: PanelFacts, code: str
) -> None:
    assert gate(facts, code).outcome is Outcome.DOES_NOT_CONFORM
    assert recommend(evidence(facts)) is Verdict.DOES_NOT_CONFORM
    assert standing_of(facts) is Standing.HELD


def test_the_treatment_that_reaches_the_most_permitted_conforms() -> None:
    assert gate(replace(PANEL, treatments_most=1), "treatments").outcome is Outcome.CONFORMS
    came_with_one = replace(PANEL, treatments_most=1, treatments_before=1)
    assert gate(came_with_one, "treatments").outcome is Outcome.DOES_NOT_CONFORM


def test_a_table_in_force_from_the_very_start_of_the_load_conforms() -> None:
    facts = with_load(table=replace(TABLE, in_force_from=NOW))
    assert gate(facts, "table.L-1").outcome is Outcome.CONFORMS
    later = with_load(table=replace(TABLE, withdrawn_at=NOW + HOUR))
    assert gate(later, "table.L-1").outcome is Outcome.CONFORMS


def test_an_accepted_coupon_of_another_lot_conforms_and_says_whose_word_it_is() -> None:
    said = "accepted by Ines Valcourt: same cast."
    found = gate(with_coupon(lot_code="LOT-2", other_lot_accepted=said), "material")
    assert found.outcome is Outcome.CONFORMS
    assert "is of lot LOT-2; accepted by Ines Valcourt: same cast." in found.text


def test_a_coupon_of_another_entry_is_not_proven() -> None:
    assert gate(with_coupon(entry="Q-77 K2"), "material").outcome is Outcome.NOT_PROVEN


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        (("cut and marked", "recovered"), "never recorded as placed on the panel"),
        (("placed on the panel", "cut and marked", "recovered"), "recorded out of order"),
        (("cut and marked", "placed on the panel"), "never recorded as recovered"),
        (
            ("cut and marked", "placed on the panel", "missing", "recovered"),
            "recorded missing",
        ),
    ],
)
def test_a_broken_chain_of_custody_is_not_proven_and_says_where(
    steps: tuple[str, ...], says: str
) -> None:
    found = gate(with_coupon(custody=custody(*steps)), "coupons.L-1")
    assert found.outcome is Outcome.NOT_PROVEN
    assert says in found.text


def test_steps_after_recovery_leave_custody_and_its_words_as_they_were() -> None:
    steps = ("cut and marked", "placed on the panel", "recovered", "handed over to the bench")
    assert gate(with_coupon(custody=custody(*steps)), "coupons.L-1") == gate(PANEL, "coupons.L-1")


def test_who_can_supply_is_said_only_where_something_is_missing() -> None:
    assert gate(PANEL, "record.L-1").who is None
    assert gate(with_load(record=None), "record.L-1").who == "an inspector, with the logger's file"
    failed = with_coupon(verdict=Verdict.DOES_NOT_CONFORM)
    assert gate(failed, "coupon.C-1").who is None


def test_a_failed_coupon_says_its_worst_findings_first() -> None:
    facts = with_coupon(verdict=Verdict.DOES_NOT_CONFORM, findings=(UNSURE, BAD))
    assert gate(facts, "coupon.C-1").text == (
        "Coupon C-1 at S1 does not conform. Below the limit. Too few readings."
    )


@pytest.mark.parametrize(
    ("facts", "standing"),
    [
        (replace(PANEL, loads=()), Standing.REGISTERED),
        (with_load(record=None, leak=None, unwrapping=None, coupons=()), Standing.PLANNED),
        (with_load(record=None, unwrapping=None), Standing.IN_FURNACE),
        (with_load(unwrapping=None), Standing.AWAITING_UNWRAPPING),
        (
            with_load(unwrapping=UnwrappingFacts(bag_intact=True, surface_clear=None, findings="")),
            Standing.AWAITING_UNWRAPPING,
        ),
        (with_coupon(verdict=None), Standing.AWAITING_COUPONS),
        (with_coupon(provisional=True), Standing.AWAITING_COUPONS),
        (with_coupon(verdict=Verdict.NOT_PROVEN), Standing.AWAITING_COUPONS),
        (with_coupon(voids_open=1), Standing.AWAITING_COUPONS),
        (
            with_coupon(verdict=None, custody=(*COUPON.custody, *custody("missing"))),
            Standing.HELD,
        ),
        (with_coupon(verdict=Verdict.NOT_PROVEN, entry=None), Standing.HELD),
        (with_load(leak=None), Standing.HELD),
        (
            with_load(record=replace(LOAD.record, verdict=Verdict.NOT_PROVEN)),  # type: ignore[type-var]
            Standing.HELD,
        ),
    ],
)
def test_the_standing_says_how_far_the_job_has_come(facts: PanelFacts, standing: Standing) -> None:
    assert standing_of(facts) is standing


@pytest.mark.parametrize("kind", [k for k in DecisionKind if k is not DecisionKind.NO_DEPARTURE])
def test_a_decision_says_where_the_panel_stands(kind: DecisionKind) -> None:
    after_a_recall = {DecisionKind.CONFIRMED: "released", DecisionKind.WITHDRAWN: "held"}
    assert standing_of(decided(kind)).value == after_a_recall.get(kind, kind.value)


def test_a_panel_that_others_stand_for_is_replaced_whatever_else_is_on_record() -> None:
    facts = replace(decided(DecisionKind.RELEASED), decided="replaced", holds=(HOLD,))
    assert standing_of(facts) is Standing.REPLACED


def test_no_departure_found_leaves_the_evidence_to_say() -> None:
    assert standing_of(decided(DecisionKind.NO_DEPARTURE)) is Standing.READY


@pytest.mark.parametrize("kind", [DecisionKind.RELEASED, DecisionKind.USE_AS_IS])
def test_an_open_hold_recalls_a_panel_in_use(kind: DecisionKind) -> None:
    assert standing_of(replace(decided(kind), holds=(HOLD,))) is Standing.RECALLED
    lifted = replace(HOLD, lifted_by_number=1)
    assert standing_of(replace(decided(kind), holds=(lifted,))).value == kind.value
    confirmed = decided(kind, DecisionKind.CONFIRMED)
    assert standing_of(replace(confirmed, holds=(HOLD,))) is Standing.RECALLED
    withdrawn = decided(kind, DecisionKind.WITHDRAWN)
    assert standing_of(replace(withdrawn, holds=(HOLD,))) is Standing.HELD
    again = replace(LOAD, id=2, code="L-2", planned_at=NOW + 2 * HOUR)
    loaded_again = replace(decided(kind), holds=(HOLD,), loads=(LOAD, again))
    assert standing_of(loaded_again) is Standing.HELD


def test_scrap_stands_whatever_is_placed_on_it() -> None:
    facts = replace(decided(DecisionKind.SCRAPPED), holds=(HOLD,))
    assert standing_of(facts) is Standing.SCRAPPED


def test_after_rework_only_later_loads_count_and_none_is_not_proven() -> None:
    facts = decided(DecisionKind.REWORK)
    assert facts.round_loads == ()
    assert recommend(evidence(facts)) is Verdict.NOT_PROVEN
    assert "since it was sent to rework" in gate(facts, "load").text
    again = replace(LOAD, id=2, code="L-2", planned_at=NOW + 2 * HOUR, starts_at=NOW + 3 * HOUR)
    facts = replace(facts, loads=(LOAD, again))
    assert [load.code for load in facts.round_loads] == ["L-2"]
    assert standing_of(facts) is Standing.READY
    assert "2 of at most 2" in gate(facts, "treatments").text


def test_a_load_before_rework_no_longer_speaks_for_or_against() -> None:
    burnt = replace(LOAD, unwrapping=UnwrappingFacts(False, True, "Burst."))  # noqa: FBT003
    again = replace(LOAD, id=2, code="L-2", planned_at=NOW + 2 * HOUR)
    facts = replace(decided(DecisionKind.REWORK), loads=(burnt, again))
    assert recommend(evidence(facts)) is Verdict.CONFORMS


def test_a_load_after_release_takes_the_release_off() -> None:
    again = replace(LOAD, id=2, code="L-2", planned_at=NOW + 2 * HOUR, record=None, leak=None)
    facts = replace(decided(DecisionKind.RELEASED), loads=(LOAD, again))
    assert standing_of(facts) is Standing.PLANNED


def test_the_takers_of_the_round_are_those_of_its_coupons() -> None:
    other = with_coupon(taken_by=frozenset({7, 8}), voided_by=frozenset({9}))
    assert other.takers == {1, 7, 8}
    assert other.voiders == {9}
    assert decided(DecisionKind.REWORK, panel=other).takers == {1, 7, 8}


def test_a_settled_coupon_does_not_wait_for_the_bench() -> None:
    assert not awaits_bench(COUPON)
    assert not awaits_bench(replace(COUPON, verdict=Verdict.DOES_NOT_CONFORM))
    assert awaits_bench(replace(COUPON, verdict=None))


def test_evidence_that_stayed_the_same_shows_no_difference() -> None:
    then = snapshot(PANEL, evidence(PANEL))
    held = replace(PANEL, holds=(HOLD,))
    assert differences(then, evidence(PANEL)) == []
    assert differences(then, evidence(held)) == []


def test_differences_name_what_changed_came_and_went() -> None:
    then = snapshot(PANEL, evidence(PANEL))
    changed = with_load(
        coupons=(replace(COUPON, rests_on="corrected"), replace(COUPON, id=3, code="C-3"))
    )
    told = differences(then, evidence(changed))
    assert told == [
        "Coupon C-1: what it rests on was corrected since; it still says the same.",
        "Coupon C-3: not in the evidence then; now: Coupon C-3 at S1 conforms to AT-1 revision A.",
        (
            "Coupon C-2: in the evidence then: Coupon C-2 at S1 conforms to AT-1 revision A. It is "
            "no longer asked for."
        ),
    ]


def test_an_address_escapes_the_identity() -> None:
    assert address("panel", "P/1 A") == "/panels/P%2F1%20A"
    assert address("person", "m.quist") == "/trail?by=m.quist"
    assert address("unheard of", "X") == "/trail?identity=X"


@pytest.mark.parametrize(
    ("gap", "limit", "outcome"),
    [
        ("1.5", "1.5", Outcome.CONFORMS),
        ("1.50", "1.5", Outcome.CONFORMS),
        ("1.51", "1.5", Outcome.DOES_NOT_CONFORM),
        (None, "1.5", Outcome.NOT_PROVEN),
        (None, None, Outcome.NOT_PROVEN),
    ],
)
def test_a_gap_that_reaches_its_limit_conforms_and_none_proves_nothing(
    gap: str | None, limit: str | None, outcome: Outcome
) -> None:
    unwrapping = UnwrappingFacts(True, True, "", gap, limit)  # noqa: FBT003
    found = gate(with_load(unwrapping=unwrapping), "contour.L-1")
    assert found.outcome is outcome
    if gap is None:
        assert found.who == "an inspector, on unwrapping"
    else:
        assert f"{gap} mm" in found.text
        assert f"{limit} mm" in found.text


def test_what_governs_is_told_as_it_was_stored() -> None:
    assert "planned without an order on record" in gate(PANEL, "governed.L-1").text
    told = gate(with_load(governed="Order O-1 of 2026-01-05 asks for AT-1."), "governed.L-1")
    assert (told.outcome, told.text) == (
        Outcome.CONFORMS,
        "Order O-1 of 2026-01-05 asks for AT-1.",
    )


UPSTREAM = UpstreamFacts(1, "furnace", "FN-1", "Its door leaks.", 3, NOW, "furnace of load L-1")
OPEN = NonconformanceFacts(1, "NC-1", "A wrinkle.", 3, NOW, is_open=True)
ALONE = AloneFacts("Writing and verifying table AT-1", "Ada Quist", "A. Quist")


@pytest.mark.parametrize(
    ("facts", "code", "says"),
    [
        (replace(PANEL, upstream=(UPSTREAM,)), "upstream", "furnace of load L-1): Its door leaks."),
        (replace(PANEL, nonconformances=(OPEN,)), "nonconformances", "NC-1 is open: A wrinkle."),
        (with_load(alone=(ALONE,)), "people", "Ada Quist and A. Quist are accounts of one person"),
        (
            with_load(alone=(replace(ALONE, second="Ada Quist"),)),
            "people",
            "Ada Quist did both, and two people are needed.",
        ),
    ],
)
def test_what_stands_against_the_whole_panel_holds_it_and_is_named(
    facts: PanelFacts, code: str, says: str
) -> None:
    assert gate(PANEL, code).outcome is Outcome.CONFORMS
    found = gate(facts, code)
    assert found.outcome is Outcome.DOES_NOT_CONFORM
    assert says in found.text
    assert standing_of(facts) is Standing.HELD


def test_what_one_person_did_before_a_rework_does_not_speak_against_the_panel() -> None:
    again = replace(LOAD, id=2, code="L-2", planned_at=NOW + 2 * HOUR)
    facts = replace(decided(DecisionKind.REWORK), loads=(replace(LOAD, alone=(ALONE,)), again))
    assert gate(facts, "people").outcome is Outcome.CONFORMS


def test_gates_that_open_after_a_decision_recall_it_and_holds_do_not_count_among_them() -> None:
    then = snapshot(PANEL, evidence(PANEL))
    assert opened_since(then, evidence(PANEL)) == []
    held = replace(PANEL, holds=(HOLD,), upstream=(UPSTREAM,), nonconformances=(OPEN,))
    assert opened_since(then, evidence(held)) == []
    unsure = evidence(with_coupon(verdict=Verdict.NOT_PROVEN))
    assert [one.code for one in opened_since(then, unsure)] == ["coupon.C-1"]
    failed_then = snapshot(PANEL, unsure)
    assert opened_since(failed_then, unsure) == []

    # By the rules of then nobody was asked for a contour, so that it is missing recalls nothing.
    older = {**then, "rules_version": "3"}
    older["gates"] = [one for one in then["gates"] if not one["code"].startswith("contour")]
    bare = UnwrappingFacts(bag_intact=True, surface_clear=True, findings="")
    assert opened_since(older, evidence(with_load(unwrapping=bare))) == []
    assert differences(older, evidence(with_load(unwrapping=bare))) == []
    wide = replace(bare, contour_gap_mm="9", contour_limit_mm="1")
    codes = [one.code for one in opened_since(older, evidence(with_load(unwrapping=wide)))]
    assert codes == ["contour.L-1"]


def test_a_signature_stands_falls_or_is_overtaken() -> None:
    facts = decided(DecisionKind.USE_AS_IS, DecisionKind.RELEASED)

    def word(number: int, *, intact: bool = True, changed: tuple[str, ...] = ()) -> str:
        return signature_standing(facts, number, is_intact=intact, changed=changed).word.value

    assert word(2) == "stands"
    assert word(2, changed=("Record: then this, now that.",)) == "fallen"
    assert word(2, intact=False) == "fallen"
    assert word(1, changed=("Anything.",)) == "overtaken"
    reworked = decided(DecisionKind.REWORK)
    found = signature_standing(reworked, 1, is_intact=True, changed=("Anything.",))
    assert found.word.value == "stands"
    ended = replace(facts.decisions[1], authorisation_ended_at=NOW)
    facts = replace(facts, decisions=(facts.decisions[0], ended))
    found = signature_standing(facts, 2, is_intact=True, changed=())
    assert found.sentence.endswith("ended later, and keeps its meaning.")


def test_hands_say_of_each_thing_whether_the_person_may() -> None:
    by = Actor(1, "ada", "Ada Quist", frozenset({"inspector"}), authorised={"release of panels": 4})
    facts = with_coupon(taken_by=frozenset({2}), corrected_by=frozenset({3}), voided_by=frozenset())

    def open_lines(by: Actor) -> list[str]:
        lines = hands(facts, by, Act.RELEASE_PANEL, until=date(2027, 1, 31))
        return [one.code for one in lines if one.outcome is not Outcome.CONFORMS]

    facts = replace(facts, loads=(replace(facts.loads[0], coupons=facts.loads[0].coupons[:1]),))
    assert open_lines(by) == []
    assert open_lines(replace(by, also=frozenset({2}))) == ["hands.readings"]
    assert open_lines(replace(by, id=3)) == ["hands.corrections"]
    assert open_lines(replace(by, authorised={})) == ["hands.authorisation"]
    assert open_lines(replace(by, roles=frozenset({"auditor"}))) == ["hands.role"]
