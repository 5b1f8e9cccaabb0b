"""The invented shop: its people, furnaces, cycles, alloys, acceptance tables and instruments.

No firm, product, alloy, limit or person here is real. Which panels went through which furnace load,
and what became of them, is in ``scenario_loads``.
"""

from dataclasses import dataclass
from typing import Literal

from seed_demo.ageing import AgeingResponse

SHOP = "Tarnwick Skin Forming (invented)"
SHOP_ZONE = "Europe/London"
SENSORS_PER_FURNACE = 12
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
    furnace_class: int
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
        furnace_class=1,
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
        furnace_class=1,
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
        furnace_class=1,
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
    expanded_uncertainty: str
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
        expanded_uncertainty="0.8",
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
        expanded_uncertainty="0.3",
        scatter=0.08,
        frequency_khz=60,
    ),
)
