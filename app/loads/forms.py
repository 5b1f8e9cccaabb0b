"""What the load pages send."""

from collections.abc import Callable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, Literal, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, Field

from app.audit.identities import as_code
from app.errors import Refusal
from app.loads.plan_check import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.record_wanted import Columns
from app.loads.records import SensorRole
from app.loads.rules import LeakReading
from app.loads.service import Unwrapped
from app.web.forms import FormModel, Typed, TypedFigure, TypedMoment, parse

ROWS_AT_FIRST = {"panel": 1, "coupon": 3, "sensor": 6}
MOST_ROWS = {"panel": 12, "coupon": 60, "sensor": 60}
_ROWS_MORE = {"panel": 1, "coupon": 4, "sensor": 6}


def _code(typed: str) -> str:
    try:
        return as_code(typed)
    except Refusal as refusal:
        raise ValueError(refusal.sentence) from None


def _share(figure: Decimal) -> Decimal:
    if not 0 <= figure <= 1:
        raise ValueError(
            f"{figure} is not on the panel; give a share of its length or width, 0 to 1."
        )
    return figure


Code = Annotated[str, AfterValidator(_code)]
Share = Annotated[TypedFigure, AfterValidator(_share)]


class PlanForm(FormModel):
    """The head of a plan."""

    code: Code = Field(title="load")
    furnace: Code
    cycle: Code
    planned_start: TypedMoment = Field(title="planned start")


class PanelRow(FormModel):
    """One panel of a plan."""

    panel: Code
    former: str = Field(max_length=80)
    table: Code = Field(title="acceptance table")


class CouponRow(FormModel):
    """One coupon of a plan."""

    coupon: Code
    coupon_panel: Code = Field(title="panel")
    coupon_station: str = Field(title="station", max_length=40)
    coupon_x: Share = Field(title="along the length")
    coupon_y: Share = Field(title="across the width")


class SensorRow(FormModel):
    """One sensor of a plan."""

    sensor: Code
    channel: str = Field(max_length=40)
    role: SensorRole = SensorRole.LOAD
    sensor_station: str = Field(title="station", max_length=40)
    sensor_panel: Code | None = Field(None, title="panel")
    sensor_x: Share | None = Field(None, title="along the length")
    sensor_y: Share | None = Field(None, title="across the width")


class LeakForm(FormModel):
    """A bag's leak check."""

    panel: Code
    start_kpa: TypedFigure = Field(title="level at the start")
    end_kpa: TypedFigure = Field(title="level at the end")
    minutes: TypedFigure = Field(title="time between")
    taken_at: TypedMoment | None = Field(None, title="time of the check")

    def reading(self) -> LeakReading:
        """As it is judged."""
        return LeakReading(self.start_kpa, self.end_kpa, self.minutes)


class UnwrappingForm(FormModel):
    """What was found on unwrapping; the coupons' fields are read beside it."""

    panel: Code
    bag: Literal["intact", "burst"]
    surface: Literal["clear", "found", "not yet"]
    findings: str = Field("", max_length=4000)
    taken_at: TypedMoment | None = Field(None, title="time of unwrapping")

    def unwrapped(self, typed: Mapping[str, str]) -> Unwrapped:
        """With each coupon's fate: fields ``coupon:CODE`` hold "recovered" or "missing"."""
        fates = {
            name.removeprefix("coupon:"): fate
            for name, fate in typed.items()
            if name.startswith("coupon:")
        }
        return Unwrapped(
            bag_intact=self.bag == "intact",
            surface_clear={"clear": True, "found": False, "not yet": None}[self.surface],
            findings=self.findings,
            recovered=frozenset(code for code, fate in fates.items() if fate == "recovered"),
            missing=frozenset(code for code, fate in fates.items() if fate == "missing"),
        )


class ExclusionForm(FormModel):
    """A failed sensor to be excluded."""

    channel: str
    reason: str = Field("", max_length=4000)
    password: str = Field(max_length=1000)


