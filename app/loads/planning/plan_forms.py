"""What the plan's page sends: a head, and rows of panels, coupons and sensors.

A coupon's or sensor's panel is named by its row (``#2``), so that another panel may be put into the
row without touching anything else; an identity typed there counts as well.
"""

from collections.abc import Callable, Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Annotated, Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, Field

from app.errors import Refusal
from app.loads.forms import Code, Share
from app.loads.planning.planned import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.records import SensorRole
from app.web.forms import FormModel, Typed, TypedFigure, TypedMoment, parse

ROWS_AT_FIRST = {"panel": 1, "coupon": 3, "sensor": 6}
MOST_ROWS = {"panel": 12, "coupon": 60, "sensor": 60}
_ROWS_MORE = {"panel": 1, "coupon": 4, "sensor": 6}
_LONGEST_H = Decimal(1000)


def _hours(figure: Decimal) -> Decimal:
    if not 0 < figure <= _LONGEST_H:
        raise ValueError(f"{figure} h is no length of a load; give hours, such as 30.5.")
    return figure


class PlanForm(FormModel):
    """The head of a plan."""

    code: Code = Field(title="load")
    furnace: Code
    cycle: Code
    cycle_revision: str | None = Field(None, title="revision of the cycle", max_length=20)
    planned_start: TypedMoment = Field(title="planned start")
    length_h: Annotated[TypedFigure, AfterValidator(_hours)] | None = Field(
        None, title="length of the load"
    )
    gauge: Code | None = Field(None, title="vacuum gauge")


class PanelRow(FormModel):
    """One panel of a plan."""

    panel: Code
    former: str = Field(max_length=80)
    table: Code = Field(title="acceptance table")
    table_revision: str | None = Field(None, title="revision of the table", max_length=20)
    panel_x: TypedFigure | None = Field(None, title="corner along the zone")
    panel_y: TypedFigure | None = Field(None, title="corner across the zone")
    turned: str = ""


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


MODELS: dict[str, type[FormModel]] = {"panel": PanelRow, "coupon": CouponRow, "sensor": SensorRow}
_BESIDE = frozenset({"role", "table", "turned", "coupon_panel", "sensor_panel"})
"""What a row has besides what is typed: chosen, or carried over from another load."""


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


def emptied(typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed, without the row that the button ``empty coupon 3`` is for."""
    kept = dict(typed)
    kind, _, number = kept.get("act", "").removeprefix("empty ").partition(" ")
    if kind in MODELS:
        for name in MODELS[kind].model_fields:
            kept.pop(f"{name}_{number}", None)
    return kept


def panel_at(typed: Mapping[str, str], said: str) -> str:
    """The panel that a coupon's or sensor's row means: the one in row ``#2``, else as typed."""
    text = said.strip()
    return typed.get(f"panel_{text[1:]}", "").strip() if text.startswith("#") else text


def plan_of(typed: Typed | Mapping[str, str], *, zone: ZoneInfo) -> Plan:
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
    end = None
    if head.length_h is not None:
        end = head.planned_start + timedelta(hours=float(head.length_h))
    return Plan(
        code=head.code,
        furnace=head.furnace,
        cycle=head.cycle,
        planned_start=head.planned_start,
        planned_end=end,
        vacuum_gauge=head.gauge,
        panels=tuple(_panel(row) for row in panels),
        coupons=tuple(_coupon(row) for row in coupons),
        sensors=tuple(_sensor(row) for row in sensors),
        cycle_revision=head.cycle_revision,
    )


def _panel(row: PanelRow) -> PlannedPanel:
    return PlannedPanel(
        panel=row.panel,
        former=row.former,
        table=row.table,
        x_mm=row.panel_x,
        y_mm=row.panel_y,
        turned=bool(row.turned),
        table_revision=row.table_revision,
    )


def _coupon(row: CouponRow) -> PlannedCoupon:
    return PlannedCoupon(
        coupon=row.coupon,
        panel=row.coupon_panel,
        station=row.coupon_station,
        x=row.coupon_x,
        y=row.coupon_y,
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
            # What was typed without its identity would be lost; what was only chosen would not.
            stray = [name for name, text in given.items() if text.strip() and name not in _BESIDE]
            if stray:
                problems[f"{kind}_{number}"] = (
                    f"Row {number} of the {kind}s has no {kind}; scan it or empty the row."
                )
            continue
        on = f"{kind}_panel"
        if on in given:
            given[on] = panel_at(typed, given[on])

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
