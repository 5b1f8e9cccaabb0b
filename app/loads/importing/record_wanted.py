"""What a furnace record of a load must hold, and how a logger's files are read for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, Literal

from sqlalchemy.orm import Session

from app.documents.logger.logger_mapping import (
    EVERYTHING_ELSE,
    ZONE_IN_FILE,
    LoggerMapping,
    mapping_from_json,
    mapping_to_json,
)
from app.equipment import queries as equipment
from app.errors import Refusal
from app.judging.record.trace import Trace
from app.loads import queries
from app.loads.corrections import corrected_otherwise
from app.loads.errors import FileInUse
from app.loads.judged import cycle_for_load
from app.loads.record_queries import files_of
from app.loads.records import FurnaceRecord, Load
from app.requirements import queries as requirements
from app.requirements.records import RequirementKind


@dataclass(frozen=True, slots=True)
class Chosen:
    """How a logger's files are read for a load: by an approved mapping, or as stated by hand.

    ``revision_id`` is the approved mapping's revision; None where a person stated the layout.
    """

    mapping: LoggerMapping
    revision_id: int | None = None

    def paper(self) -> dict[str, Any]:
        """As it is kept beside the record."""
        return mapping_to_json(self.mapping)


def plain_layout(
    columns: Mapping[str, str],
    *,
    vacuum: str | None,
    time_column: str = "time",
    time_kind: Literal["iso", "elapsed"] = "iso",
    temperature_unit: Literal["C", "F"] = "C",
    zone: str = ZONE_IN_FILE,
) -> Chosen:
    """A CSV in UTF-8 with commas and points, stated by hand.

    ``columns`` names the file's column of each channel; the one that is called ``vacuum`` holds the
    bag's level in kPa below ambient. Times are ISO 8601 in ``zone``, or elapsed seconds.
    """
    iso = time_kind == "iso"
    paper = {
        "name": "stated by hand",
        "kind": "csv",
        "encoding": "utf-8",
        "delimiter": "comma",
        "header": "by names",
        "time": {
            "columns": [time_column],
            "kind": time_kind,
            "elapsed_unit": None if iso else "seconds",
            "zone": zone if iso else None,
        },
        "temperature_unit": temperature_unit,
        "channels": [
            {"channel": channel, "column": column}
            for channel, column in columns.items()
            if channel != vacuum
        ],
        "vacuum": None
        if vacuum is None or vacuum not in columns
        else {
            "channel": vacuum,
            "column": columns[vacuum],
            "unit": "kPa",
            "sense": "below ambient",
        },
        "ignored": EVERYTHING_ELSE,
    }
    return Chosen(mapping_from_json(paper, filename="the layout"))


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

    @property
    def needed(self) -> tuple[str, ...]:
        """The channels that a record cannot do without, the vacuum's last."""
        channels = tuple(sensor.channel for sensor in self.required)
        return channels if self.vacuum is None else (*channels, self.vacuum)


def wanted_of(session: Session, load: Load) -> Wanted:
    """The channels a record of the load must hold, and what it is judged by."""
    cycle = requirements.revision(session, load.cycle_revision_id)
    # Findings name the cycle they rest on by code and revision, as a person would look it up.
    paper = {**cycle.paper, "name": f"{cycle.code} revision {cycle.revision}"}
    vacuum = (paper.get("vacuum") or {}).get("column")
    channels = queries.seats(session, load.id).sensors
    return Wanted(load, channels, vacuum, paper, queries.current_record(session, load.id))


def refuse_known_files(
    session: Session,
    digests: Sequence[str],
    *,
    load: Load,
    zone: tzinfo,
    chosen: Chosen | None = None,
) -> None:
    """Refuse bytes that are on record: of another load, or of this one read in the same way.

    Without ``chosen`` only another load's file is refused. Where other certificates count by now
    than the record was corrected by, it may be read again in the same way.

    Raises:
        FileInUse: names the load of the first use.
    """
    for digest in digests:
        known = queries.find_file(session, digest)
        if known is not None and known[0] != load.id:
            raise FileInUse(
                f"This very file is the furnace record of load {known[1]}; a file belongs to one "
                "load. Choose the file of this run.",
                load_code=known[1],
            )
    current = queries.current_record(session, load.id)
    if chosen is None or current is None:
        return
    same_files = [digest for _, digest in files_of(session, current)] == list(digests)
    same_way = (current.layout, current.mapping_revision_id) == (
        chosen.paper(),
        chosen.revision_id,
    )
    if same_files and same_way and not corrected_otherwise(session, load.id, zone=zone):
        raise FileInUse(
            f"This very file is already the furnace record of load {load.code}, read in the same "
            "way. There is nothing to change.",
            load_code=load.code,
        )


def refuse_chosen(session: Session, chosen: Chosen, wanted: Wanted, *, at: datetime) -> None:
    """Refuse a mapping that is not in force, or that does not read what the load needs.

    Raises:
        Refusal: a sentence for each channel, under ``column:CHANNEL``.
    """
    named = "The layout"
    if chosen.revision_id is not None:
        revision = requirements.revision(session, chosen.revision_id)
        named = f"The mapping {revision.code} revision {revision.revision}"
        if revision.kind is not RequirementKind.LOGGER_MAPPING or not revision.in_force(at):
            sentence = f"{named} is not in force; choose one that is, or state the layout by hand."
            raise Refusal(sentence, fields={"by": sentence})
    missing = _missing(chosen.mapping, wanted)
    if not missing:
        return
    if chosen.revision_id is None:
        problems = {f"column:{channel}": ask_column(channel, wanted) for channel in missing}
        raise Refusal(" ".join(problems.values()), fields=problems)
    sentence = (
        f"{named} does not read what the load needs ({', '.join(missing)}); choose another "
        "mapping, or state the layout by hand."
    )
    raise Refusal(sentence, fields={"by": sentence})


def ask_column(channel: str, wanted: Wanted) -> str:
    """The sentence that asks for the column of a channel that the load needs."""
    if channel == wanted.vacuum:
        return f"Say which column holds the bag's vacuum, {channel}."
    return (
        f"Say which column holds {channel}; a failed load sensor can be excluded by a supervisor."
    )


def _missing(mapping: LoggerMapping, wanted: Wanted) -> list[str]:
    """The channels that the load needs and that are not read as what they are."""
    read = {part.channel for part in mapping.channels}
    found = [sensor.channel for sensor in wanted.required if sensor.channel not in read]
    vacuum = None if mapping.vacuum is None else mapping.vacuum.channel
    if wanted.vacuum not in {None, vacuum}:
        found.append(str(wanted.vacuum))
    return found


def fits(mapping: LoggerMapping, wanted: Wanted) -> bool:
    """Whether a mapping reads every channel that the load needs."""
    return not _missing(mapping, wanted)


def planned_trace(trace: Trace, wanted: Wanted) -> Trace:
    """The trace with the load's own channels only; a mapping may read more."""
    planned = {sensor.channel for sensor in wanted.channels} | {wanted.vacuum}
    channels = {name: values for name, values in trace.channels.items() if name in planned}
    return Trace(trace.times, channels, trace.temperature_unit)


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
    papers = equipment.sensor_corrections(session, [one.sensor_id for one in required])
    corrections = {
        sensor.channel: equipment.corrections_on(papers[sensor.sensor_id], day)
        for sensor in required
    }
    channels = [sensor.channel for sensor in required]
    return cycle_for_load(wanted.cycle_paper, channels=channels, corrections=corrections)
