"""A logger's file of a long run: 24 h, a row each second, 40 thermocouples and the bag's vacuum."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

SECONDS = 86_400
SENSORS = 40
_SOAK_C = 150.0
_RAMP_S = 5_400


def write_long_record(path: Path, *, starts_at: datetime, seed: int) -> None:
    """Write the run: a ramp to 150 degC, a soak with drift and noise, all to 0.1 degC and kPa.

    The same ``seed`` gives the same bytes; another one another file of the same kind.
    """
    chance = np.random.default_rng(seed)
    seconds = np.arange(SECONDS)
    approach = 1 - np.exp(-seconds / (_RAMP_S / 4))
    columns = []
    for _ in range(SENSORS):
        lag = chance.uniform(0.9, 1.1)
        own = chance.normal(0, 0.4) + 0.5 * np.sin(seconds / chance.uniform(2_000, 9_000))
        noise = chance.normal(0, 0.08, SECONDS)
        columns.append(20 + (_SOAK_C - 20) * approach**lag + own * approach + noise)
    vacuum = 88 + 0.4 * np.sin(seconds / 3_000) + chance.normal(0, 0.05, SECONDS)
    texts = _texts([*columns, vacuum])
    names = ",".join(["time", *(f"TC{number}" for number in range(1, SENSORS + 1)), "VAC"])
    with path.open("w", encoding="ascii", newline="\n") as file:
        file.write(names + "\n")
        for second, row in enumerate(zip(*texts, strict=True)):
            at = starts_at + timedelta(seconds=second)
            file.write(f"{at:%Y-%m-%dT%H:%M:%SZ},{','.join(row)}\n")


def _texts(columns: list[np.ndarray]) -> list[list[str]]:
    """Each figure as a display of 0.1 shows it."""
    return [[f"{figure:.1f}" for figure in column.tolist()] for column in columns]
