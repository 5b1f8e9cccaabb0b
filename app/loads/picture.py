"""The furnace record as a picture: points for the live one, SVG for the still one.

Temperatures are as judged (corrected, bridged, degC), a missing sample is None. Where more samples
lie in the asked span than are drawn, each run of neighbours is drawn as its lowest and highest, so
that a spike of one sample is never lost.
"""

import io
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

import numpy as np

from app.documents.cycle import cycle_of, cycle_paper_from
from app.judging.record.cycle import Cycle
from app.judging.record.spans import Floats
from app.judging.record.trace import Trace
from app.loads.judged import lines_of

FEWEST_POINTS, MOST_POINTS = 200, 2400
_STILL_POINTS = 800
_MOST_BREAKS = 200


@dataclass(frozen=True, slots=True)
class Drawn:
    """A record ready to be drawn; each series and ``vacuum`` have the shape of ``times``."""

    times: Floats
    series: Mapping[str, Floats]
    vacuum_name: str | None
    vacuum: Floats | None
    cycle: Cycle


@dataclass(frozen=True, slots=True)
class Labels:
    """What is written beside the lines: each channel's station, and when the record starts."""

    stations: Mapping[str, str]
    starts_at: datetime | None


def drawn(trace: Trace, cycle_as_judged: dict[str, Any]) -> Drawn:
    """The record's lines as judged; channels that decide nothing are drawn uncorrected."""
    cycle = cycle_of(cycle_paper_from(cycle_as_judged, filename="the cycle's paper"))
    vacuum = cycle.vacuum.column if cycle.vacuum is not None else None
    names = [name for name in trace.channels if name != vacuum]
    lines = lines_of(trace, cycle, names)
    return Drawn(
        trace.times,
        {line.name: line.rows for line in lines},
        vacuum,
        trace.channels[vacuum] if vacuum is not None else None,
        cycle,
    )


def points(
    record: Drawn,
    paper: Mapping[str, Any],
    labels: Labels,
    *,
    span: tuple[float | None, float | None] = (None, None),
    width: int = MOST_POINTS // 2,
) -> dict[str, Any]:
    """The points of a span (seconds from the first sample), at most about two per ``width``."""
    whole = (0.0, float(record.times[-1]))
    begin, end = sorted(
        min(max(asked, whole[0]), whole[1]) if asked is not None else edge
        for asked, edge in zip(span, whole, strict=True)
    )
    most = min(max(2 * width, FEWEST_POINTS), MOST_POINTS)
    thin = _Thinned.of(record.times, begin, end, most, record.cycle.max_gap_s)
    vacuum = None
    if record.vacuum is not None and record.cycle.vacuum is not None:
        vacuum = {
            "name": record.vacuum_name,
            "unit": "kPa",
            "t": thin.times_s(),
            "values": thin.values(record.vacuum, places=2),
            "limit": record.cycle.vacuum.min_kpa,
        }
    return {
        "t": thin.times_s(),
        "series": [
            {
                "name": name,
                "station": labels.stations.get(name, ""),
                "values": thin.values(values, places=2),
            }
            for name, values in record.series.items()
        ],
        "vacuum": vacuum,
        "stages": [
            {
                "low": stage.low_c,
                "high": stage.high_c,
                "start_s": soak["start_s"],
                "end_s": soak["end_s"],
            }
            for stage, soak in zip(record.cycle.stages, paper["stages"], strict=True)
        ],
        "excursions": _excursions(paper),
        "gaps": _gaps(paper),
        "start": labels.starts_at.isoformat() if labels.starts_at is not None else None,
        "whole": list(whole),
    }


def _excursions(paper: Mapping[str, Any]) -> list[dict[str, Any]]:
    keys = ("from_s", "to_s", "sensors", "side")
    return [
        {key: one[key] for key in keys} for stage in paper["stages"] for one in stage["excursions"]
    ]


def _gaps(paper: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {"from_s": begin, "to_s": end, "sensor": sensor}
        for sensor, gaps in paper.get("gaps", {}).items()
        for begin, end in gaps
    ]


