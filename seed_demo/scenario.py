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
    Person("vtolloway", "Vesna Tolloway", ("engineer",)),
    Person("awrayburn", "Anselm Wrayburn", ("supervisor", "engineer")),
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
class Block:
    """A reference block or conductivity standard; figures as certified, in its tester's unit."""

    code: str
    value: str
    permitted_error: str
    expanded_uncertainty: str
    indents_most: int | None = None
    certified_at_c: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tester:
    """A bench instrument and the blocks it is checked on; figures as certified.

    ``as_found`` and ``as_left`` are pairs of the last calibration, reference value and value read.
    """

    code: str
    name: str
    quantity: Literal["hardness", "conductivity"]
    scale_or_unit: str
    build: Literal["fixed", "portable"]
    measures: tuple[str, str]
    accuracy: str
    calibration_due_in_days: int
    blocks: tuple[Block, ...]
    expanded_uncertainty: str
    as_found: tuple[tuple[str, str], ...]
    as_left: tuple[tuple[str, str], ...] = ()
    scatter: float
    indenter: str | None = None
    force_n: str | None = None
    ball_mm: str | None = None
    asymmetry_percent: str | None = None
    frequency_khz: int | None = None
    probe: str | None = None
    check_every_min: int | None = None


DISPLAY_STEP = "0.1"
"""Every tester of the shop shows tenths."""

TESTERS = (
    Tester(
        code="HB-2",
        name="Bench indentation tester",
        quantity="hardness",
        scale_or_unit="HRB",
        build="fixed",
        measures=("20", "100"),
        accuracy="1.0",
        indenter="carbide ball, 1.5875 mm",
        force_n="980.7",
        calibration_due_in_days=77,
        blocks=(
            Block(
                code="RB-841",
                value="84.1",
                permitted_error="1.0",
                expanded_uncertainty="0.4",
                indents_most=120,
            ),
        ),
        expanded_uncertainty="0.8",
        as_found=(("41.6", "42.5"), ("62.3", "62.9"), ("90.4", "90.6")),
        as_left=(("41.6", "41.9"), ("62.3", "62.5"), ("90.4", "90.4")),
        scatter=0.35,
    ),
    Tester(
        code="EC-5",
        name="Eddy-current conductivity meter",
        quantity="conductivity",
        scale_or_unit="%IACS",
        build="portable",
        measures=("0.9", "65"),
        accuracy="0.5",
        calibration_due_in_days=24,
        blocks=(
            Block(
                code="CB-294",
                value="29.4",
                permitted_error="0.5",
                expanded_uncertainty="0.2",
                certified_at_c="20",
            ),
            Block(
                code="CB-431",
                value="43.1",
                permitted_error="0.5",
                expanded_uncertainty="0.3",
                certified_at_c="20",
            ),
        ),
        expanded_uncertainty="0.3",
        as_found=(("16.3", "16.4"), ("29.4", "29.3"), ("43.1", "43.3"), ("58.7", "58.9")),
        scatter=0.08,
        frequency_khz=60,
        probe="flat probe of 12 mm",
        check_every_min=120,
    ),
)

SECOND_METER = Tester(
    code="EC-6",
    name="Hand-held conductivity meter",
    quantity="conductivity",
    scale_or_unit="%IACS",
    build="portable",
    measures=("1.0", "60"),
    accuracy="0.5",
    calibration_due_in_days=66,
    blocks=TESTERS[1].blocks,
    expanded_uncertainty="0.4",
    as_found=(("16.3", "16.2"), ("29.4", "29.5"), ("43.1", "43.0"), ("58.7", "58.5")),
    scatter=0.1,
    frequency_khz=60,
    probe="flat probe of 14 mm",
    check_every_min=120,
)
"""The meter that steps in for the first; it is checked on the same standards."""

BALL_TESTER = Tester(
    code="HB-7",
    name="Ball tester for round coupons, read under its microscope",
    quantity="hardness",
    scale_or_unit="HBW 2.5/62.5",
    build="fixed",
    measures=("40", "220"),
    accuracy="4.0",
    indenter="carbide ball, 2.5 mm",
    force_n="612.9",
    ball_mm="2.5",
    asymmetry_percent="2",
    calibration_due_in_days=54,
    blocks=(
        Block(
            code="RB-151",
            value="151.0",
            permitted_error="4.5",
            expanded_uncertainty="1.6",
            indents_most=16,
        ),
    ),
    expanded_uncertainty="2.4",
    as_found=(("101.0", "102.1"), ("151.0", "152.6"), ("197.0", "198.9")),
    scatter=0.9,
)
"""Its indentations are keyed by their two diameters; the program gives the number."""

NEW_BLOCK = Block(
    code="RB-842",
    value="62.3",
    permitted_error="1.0",
    expanded_uncertainty="0.4",
    indents_most=120,
)
"""A hardness block that came in yesterday: its certificate waits for a second person."""

THERMOMETER = "TH-4"
"""The surface probe with which coupons and standards are measured at the conductivity bench."""
