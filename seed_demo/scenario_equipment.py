"""The invented shop's furnace reports, gauges and works: figures as their reports state them.

Everything here is made up.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from seed_demo.furnace_physics import AIR_SENSORS
from seed_demo.scenario import SENSORS_PER_FURNACE, Furnace

ZONE_LENGTH_MM, ZONE_WIDTH_MM = 18000, 4600
"""The surveyed zone of every furnace, its lower left corner at 0, 0: two panels by two."""

BENCH_GAUGE = "BG-3"
SET_TEMPERATURES_C = (100, 150, 200)
INSTRUMENTATION_TYPE = "B"


@dataclass(frozen=True, slots=True)
class Gauge:
    """A vacuum gauge, and the days since its calibration and to its last day."""

    code: str
    name: str
    done_days_ago: int
    due_in_days: int


def gauge_of(furnace: str) -> str:
    """The gauge on the vacuum channel of a furnace's logger."""
    return f"{furnace}-VG"


GAUGES = (
    Gauge(BENCH_GAUGE, "Dial at the bagging bench", 214, 151),
    Gauge(gauge_of("AK1"), "Vacuum channel of the logger of AK1", 180, 184),
    Gauge(gauge_of("AK2"), "Vacuum channel of the logger of AK2", 171, 193),
    Gauge(gauge_of("RL7"), "Vacuum channel of the logger of RL7", 353, 11),
)

RESTING = Furnace(
    code="RL9",
    name="Small air furnace, door seal just changed",
    furnace_class=2,
    uniformity_c="6",
    survey_done_days_ago=40,
    survey_due_in_days=51,
    accuracy_test_due_in_days=21,
    recorder_due_in_days=101,
    sample_s=60,
)
"""A furnace without a load: its survey is asked for anew, and its last test waits for review."""

DOOR_SEAL = "door seal changed"
"""As the shop's procedure lists the work."""


def sensors_of(furnace: str) -> dict[str, str]:
    """The identity of the furnace's own thermocouple on each logger channel."""
    own = {f"TC{k}": f"{furnace}-TC{k:02d}" for k in range(1, SENSORS_PER_FURNACE + 1)}
    return own | {channel: f"{furnace}-{channel}" for channel in AIR_SENSORS}


def zone_figures() -> dict[str, str]:
    """The surveyed zone as a survey's paper has it."""
    return {
        "length_mm": str(ZONE_LENGTH_MM),
        "width_mm": str(ZONE_WIDTH_MM),
        "x_mm": "0",
        "y_mm": "0",
    }


def survey_figures(furnace: Furnace) -> dict[str, Any]:
    """A survey of fifteen sensors, five along and three across: the door end a little colder."""
    noise = np.random.default_rng(list(furnace.code.encode()))
    stations = [(along, across) for along in range(5) for across in range(3)]
    room = float(furnace.uniformity_c)
    return {
        "zone": zone_figures(),
        "temperatures": [
            {
                "set_c": str(at),
                "sensors": [
                    _survey_sensor(at, along, across, room, float(noise.uniform(-0.1, 0.1)))
                    for along, across in stations
                ],
            }
            for at in SET_TEMPERATURES_C
        ],
    }


def _survey_sensor(
    at: int, along: int, across: int, room: float, noise: float
) -> dict[str, str | None]:
    colder = room * (0.2 * (4 - along) / 4 + 0.1 * (across == 0)) + noise
    return {
        "station": f"{'ABCDE'[along]}{across + 1}",
        "x_mm": str(500 + along * (ZONE_LENGTH_MM - 1000) // 4),
        "y_mm": str(300 + across * (ZONE_WIDTH_MM - 600) // 2),
        "lowest_c": f"{at - 0.3 * room - colder:.1f}",
        "highest_c": f"{at + 0.45 * room - colder:.1f}",
        "correction_c": None,
    }


def accuracy_figures(furnace: str, days_ago: int) -> dict[str, Any]:
    """An accuracy test of the two control channels at 150 degC."""
    noise = np.random.default_rng([*furnace.encode(), abs(days_ago)])
    return {
        "readings": [
            {
                "channel": channel,
                "test_c": "150.0",
                "indicated_c": f"{150 + float(noise.uniform(-0.7, 0.7)):.1f}",
            }
            for channel in AIR_SENSORS
        ]
    }


def recorder_figures(furnace: str) -> dict[str, Any]:
    """A recorder's calibration: type T voltages of about 100, 150 and 200 degC on two channels."""
    noise = np.random.default_rng([*furnace.encode(), 7])
    applied = (("4.279", 100.0), ("6.704", 150.0), ("9.288", 200.0))
    return {
        "points": [
            {
                "channel": channel,
                "applied": voltage,
                "unit": "mV",
                "type": "T",
                "reference_c": None,
                "indicated_c": f"{shown + float(noise.uniform(-0.3, 0.3)):.1f}",
            }
            for channel in ("TC1", "TC2")
            for voltage, shown in applied
        ]
    }
