"""What can go wrong in a simulated furnace run, each fault with its stated truth.

All times are seconds from the first sample of the record; lengths are seconds.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class HotDraught:
    """One junction sits in a jet of hot air and leaves its band, then comes back.

    The sensor is above ``limit_c`` from ``at_s`` to ``at_s + lasts_s`` (to within the noise and
    one sample interval) and ``beyond_c`` above it in between.
    """

    sensor: str
    at_s: float
    lasts_s: float = 240.0
    limit_c: float = 153.0
    beyond_c: float = 1.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout:
    """A sensor reads open circuit from ``at_s`` (included) on; ``lasts_s`` None: to the end."""

    sensor: str
    at_s: float
    lasts_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowStation:
    """One station heats late because its former lies against the skin more tightly than known.

    ``factor`` divides the heat the air gives to that station. The furnace program does not wait
    for it: the soak clock was started on the other sensors.
    """

    sensor: str
    factor: float = 2.2


@dataclass(frozen=True, slots=True, kw_only=True)
class BagBurst:
    """The bag opens at ``at_s``; vacuum decays to ``left_kpa`` with time constant ``fall_s``."""

    at_s: float
    left_kpa: float = 3.0
    fall_s: float = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorOpened:
    """The door stands open for ``lasts_s``: shop air mixes in, most of it at the door end."""

    at_s: float
    lasts_s: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerStop:
    """The logger writes no rows from ``at_s`` (included) to ``at_s + lasts_s`` (not included)."""

    at_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyEnd:
    """The last row is at or before ``at_s``; also serves for a run that is still going."""

    at_s: float


Fault = HotDraught | Dropout | SlowStation | BagBurst | DoorOpened | LoggerStop | EarlyEnd
