"""What each place of a furnace did over many loads: coldest, hottest, slowest, and its trend. Pure.

Figures are compared within a load, so that loads of different cycles can stand side by side.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

LEAST_BASELINE = 8
"""Fewer loads give no limits worth drawing (common practice)."""
_SIGMAS_OF_RANGE = 2.66
"""3 / 1.128: limits of individuals from the mean moving range (NIST/SEMATECH e-Handbook 6.3.2.2,
from memory)."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one sensor saw in one load, and the place it stands for.

    ``arrival_s`` is None where it never was in the band; ``mean_c`` where its soak is unknown.
    """

    place: str
    arrival_s: float | None
    mean_c: float | None


@dataclass(frozen=True, slots=True)
class LoadSeen:
    """One load's sensors."""

    code: str
    sensors: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class Offset:
    """A place's distance from its load's mean, in degC, in one load."""

    load: str
    offset_c: float
    in_baseline: bool


@dataclass(frozen=True, slots=True)
class Limits:
    """The middle and the limits of a place's offsets, from a baseline of ``loads`` loads; degC."""

    middle_c: float
    low_c: float
    high_c: float
    loads: int

    def holds(self, offset_c: float) -> bool:
        """Whether an offset lies within, limits included."""
        return self.low_c <= offset_c <= self.high_c


@dataclass(frozen=True, slots=True)
class PlaceHistory:
    """One place over the loads; each list names loads, oldest first.

    ``lag_s`` is the mean time from the load's first arrival, ``offset_c`` the mean distance from
    the load's mean; None where it is not known of any load.
    """

    place: str
    loads: int
    slowest: tuple[str, ...]
    coldest: tuple[str, ...]
    hottest: tuple[str, ...]
    lag_s: float | None
    offset_c: float | None
    offsets: tuple[Offset, ...]
    limits: Limits | None

    @property
    def outside(self) -> tuple[Offset, ...]:
        """Offsets after the baseline that lie outside its limits."""
        if self.limits is None:
            return ()
        return tuple(
            one
            for one in self.offsets
            if not one.in_baseline and not self.limits.holds(one.offset_c)
        )


@dataclass(frozen=True, slots=True)
class _Compared:
    """A load's places compared with each other."""

    lags: Mapping[str, float | None]
    offsets: Mapping[str, float]


def place_histories(loads: Sequence[LoadSeen]) -> list[PlaceHistory]:
    """Each place's history; ``loads`` come oldest first, places coldest on average first.

    Where several sensors stand for one place in a load, their mean counts. The slowest, coldest and
    hottest are those of loads in which at least two places can be compared, ties included; a place
    that never was in the band is slowest. Limits come from all but the newest third of its loads.
    """
    compared = [(load.code, _compared(load)) for load in loads]
    names = dict.fromkeys(sensor.place for load in loads for sensor in load.sensors)
    histories = [_history(name, compared) for name in names]
    return sorted(histories, key=lambda one: (one.offset_c is None, one.offset_c or 0.0, one.place))


def _compared(load: LoadSeen) -> _Compared:
    sensors: dict[str, list[Seen]] = defaultdict(list)
    for one in load.sensors:
        sensors[one.place].append(one)
    arrivals = {
        place: None
        if any(one.arrival_s is None for one in many)
        else fmean(one.arrival_s for one in many if one.arrival_s is not None)
        for place, many in sensors.items()
    }
    arrived = [one for one in arrivals.values() if one is not None]
    means = {
        place: fmean(known)
        for place, many in sensors.items()
        if (known := [one.mean_c for one in many if one.mean_c is not None])
    }
    middle = fmean(means.values()) if means else 0.0
    return _Compared(
        {
            place: None if at is None else at - min(arrived)
            for place, at in (arrivals.items() if arrived else ())
        },
        {place: mean - middle for place, mean in means.items()},
    )


def _history(place: str, compared: Sequence[tuple[str, _Compared]]) -> PlaceHistory:
    own = [(code, load) for code, load in compared if place in load.lags or place in load.offsets]
    lags = [lag for _, load in own if (lag := load.lags.get(place)) is not None]
    known = [(code, load.offsets[place]) for code, load in own if place in load.offsets]
    baseline = len(known) - len(known) // 3
    limits = limits_of([offset for _, offset in known[:baseline]])
    return PlaceHistory(
        place=place,
        loads=len(own),
        slowest=_named((code, place in _slowest(load.lags)) for code, load in own),
        coldest=_named((code, place in _ends(load.offsets, min)) for code, load in own),
        hottest=_named((code, place in _ends(load.offsets, max)) for code, load in own),
        lag_s=fmean(lags) if lags else None,
        offset_c=fmean(offset for _, offset in known) if known else None,
        offsets=tuple(
            Offset(code, offset, number < baseline) for number, (code, offset) in enumerate(known)
        ),
        limits=limits,
    )


def _named(marked: Iterable[tuple[str, bool]]) -> tuple[str, ...]:
    return tuple(code for code, is_so in marked if is_so)


def _slowest(lags: Mapping[str, float | None]) -> set[str]:
    never = {place for place, lag in lags.items() if lag is None}
    if never or len(lags) < 2:  # noqa: PLR2004 - one place is compared with nothing
        return never
    return _ends({place: lag for place, lag in lags.items() if lag is not None}, max)


def _ends(figures: Mapping[str, float], end: Callable[[Iterable[float]], float]) -> set[str]:
    if len(figures) < 2:  # noqa: PLR2004 - as above
        return set()
    last = end(figures.values())
    return {place for place, figure in figures.items() if figure == last}


def limits_of(offsets: Sequence[float]) -> Limits | None:
    """Limits of individuals from the mean moving range; None from fewer than eight offsets."""
    if len(offsets) < LEAST_BASELINE:
        return None
    moves = [abs(after - before) for before, after in pairwise(offsets)]
    middle, reach = fmean(offsets), _SIGMAS_OF_RANGE * fmean(moves)
    return Limits(middle, middle - reach, middle + reach, len(offsets))
