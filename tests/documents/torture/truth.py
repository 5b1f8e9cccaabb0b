"""A run as it truly was: instants, readings as texts, what is missing. Knows of no file."""

import random
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

import numpy as np

# Instants (UTC) worth standing around, and how far before them a run begins, in seconds.
STARTS = {
    "plain day": (datetime(2026, 3, 17, 22, 15, tzinfo=UTC), 0),
    "days above twelve": (datetime(2026, 7, 25, 6, 0, tzinfo=UTC), 0),
    "days that could be months": (datetime(2026, 4, 3, 5, 30, tzinfo=UTC), 0),
    "leap day": (datetime(2028, 2, 29, 0, 0, tzinfo=UTC), 3600),
    "turn of the year": (datetime(2027, 1, 1, 0, 0, tzinfo=UTC), 3600),
    "month of one figure": (datetime(2026, 9, 9, 9, 9, tzinfo=UTC), 0),
}
# By zone: the instants at which its clocks go forward and back (IANA time zone database).
CHANGES = {
    "Europe/Berlin": (
        datetime(2026, 3, 29, 1, 0, tzinfo=UTC),
        datetime(2026, 10, 25, 1, 0, tzinfo=UTC),
    ),
    "America/New_York": (
        datetime(2026, 3, 8, 7, 0, tzinfo=UTC),
        datetime(2026, 11, 1, 6, 0, tzinfo=UTC),
    ),
    "Australia/Lord_Howe": (
        datetime(2026, 10, 3, 15, 30, tzinfo=UTC),
        datetime(2026, 4, 4, 15, 0, tzinfo=UTC),
    ),
}
NANOSECONDS = 1_000_000_000


@dataclass(frozen=True)
class Truth:
    """Instants in nanoseconds since 1970 (UTC), and each channel's readings as decimal texts.

    None is a missing reading. ``vacuum`` is in kPa below ambient.
    """

    instants: tuple[int, ...]
    channels: dict[str, tuple[str | None, ...]]
    vacuum: tuple[str | None, ...] | None
    start: str

    @property
    def seconds(self) -> np.ndarray:
        """Seconds from the first row."""
        return np.array([(at - self.instants[0]) / NANOSECONDS for at in self.instants])


def make_truth(
    rng: random.Random,
    *,
    start: str,
    zone: str | None,
    interval_ns: int,
    rows: int,
    channels: int,
    with_vacuum: bool,
    largest: Decimal = Decimal(200),
) -> Truth:
    """A run around ``start``: one of STARTS, or ``forward`` or ``back`` in a zone of CHANGES."""
    if start in STARTS:
        moment, before_s = STARTS[start]
    else:
        assert zone is not None
        moment, before_s = CHANGES[zone][start == "back"], rows * interval_ns // NANOSECONDS // 2
    first = int(moment.timestamp()) - before_s
    first -= first % 60
    instants = tuple(first * NANOSECONDS + at * interval_ns for at in range(rows))
    names = [f"TC{number}" for number in range(1, channels + 1)]
    return Truth(
        instants,
        {name: _readings(rng, rows, largest) for name in names},
        tuple(f"{rng.randint(700, 980)}" for _ in range(rows)) if with_vacuum else None,
        start,
    )


def _readings(rng: random.Random, rows: int, largest: Decimal) -> tuple[str | None, ...]:
    """Readings of one resolution, one in eight channels with an odd one, some missing."""
    places = rng.choice([0, 1, 1, 1, 2, 3])
    missing = rng.choice([0.0, 0.0, 0.05, 0.3])
    least = Decimal(-20) if largest < 1000 else Decimal(900)
    found: list[str | None] = []
    for _ in range(rows):
        if rng.random() < missing:
            found.append(None)
        else:
            whole = Decimal(rng.randint(int(least), int(largest)))
            part = Decimal(rng.randint(0, 10**places - 1)).scaleb(-places)
            found.append(f"{whole + part:.{places}f}")
    return tuple(found)
