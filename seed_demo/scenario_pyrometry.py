"""The invented shop's pyrometry procedure, and the mappings its loggers' exports are read by.

Every class, interval and limit here is made up.
"""

from dataclasses import dataclass, replace
from typing import Any

from seed_demo.furnace_physics import AIR_SENSORS
from seed_demo.logger_file import VACUUM_COLUMN
from seed_demo.scenario import SENSORS_PER_FURNACE, SHOP_ZONE

_DOCUMENT = "Pyrometry sheet PS-PY-1 (invented)"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoProcedure:
    """A pyrometry procedure in the form of a PROCEDURE.json, who wrote it and who verified it.

    ``verified_by`` is None where it waits for a second person.
    """

    code: str
    paper: dict[str, Any]
    source_document: str
    written_by: str
    verified_by: str | None


def _said(clause: str) -> dict[str, str]:
    return {"source": f"{_DOCUMENT}, clause {clause}", "obtained": "invented"}


def _check(check: str, every: dict[str, int], clause: str) -> dict[str, Any]:
    return {
        "check": check,
        "furnace_class": None,
        "instrumentation_type": None,
        "every": every,
        **_said(clause),
    }


def _work(event: str, *asks_for: str) -> dict[str, Any]:
    return {"event": event, "asks_for": list(asks_for), **_said("7")}


_SURVEY, _TEST, _RECORDER = "uniformity survey", "system accuracy test", "recorder calibration"
_PAPER: dict[str, Any] = {
    "name": "Pyrometry of the ageing furnaces",
    "revision": "A",
    "calendar": {
        "month_end": "last day of the month",
        "due_day_counts": True,
        "early_warning_days": 14,
    },
    "instrumentation_types": ["A", "B", "D"],
    "classes": [
        {"furnace_class": "1", "uniformity_c": "3", **_said("3.1")},
        {"furnace_class": "2", "uniformity_c": "6", **_said("3.1")},
    ],
    "intervals": [
        _check(_SURVEY, {"weeks": 13}, "4.2"),
        _check(_TEST, {"days": 30}, "4.3"),
        _check(_RECORDER, {"weeks": 26}, "4.4"),
    ],
    "instruments": [
        {"instrument": "sensor", "every": {"days": 180}, **_said("5.1")},
        {"instrument": "vacuum gauge", "every": {"months": 12}, **_said("5.2")},
    ],
    "survey": {
        "sensors_least": [
            {"up_to_m2": "15", "least": 5},
            {"up_to_m2": "40", "least": 9},
            {"up_to_m2": None, "least": 15},
        ],
        **_said("4.2"),
    },
    "accuracy_test": [{"furnace_class": None, "largest_difference_c": "1.5", **_said("4.3")}],
    "recorder": [{"furnace_class": None, "largest_error_c": "1.0", **_said("4.4")}],
    "maintenance": [
        _work("door seal changed", _SURVEY),
        _work("heater changed", _SURVEY, _TEST),
        _work("fan or baffle changed", _SURVEY),
        _work("control sensor changed", _TEST),
        _work("recorder repaired", _TEST, _RECORDER),
        _work("painted outside"),
    ],
    "sensor_life": {"largest_uses": 120, "largest_age": {"months": 24}, **_said("5.3")},
}

PROCEDURE = DemoProcedure(
    code="PY-1",
    paper=_PAPER,
    source_document=_DOCUMENT,
    written_by="skestle",
    verified_by="rhalvarth",
)

# Written, and not yet in force: it would have the recorders calibrated every 3 months.
WAITING_PROCEDURE = replace(
    PROCEDURE,
    paper={
        **_PAPER,
        "revision": "B",
        "intervals": [*_PAPER["intervals"][:2], _check(_RECORDER, {"months": 3}, "4.4")],
    },
    verified_by=None,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoMapping:
    """A logger mapping in the form of a MAPPING.json, who wrote it and who verified it."""

    code: str
    revision: str
    paper: dict[str, Any]
    source_document: str
    written_by: str
    verified_by: str


CHANNELS = (*(f"TC{k}" for k in range(1, SENSORS_PER_FURNACE + 1)), *AIR_SENSORS)
"""The temperature channels of every furnace's logger, as loads are planned with them."""


def _mapping(name: str, columns: dict[str, str], **stated: Any) -> dict[str, Any]:
    """A mapping in which ``columns`` gives the column of each channel."""
    return {
        "name": name,
        "header": "by names",
        "temperature_unit": "C",
        "channels": [{"channel": channel, "column": column} for channel, column in columns.items()],
        "ignored": "everything else",
        "missing": ["OPEN"],
        **stated,
    }


# A header block, then date and time of the shop's own clock, decimal commas and gauge pressure.
TEXT_COLUMNS = {channel: f"Ch {place:02d}" for place, channel in enumerate(CHANNELS, start=1)}
TEXT_VACUUM_COLUMN = "Bag"
TEXT_MAPPING = DemoMapping(
    code="LM-1",
    revision="A",
    paper=_mapping(
        "Hall logger, text export",
        TEXT_COLUMNS,
        kind="csv",
        encoding="latin-1",
        delimiter="semicolon",
        decimal_mark="comma",
        unit_row=True,
        time={
            "columns": ["Date", "Time"],
            "kind": "pattern",
            "order": "day-month-year",
            "date_mark": ".",
            "clock": "24 h",
            "zone": SHOP_ZONE,
            "repeated_hour": "by order",
        },
        vacuum={
            "channel": VACUUM_COLUMN,
            "column": TEXT_VACUUM_COLUMN,
            "unit": "mbar",
            "sense": "gauge",
        },
        files="one after the other",
        sort=True,
        repeated_rows="drop identical",
    ),
    source_document="Export settings of the hall logger, sheet 4 (invented)",
    written_by="skestle",
    verified_by="obrantwood",
)

SHEET = "Readings"
SHEET_COLUMNS = {channel: f"{channel} degC" for channel in CHANNELS}
SHEET_VACUUM_COLUMN = "Bag kPa below ambient"
SHEET_MAPPING = DemoMapping(
    code="LM-2",
    revision="A",
    paper=_mapping(
        "Bench logger, spreadsheet",
        SHEET_COLUMNS,
        kind="xlsx",
        sheet=SHEET,
        time={"columns": ["Moment"], "kind": "date cell", "zone": SHOP_ZONE},
        vacuum={
            "channel": VACUUM_COLUMN,
            "column": SHEET_VACUUM_COLUMN,
            "unit": "kPa",
            "sense": "below ambient",
        },
    ),
    source_document="Export settings of the bench logger, sheet 2 (invented)",
    written_by="skestle",
    verified_by="rhalvarth",
)

MAPPINGS = (TEXT_MAPPING, SHEET_MAPPING)
