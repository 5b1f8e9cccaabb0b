"""The evidence as a decision keeps it, and how it differs later. Pure."""

from collections.abc import Sequence
from typing import Any

from app.release.rules.facts import DecisionKind, PanelFacts
from app.release.rules.gates import Gate, recommend

RULES_VERSION = "3"
"""Changes whenever a gate comes, goes or decides otherwise; it is kept with each decision."""


def snapshot(facts: PanelFacts, gates: Sequence[Gate]) -> dict[str, Any]:
    """The evidence as it stands, as a paper: what a decision keeps and its signature covers."""
    return {
        "panel": facts.code,
        "rules_version": RULES_VERSION,
        "recommendation": recommend(gates).value,
        "gates": [
            {
                "code": gate.code,
                "title": gate.title,
                "outcome": gate.outcome.value,
                "text": gate.text,
                "rests_on": gate.rests_on,
            }
            for gate in gates
        ],
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

    Holds are left out: they are placed and lifted after a decision and shown by themselves.
    """
    before = {gate["code"]: gate for gate in then["gates"] if gate["code"] != "hold"}
    after = {gate.code: gate for gate in gates if gate.code != "hold"}
    told = []
    for code, gate in after.items():
        old = before.get(code)
        if old is None:
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
