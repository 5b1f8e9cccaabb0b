"""`temperbook judge record` and the schemas of its papers."""

import json
import sys
from pathlib import Path
from typing import Any

from app.documents.cycle import CyclePaper, columns_needed, cycle_of, load_cycle_file
from app.documents.logger.logger_csv import Layout, read_logger_csv
from app.documents.paper import Paper
from app.documents.record_verdict import RecordVerdictPaper, record_verdict_to_json
from app.errors import Refusal
from app.judging.record.furnace_record import RecordVerdict, StageVerdict, judge_record
from app.judging.verdict import Outcome, Verdict
from app.judging.wording import degrees, listed, seconds

EXIT_STATUS = {Verdict.CONFORMS: 0, Verdict.DOES_NOT_CONFORM: 1, Verdict.NOT_PROVEN: 3}
BAD_INPUT = 2
SPOKEN = {
    Outcome.CONFORMS: "conforms",
    Outcome.DOES_NOT_CONFORM: "does not conform",
    Outcome.NOT_PROVEN: "not proven",
    Outcome.NOTE: "note",
}
SCHEMAS: dict[str, type[Paper]] = {"cycle": CyclePaper, "record-verdict": RecordVerdictPaper}


def judge_record_command(record: Path, cycle: Path, as_json: bool) -> int:  # noqa: FBT001 - a flag of the command line
    """Judge a logger's file by a cycle's file, print the verdict, and return the exit status.

    0 conforms, 1 does not conform, 3 not proven, 2 bad input (one sentence on standard error).
    """
    try:
        paper = load_cycle_file(cycle)
        layout = Layout(temperature_unit=paper.temperature_unit, channels=columns_needed(paper))
        reading = read_logger_csv(record, filename=record.name, layout=layout)
        judged = judge_record(reading.trace, cycle_of(paper))
    except Refusal as refusal:
        print(refusal.sentence, file=sys.stderr)
        return BAD_INPUT
    if as_json:
        verdict = record_verdict_to_json(judged)
        print(json.dumps(verdict, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(_plain(judged, paper)))
    return EXIT_STATUS[judged.verdict]


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of a paper: cycle or record-verdict.

    Raises:
        KeyError: no such paper here.
    """
    return SCHEMAS[kind].model_json_schema(by_alias=True)


def _plain(judged: RecordVerdict, paper: CyclePaper) -> list[str]:
    """The verdict for a person, with the working of every finding."""
    lines = [f"Verdict: {SPOKEN[Outcome(judged.verdict.value)]}", f"Cycle:   {paper.name}"]
    for number, stage in enumerate(judged.stages, start=1):
        lines.append(f"Stage {number}: {_soak(stage)}")
        lines += [
            f"    excursion from {seconds(one.from_s)} to {seconds(one.to_s)}, "
            f"{degrees(one.beyond_c)} {one.side} the band: {listed(one.sensors)}"
            for one in stage.excursions
        ]
    for finding in judged.findings:
        spoken = SPOKEN[finding.outcome].capitalize()
        lines += ["", f"{spoken}: {finding.text} [{finding.code}]"]
        lines += [f"    {line}" for line in finding.working]
        if finding.source is not None:
            lines.append(f"    source: {finding.source}")
    return lines


def _soak(stage: StageVerdict) -> str:
    """A stage's soak in one line."""
    if stage.start_s is None or stage.end_s is None:
        return "the load was never in band"
    return (
        f"soak from {seconds(stage.start_s)} to {seconds(stage.end_s)}, in band "
        f"{seconds(stage.in_band_s)}, unproven {seconds(stage.unproven_s)}, spread "
        f"{degrees(stage.spread_c)}"
    )
