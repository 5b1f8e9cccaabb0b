"""Doubts about a furnace record: notes for a person to look into, never a verdict. Pure.

Source of the rules: judging rules, "Doubt".
"""

from itertools import chain

import numpy as np

from app.judging.doubt.clock import clock_findings
from app.judging.doubt.context import DoubtContext, SeenBefore, Usual
from app.judging.doubt.frozen import frozen_findings
from app.judging.doubt.known import seen_findings, smooth_findings
from app.judging.doubt.logged import logged, noise_c
from app.judging.doubt.marks import marks_of, shared
from app.judging.doubt.same import same_findings
from app.judging.doubt.swapped import response_lags, swapped_findings
from app.judging.record.cycle import Cycle
from app.judging.record.trace import Trace
from app.judging.verdict import Finding

__all__ = [
    "DoubtContext",
    "SeenBefore",
    "Usual",
    "channel_noise",
    "doubts",
    "marks_of",
    "response_lags",
    "shared",
]

NOTHING_KNOWN = DoubtContext()


def doubts(
    trace: Trace, cycle: Cycle, context: DoubtContext = NOTHING_KNOWN
) -> tuple[Finding, ...]:
    """The doubts a record raises: notes with code ``doubt.*``, each with channels and figures.

    The bag's vacuum is not looked at. Times are from the first row. Fewer than two rows raise none.
    """
    if len(trace.times) < 2:  # noqa: PLR2004 - an interval has two ends
        return ()
    channels = logged(
        Trace(trace.times - trace.times[0], trace.channels, trace.temperature_unit), cycle
    )
    if not channels.names:
        return ()
    noise = noise_c(channels) if context.usual_noise_c else {}
    lags = response_lags(trace, cycle) if context.usual_lag_s else {}
    steps = dict(zip(channels.names, channels.steps.tolist(), strict=True))
    row_s = float(np.median(np.diff(trace.times)))
    return tuple(
        chain(
            frozen_findings(channels),
            same_findings(channels),
            seen_findings(context.seen),
            clock_findings(channels),
            swapped_findings(lags, context.usual_lag_s, row_s=row_s),
            smooth_findings(noise, context.usual_noise_c, steps),
        )
    )


def channel_noise(trace: Trace, cycle: Cycle) -> dict[str, float]:
    """Each temperature channel's noise in degC, to be kept for later loads to compare with."""
    return noise_c(logged(trace, cycle))