@dataclass(frozen=True, slots=True)
class _Thinned:
    """Which rows are drawn. ``starts`` are the first rows of each run of neighbours.

    ``breaks`` are places (in the drawn points) before which a None stands, because the logger wrote
    nothing for longer than may be bridged.
    """

    first: int
    last: int
    starts: np.ndarray[tuple[int], np.dtype[np.intp]]
    times: Floats
    breaks: np.ndarray[tuple[int], np.dtype[np.intp]]
    exact: bool

    @classmethod
    def of(cls, times: Floats, begin: float, end: float, most: int, gap_s: float) -> "_Thinned":
        """Rows of [begin, end] and one row beyond each end, in at most about ``most`` points."""
        first = max(int(np.searchsorted(times, begin, side="left")) - 1, 0)
        last = min(int(np.searchsorted(times, end, side="right")) + 1, len(times))
        count = last - first
        exact = count <= most
        runs = count if exact else most // 2
        starts = np.unique(np.linspace(0, count, runs, endpoint=False).astype(np.intp))
        inside = times[first:last]
        if exact:
            shown = inside
        else:
            middles = (starts + np.append(starts[1:], count)) // 2
            shown = np.column_stack((inside[starts], inside[middles])).ravel()
            # A run of one row would stand twice at one time.
            shown = np.maximum.accumulate(shown)
        breaks = (np.flatnonzero(np.diff(shown) > _break_s(shown, gap_s)) + 1)[:_MOST_BREAKS]
        return cls(first, last, starts, shown, breaks, exact)

    def times_s(self) -> list[float]:
        """The drawn times, a time half-way where the line is broken."""
        half = (self.times[self.breaks - 1] + self.times[self.breaks]) / 2
        placed: list[float] = np.insert(self.times, self.breaks, half).round(3).tolist()
        return placed

    def values(self, series: Floats, *, places: int) -> list[float | None]:
        """The drawn values; None where missing and where the line is broken."""
        inside = series[self.first : self.last]
        drawn_values = inside if self.exact else self._ends(inside)
        placed = np.insert(drawn_values, self.breaks, np.nan).round(places)
        as_list: list[float | None] = placed.astype(object).tolist()
        if np.isnan(placed).any():
            return [None if value != value else value for value in as_list]  # noqa: PLR0124 - only NaN differs from itself
        return as_list

    def _ends(self, inside: Floats) -> Floats:
        """Lowest and highest of each run, falling runs highest first; NaN where all are missing."""
        lowest = np.fmin.reduceat(inside, self.starts)
        highest = np.fmax.reduceat(inside, self.starts)
        finals = np.append(self.starts[1:], len(inside)) - 1
        falls = inside[finals] < inside[self.starts]
        pairs = np.where(
            falls[:, None],
            np.column_stack((highest, lowest)),
            np.column_stack((lowest, highest)),
        )
        return pairs.ravel()


def _break_s(shown: Floats, gap_s: float) -> float:
    """A step between drawn points that is a stop of the logger, not just the drawing's own step."""
    usual = float(np.median(np.diff(shown))) if len(shown) > 1 else 0.0
    return max(gap_s, 3 * usual)


V = TypeVar("V")


class Shelf(Generic[V]):
    """The last few pictures made, by key; safe across threads. A restart only empties it."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[tuple[str, ...], V] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: tuple[str, ...], make: Callable[[], V]) -> V:
        """What is kept under ``key``, else what ``make`` makes."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made

    def drop(self, chosen: Callable[[tuple[str, ...]], bool]) -> None:
        """Forget what is kept under the keys that ``chosen`` holds for."""
        with self._lock:
            for key in [one for one in self._kept if chosen(one)]:
                del self._kept[key]


_DASHES: Sequence[Any] = ("-", (0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)), (0, (1, 1)))
_GREYS = ("#000000", "#4a4a4a", "#777777")
_drawing = threading.Lock()


