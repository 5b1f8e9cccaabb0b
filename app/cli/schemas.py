"""Print the JSON Schema of a paper."""

import json
import sys
from collections.abc import Callable
from typing import Any

from app.cli import judge_coupon, judge_record
from app.documents.logger.logger_mapping import mapping_schema
from app.documents.pyrometry import procedure_schema

_KINDS: dict[str, Callable[[str], dict[str, Any]]] = {
    "cycle": judge_record.schema,
    "record-verdict": judge_record.schema,
    "table": judge_coupon.schema,
    "coupon": judge_coupon.schema,
    "coupon-verdict": judge_coupon.schema,
    "mapping": lambda _kind: mapping_schema(),
    "procedure": lambda _kind: procedure_schema(),
}


def schema_command(kind: str) -> int:
    """`temperbook schema KIND`: 0, or 2 where there is no such paper."""
    if kind not in _KINDS:
        print(f"There is no paper {kind!r}; choose among {', '.join(_KINDS)}.", file=sys.stderr)
        return 2
    print(json.dumps(_KINDS[kind](kind), indent=2))
    return 0
