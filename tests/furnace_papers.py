"""An invented pyrometry procedure, and the figures of reports that keep to it."""

from decimal import Decimal
from typing import Any

from app.equipment.records import FurnaceCheckKind

_SAID = {"source": "invented for the tests", "obtained": "invented"}
PROCEDURE = "PY-T"

PROCEDURE_PAPER: dict[str, Any] = {
    "name": "Invented pyrometry",
    "revision": "A",
    "calendar": {
        "month_end": "last day of the month",
        "due_day_counts": True,
        "early_warning_days": 21,
    },
    "instrumentation_types": ["B", "D"],
    "classes": [
        {"furnace_class": "1", "uniformity_c": "3", **_SAID},
        {"furnace_class": "2", "uniformity_c": "6", **_SAID},
    ],
    "intervals": [
        {
            "check": kind.value,
            "furnace_class": None,
            "instrumentation_type": None,
            "every": {"months": 3},
            **_SAID,
        }
        for kind in FurnaceCheckKind
    ],
    "instruments": [
        {"instrument": "sensor", "every": {"months": 6}, **_SAID},
        {"instrument": "vacuum gauge", "every": {"months": 12}, **_SAID},
    ],
    "survey": {
        "sensors_least": [{"up_to_m2": "20", "least": 5}, {"up_to_m2": None, "least": 9}],
        **_SAID,
    },
    "accuracy_test": [{"furnace_class": None, "largest_difference_c": "1.5", **_SAID}],
    "recorder": [{"furnace_class": None, "largest_error_c": "1.0", **_SAID}],
    "maintenance": [
        {"event": "door seal changed", "asks_for": ["uniformity survey"], **_SAID},
        {"event": "recorder repaired", "asks_for": ["recorder calibration"], **_SAID},
        {"event": "painted outside", "asks_for": [], **_SAID},
    ],
    "sensor_life": None,
}

ZONE = {"length_mm": "16000", "width_mm": "4000", "x_mm": "0", "y_mm": "0"}
"""A zone that holds the shop's panels (14 m by 2.6 m) with room around them."""


def survey_figures(
    *, sets: tuple[str, ...] = ("100", "150", "200"), off: str = "1.4"
) -> dict[str, Any]:
    """A survey of nine sensors in a grid at each set temperature, ``off`` degC either side."""
    places = [(x, y) for x in ("0", "8000", "16000") for y in ("0", "2000", "4000")]
    return {
        "zone": dict(ZONE),
        "temperatures": [
            {
                "set_c": at,
                "sensors": [
                    {
                        "station": f"U{number}",
                        "x_mm": x,
                        "y_mm": y,
                        "lowest_c": _moved(at, "-" + off if number == 1 else "-0.8"),
                        "highest_c": _moved(at, off if number == 9 else "0.9"),
                        "correction_c": None,
                    }
                    for number, (x, y) in enumerate(places, start=1)
                ],
            }
            for at in sets
        ],
    }


def accuracy_figures(off: str = "0.6") -> dict[str, Any]:
    """One reading on the control channel."""
    return {
        "readings": [{"channel": "TC1", "test_c": "150.0", "indicated_c": _moved("150.0", off)}]
    }


def recorder_figures(off: str = "0.3") -> dict[str, Any]:
    """Two points on one channel, applied in degC."""
    return {
        "points": [
            {
                "channel": "TC1",
                "applied": at,
                "unit": "degC",
                "type": None,
                "reference_c": None,
                "indicated_c": _moved(at, off),
            }
            for at in ("100.0", "200.0")
        ]
    }


def figures_of(kind: FurnaceCheckKind) -> dict[str, Any]:
    """Figures of a passed report of a kind."""
    made = {
        FurnaceCheckKind.UNIFORMITY_SURVEY: survey_figures,
        FurnaceCheckKind.ACCURACY_TEST: accuracy_figures,
        FurnaceCheckKind.RECORDER_CALIBRATION: recorder_figures,
    }
    return made[kind]()


def _moved(figure: str, by: str) -> str:
    return str(Decimal(figure) + Decimal(by))
