"""Logger files for loads of tests.makers: cycle CY-1 asks 150 degC, 3 either side, for 2 h."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from app.loads.importing.record_wanted import Chosen, plain_layout
from app.loads.importing.sources import Source

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
STEP_S = 60
RAMP_S, SOAK_S, COOL_S = 3600, 9000, 3600


def level(at_s: float, *, hold: float = 150.0) -> float:
    """Temperature of a plain run: 20 to ``hold`` in an hour, held for 2.5 h, an hour down."""
    if at_s <= RAMP_S:
        return 20 + (hold - 20) * at_s / RAMP_S
    if at_s <= RAMP_S + SOAK_S:
        return hold
    return hold - (hold - 20) * (at_s - RAMP_S - SOAK_S) / COOL_S


def csv_of(
    columns: Mapping[str, Sequence[str]], *, start: datetime = START, step_s: int = STEP_S
) -> bytes:
    """A file with an ISO time column and the given columns."""
    rows = [",".join(["time", *columns])]
    for number, cells in enumerate(zip(*columns.values(), strict=True)):
        at = (start + timedelta(seconds=number * step_s)).isoformat()
        rows.append(",".join([at, *cells]))
    return ("\n".join(rows) + "\n").encode()


def run(
    *,
    sensors: Sequence[str] = ("TC1", "TC2"),
    changed: Mapping[str, Mapping[int, str]] | None = None,
    offset: float = 0.0,
    start: datetime = START,
) -> bytes:
    """A whole run; ``changed`` replaces single cells: column, then row number from 0."""
    count = (RAMP_S + SOAK_S + COOL_S) // STEP_S + 1
    columns = {
        name: [f"{level(row * STEP_S) + offset:.1f}" for row in range(count)] for name in sensors
    }
    columns["VAC"] = ["88.0"] * count
    for name, cells in (changed or {}).items():
        for row, cell in cells.items():
            columns[name][row] = cell
    return csv_of(columns, start=start)


def columns(*names: str, unit: str = "C", **more: str) -> Chosen:
    """The layout of :func:`run`'s files."""
    by_name = {name: name for name in (names or ("TC1", "TC2", "VAC"))}
    return plain_layout(by_name | more, vacuum="VAC", temperature_unit="F" if unit == "F" else "C")


def sources(content: bytes, name: str = "run.csv") -> list[Source]:
    """A file as it is brought in."""
    return [Source(name, content)]
