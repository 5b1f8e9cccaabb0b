"""The growing record as a picture: all of it thinned for a first look, then only what is new."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.judging.record.outlook import Outlook
from app.judging.record.spans import Floats
from app.judging.record.trace import Trace
from app.loads import picture, queries
from app.loads.importing.record_wanted import cycle_of_load, wanted_of
from app.loads.judged import lines_of
from app.loads.live import live_queries
from app.loads.live.live_watch import Grown, Look, Watch

MOST_NEW = 1500
"""More new rows than this are not sent one by one: the picture is drawn anew."""


@dataclass(frozen=True, slots=True)
class Drawable:
    """What the picture of a growing record is drawn from; there is at least one row."""

    trace: Trace
    outlook: Outlook
    rows: int
    cycle_paper: dict[str, Any]
    labels: picture.Labels
    key: tuple[str, ...]
    """What the drawn lines depend on."""


def drawable_of(
    session: Session, code: str, *, watch: Watch, now: datetime, zone: tzinfo
) -> Drawable:
    """The load's growing record, ready to be drawn.

    Raises:
        NotFound: no such load, no growing record, or no row of it yet.
    """
    load = queries.load(session, code)
    live = live_queries.live_of(session, load.id)
    if live is None:
        raise NotFound(f"No logger has opened a record for load {code}.")
    wanted = wanted_of(session, load)
    day_of = watch.grown(session, live).first_at or load.planned_start
    cycle_paper = cycle_of_load(session, wanted, day_of, zone)
    look = watch.look(session, live, cycle_paper, now=now)
    if look.grown.trace is None or look.outlook is None:
        raise NotFound(f"No row of load {code} has come yet.")
    stations = {one.channel: one.station for one in wanted.channels}
    rows = look.grown.rows
    return Drawable(
        look.grown.trace,
        look.outlook,
        rows,
        cycle_paper,
        picture.Labels(stations, look.grown.first_at),
        (str(live.id), str(rows), look.digest),
    )


def whole_points(
    drawable: Drawable,
    shelf: picture.Shelf[picture.Drawn],
    *,
    span: tuple[float | None, float | None] = (None, None),
    width: int = picture.MOST_POINTS // 2,
) -> dict[str, Any]:
    """The points of a span, and ``next``, the number of the row after the last."""
    lines = _lines_of(drawable, shelf)
    paper = {"stages": _stages(drawable.outlook)}
    shown = picture.points(lines, paper, drawable.labels, span=span, width=width)
    return {**shown, "next": drawable.rows}


def still_of(drawable: Drawable, shelf: picture.Shelf[picture.Drawn]) -> bytes:
    """The record so far as SVG."""
    paper = {"stages": _stages(drawable.outlook)}
    return picture.still(_lines_of(drawable, shelf), paper, drawable.labels)


def _lines_of(drawable: Drawable, shelf: picture.Shelf[picture.Drawn]) -> picture.Drawn:
    return shelf.get(drawable.key, lambda: picture.drawn(drawable.trace, drawable.cycle_paper))


def _stages(seen: Outlook) -> list[dict[str, Any]]:
    """The soaks so far; what is out of the band now is an excursion that goes on."""
    stages: list[dict[str, Any]] = []
    for stage in seen.stages:
        end = None if stage.start_s is None else stage.start_s + stage.elapsed_s
        stages.append({"start_s": stage.start_s, "end_s": end, "excursions": []})
    if seen.out_now is not None:
        stages[seen.at]["excursions"].append(
            {
                "from_s": seen.out_now.since_s,
                "to_s": seen.finish_s,
                "sensors": list(seen.out_now.sensors),
                "side": _side(seen),
            }
        )
    return stages


def _side(seen: Outlook) -> str:
    first = next((one for one in seen.sensors if one.off_c), None)
    return "above" if first is not None and (first.off_c or 0) > 0 else "below"


def new_points(grown: Grown, look: Look, *, after: int) -> dict[str, Any] | None:
    """The rows from number ``after`` on, each channel as judged; None where there are none.

    ``anew`` instead where they are too many, or ``after`` is beyond the last row.
    """
    trace = grown.trace
    if trace is None or after == grown.rows:
        return None
    if not 0 <= after < grown.rows or grown.rows - after > MOST_NEW:
        return {"first": after, "next": grown.rows, "anew": True}
    part = Trace(
        trace.times[after:],
        {name: values[after:] for name, values in trace.channels.items()},
        trace.temperature_unit,
    )
    limit = look.cycle.vacuum
    vacuum = None if limit is None else limit.column
    names = [name for name in part.channels if name != vacuum]
    series = {line.name: _shown(line.rows) for line in lines_of(part, look.cycle, names)}
    shown: dict[str, Any] = {
        "first": after,
        "next": grown.rows,
        "anew": False,
        "t": part.times.round(3).tolist(),
        "series": series,
        "vacuum": None if vacuum is None else _shown(part.channels[vacuum]),
    }
    if look.outlook is not None:
        shown |= _marks(look.outlook)
    return shown


def _marks(seen: Outlook) -> Mapping[str, Any]:
    """The soaks and what is out now, for the shading."""
    stages = _stages(seen)
    return {
        "stages": [{"start_s": one["start_s"], "end_s": one["end_s"]} for one in stages],
        "excursions": [found for one in stages for found in one["excursions"]],
    }


def _shown(values: Floats) -> list[float | None]:
    rounded = np.round(values, 2)
    return [
        None if missing else value
        for value, missing in zip(rounded.tolist(), np.isnan(rounded).tolist(), strict=True)
    ]
