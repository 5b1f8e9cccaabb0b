"""Writing a simulated furnace record as the logger's CSV file."""

from datetime import timedelta
from pathlib import Path
from typing import Literal

import numpy as np

from seed_demo.furnace_course import Series
from seed_demo.furnace_physics import FurnaceRun

VACUUM_COLUMN = "VAC"


def write_csv(
    furnace_run: FurnaceRun,
    path: Path,
    *,
    time_style: Literal["iso", "elapsed"] = "iso",
    unit: Literal["C", "F"] = "C",
    resolution: float = 0.1,
    missing: str = "OPEN",
) -> None:
    """Write the record to ``path``: a header, then one row a sample; the bytes are reproducible.

    Columns: ``time`` (ISO 8601, whole seconds) or ``time_s``, the sensors in degC or degF to
    ``resolution`` of that unit, and the vacuum in kPa below ambient to 0.1. A missing reading is
    ``missing``. Lines end in LF.
    """
    columns = [_times(furnace_run, time_style)]
    for values in furnace_run.channels.values():
        shown = values if unit == "C" else values * 1.8 + 32
        columns.append(_figures(shown, resolution, missing))
    columns.append(_figures(furnace_run.vacuum, 0.1, missing))
    time_name = "time" if time_style == "iso" else "time_s"
    header = ",".join([time_name, *furnace_run.channels, VACUUM_COLUMN])
    rows = [header, *map(",".join, zip(*columns, strict=True))]
    path.write_bytes(("\n".join(rows) + "\n").encode())


def _times(furnace_run: FurnaceRun, time_style: str) -> list[str]:
    if time_style == "elapsed":
        return [f"{seconds:.0f}" for seconds in furnace_run.times_s.tolist()]
    start = furnace_run.start.replace(microsecond=0)
    return [
        (start + timedelta(seconds=seconds)).isoformat() for seconds in furnace_run.times_s.tolist()
    ]


def _figures(values: Series, resolution: float, missing: str) -> list[str]:
    """The values as a display of ``resolution`` shows them; NaN as ``missing``."""
    places = max(0, int(np.ceil(-np.log10(resolution) - 1e-9)))
    steps = np.round(values / resolution) * resolution + 0.0  # + 0.0: no minus zero
    texts = [f"%.{places}f" % value for value in steps.tolist()]
    for row in np.flatnonzero(np.isnan(values)).tolist():
        texts[row] = missing
    return texts
