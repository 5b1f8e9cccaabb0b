"""Where a load's growing record stands, in the words that the live page and Today show.

Every time is a clock time in the shop's zone and how far off it is. Nothing here is a verdict.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy.orm import Session

from app.judging.record.drift_warnings import Drift
from app.judging.record.outlook import Outlook
from app.judging.record.soak_so_far import SensorNow, StageSoFar
from app.loads import queries, run_queries
from app.loads.importing.record_wanted import cycle_of_load, wanted_of
from app.loads.live import live_queries
from app.loads.live.live_records import LiveClosing, LiveRecord
from app.loads.live.live_watch import Grown, Look, Watch
from app.loads.records import Load
from app.web.words import duration_words

_CLOCK_OFF_S = 60.0
"""A last row this far from now, in seconds, on a record whose rows still come, is worth a word."""


@dataclass(frozen=True, slots=True)
class Alert:
    """Something to act on now. ``key`` stays the same while it lasts, whatever the figures do."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class SensorRow:
    """A required sensor's line in the table."""

    channel: str
    station: str
    reading: str
    stands: str
    coming: str
    in_band: bool


@dataclass(frozen=True, slots=True)
class LiveState:
    """What is shown of a growing record. ``at`` is the moment it is of."""

    code: str
    furnace: str
    at: datetime
    as_of: str
    rows: int
    headline: str
    alerts: tuple[Alert, ...]
    notes: tuple[str, ...]
    facts: tuple[tuple[str, str], ...] = ()
    sensors: tuple[SensorRow, ...] = ()
    can_be: str | None = None
    growing: bool = True
    closed: LiveClosing | None = None
    recorded: bool = False
    look: Look | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class _Clock:
    """Seconds from the first row as times of day."""

    first_at: datetime
    now: datetime
    zone: ZoneInfo

    def at(self, seconds: float) -> str:
        """The time of day, with the day where that is not today, and how far off it is."""
        moment = self.first_at + timedelta(seconds=seconds)
        return f"{self.plain(moment)} ({self.off(moment)})"

    def plain(self, moment: datetime) -> str:
        local = moment.astimezone(self.zone)
        today = self.now.astimezone(self.zone).date()
        return local.strftime("%H:%M" if local.date() == today else "%Y-%m-%d %H:%M")

    def off(self, moment: datetime) -> str:
        away = (moment - self.now).total_seconds()
        return f"in {_about(away)}" if away >= 0 else f"{_about(-away)} ago"


def _as_of(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%Y-%m-%d %H:%M:%S %Z")


def _about(seconds: float) -> str:
    """A length to the minute, or to the second below two minutes."""
    if seconds < 120:  # noqa: PLR2004 - two minutes
        return f"{round(seconds)} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def live_state(
    session: Session, load: Load, *, watch: Watch, now: datetime, zone: ZoneInfo
) -> LiveState | None:
    """Where the load's growing record stands at ``now``; None where no logger opened one."""
    live = live_queries.live_of(session, load.id)
    if live is None:
        return None
    furnace = queries.furnace_of(session, load.id).code
    closed = live_queries.closing_of(session, live.id)
    recorded = queries.current_record(session, load.id) is not None
    if closed is not None or recorded:
        return _over(session, load, live, furnace, closed, now=now, zone=zone, recorded=recorded)
    wanted = wanted_of(session, load)
    grown = watch.grown(session, live)
    day_of = grown.first_at or load.planned_start
    look = watch.look(session, live, cycle_of_load(session, wanted, day_of, zone), now=now)
    started = run_queries.load_start(session, load.id) is not None
    notes = () if started else ("Rows come, but nobody has recorded that the load was started.",)
    base = LiveState(
        load.code,
        furnace,
        look.at,
        _as_of(look.at, zone),
        look.grown.rows,
        "",
        (),
        notes,
        look=look,
    )
    if look.grown.broken:
        said = Alert(
            "broken", "Rows on record are not as they came; tell whoever looks after the program."
        )
        return replace(base, headline=said.text, alerts=(said,))
    if look.outlook is None or look.grown.first_at is None:
        return replace(
            base,
            headline="The logger has opened the record; no row has come yet.",
            alerts=tuple(_nothing_yet(live, now, look.cycle.max_gap_s)),
        )
    clock = _Clock(look.grown.first_at, now, zone)
    stations = {one.channel: one.station for one in wanted.channels}
    return replace(
        base,
        headline=_headline(look.outlook, clock),
        alerts=tuple(_alerts(look, clock)),
        notes=(*notes, *_notes(look.grown, clock)),
        facts=tuple(_facts(look, clock)),
        sensors=_sensor_rows(look, stations, clock),
        can_be=look.outlook.can_be.value,
    )


