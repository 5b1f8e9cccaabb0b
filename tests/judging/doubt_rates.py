"""How often each doubt is raised where it should be and where it should not, on generated runs."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np

from app.judging.doubt import (
    DoubtContext,
    SeenBefore,
    Usual,
    channel_noise,
    doubts,
    marks_of,
    response_lags,
    shared,
)
from tests.judging import doubt_faults as made
from tests.judging.doubt_faults import Run

EARLIER_LOADS = 6


@dataclass(frozen=True)
class Rate:
    """``found`` of ``runs``, with the 95 % interval of the share."""

    what: str
    found: int
    runs: int

    @property
    def share(self) -> float:
        return self.found / self.runs

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's score interval (E. B. Wilson, JASA 22, 1927, from memory), z = 1.96."""
        z, n, p = 1.96, self.runs, self.share
        middle = (p + z * z / (2 * n)) / (1 + z * z / n)
        half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
        return max(middle - half, 0.0), min(middle + half, 1.0)


@dataclass
class Tally:
    """Counts as runs are looked at."""

    what: str
    found: int = 0
    runs: int = 0

    def add(self, hit: bool) -> None:  # noqa: FBT001 - what is counted
        self.found += hit
        self.runs += 1

    @property
    def rate(self) -> Rate:
        return Rate(self.what, self.found, self.runs)


def _names(finding) -> str:
    return " ".join((finding.text, *finding.working))


def raised(run: Run, code: str, *names: str, context: DoubtContext | None = None) -> bool:
    """Whether a doubt of the code names the channels."""
    found = doubts(run.trace, run.cycle, context or DoubtContext())
    return any(one.code == code and all(name in _words(one) for name in names) for one in found)


def _words(finding) -> set[str]:
    return set(_names(finding).replace(",", " ").replace(":", " ").split())


def _one(chance: np.random.Generator, run: Run) -> str:
    return str(chance.choice(run.shop.names[2:]))


def _single(
    what: str, fault: Callable[[np.random.Generator, Run, str], Run], code: str, *, noisy: bool
) -> Callable[[int, int], Rate]:
    def rate(runs: int, seed: int) -> Rate:
        chance, tally = np.random.default_rng(seed), Tally(what)
        for _ in range(runs):
            run = made.make_run(chance, made.make_shop(chance, noisy=noisy))
            name = _one(chance, run)
            tally.add(raised(fault(chance, run, name), code, name))
        return tally.rate

    return rate


frozen_on_the_way = _single(
    "frozen while warming", made.frozen_on_the_way, "doubt.frozen", noisy=False
)
frozen_in_the_soak = _single(
    "frozen in the soak, noise of half a step and more",
    made.frozen_in_the_soak,
    "doubt.frozen",
    noisy=True,
)
frozen_in_any_soak = _single(
    "frozen in the soak, whatever its noise", made.frozen_in_the_soak, "doubt.frozen", noisy=False
)


def copied(runs: int, seed: int) -> Rate:
    chance, tally = np.random.default_rng(seed), Tally("one channel copied to another")
    for _ in range(runs):
        run = made.make_run(chance, made.make_shop(chance))
        first, second = chance.choice(run.shop.names[2:], 2, replace=False).tolist()
        tally.add(raised(made.copied_channel(chance, run, first, second), "doubt.same", second))
    return tally.rate


def _marks(run: Run) -> dict[str, tuple[int, ...]]:
    times = run.trace.times
    return {
        name: marks_of(times, values)
        for name, values in run.trace.channels.items()
        if name != made.VACUUM
    }


def _seen(run: Run, earlier: dict[str, tuple[int, ...]]) -> DoubtContext:
    hits = [
        SeenBefore(name, len(marks), "L-1", other, count)
        for name, marks in _marks(run).items()
        for other, others in earlier.items()
        if (count := shared(marks, others))
    ]
    return DoubtContext(seen=tuple(hits))


def brought_again(runs: int, seed: int) -> Rate:
    chance, tally = np.random.default_rng(seed), Tally("trace of an earlier load brought again")
    for _ in range(runs):
        earlier = made.make_run(chance, made.make_shop(chance))
        again = made.brought_again(chance, earlier)
        context = _seen(again, _marks(earlier))
        tally.add(raised(again, "doubt.seen_before", context=context))
    return tally.rate


def not_seen_before(runs: int, seed: int) -> Rate:
    """Every run of a furnace against all earlier runs of it."""
    chance, tally = np.random.default_rng(seed), Tally("seen before, on a run that is new")
    while tally.runs < runs:
        shop = made.make_shop(chance)
        earlier: dict[str, tuple[int, ...]] = {}
        for number in range(10):
            run = made.make_run(chance, shop)
            tally.add(raised(run, "doubt.seen_before", context=_seen(run, earlier)))
            earlier |= {f"{number} {name}": marks for name, marks in _marks(run).items()}
    return tally.rate


