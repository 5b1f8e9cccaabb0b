"""How the result of a study is shown."""

from collections.abc import Sequence
from typing import Any

from app.bench.queries.studies import StudyAtWork, TrialLine

_WORDS = {
    "repeatability": "Repeatability: the same operator, the same part",
    "operator": "Operator: one against another",
    "interaction": "Operator with part",
    "instrument": "Measuring, all three together",
    "part": "Part: one against another",
    "total": "Total",
}


def result_shown(result: dict[str, Any] | None) -> dict[str, Any] | None:
    """The kept result with its rows in words; None where the study was given up."""
    if result is None:
        return None
    by_name = {one["name"]: one for one in result["components"]}
    order = [
        by_name["repeatability"],
        by_name["operator"],
        by_name["interaction"],
        result["instrument"],
        by_name["part"],
        result["total"],
    ]
    return {
        **result,
        "rows": [
            (_WORDS[one["name"]], one["variance"], one["deviation"], one["share"]) for one in order
        ],
        "sources": [
            (
                line["name"].capitalize(),
                line["squares"],
                line["freedom"],
                line["mean_square"],
                line["f"],
                line["probability"],
            )
            for line in result["lines"]
        ],
    }


def readings_rows(study: StudyAtWork, trials: Sequence[TrialLine]) -> list[tuple[str, ...]]:
    """Part by part, each operator's readings in the order of the trials; empty where none are."""
    if not trials:
        return []
    cells: dict[tuple[str, int], list[str]] = {}
    for one in sorted(trials, key=lambda line: line.trial):
        cells.setdefault((one.part, one.operator_id), []).append(str(one.value))
    return [
        (part, *(", ".join(cells.get((part, key), [])) for key in study.operators))
        for part in study.parts
    ]
