"""The evidence as a decision keeps it, and how it differs later. Pure."""

from collections.abc import Iterable, Sequence
from typing import Any

from app.judging.verdict import Outcome
from app.release.rules.facts import DecisionKind, PanelFacts
from app.release.rules.gate import Gate, recommend
from app.release.rules.standing_gates import ASIDE

RULES_VERSION = "4"
"""Changes whenever a gate comes, goes or decides otherwise; it is kept with each decision."""


def snapshot(facts: PanelFacts, gates: Sequence[Gate]) -> dict[str, Any]:
    """The evidence as it stands, as a paper: what a decision keeps and its signature covers."""
    return {
        "panel": facts.code,
        "rules_version": RULES_VERSION,
        "recommendation": recommend(gates).value,
        "gates": [_paper(gate) for gate in gates],
    }


def with_hands(paper: dict[str, Any], hands: Sequence[Gate]) -> dict[str, Any]:
    """The snapshot with why the person who decided might: a decision keeps both."""
    return {**paper, "hands": [_paper(line) for line in hands]}


def _paper(gate: Gate) -> dict[str, str]:
    return {
        "code": gate.code,
        "title": gate.title,
        "outcome": gate.outcome.value,
        "text": gate.text,
        "rests_on": gate.rests_on,
    }


def signed_content(
    *, panel: str, number: int, kind: DecisionKind, reason: str, evidence_sha256: str
) -> dict[str, Any]:
    """What a decision's signature is made over."""
    return {
        "panel": panel,
        "number": number,
        "decision": kind.value,
        "reason": reason,
        "evidence_sha256": evidence_sha256,
    }


def differences(then: dict[str, Any], gates: Sequence[Gate]) -> list[str]:
    """How the evidence differs from a decision's snapshot, a sentence for each gate.

    Holds and nonconformances are left out: they come and go after a decision and are shown by
    themselves. So is a gate that later rules added, which nobody could have looked at then.
    """
    before = {gate["code"]: gate for gate in then["gates"] if gate["code"] not in ASIDE}
    after = {gate.code: gate for gate in gates if gate.code not in ASIDE}
    added = set() if then["rules_version"] == RULES_VERSION else _kinds(after) - _kinds(before)
    told = []
    for code, gate in after.items():
        old = before.get(code)
        if old is None:
            if _kind(code) not in added:
                told.append(f"{gate.title}: not in the evidence then; now: {gate.text}")
        elif (old["outcome"], old["text"]) != (gate.outcome.value, gate.text):
            told.append(f"{gate.title}: then: {old['text']} Now: {gate.text}")
        elif old["rests_on"] != gate.rests_on:
            told.append(
                f"{gate.title}: what it rests on was corrected since; it still says the same."
            )
    told.extend(
        f"{old['title']}: in the evidence then: {old['text']} It is no longer asked for."
        for code, old in before.items()
        if code not in after
    )
    return told


def opened_since(then: dict[str, Any], gates: Sequence[Gate]) -> list[Gate]:
    """The gates that speak against a decision now and did not when it was made.

    By the same rules a gate that conformed, or was not there, and does not conform now; by later
    rules only what is shown not to conform, since nobody was asked for the rest then. Holds and
    nonconformances are left out: they hold the panel by themselves.
    """
    conformed = {gate["code"]: gate["outcome"] == Outcome.CONFORMS.value for gate in then["gates"]}
    speaks = {Outcome.DOES_NOT_CONFORM}
    if then["rules_version"] == RULES_VERSION:
        speaks = {Outcome.DOES_NOT_CONFORM, Outcome.NOT_PROVEN}
    return [
        gate
        for gate in gates
        if gate.outcome in speaks and gate.code not in ASIDE and conformed.get(gate.code, True)
    ]


def _kind(code: str) -> str:
    return code.split(".", maxsplit=1)[0]


def _kinds(codes: Iterable[str]) -> set[str]:
    return {_kind(code) for code in codes}