def _clock(what: str, fault: Callable[[np.random.Generator, Run], Run], code: str):
    def rate(runs: int, seed: int) -> Rate:
        chance, tally = np.random.default_rng(seed), Tally(what)
        for _ in range(runs):
            run = made.make_run(chance, made.make_shop(chance))
            tally.add(raised(fault(chance, run), code))
        return tally.rate

    return rate


clock_set = _clock("clock set off its beat or by hours", made.clock_set, "doubt.clock")
clock_leaps = _clock("clock leaps while warming", made.clock_leaps_while_warming, "doubt.clock")
pace_changed = _clock("rows at another pace", made.pace_changed, "doubt.pace")


def usual(runs: list[Run]) -> DoubtContext:
    """What earlier loads say, as the program keeps it."""

    def over(figures: list[dict[str, float]]) -> dict[str, Usual]:
        names = set.intersection(*(set(one) for one in figures)) if figures else set()
        columns = {name: [one[name] for one in figures] for name in names}
        return {
            name: Usual(float(np.mean(own)), float(np.std(own, ddof=1)), len(own))
            for name, own in columns.items()
        }

    lags = [response_lags(run.trace, run.cycle) for run in runs]
    noise = [channel_noise(run.trace, run.cycle) for run in runs]
    return DoubtContext(usual_lag_s=over(lags), usual_noise_c=over(noise))


def _shops(chance: np.random.Generator, *, noisy: bool) -> Iterator[tuple[made.Shop, DoubtContext]]:
    while True:
        shop = made.make_shop(chance, noisy=noisy)
        yield shop, usual([made.make_run(chance, shop, hours=9) for _ in range(EARLIER_LOADS)])


def swapped_and_smooth(runs: int, seed: int) -> tuple[Rate, ...]:
    """Exchanged plugs and computed curves, and neither, with six earlier loads known."""
    chance = np.random.default_rng(seed)
    swapped = Tally("plugs exchanged, usual lags 5 min apart and more")
    smooth = Tally("a computed curve, noise of half a step and more")
    no_swap = Tally("exchanged, on an honest run (any pair of 12)")
    no_smooth = Tally("too smooth, on an honest run (any of 12)")
    shops = _shops(chance, noisy=True)
    while swapped.runs < runs:
        shop, context = next(shops)
        for _ in range(5):
            run = made.make_run(chance, shop)
            found = {one.code for one in doubts(run.trace, run.cycle, context)}
            no_swap.add("doubt.swapped" in found)
            no_smooth.add("doubt.too_smooth" in found)
            first, second = _apart(chance, context)
            fault = made.exchanged(run, first, second)
            swapped.add(raised(fault, "doubt.swapped", first, second, context=context))
            name = _one(chance, run)
            fault = made.smoothed(chance, run, name)
            smooth.add(raised(fault, "doubt.too_smooth", name, context=context))
    return swapped.rate, smooth.rate, no_swap.rate, no_smooth.rate


def _apart(chance: np.random.Generator, context: DoubtContext) -> tuple[str, str]:
    lags = {name: one.mean for name, one in context.usual_lag_s.items()}
    names = list(lags)
    while True:
        first, second = chance.choice(names, 2, replace=False).tolist()
        if abs(lags[first] - lags[second]) >= 300:
            return first, second


def honest(runs: int, seed: int) -> tuple[Rate, ...]:
    """Doubts raised on runs without a fault, each code on its own; no earlier loads known."""
    chance = np.random.default_rng(seed)
    tallies = {
        "doubt.frozen": Tally("frozen, on an honest run (any of 12)"),
        "doubt.same": Tally("same, on an honest run (any pair of 12)"),
        "doubt.clock": Tally("clock, on an honest run"),
        "doubt.pace": Tally("pace, on an honest run"),
    }
    besides = (made.with_pauses, made.with_jitter, made.with_missing, lambda _, run: run)
    for number in range(runs):
        run = made.make_run(chance, made.make_shop(chance))
        run = besides[number % len(besides)](chance, run)
        found = {one.code for one in doubts(run.trace, run.cycle)}
        for code, tally in tallies.items():
            tally.add(code in found)
    return tuple(tally.rate for tally in tallies.values())


def all_rates(runs: int, seed: int = 1) -> Iterator[Rate]:
    """Every rate, faults first."""
    for of in (frozen_on_the_way, frozen_in_the_soak, frozen_in_any_soak, copied, brought_again):
        yield of(runs, seed)
    for of in (clock_set, clock_leaps, pace_changed):
        yield of(runs, seed)
    swapped, smooth, no_swap, no_smooth = swapped_and_smooth(runs, seed)
    yield from (swapped, smooth)
    yield from honest(runs, seed)
    yield not_seen_before(runs, seed)
    yield from (no_swap, no_smooth)
