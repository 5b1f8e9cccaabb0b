"""What the papers of kept verdicts say; they never change, so each is read once."""

import json
from functools import lru_cache

from app.judging.verdict import Finding, Outcome


@lru_cache(maxsize=256)
def channels_of(paper_text: str | None) -> tuple[frozenset[str], frozenset[str]]:
    """The channels that left the band in a soak, and those with gaps."""
    paper = json.loads(paper_text) if paper_text is not None else {}
    excursions = [one for stage in paper.get("stages", ()) for one in stage["excursions"]]
    strayed = frozenset(name for one in excursions for name in one["sensors"])
    return strayed, frozenset(paper.get("gaps", ()))


@lru_cache(maxsize=1024)
def findings_of(paper_text: str | None) -> tuple[Finding, ...]:
    """The findings in a kept verdict's paper; none where there is no paper."""
    if paper_text is None:
        return ()
    return tuple(
        Finding(
            code=finding["code"],
            outcome=Outcome(finding["outcome"]),
            text=finding["text"],
            value=finding.get("value"),
            limit=finding.get("limit"),
            unit=finding.get("unit"),
            source=finding.get("source"),
            working=tuple(finding.get("working", ())),
        )
        for finding in json.loads(paper_text)["findings"]
    )
