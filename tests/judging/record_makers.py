"""Short furnace records whose truth can be worked out by hand."""

import math
from dataclasses import replace

import numpy as np

from app.judging.record.cycle import Cycle, Stage
from app.judging.record.furnace_record import RecordVerdict, judge_record
from app.judging.record.trace import Trace
from app.judging.verdict import Finding, Outcome

MISSING = math.nan
STAGE = Stage(set_c=150.0, below_c=3.0, above_c=3.0, soak_min_s=600.0)


def trace(times, unit="C", **channels):
    columns = {name: np.array(values, dtype=float) for name, values in channels.items()}
    return Trace(np.array(times, dtype=float), columns, unit)


def cycle(*sensors, stages=(STAGE,), max_gap_s=1000.0, **more):
    return Cycle("K-1", tuple(stages), sensors or ("TC1",), max_gap_s, **more)


def soak_of(seconds, **more):
    return replace(STAGE, soak_min_s=seconds, **more)


def finding(verdict: RecordVerdict, code: str) -> Finding:
    (found,) = [one for one in verdict.findings if one.code == code]
    return found


def outcome(verdict: RecordVerdict, code: str) -> Outcome:
    return finding(verdict, code).outcome


def codes(verdict: RecordVerdict) -> set[str]:
    return {one.code for one in verdict.findings}


def judged(times, *, of=None, unit="C", **channels) -> RecordVerdict:
    sensors = tuple(name for name in channels if name != "VAC")
    return judge_record(trace(times, unit, **channels), of or cycle(*sensors))
