"""The invented requirements of the scenarios, and the exports of their furnace runs."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

SAID = {"source": "invented sheet 9, row 4", "obtained": "invented"}

STATIONS = {
    "NE": ("0.80", "0.80"),
    "NW": ("0.20", "0.80"),
    "SE": ("0.80", "0.20"),
    "SW": ("0.20", "0.20"),
    "S1": ("0.30", "0.30"),
    "S2": ("0.70", "0.70"),
}
"""Where the coupons ride: along the length, across the width. West is the left end."""
FOUR = ("NE", "NW", "SE", "SW")
SENSORS = tuple(f"TC{number}" for number in range(1, 9))
"""The channels of the eight load sensors; 1 to 4 at the left end, 7 in its lower corner."""


def table(
    *, least_iacs: str = "37.0", surface: str | None = "bare", **entry: Any
) -> dict[str, Any]:
    """Three readings each >= 83.0 HRB, their mean >= 84.0; each of three 37.0 to 41.0 %IACS."""
    hardness = {"quantity": "hardness", "scale": "HRB", "max": None, "readings_min": 3}
    hardness |= {"range_max": None, "rounding": "rounding"}
    return {
        "name": "Invented coupon limits, sheet 9",
        "revision": "A",
        "entries": [
            {
                "alloy": "Q-77",
                "temper": "K1",
                "form": "plate",
                "thickness_mm": {
                    "from": "6.0",
                    "to": "40.0",
                    "from_included": True,
                    "to_included": True,
                },
                "surface": surface,
                "decision": "simple",
                **SAID,
                "criteria": [
                    hardness | {"min": "83.0", "statistic": "each"},
                    hardness | {"min": "84.0", "statistic": "mean"},
                    {
                        "quantity": "conductivity",
                        "unit": "%IACS",
                        "min": least_iacs,
                        "max": "41.0",
                        "statistic": "each",
                        "readings_min": 3,
                        "rounding": "rounding",
                    },
                ],
                **entry,
            }
        ],
    }


CYCLE: dict[str, Any] = {
    "name": "Invented ageing card 150, revision 3",
    "temperature_unit": "C",
    "stages": [
        {"set": "150", "below": "3", "above": "3", "soak_min_s": 86400, "soak_max_s": 88200}
    ],
    "max_gap_s": 120,
    "excursions": None,
    "heating_rate": None,
    "cooling_rate": None,
    "vacuum": {"column": "VAC", "min_kpa": "70", "from": "start", "to": "soak_end"},
    "ageing": None,
}
CYCLE_RULES = {
    "sensors_per_panel": "8",
    "coupons_per_panel": "4",
    "leak_limit_kpa": "2.0",
    "leak_minutes": "5",
}


def mapping(**columns: str) -> dict[str, Any]:
    """How the invented hall logger's export is read; ``columns`` name others than usual."""
    named = {channel: f"Load {channel[2:]}" for channel in SENSORS} | columns
    return {
        "name": "Invented hall logger",
        "kind": "csv",
        "encoding": "utf-8",
        "delimiter": "comma",
        "decimal_mark": "point",
        "header": "by names",
        "unit_row": False,
        "time": {"columns": ["Time"], "kind": "iso", "zone": "in the file"},
        "temperature_unit": "C",
        "channels": [
            {"channel": channel, "column": column} for channel, column in sorted(named.items())
        ],
        "vacuum": {"channel": "VAC", "column": "Bag", "unit": "mbar", "sense": "below ambient"},
        "ignored": "everything else",
    }


def export(
    soak_min: int,
    *,
    start: datetime,
    late_min: Mapping[str, int] | None = None,
    bag_mbar: Mapping[int, str] | None = None,
) -> bytes:
    """A run at a row a minute: an hour up, ``soak_min`` with every load sensor in the band, down.

    The first row in the band reads 147.8 and the one before it 146.2, so that 147.0 lies halfway
    between them; likewise at the end. In between it comes to 152.1. ``late_min`` has a load
    sensor come that much later; ``bag_mbar`` gives the bag's level from that minute of soak on.
    """
    usual = _course(soak_min)
    columns: dict[str, Sequence[str]] = {
        f"Load {channel[2:]}": _course(soak_min, (late_min or {}).get(channel, 0))
        if channel in (late_min or {})
        else usual
        for channel in SENSORS
    }
    columns["Control"] = usual
    levels = ["812"] * len(usual)
    for minute, level in sorted((bag_mbar or {}).items()):
        levels[60 + minute :] = [level] * (len(usual) - 60 - minute)
    columns["Bag"] = levels
    rows = [",".join(["Time", *columns])]
    for number, cells in enumerate(zip(*columns.values(), strict=True)):
        at = start.astimezone(UTC) + timedelta(minutes=number)
        rows.append(",".join([at.strftime("%Y-%m-%dT%H:%M:%SZ"), *cells]))
    return ("\n".join(rows) + "\n").encode()


def _course(soak_min: int, late_min: int = 0) -> list[str]:
    up = [f"{20 + 126.2 * row / 59:.1f}" for row in range(60)]
    waits = ["146.2"] * late_min
    inside = soak_min - late_min
    soak = [
        "147.8",
        *["150.0"] * (inside // 2 - 1),
        "152.1",
        *["150.0"] * (inside - inside // 2 - 2),
    ]
    return [*up, *waits, *soak, "147.8", *[f"{146.2 - 2 * row:.1f}" for row in range(60)]]
