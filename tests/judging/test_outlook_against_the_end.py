"""What an outlook says part-way, against what the whole record turns out to show.

Records are made, cut at many rows, and looked at as they would grow. Whatever the rest brings, an
outlook may never call lost what comes out well, nor promise an end that comes earlier.
"""

import numpy as np
import pytest

from app.judging.record.cycle import Ageing, Cycle, ExcursionRule, RateLimit, Stage, VacuumLimit
from app.judging.record.furnace_record import judge_record
from app.judging.record.outlook import outlook
from app.judging.record.trace import Trace
from app.judging.verdict import Verdict

RECORDS = 240
CUTS = 8
WORSE = {Verdict.CONFORMS: 0, Verdict.NOT_PROVEN: 1, Verdict.DOES_NOT_CONFORM: 2}
LOST = {"soak.shortest", "soak.longest", "outlook.excursion", "outlook.too_long"}


def made(seed: int) -> tuple[Trace, Cycle]:
    """A run of one or two stages, mostly good: at times with a dip, gaps, a bag that leaks."""
    chance = np.random.default_rng(seed)
    two = chance.random() < 0.5
    step = float(chance.choice([30, 60, 100]))
    soaks = chance.uniform(1500, 4000, 2)
    corners = [(0, 30.0), (chance.uniform(3000, 6000), 120.0 if two else 150.0)]
    if two:
        corners += [(corners[-1][0] + soaks[0], 120.0)]
        corners += [(corners[-1][0] + chance.uniform(600, 2000), 150.0)]
    corners += [(corners[-1][0] + soaks[1], 150.0)]
    corners += [(corners[-1][0] + 3000, 60.0)]
    at, level = zip(*corners, strict=True)
    times = np.arange(0, at[-1], step)
    course = np.interp(times, at, level)
    sensors = tuple(f"TC{number}" for number in range(1, int(chance.integers(2, 5))))
    channels = {}
    for name in sensors:
        lag = chance.uniform(0, 600)
        values = np.interp(times - lag, times, course) + chance.normal(0, 0.3, len(times))
        if chance.random() < 0.2:
            first = int(chance.uniform(0, len(times)))
            values[first : first + int(chance.integers(1, 6))] -= chance.uniform(0, 8)
        values[chance.random(len(times)) < 0.02] = np.nan
        if chance.random() < 0.15:
            first = int(chance.uniform(0, len(times)))
            values[first : first + 8] = np.nan
        channels[name] = np.round(values, 1)
    channels["VAC"] = np.round(85 + chance.normal(0, 0.3, len(times)), 1)
    if chance.random() < 0.1:
        channels["VAC"] -= np.linspace(0, 20, len(times))
    least = soaks - chance.uniform(300, 1500, 2)
    longest = [
        least_s + chance.uniform(300, 2500) if chance.random() < 0.3 else None for least_s in least
    ]
    stages = [Stage(150.0, 3.0, 3.0, float(least[1]), longest[1])]
    if two:
        stages.insert(0, Stage(120.0, 3.0, 3.0, float(least[0]), longest[0]))
    cycle = Cycle(
        "made",
        tuple(stages),
        sensors,
        max_gap_s=3.5 * step,
        excursions=ExcursionRule(400.0, 6.0, 600.0) if chance.random() < 0.7 else None,
        heating_rate=RateLimit(3.0, 300.0) if chance.random() < 0.5 else None,
        cooling_rate=RateLimit(3.0, 300.0) if chance.random() < 0.5 else None,
        vacuum=VacuumLimit(
            "VAC",
            70.0,
            "soak_start" if chance.random() < 0.5 else "start",
            "end" if chance.random() < 0.5 else "soak_end",
        ),
        ageing=Ageing(120_000.0, 150.0, 500.0, 6000.0) if chance.random() < 0.5 else None,
    )
    return Trace(times, channels), cycle


def cut(trace: Trace, rows: int) -> Trace:
    return Trace(trace.times[:rows], {name: one[:rows] for name, one in trace.channels.items()})


def cuts(seed: int):
    """Rows after which the record is looked at; the last is the whole."""
    trace, cycle = made(seed)
    chance = np.random.default_rng([seed, 1])
    rows = sorted(int(row) for row in chance.integers(1, len(trace.times), CUTS))
    return trace, cycle, [*rows, len(trace.times)]


@pytest.mark.parametrize("seed", range(RECORDS))
def test_no_outlook_is_belied_by_the_end(seed):
    trace, cycle, rows = cuts(seed)
    whole = judge_record(trace, cycle)
    last = outlook(trace, cycle, now_s=trace.times[-1])
    worst = -1
    for count in rows:
        part = cut(trace, count)
        found = outlook(part, cycle, now_s=part.times[-1])
        # What is lost stays lost, and the end is no better than the best it can be.
        assert WORSE[found.can_be] >= worst, count
        worst = WORSE[found.can_be]
        assert WORSE[whole.verdict] >= WORSE[found.can_be], count
        if last.complete and found.earliest_end_s is not None:
            assert last.earliest_end_s >= found.earliest_end_s - 1e-6, count
        if found.earliest_end_s is None:
            assert {one.code for one in found.against} & LOST
            assert whole.verdict is not Verdict.CONFORMS
        if found.complete:
            assert found.stages[-1].missing_s == 0


def test_the_made_records_are_of_every_kind():
    verdicts = [judge_record(*made(seed)).verdict for seed in range(RECORDS)]
    for verdict in Verdict:
        assert verdicts.count(verdict) >= RECORDS // 12, verdict
    lost = [
        outlook(cut(trace, len(trace.times) * 4 // 5), cycle, now_s=0.0).can_be
        for trace, cycle in (made(seed) for seed in range(RECORDS))
    ]
    assert lost.count(Verdict.CONFORMS) >= RECORDS // 3
    assert lost.count(Verdict.DOES_NOT_CONFORM) >= RECORDS // 12
