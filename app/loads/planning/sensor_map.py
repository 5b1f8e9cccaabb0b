"""Each panel of a load as the sensor map draws it: what sits where, with no verdict yet."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from app.loads.queries import Seats


@dataclass(frozen=True, slots=True)
class PanelMap:
    """A panel in plan view: its size in mm, and its coupons and sensors as the plan draws them."""

    length_mm: Decimal
    width_mm: Decimal
    marks: list[dict[str, Any]]


def panel_maps(seats: Seats) -> dict[str, PanelMap]:
    """Every panel of the load by its identity; sensors without a place are left out."""
    return {
        panel.code: PanelMap(panel.length_mm, panel.width_mm, _marks(seats, panel.id))
        for panel in seats.panels
    }


def _marks(seats: Seats, panel_id: int) -> list[dict[str, Any]]:
    coupons = [
        {
            "kind": "coupon",
            "code": coupon.code,
            "label": coupon.station,
            "x": coupon.x,
            "y": coupon.y,
            "verdict": None,
            "href": f"/coupons/{coupon.code}",
        }
        for coupon in seats.coupons
        if coupon.panel_id == panel_id
    ]
    sensors = [
        {
            "kind": "sensor",
            "code": sensor.channel,
            "label": sensor.station + (", excluded" if sensor.excluded is not None else ""),
            "x": sensor.x,
            "y": sensor.y,
            "verdict": None,
            "href": f"/sensors/{sensor.code}",
        }
        for sensor in seats.sensors
        if sensor.panel_id == panel_id and sensor.x is not None and sensor.y is not None
    ]
    return coupons + sensors