def _over(
    session: Session,
    load: Load,
    live: LiveRecord,
    furnace: str,
    closed: LiveClosing | None,
    *,
    now: datetime,
    zone: ZoneInfo,
    recorded: bool,
) -> LiveState:
    headline = (
        "The run is over and its furnace record is in; the verdict is on the load's page."
        if recorded
        else "The run is over; its rows are not yet taken in as the furnace record."
    )
    return LiveState(
        code=load.code,
        furnace=furnace,
        at=now,
        as_of=_as_of(now, zone),
        rows=live_queries.row_count(session, live.id),
        headline=headline,
        alerts=(),
        notes=(),
        growing=False,
        closed=closed,
        recorded=recorded,
    )


def _headline(seen: Outlook, clock: _Clock) -> str:
    """The one sentence: how far the soak is, and when it can be over."""
    stage = seen.stages[seen.at]
    if seen.complete and seen.earliest_end_s is not None:
        return f"Every soak is long enough since {clock.at(seen.earliest_end_s)}."
    if seen.earliest_end_s is None:
        return "The soak that the cycle asks for can no longer be reached."
    if stage.start_s is None:
        return (
            "The load is not all in the band yet; the cycle cannot be complete before "
            f"{clock.at(seen.earliest_end_s)}."
        )
    return (
        f"In the soak: {duration_words(stage.in_band_s)} in band, {duration_words(stage.missing_s)}"
        f" to go; complete at {clock.at(seen.earliest_end_s)} at the earliest."
    )


def _nothing_yet(live: LiveRecord, now: datetime, gap_s: float) -> Iterator[Alert]:
    waited = (now - live.opened_at).total_seconds()
    if waited > gap_s:
        yield Alert(
            "silent", f"The logger opened the record {_about(waited)} ago and sent no row since."
        )


def _alerts(look: Look, clock: _Clock) -> Iterator[Alert]:
    """What is to be acted on, the most pressing first."""
    seen, grown = look.outlook, look.grown
    if seen is None or grown.received_at is None:
        return
    silent = (clock.now - grown.received_at).total_seconds()
    if silent > look.cycle.max_gap_s:
        yield Alert(
            "silent",
            f"Rows stopped coming {_about(silent)} ago, at {clock.plain(grown.received_at)}. What "
            "stands below is from then; look at the furnace's own display.",
        )
    elif _came_late(grown, look.cycle.max_gap_s):
        yield Alert(
            "behind",
            f"Rows come, but the last is from {clock.at(seen.finish_s)}: the logger is catching "
            "up, or its clock is behind.",
        )
    for one in seen.against:
        yield Alert(f"against:{one.code}:{one.text[:20]}", one.text.replace("degC", "°C"))
    if seen.out_now is not None:
        out = seen.out_now
        names = ", ".join(out.sensors)
        yield Alert(
            f"out:{names}",
            f"Out of the band since {clock.at(out.since_s)}: {names}, up to {out.beyond_c:.1f} °C "
            f"beyond it. {_too_long(out.too_long_s, out.since_s, clock)}",
        )
    for drift in seen.drifts:
        yield Alert(f"drift:{drift.channel}:{drift.side}", _drift_words(drift, clock))


def _came_late(grown: Grown, gap_s: float) -> bool:
    """Whether the last row was old already when it came in."""
    if grown.last_at is None or grown.received_at is None:
        return False
    return (grown.received_at - grown.last_at).total_seconds() > gap_s


def _too_long(too_long_s: float, since_s: float, clock: _Clock) -> str:
    if too_long_s <= since_s:
        return "The cycle permits no excursion."
    return f"It is longer than the cycle permits from {clock.at(too_long_s)} on."


def _drift_words(drift: Drift, clock: _Clock) -> str:
    unit = "°C" if drift.unit == "degC" else drift.unit
    way = "falls" if drift.side == "below" else "rises"
    latest = (
        "or later"
        if drift.latest_s is None
        else f"to {clock.plain(clock.first_at + timedelta(seconds=drift.latest_s))}"
    )
    earliest = clock.plain(clock.first_at + timedelta(seconds=drift.earliest_s))
    return (
        f"{drift.channel} {way} by {abs(drift.per_hour):.1f} {unit} an hour and is at "
        f"{drift.level:.1f} {unit}. On this trend it crosses {drift.limit:g} {unit} at "
        f"{clock.at(drift.crosses_s)}; likely {earliest} {latest}."
    )


