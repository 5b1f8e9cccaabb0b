"""The coupon verdict as a paper: what `judge coupon` prints as JSON."""

from typing import Any, Self

from app.documents.paper import Paper
from app.documents.table import ThicknessPaper, entry_key_to_json
from app.judging.verdict import Finding, Outcome, Verdict
from app.judging.witness.acceptance import Surface
from app.judging.witness.coupons import CouponVerdict


class FindingPaper(Paper):
    """One finding, without its working."""

    code: str
    outcome: Outcome
    text: str
    value: str | None
    limit: str | None
    unit: str | None
    source: str | None

    @classmethod
    def of(cls, finding: Finding) -> Self:
        """The paper of a finding."""
        return cls(
            code=finding.code,
            outcome=finding.outcome,
            text=finding.text,
            value=None if finding.value is None else str(finding.value),
            limit=None if finding.limit is None else str(finding.limit),
            unit=finding.unit,
            source=finding.source,
        )


class MatchedEntryPaper(Paper):
    """The key and source of the entry judged by."""

    alloy: str
    temper: str
    form: str
    thickness_mm: ThicknessPaper
    surface: Surface | None
    source: str


class CouponVerdictPaper(Paper):
    """The verdict, the entry it rests on (null where none matches), and every finding."""

    verdict: Verdict
    entry: MatchedEntryPaper | None
    findings: tuple[FindingPaper, ...]


def coupon_verdict_to_json(judged: CouponVerdict) -> dict[str, Any]:
    """The verdict as JSON values."""
    entry = judged.entry
    return {
        "verdict": judged.verdict.value,
        "entry": (
            None if entry is None else {**entry_key_to_json(entry.key), "source": entry.source}
        ),
        "findings": [
            FindingPaper.of(finding).model_dump(mode="json") for finding in judged.findings
        ],
    }
