"""`temperbook judge coupon` and the schemas of its papers."""

import json
import sys
from pathlib import Path
from typing import Any

from app.documents.coupon import CouponPaper, load_coupon_file
from app.documents.coupon_verdict import CouponVerdictPaper, coupon_verdict_to_json
from app.documents.paper import Paper
from app.documents.table import TablePaper, load_table_file
from app.errors import Refusal
from app.judging.verdict import Finding, Outcome, Verdict
from app.judging.witness.coupons import CouponVerdict, judge_coupon

EXIT_STATUS = {Verdict.CONFORMS: 0, Verdict.DOES_NOT_CONFORM: 1, Verdict.NOT_PROVEN: 3}
BAD_INPUT = 2
SPOKEN = {
    Outcome.CONFORMS: "conforms",
    Outcome.DOES_NOT_CONFORM: "does not conform",
    Outcome.NOT_PROVEN: "not proven",
    Outcome.NOTE: "note",
}
SCHEMAS: dict[str, type[Paper]] = {
    "table": TablePaper,
    "coupon": CouponPaper,
    "coupon-verdict": CouponVerdictPaper,
}


def judge_coupon_command(coupon: Path, table: Path, as_json: bool) -> int:  # noqa: FBT001 - a flag of the command line
    """Judge a coupon's file by a table's file, print the verdict, and return the exit status.

    0 conforms, 1 does not conform, 3 not proven, 2 bad input (one sentence on standard error).
    """
    try:
        accepted = load_table_file(table)
        judged = judge_coupon(load_coupon_file(coupon), accepted)
    except Refusal as refusal:
        print(_with_file(refusal.sentence, coupon, table), file=sys.stderr)
        return BAD_INPUT
    if as_json:
        print(json.dumps(coupon_verdict_to_json(judged), indent=2, ensure_ascii=False))
    else:
        print("\n".join(_plain(judged, f"{accepted.name} revision {accepted.revision}")))
    return EXIT_STATUS[judged.verdict]


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of a paper: table, coupon or coupon-verdict.

    Raises:
        KeyError: no such paper here.
    """
    return SCHEMAS[kind].model_json_schema(by_alias=True)


def _with_file(sentence: str, coupon: Path, table: Path) -> str:
    """The sentence, opened with the coupon's file where it names no file yet."""
    if sentence.startswith((f"{coupon.name}:", f"{table.name}:")):
        return sentence
    return f"{coupon.name}: {sentence}"


def _plain(judged: CouponVerdict, table: str) -> list[str]:
    """The verdict for a person, with the working of every finding."""
    lines = [f"Verdict: {SPOKEN[Outcome(judged.verdict.value)]}"]
    if judged.provisional:
        lines.append("Provisional: a closing check is still to be made.")
    if judged.entry is not None:
        lines += [f"Table:   {table}", f"Entry:   {judged.entry.key}"]
        lines.append(f"Source:  {judged.entry.source} ({judged.entry.obtained.value})")
    for finding in judged.findings:
        lines += _plain_finding(finding)
    return lines


def _plain_finding(finding: Finding) -> list[str]:
    head = f"{SPOKEN[finding.outcome].capitalize()}: {finding.text} [{finding.code}]"
    return ["", head, *(f"    {line}" for line in finding.working)]
