"""The program's judge called the way a person calls it: files in, JSON and exit status out."""

import contextlib
import io
import json
import os
import re
from pathlib import Path
from typing import Any

from app.cli.judge_coupon import judge_coupon_command
from app.cli.judge_record import judge_record_command

FIGURES = "value|min|max|from|to|range_max|resolution|thickness_mm|coupon_c|set|below|above|beyond"
QUOTED = re.compile(rf'("(?:{FIGURES})": )"(-?\d+(?:\.\d+)?)"')
EXIT = {"conforms": 0, "does_not_conform": 1, "not_proven": 3}


def cases(usual: int) -> int:
    """How many cases to try: the usual number, times TEMPERBOOK_ORACLE_CASES where it is set."""
    return max(1, int(usual * float(os.environ.get("TEMPERBOOK_ORACLE_CASES", "1"))))


def told_record(folder: Path, text: str, cycle: dict) -> tuple[int, dict[str, Any] | None, str]:
    """Exit status, verdict (None where refused) and what standard error said."""
    (folder / "RECORD.csv").write_text(text, encoding="utf-8")
    (folder / "CYCLE.json").write_text(_paper(cycle), encoding="utf-8")
    return _told(judge_record_command, folder / "RECORD.csv", folder / "CYCLE.json")


def told_coupon(folder: Path, coupon: dict, table: dict) -> tuple[int, dict[str, Any] | None, str]:
    """Exit status, verdict (None where refused) and what standard error said."""
    (folder / "COUPON.json").write_text(_paper(coupon), encoding="utf-8")
    (folder / "TABLE.json").write_text(_paper(table), encoding="utf-8")
    return _told(judge_coupon_command, folder / "COUPON.json", folder / "TABLE.json")


def _paper(content: dict) -> str:
    """JSON text; in every other paper the figures stand bare, with the digits they have."""
    text = json.dumps(content)
    return QUOTED.sub(r"\1\2", text) if len(text) % 2 else text


def _told(command: Any, first: Path, second: Path) -> tuple[int, dict[str, Any] | None, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = command(first, second, as_json=True)
    verdict = json.loads(out.getvalue()) if out.getvalue().strip() else None
    if verdict is not None:
        assert status == EXIT[verdict["verdict"]]
    return status, verdict, err.getvalue()