class KeepForm(FormModel):
    """How an uploaded file is to be read; the columns' fields are read beside it."""

    upload: str = Field(max_length=100)
    time_column: str = Field(title="time column")
    time_kind: Literal["iso", "elapsed_s"] = Field(title="form of the time")
    temperature_unit: Literal["C", "F"] = Field(title="unit of temperature")
    reason: str = Field("", max_length=2000)

    def columns(self, typed: Mapping[str, str]) -> Columns:
        """With each channel's column: fields ``column:CHANNEL`` name it."""
        return Columns(
            time_column=self.time_column,
            time_kind=self.time_kind,
            temperature_unit=self.temperature_unit,
            columns={
                name.removeprefix("column:"): column
                for name, column in typed.items()
                if name.startswith("column:") and column
            },
        )


def rows_of(typed: Mapping[str, str]) -> dict[str, int]:
    """How many rows of each kind the plan's form shows; the buttons for more add some."""
    rows = {}
    for kind, at_first in ROWS_AT_FIRST.items():
        said = typed.get(f"{kind}_rows", "")
        count = int(said) if said.isascii() and said.isdigit() else at_first
        if typed.get("act") == f"more {kind}s":
            count += _ROWS_MORE[kind]
        rows[kind] = min(count, MOST_ROWS[kind])
    return rows


def plan_of(typed: Typed, *, zone: ZoneInfo) -> Plan:
    """The plan as typed. A row whose identity is empty is left out.

    Raises:
        Refusal: with one sentence per field that cannot be read, rows numbered from 1.
    """
    problems: dict[str, str] = {}
    head = _tried(lambda: parse(PlanForm, typed, zone=zone), problems, "")
    rows = rows_of(typed)
    panels = _rows(PanelRow, "panel", rows["panel"], typed, problems)
    coupons = _rows(CouponRow, "coupon", rows["coupon"], typed, problems)
    sensors = _rows(SensorRow, "sensor", rows["sensor"], typed, problems)
    if problems or head is None:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return Plan(
        code=head.code,
        furnace=head.furnace,
        cycle=head.cycle,
        planned_start=head.planned_start,
        panels=tuple(
            PlannedPanel(panel=row.panel, former=row.former, table=row.table) for row in panels
        ),
        coupons=tuple(
            PlannedCoupon(
                coupon=row.coupon,
                panel=row.coupon_panel,
                station=row.coupon_station,
                x=row.coupon_x,
                y=row.coupon_y,
            )
            for row in coupons
        ),
        sensors=tuple(_sensor(row) for row in sensors),
    )


def _sensor(row: SensorRow) -> PlannedSensor:
    return PlannedSensor(
        sensor=row.sensor,
        channel=row.channel,
        role=row.role,
        station=row.sensor_station,
        panel=row.sensor_panel,
        x=row.sensor_x,
        y=row.sensor_y,
    )


M = TypeVar("M", bound=BaseModel)
T = TypeVar("T")


def _rows(
    model: type[M], kind: str, count: int, typed: Mapping[str, str], problems: dict[str, str]
) -> list[M]:
    """The filled rows; fields are numbered ``name_1``, ``name_2``, ..."""
    found = []
    for number in range(1, count + 1):
        given: dict[str, Any] = {
            name: typed.get(f"{name}_{number}", "") for name in model.model_fields
        }
        if not given[kind].strip():
            # A role is always chosen; anything else typed without its identity would be lost.
            stray = [name for name, text in given.items() if text.strip() and name != "role"]
            stray = [name for name in stray if not name.endswith("panel") and name != "table"]
            if stray:
                problems[f"{kind}_{number}"] = (
                    f"Row {number} of the {kind}s has no {kind}; scan it or empty the row."
                )
            continue

        def read(given: dict[str, Any] = given) -> M:
            return parse(model, given)

        row = _tried(read, problems, f"_{number}", where=f"{kind.capitalize()} row {number}: ")
        if row is not None:
            found.append(row)
    return found


def _tried(
    read: Callable[[], T], problems: dict[str, str], suffix: str, *, where: str = ""
) -> T | None:
    """What ``read`` gives; None where it refuses, its sentences added under the numbered names."""
    try:
        return read()
    except Refusal as refusal:
        for name, sentence in refusal.fields.items():
            problems[f"{name}{suffix}"] = f"{where}{sentence}"
        return None


def or_now(taken_at: datetime | None, now: datetime) -> datetime:
    """When it was done, where stated; else now."""
    return now if taken_at is None else taken_at