def _notes(grown: Grown, clock: _Clock) -> Iterator[str]:
    if grown.last_at is not None and (grown.last_at - clock.now).total_seconds() > _CLOCK_OFF_S:
        yield (
            f"The logger's clock is {_about((grown.last_at - clock.now).total_seconds())} ahead of "
            "this server's."
        )


def _facts(look: Look, clock: _Clock) -> Iterator[tuple[str, str]]:
    seen, grown = look.outlook, look.grown
    if seen is None or grown.last_at is None:
        return
    yield ("Last row", f"{clock.plain(grown.last_at)} ({clock.off(grown.last_at)})")
    yield ("Rows", f"{grown.rows}")
    for stage in seen.stages:
        yield from _stage_facts(stage, seen, clock)
    if seen.earliest_end_s is None:
        yield ("Complete", "not any more")
    elif seen.complete:
        yield ("Complete", f"since {clock.at(seen.earliest_end_s)}")
    else:
        yield ("Complete at the earliest", clock.at(seen.earliest_end_s))
    limit = look.cycle.vacuum
    if seen.vacuum is not None and limit is not None:
        level = seen.vacuum.level_kpa
        words = "no reading" if level is None else f"{level:.1f} kPa, at least {limit.min_kpa:g}"
        yield ("Bag vacuum, below ambient", words)


def _stage_facts(stage: StageSoFar, seen: Outlook, clock: _Clock) -> Iterator[tuple[str, str]]:
    name = f"Soak {stage.number}" if len(seen.stages) > 1 else "Soak"
    if stage.start_s is None:
        yield (name, f"not begun; {duration_words(stage.missing_s)} asked at {stage.set_c:g} °C")
        return
    more = f", {duration_words(stage.missing_s)} to go" if stage.missing_s else ", long enough"
    yield (f"{name}, in band", f"{duration_words(stage.in_band_s)}{more}")
    if stage.unproven_s:
        yield (f"{name}, unproven", duration_words(stage.unproven_s))
    if stage.must_end_s is not None and stage.number == seen.at + 1:
        yield (f"{name} must be over by", clock.at(stage.must_end_s))


def _sensor_rows(look: Look, stations: dict[str, str], clock: _Clock) -> tuple[SensorRow, ...]:
    """The sensors that hold the load up first, then those that drift, then as planned."""
    seen = look.outlook
    if seen is None:
        return ()
    drifts = {drift.channel: drift for drift in seen.drifts}

    def place(one: SensorNow) -> tuple[float, bool]:
        off = np.inf if one.off_c is None else abs(one.off_c)
        return -off, one.channel not in drifts

    return tuple(
        _sensor_row(one, seen, stations, drifts.get(one.channel), clock)
        for one in sorted(seen.sensors, key=place)
    )


def _sensor_row(
    one: SensorNow,
    seen: Outlook,
    stations: dict[str, str],
    drift: Drift | None,
    clock: _Clock,
) -> SensorRow:
    station = stations.get(one.channel, "")
    if one.value_c is None or one.read_s is None:
        return SensorRow(one.channel, station, "no reading yet", "not known", "", in_band=False)
    reading = f"{one.value_c:.1f} °C"
    if one.read_s < seen.finish_s:
        reading += f", from {clock.at(one.read_s)}"
    if one.off_c is None:
        stands = "not known"
    elif one.off_c == 0:
        stands = "in band"
    else:
        stands = f"{abs(one.off_c):.1f} °C {'below' if one.off_c < 0 else 'above'} the band"
    coming = "" if one.reaches_s is None else f"in band at {clock.at(one.reaches_s)}"
    if drift is not None:
        coming = f"on its trend {drift.limit:g} °C at {clock.at(drift.crosses_s)}"
    return SensorRow(one.channel, station, reading, stands, coming, in_band=one.off_c == 0)


def growing_states(
    session: Session, *, watch: Watch, now: datetime, zone: ZoneInfo
) -> Sequence[LiveState]:
    """Every record that grows now, as Today says it; some queries for each, which are few."""
    states = [
        live_state(session, each.load, watch=watch, now=now, zone=zone)
        for each in live_queries.growing(session)
    ]
    return [state for state in states if state is not None]
