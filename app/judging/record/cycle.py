"""What a furnace cycle asks for, in degC, seconds and kPa. Pure: only values."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

SENSOR_RANGE_C = (-50.0, 700.0)
"""Readings outside are missing samples where no range is stated, in degC, ends included.

Source: judging rules, "Furnace records", input.
"""


@dataclass(frozen=True, slots=True)
class Stage:
    """One soak: set temperature, tolerance below and above it (degC), shortest and longest soak.

    Both ends of the band and both soak limits are included.
    """

    set_c: float
    below_c: float
    above_c: float
    soak_min_s: float
    soak_max_s: float | None = None

    @property
    def low_c(self) -> float:
        """Lower end of the band, included."""
        return self.set_c - self.below_c

    @property
    def high_c(self) -> float:
        """Upper end of the band, included: the highest temperature this stage permits."""
        return self.set_c + self.above_c


@dataclass(frozen=True, slots=True)
class ExcursionRule:
    """The excursions a cycle permits; each limit is included.

    ``longest_s`` and ``beyond_c`` hold for each excursion, ``total_s`` for all of the cycle's
    excursions together.
    """

    longest_s: float
    beyond_c: float
    total_s: float


@dataclass(frozen=True, slots=True)
class RateLimit:
    """The fastest rise (or fall) permitted, in degC per minute over a window; limit included."""

    max_c_per_min: float
    window_s: float


@dataclass(frozen=True, slots=True)
class VacuumLimit:
    """The lowest bag vacuum permitted (kPa below ambient, included) and the span it holds in."""

    column: str
    min_kpa: float
    begins: Literal["start", "soak_start"]
    ends: Literal["soak_end", "end"]


@dataclass(frozen=True, slots=True)
class Ageing:
    """Parameters of the equivalent time, and its limits (seconds, included) where there are any."""

    activation_energy_j_per_mol: float
    reference_c: float
    min_s: float | None = None
    max_s: float | None = None


@dataclass(frozen=True, slots=True)
class Cycle:
    """A whole furnace cycle.

    ``sensors`` are the required load sensors. ``corrections`` holds, per sensor, points of
    (temperature read, correction to add), rising in temperature, both in degC. ``sensor_ranges``
    holds the range within which a sensor's reading counts; ``SENSOR_RANGE_C`` where absent.
    """

    name: str
    stages: tuple[Stage, ...]
    sensors: tuple[str, ...]
    max_gap_s: float
    corrections: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    sensor_ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    excursions: ExcursionRule | None = None
    heating_rate: RateLimit | None = None
    cooling_rate: RateLimit | None = None
    vacuum: VacuumLimit | None = None
    ageing: Ageing | None = None
