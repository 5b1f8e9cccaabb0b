"""Material and plans for loads of tests.makers' shop."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from app.loads.planning.planned import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.records import SensorRole
from tests.makers import NOW, Shop

START = NOW + timedelta(days=1)


def make_sensor(shop: Shop, code: str, *, due_in_days: int = 90) -> str:
    """A sensor of type N with a reviewed certificate."""
    today = NOW.date()
    with shop.database.write() as session:
        shop.sensor(
            session,
            code,
            done_on=today - timedelta(days=60),
            due_on=today + timedelta(days=due_in_days),
        )
    return code


def make_material(shop: Shop, *, panel: str = "P-1", coupons: int = 2, sensors: int = 2) -> None:
    """A panel, coupons C-1, C-2, ... of its lot and sensors S-1, S-2, ..."""
    with shop.database.write() as session:
        shop.panel(session, panel)
        for number in range(1, coupons + 1):
            shop.coupon(session, f"C-{number}")
    for number in range(1, sensors + 1):
        make_sensor(shop, f"S-{number}")


def coupon_at(number: int, *, panel: str = "P-1", code: str | None = None) -> PlannedCoupon:
    """Coupon C-number in the middle of the panel's width."""
    return PlannedCoupon(
        coupon=code or f"C-{number}",
        panel=panel,
        station=f"K{number}",
        x=Decimal(f"0.{number}"),
        y=Decimal("0.5"),
    )


def sensor_at(number: int, **changed: Any) -> PlannedSensor:
    """Load sensor S-number on channel TCnumber."""
    given: dict[str, Any] = {
        "sensor": f"S-{number}",
        "channel": f"TC{number}",
        "role": SensorRole.LOAD,
        "station": f"T{number}",
        "panel": "P-1",
        "x": Decimal(f"0.{number}"),
        "y": Decimal("0.3"),
    }
    return PlannedSensor(**(given | changed))


def panel_at(code: str = "P-1", **changed: Any) -> PlannedPanel:
    """A panel in the lower left corner of the surveyed zone."""
    given: dict[str, Any] = {
        "panel": code,
        "former": "FORMER-2",
        "table": "AT-1",
        "x_mm": Decimal(0),
        "y_mm": Decimal(0),
    }
    return PlannedPanel(**(given | changed))


def a_plan(*, start: datetime = START, **changed: Any) -> Plan:
    """Panel P-1 with coupons C-1, C-2 and sensors S-1, S-2 in furnace FN-1, by cycle CY-1."""
    given: dict[str, Any] = {
        "code": "L-1",
        "furnace": "FN-1",
        "cycle": "CY-1",
        "planned_start": start,
        "planned_end": start + timedelta(hours=6),
        "vacuum_gauge": "VG-1",
        "panels": (panel_at(),),
        "coupons": (coupon_at(1), coupon_at(2)),
        "sensors": (sensor_at(1), sensor_at(2)),
    }
    return Plan(**(given | changed))


def plan_fields(**changed: str) -> dict[str, str]:
    """The plan of :func:`a_plan` as the form sends it; an empty text clears a field."""
    fields = {
        "act": "plan",
        "code": "l-1",
        "furnace": "FN-1",
        "cycle": "CY-1",
        "planned_start": "2026-03-03 06:00",
        "length_h": "6",
        "gauge": "VG-1",
        "panel_rows": "1",
        "coupon_rows": "3",
        "sensor_rows": "6",
        "panel_1": "P-1",
        "former_1": "FORMER-2",
        "table_1": "AT-1",
        "panel_x_1": "0",
        "panel_y_1": "0",
    }
    for number in (1, 2):
        fields |= {
            f"coupon_{number}": f"C-{number}",
            f"coupon_panel_{number}": "P-1",
            f"coupon_station_{number}": f"K{number}",
            f"coupon_x_{number}": f"0,{number}",
            f"coupon_y_{number}": "0.5",
            f"sensor_{number}": f"S-{number}",
            f"channel_{number}": f"TC{number}",
            f"role_{number}": "load",
            f"sensor_panel_{number}": "P-1",
            f"sensor_station_{number}": f"T{number}",
            f"sensor_x_{number}": f"0.{number}",
            f"sensor_y_{number}": "0.3",
        }
    return fields | changed
