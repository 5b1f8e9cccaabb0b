"""Who has to agree to a disposition, and what stands in its way: the pure rules."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from app.release.rules.departures import departure_note
from app.release.rules.dispositions import (
    DEPARTURES,
    FALLEN,
    AnswerFacts,
    Capacity,
    ProposalFacts,
    missing,
    required,
    waits_for,
    what_stands_in_the_way,
)
from app.release.rules.facts import DecisionKind

AT = datetime(2026, 3, 5, tzinfo=UTC)
SUPERVISION, QUALITY = Capacity.SUPERVISION, Capacity.QUALITY
DESIGN, CUSTOMER = Capacity.DESIGN, Capacity.CUSTOMER


def _answer(capacity: Capacity, person: int, **changed) -> AnswerFacts:
    given = {
        "capacity": capacity,
        "approves": True,
        "remark": "",
        "document": "",
        "document_sha256": None,
        "answered_by_id": person,
        "answered_at": AT,
        "printed_name": f"Person {person}",
        "meaning": "",
        "grounds": None,
        "intact": True,
    }
    return AnswerFacts(**(given | changed))


def _proposal(disposition: DecisionKind, *answers: AnswerFacts) -> ProposalFacts:
    return ProposalFacts(1, 1, disposition, "why", "", "e" * 64, 9, AT, answers)


def _way(proposal: ProposalFacts, **changed) -> list[str]:
    given = {
        "evidence_sha256": "e" * 64,
        "customer_asked": False,
        "hands": frozenset(),
        "one_person": {},
    }
    return what_stands_in_the_way(proposal, **(given | changed))


@pytest.mark.parametrize(
    ("disposition", "capacities"),
    [
        (DecisionKind.USE_AS_IS, {SUPERVISION, DESIGN}),
        (DecisionKind.REPAIR, {SUPERVISION, DESIGN}),
        (DecisionKind.REWORK, {SUPERVISION, QUALITY}),
        (DecisionKind.RETURNED, {SUPERVISION, QUALITY}),
        (DecisionKind.SCRAPPED, {SUPERVISION, QUALITY}),
        (DecisionKind.NO_DEPARTURE, set()),
    ],
)
def test_each_disposition_asks_for_its_capacities(disposition, capacities) -> None:
    assert required(disposition, customer_asked=False) == capacities
    with_customer = {CUSTOMER} if disposition is DecisionKind.REWORK else set()
    assert required(disposition, customer_asked=True) == capacities | with_customer


def test_every_disposition_of_a_departure_takes_two_people() -> None:
    # So that whoever proposes it, who may answer in one capacity, never decides alone.
    assert all(len(required(kind, customer_asked=False)) >= 2 for kind in DEPARTURES)


def test_there_is_no_release_under_recall() -> None:
    # A panel that was recalled is confirmed or withdrawn; none goes on while the recall is open.
    assert {kind.value for kind in DecisionKind} == {
        "released",
        "no departure found",
        "use as is",
        "rework",
        "repair",
        "return to supplier",
        "scrap",
        "release confirmed",
        "release withdrawn",
    }


def test_nothing_stands_in_the_way_when_every_answer_is_there() -> None:
    whole = _proposal(DecisionKind.REWORK, _answer(SUPERVISION, 1), _answer(QUALITY, 2))
    assert _way(whole) == []
    assert missing(whole, customer_asked=True) == (CUSTOMER,)
    assert "letter" in " ".join(_way(whole, customer_asked=True))


def test_what_is_missing_names_who_can_give_it() -> None:
    told = _way(_proposal(DecisionKind.USE_AS_IS, _answer(SUPERVISION, 1)))
    assert told == [
        (
            "Nobody has approved it for design organisation; an engineer who is authorised by the "
            "design organisation can."
        )
    ]


def test_an_answer_that_does_not_count_stands_in_the_way() -> None:
    whole = _proposal(DecisionKind.SCRAPPED, _answer(SUPERVISION, 1), _answer(QUALITY, 2))
    assert _way(whole, evidence_sha256="f" * 64) == [FALLEN]
    assert "Person 2 took, corrected or voided" in _way(whole, hands={2})[0]
    # Account 7 is another account of person 2.
    assert "Person 2 took, corrected or voided" in _way(whole, hands={7}, one_person={7: 2})[0]
    twice = _way(whole, one_person={2: 1})
    assert twice == ["One person answered it in two capacities. Propose the disposition anew."]
    forged = replace(whole, answers=(whole.answers[0], replace(whole.answers[1], intact=False)))
    assert "signature does not cover" in _way(forged)[0]
    no = _answer(QUALITY, 2, approves=False, remark="Not agreed.")
    refused = replace(whole, answers=(whole.answers[0], no))
    assert _way(refused) == [
        "Person 2 refused it for quality: Not agreed. Propose a disposition anew."
    ]


def test_what_an_open_one_waits_for_is_said_in_a_few_words() -> None:
    bare = _proposal(DecisionKind.REWORK, _answer(SUPERVISION, 1))

    def words(proposal: ProposalFacts, **changed) -> str:
        return waits_for([proposal], in_the_way=_way(proposal, **changed), customer_asked=False)

    assert waits_for([], in_the_way=[], customer_asked=False) == "a proposed disposition"
    assert words(bare) == "an answer to rework for quality"
    assert words(bare, evidence_sha256="f" * 64).startswith("a new proposal")
    whole = replace(bare, answers=(*bare.answers, _answer(QUALITY, 2)))
    assert words(whole) == "a supervisor, to carry out rework"


def test_a_disposition_is_said_of_the_panel_ever_after() -> None:
    evidence = {
        "gates": [
            {"code": "record.L-1", "title": "Furnace record", "outcome": "does_not_conform"},
            {"code": "material", "title": "Material identity", "outcome": "conforms"},
            {"code": "hold", "title": "Holds", "outcome": "does_not_conform"},
        ]
    }
    assert departure_note(DecisionKind.USE_AS_IS, "N-2026-0001", evidence) == (
        "Released by use as is under N-2026-0001, not conforming in: Furnace record."
    )
    assert departure_note(DecisionKind.SCRAPPED, None, {}) == "SCRAP."