def still(record: Drawn, paper: Mapping[str, Any], labels: Labels) -> bytes:
    """The whole record as SVG, legible in black print: dashes, and names at the lines' ends."""
    # Imported here: it takes most of a second, and few processes draw.
    import matplotlib as mpl  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    shown = points(record, paper, labels, width=_STILL_POINTS // 2)
    with _drawing, mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "temperbook"}):
        figure = Figure(figsize=(10.5, 6.0), facecolor="white", layout="constrained")
        if shown["vacuum"] is None:
            upper = figure.add_subplot()
            lowest = upper
        else:
            upper, lowest = figure.subplots(2, 1, sharex=True, height_ratios=(4, 1))
            _draw_vacuum(lowest, shown["vacuum"])
        _draw_temperatures(upper, shown)
        lowest.set_xlabel("hours from the first sample")
        lowest.set_xlim(0, shown["whole"][1] / 3600 * 1.08 or 1)
        sink = io.BytesIO()
        figure.savefig(sink, format="svg", metadata={"Date": None, "Creator": None})
    return sink.getvalue()


def _hours(seconds: Sequence[float]) -> Floats:
    return np.asarray(seconds, dtype=np.float64) / 3600


def _draw_temperatures(axes: Any, shown: Mapping[str, Any]) -> None:
    """All sensors over the bands; soaks bracketed, excursions and gaps marked at the foot."""
    hours = _hours(shown["t"])
    for stage in shown["stages"]:
        axes.axhspan(stage["low"], stage["high"], facecolor="#e4e4e4", edgecolor="#999999", lw=0.5)
        if stage["start_s"] is not None and stage["end_s"] is not None:
            for at in (stage["start_s"], stage["end_s"]):
                axes.axvline(at / 3600, color="black", lw=0.8, ls=(0, (4, 3)))
    ends = []
    for number, series in enumerate(shown["series"]):
        values = np.array(series["values"], dtype=np.float64)
        style = {"ls": _DASHES[number % 5], "color": _GREYS[number // 5 % 3]}
        axes.plot(hours, values, lw=0.9, **style)
        known = np.flatnonzero(~np.isnan(values))
        if len(known):
            ends.append((values[known[-1]], hours[known[-1]], series["name"]))
    _name_ends(axes, ends)
    foot = axes.get_xaxis_transform()
    _mark_spans(axes, foot, "out of band", shown["excursions"], level=0.05, shade="#000000")
    _mark_spans(axes, foot, "gap", shown["gaps"], level=0.02, shade="#8c8c8c")
    axes.set_ylabel("°C")
    axes.grid(visible=True, lw=0.3, color="#cccccc")


def _mark_spans(
    axes: Any,
    foot: Any,
    words: str,
    spans: Sequence[Mapping[str, Any]],
    *,
    level: float,
    shade: str,
) -> None:
    """Bars along the foot of the picture, the first one named."""
    for number, span in enumerate(spans):
        begin, end = span["from_s"] / 3600, span["to_s"] / 3600
        axes.plot(
            [begin, end], [level, level], transform=foot, color=shade, lw=4, solid_capstyle="butt"
        )
        if number == 0:
            axes.annotate(
                words,
                (begin, level),
                xycoords=foot,
                fontsize=8,
                xytext=(0, 4),
                textcoords="offset points",
            )


def _name_ends(axes: Any, ends: list[tuple[float, float, str]]) -> None:
    """Each line's name at its end, moved apart where they would stand on each other."""
    if not ends:
        return
    low, high = axes.get_ylim()
    step = (high - low) / 34
    free = -np.inf
    right = max(hours for _, hours, _ in ends)
    for value, hours, name in sorted(ends):
        level = max(value, free)
        free = level + step
        axes.annotate(
            name,
            (hours, value),
            xytext=(right * 1.015, level),
            fontsize=7,
            va="center",
            arrowprops={"arrowstyle": "-", "lw": 0.3},
        )


def _draw_vacuum(axes: Any, vacuum: Mapping[str, Any]) -> None:
    axes.plot(
        _hours(vacuum["t"]), np.array(vacuum["values"], dtype=np.float64), lw=0.9, color="black"
    )
    axes.axhline(vacuum["limit"], color="black", lw=0.8, ls=(0, (4, 3)))
    axes.annotate(
        f"least {vacuum['limit']:g} kPa",
        (0, vacuum["limit"]),
        fontsize=8,
        xytext=(2, -9),
        textcoords="offset points",
    )
    axes.set_ylabel(f"{vacuum['name']}, kPa")
    axes.set_ylim(0, max(105.0, axes.get_ylim()[1]))
    axes.grid(visible=True, lw=0.3, color="#cccccc")
