"""The invented shop: its people, furnaces, cycles, alloys, acceptance tables and instruments.

No firm, product, alloy, limit or person here is real. Which panels went through which furnace load,
and what became of them, is in ``scenario_loads``.
"""

from dataclasses import dataclass
from typing import Any, Literal

from seed_demo.ageing import AgeingResponse
from seed_demo.furnace_course import Segment
from seed_demo.furnace_physics import AIR_SENSORS
from seed_demo.logger_file import VACUUM_COLUMN

SHOP = "Tarnwick Skin Forming (invented)"
SHOP_ZONE = "Europe/London"
SOURCE = "Invented for the demonstration; describes no real material or requirement"
PANEL_LENGTH_MM, PANEL_WIDTH_MM = 8400, 2100
LARGEST_TREATMENT_COUNT = 2

Role = Literal["inspector", "supervisor", "engineer", "auditor", "administrator"]


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who signs in; every one of them is made up."""

    sign_in: str
    name: str
    roles: tuple[Role, ...]


PEOPLE = (
    Person("imorrowby", "Ilse Morrowby", ("inspector",)),
    Person("tashgill", "Teodor Ashgill", ("inspector",)),
    Person("pquennell", "Petra Quennell", ("inspector",)),
    Person("rhalvarth", "Rune Halvarth", ("supervisor",)),
    Person("obrantwood", "Odile Brantwood", ("supervisor", "inspector")),
    Person("skestle", "Sunniva Kestle", ("engineer",)),
    Person("mdunfold", "Marek Dunfold", ("engineer", "supervisor")),
    Person("jlindqvane", "Josefa Lindqvane", ("auditor",)),
    Person("botterley", "Bram Otterley", ("administrator",)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Furnace:
    """A furnace, its class (uniformity in degC either side) and days to its next due dates."""

    code: str
    name: str
    uniformity_c: str
    survey_done_days_ago: int
    survey_due_in_days: int
    accuracy_test_due_in_days: int
    recorder_due_in_days: int
    sample_s: int


FURNACES = (
    Furnace(
        code="AK1",
        name="Long autoclave, east hall",
        uniformity_c="3",
        survey_done_days_ago=48,
        survey_due_in_days=43,
        accuracy_test_due_in_days=12,
        recorder_due_in_days=131,
        sample_s=10,
    ),
    Furnace(
        code="AK2",
        name="Long autoclave, west hall",
        uniformity_c="3",
        survey_done_days_ago=61,
        survey_due_in_days=30,
        accuracy_test_due_in_days=5,
        recorder_due_in_days=88,
        sample_s=30,
    ),
    Furnace(
        code="RL7",
        name="Recirculating air furnace",
        uniformity_c="3",
        survey_done_days_ago=84,
        survey_due_in_days=7,
        accuracy_test_due_in_days=2,
        recorder_due_in_days=19,
        sample_s=60,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alloy:
    """An invented alloy: how it comes in, what the cycle makes of it, how it answers to heat."""

    alloy: str
    incoming_temper: str
    final_temper: str
    response: AgeingResponse


# The constants are invented; see seed_demo/ageing.py.
ALLOYS = (
    Alloy(
        alloy="M-31",
        incoming_temper="A0",
        final_temper="A2",
        response=AgeingResponse(
            reference_c=150.0,
            peak_s=27 * 3600.0,
            activation_j_per_mol=118_000.0,
            hardness_before=64.0,
            hardness_peak=86.0,
            conductivity_before=30.5,
            conductivity_full=40.0,
        ),
    ),
    Alloy(
        alloy="R-58",
        incoming_temper="C1",
        final_temper="C4",
        response=AgeingResponse(
            reference_c=160.0,
            peak_s=4 * 3600.0,
            activation_j_per_mol=109_000.0,
            hardness_before=70.0,
            hardness_peak=90.0,
            conductivity_before=31.0,
            conductivity_full=41.5,
        ),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCycle:
    """A cycle: the paper it is judged by, and the program the furnace runs for it."""

    code: str
    revision: str
    name: str
    written_by: str
    verified_by: str
    required_sensors_least: int
    stages: tuple[dict[str, Any], ...]
    vacuum_least_kpa: str
    program: tuple[Segment, ...]
    ageing: dict[str, Any]

    def paper(self, sensors: tuple[str, ...]) -> dict[str, Any]:
        """The cycle as a CYCLE.json, for the load sensors named; air sensors do not decide."""
        return {
            "name": f"{self.code} rev {self.revision}",
            "temperature_unit": "C",
            "stages": [dict(stage) for stage in self.stages],
            "sensors": [name for name in sensors if name not in AIR_SENSORS],
            "max_gap_s": 120,
            "corrections": {},
            "excursions": None,
            "heating_rate": {"max_per_min": "2.0", "window_s": 600},
            "cooling_rate": None,
            "vacuum": {
                "column": VACUUM_COLUMN,
                "min_kpa": self.vacuum_least_kpa,
                "from": "start",
                "to": "soak_end",
            },
            "ageing": dict(self.ageing),
        }


def _stage(set_c: str, either_side_c: str, soak_h: int) -> dict[str, Any]:
    return {
        "set": set_c,
        "below": either_side_c,
        "above": either_side_c,
        "soak_min_s": soak_h * 3600,
        "soak_max_s": None,
    }


_COOLING = Segment(target_c=40.0, rate_c_per_min=1.5, hold_s=600, within_c=25.0)

CYCLES = (
    DemoCycle(
        code="KH-150",
        revision="C",
        name="One day at 150 degC, clamped and bagged",
        written_by="skestle",
        verified_by="mdunfold",
        required_sensors_least=8,
        stages=(_stage("150", "3", 24),),
        vacuum_least_kpa="75",
        program=(
            Segment(target_c=150.0, rate_c_per_min=0.75, hold_s=24 * 3600 + 300, within_c=2.5),
            _COOLING,
        ),
        ageing={"activation_energy_j_per_mol": 118000, "reference": 150},
    ),
    DemoCycle(
        code="KS-2",
        revision="A",
        name="Two stages, 120 then 160 degC, clamped and bagged",
        written_by="mdunfold",
        verified_by="rhalvarth",
        required_sensors_least=8,
        stages=(_stage("120", "4", 6), _stage("160", "4", 10)),
        vacuum_least_kpa="75",
        program=(
            Segment(target_c=120.0, rate_c_per_min=0.75, hold_s=6 * 3600 + 300, within_c=3.0),
            Segment(target_c=160.0, rate_c_per_min=0.75, hold_s=10 * 3600 + 300, within_c=3.0),
            _COOLING,
        ),
        ageing={"activation_energy_j_per_mol": 109000, "reference": 160},
    ),
)


def _hardness(least: str) -> dict[str, Any]:
    return {
        "quantity": "hardness",
        "scale": "HRB",
        "min": least,
        "max": None,
        "statistic": "each",
        "readings_min": 3,
        "range_max": "3.0",
        "rounding": "rounding",
    }


def _conductivity(limits: dict[str, Any]) -> dict[str, Any]:
    return {
        "quantity": "conductivity",
        "unit": "%IACS",
        "statistic": "mean",
        "readings_min": 3,
        "rounding": "rounding",
        **limits,
    }


YIELD_HIGHEST_MPA = "436"


def _entry(
    alloy: str, temper: str, from_mm: str, to_mm: str, criteria: list[dict[str, Any]]
) -> dict[str, Any]:
    return {
        "alloy": alloy,
        "temper": temper,
        "form": "plate",
        "thickness_mm": {
            "from": from_mm,
            "to": to_mm,
            "from_included": True,
            "to_included": False,
        },
        "surface": None,
        "decision": "simple",
        "source": SOURCE,
        "obtained": "invented",
        "criteria": criteria,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoTable:
    """An acceptance table in the form of a TABLE.json, who wrote it and who verified it."""

    paper: dict[str, Any]
    written_by: str
    verified_by: str


TABLES = (
    DemoTable(
        paper={
            "name": "QT-31 witness coupons, M-31 A2",
            "revision": "B",
            "entries": [
                _entry(
                    "M-31",
                    "A2",
                    "6.0",
                    "16.0",
                    [_hardness("83.0"), _conductivity({"min": "35.0", "max": "38.5"})],
                ),
                _entry(
                    "M-31",
                    "A2",
                    "16.0",
                    "40.0",
                    [_hardness("82.0"), _conductivity({"min": "35.0", "max": "39.0"})],
                ),
            ],
        },
        written_by="skestle",
        verified_by="rhalvarth",
    ),
    DemoTable(
        paper={
            "name": "QT-58 witness coupons, R-58 C4",
            "revision": "A",
            "entries": [
                _entry(
                    "R-58",
                    "C4",
                    "6.0",
                    "20.0",
                    [
                        _hardness("81.5"),
                        _conductivity(
                            {
                                "resolution": "0.1",
                                "zones": [
                                    {"to": "37.0", "outcome": "reject"},
                                    {
                                        "from": "37.1",
                                        "to": "38.6",
                                        "outcome": "accept_if",
                                        "also": [
                                            {
                                                "quantity": "yield_strength",
                                                "unit": "MPa",
                                                "max": YIELD_HIGHEST_MPA,
                                            }
                                        ],
                                    },
                                    {"from": "38.7", "outcome": "accept"},
                                ],
                            }
                        ),
                    ],
                )
            ],
        },
        written_by="mdunfold",
        verified_by="obrantwood",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tester:
    """A bench instrument and the reference block it is checked on; figures as certified."""

    code: str
    name: str
    quantity: Literal["hardness", "conductivity"]
    scale_or_unit: str
    calibration_due_in_days: int
    block: str
    block_value: str
    block_permitted_error: str
    scatter: float
    frequency_khz: int | None = None


TESTERS = (
    Tester(
        code="HB-2",
        name="Bench indentation tester",
        quantity="hardness",
        scale_or_unit="HRB",
        calibration_due_in_days=77,
        block="RB-841",
        block_value="84.1",
        block_permitted_error="1.0",
        scatter=0.35,
    ),
    Tester(
        code="EC-5",
        name="Eddy-current conductivity meter",
        quantity="conductivity",
        scale_or_unit="%IACS",
        calibration_due_in_days=24,
        block="CB-382",
        block_value="38.2",
        block_permitted_error="0.5",
        scatter=0.08,
        frequency_khz=60,
    ),
)
