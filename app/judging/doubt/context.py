"""What earlier loads of the same furnace say, as plain figures, for doubts that need it. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Usual:
    """A figure over earlier loads: its mean, standard deviation, and how many loads that is."""

    mean: float
    spread: float
    loads: int


@dataclass(frozen=True, slots=True)
class SeenBefore:
    """Marks of one channel found again in an earlier load's channel.

    ``shared`` of the channel's ``marks`` marks are also marks of ``earlier_channel`` in the record
    named by ``load`` (its code).
    """

    channel: str
    marks: int
    load: str
    earlier_channel: str
    shared: int


@dataclass(frozen=True, slots=True)
class DoubtContext:
    """What is known of earlier loads; what is not known raises no doubt.

    ``usual_lag_s`` holds, by this record's channel, the lag its station usually has (as from
    ``response_lags``), ``usual_noise_c`` the noise its sensor and logger usually show (as from
    ``channel_noise``). ``seen`` holds the earlier traces whose marks this record shares; the same
    load's own earlier imports do not belong there.
    """

    seen: tuple[SeenBefore, ...] = ()
    usual_lag_s: Mapping[str, Usual] = field(default_factory=dict)
    usual_noise_c: Mapping[str, Usual] = field(default_factory=dict)


LEAST_LOADS = 3
"""Earlier loads from which on a usual figure is believed."""

SOURCE = "judging rules, doubt"
