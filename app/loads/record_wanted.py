"""What a furnace record of a load must hold, and a logger's file read for it. Decides nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any, Literal

from sqlalchemy.orm import Session

from app.documents.logger_csv import Layout, LoggerReading, read_logger_csv
from app.equipment import queries as equipment
from app.errors import Refusal
from app.judging.trace import Trace
from app.loads import queries
from app.loads.errors import FileInUse
from app.loads.evidence import certificate_on
from app.loads.judged import cycle_for_load
from app.loads.records import FurnaceRecord, Load
from app.requirements import queries as requirements


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """How a logger's file is to be read for a load: a person confirmed it.

    ``columns`` names the file's column of each planned channel, the vacuum's included.
    """

    time_column: str
    time_kind: Literal["iso", "elapsed_s"]
    temperature_unit: Literal["C", "F"]
    columns: Mapping[str, str] = field(default_factory=dict)

    def paper(self) -> dict[str, Any]:
        """As it is kept beside the record."""
        return {
            "time_column": self.time_column,
            "time_kind": self.time_kind,
            "temperature_unit": self.temperature_unit,
            "columns": dict(self.columns),
        }


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a record of the load must hold, as the load stands now."""

    load: Load
    channels: tuple[queries.SensorPlace, ...]
    vacuum: str | None
    cycle_paper: dict[str, Any]
    current: FurnaceRecord | None

    @property
    def required(self) -> tuple[queries.SensorPlace, ...]:
        """The sensors that decide the soak."""
        return tuple(sensor for sensor in self.channels if sensor.required)


def wanted_of(session: Session, load: Load) -> Wanted:
    """The channels a record of the load must hold, and what it is judged by."""
    cycle = requirements.revision(session, load.cycle_revision_id)
    # Findings name the cycle they rest on by code and revision, as a person would look it up.
    paper = {**cycle.paper, "name": f"{cycle.code} revision {cycle.revision}"}
    vacuum = (paper.get("vacuum") or {}).get("column")
    channels = queries.seats(session, load.id).sensors
    return Wanted(load, channels, vacuum, paper, queries.current_record(session, load.id))


def refuse_known_file(
    session: Session, digest: str, *, load: Load, layout: Mapping[str, Any] | None = None
) -> None:
    """Refuse bytes that are on record: of another load, or of this one in the same layout.

    Without a ``layout`` only another load's file is refused.

    Raises:
        FileInUse: names the load of the first use.
    """
    known = queries.find_file(session, digest)
    if known is None:
        return
    load_id, code = known
    if load_id != load.id:
        raise FileInUse(
            f"This very file is the furnace record of load {code}; a file belongs to one load. "
            "Choose the file of this run.",
            load_code=code,
        )
    current = queries.current_record(session, load.id)
    if layout is None or current is None or current.file_sha256 != digest:
        return
    if current.layout == layout:
        raise FileInUse(
            f"This very file is already the furnace record of load {code}, read in the same way. "
            "There is nothing to change.",
            load_code=code,
        )


def refuse_columns(chosen: Columns, wanted: Wanted) -> None:
    """Refuse a required channel without a column, and a column chosen twice."""
    problems: dict[str, str] = {}
    needed = [sensor.channel for sensor in wanted.required]
    if wanted.vacuum is not None:
        needed.append(wanted.vacuum)
    for channel in needed:
        if channel not in chosen.columns:
            problems[f"column:{channel}"] = (
                f"Say which column holds {channel}; a failed load sensor can be excluded by a "
                "supervisor."
                if channel != wanted.vacuum
                else f"Say which column holds the bag's vacuum, {channel}."
            )
    first: dict[str, str] = {}
    for channel, column in chosen.columns.items():
        if column in first:
            problems[f"column:{channel}"] = (
                f"The column {column} is chosen for {first[column]} already; choose another for "
                f"{channel}."
            )
        first.setdefault(column, channel)
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def read_for_load(
    content: bytes, chosen: Columns, wanted: Wanted, *, file_name: str, max_bytes: int | None
) -> LoggerReading:
    """The file's chosen columns, whole.

    Raises:
        BadFile: one sentence with row and column, what was found, and what to do.
    """
    layout = Layout(
        time_column=chosen.time_column,
        time_kind=chosen.time_kind,
        temperature_unit=chosen.temperature_unit,
        channels=tuple(chosen.columns.values()),
    )
    return read_logger_csv(content, filename=file_name, layout=layout, max_bytes=max_bytes)


def renamed(trace: Trace, chosen: Columns) -> Trace:
    """The trace by planned channels instead of the file's columns."""
    channels = {channel: trace.channels[column] for channel, column in chosen.columns.items()}
    return Trace(trace.times, channels, trace.temperature_unit)


def started_at(reading: LoggerReading, zone: tzinfo) -> datetime | None:
    """The first sample's time; one without a zone was meant in the shop's."""
    started = reading.started_at
    if started is None or started.tzinfo is not None:
        return started
    return started.replace(tzinfo=zone)


def cycle_of_load(
    session: Session,
    wanted: Wanted,
    starts_at: datetime,
    zone: tzinfo,
    *,
    without: str | None = None,
) -> dict[str, Any]:
    """The cycle with the required channels and the corrections certified for the day.

    ``without`` names a channel that is being excluded.
    """
    required = [sensor for sensor in wanted.required if sensor.channel != without]
    if not required:
        raise Refusal("The load has no required sensor left, so its soak cannot be judged.")
    day = starts_at.astimezone(zone).date()
    certificates = equipment.sensor_certificates(session, [one.sensor_id for one in required])
    corrections = {}
    for sensor in required:
        best = certificate_on(certificates[sensor.sensor_id], day)
        corrections[sensor.channel] = best.corrections if best is not None else []
    channels = [sensor.channel for sensor in required]
    return cycle_for_load(wanted.cycle_paper, channels=channels, corrections=corrections)


def guessed_columns(header: Sequence[str], wanted: Wanted) -> dict[str, str]:
    """The file's column of each channel by its name, capitals, spaces and dashes aside."""
    by_name = {_plain(name): name for name in reversed(header)}
    channels = [one.channel for one in wanted.channels]
    if wanted.vacuum is not None:
        channels.append(wanted.vacuum)
    return {
        channel: channel if channel in header else by_name[_plain(channel)]
        for channel in channels
        if channel in header or _plain(channel) in by_name
    }


def _plain(name: str) -> str:
    return "".join(sign for sign in name.casefold() if sign.isalnum())
