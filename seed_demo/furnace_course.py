"""The true temperatures of a load: program, control, air, and two nodes for each station.

Each station of a panel is a *skin* node that the furnace air washes, coupled to the heavy *former*
node it is clamped to. The nodes are linear, so each step uses the exact solution for air that is
constant over the step. All constants are invented, chosen so that a large tool takes some six hours
to come to temperature. Times are in seconds and temperatures in degC throughout.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from seed_demo.furnace_faults import DoorOpened, Fault, SlowStation

STEP_S = 20.0
LONGEST_RUN_S = 60 * 3600.0

Series = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A ramp to ``target_c`` at ``rate_c_per_min``, then a hold of ``hold_s``.

    With ``within_c`` the hold is counted only once every station that the program trusts reads
    within so many degrees of the target; without it, once the set-point has arrived.
    """

    target_c: float
    rate_c_per_min: float
    hold_s: float
    within_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Where a load sensor sits: ``along`` the furnace, door 0 to back end 1, and on which edge."""

    sensor: str
    along: float
    edge: Literal["leading", "middle", "trailing"]


@dataclass(frozen=True, slots=True)
class Course:
    """True histories at ``times_s``: bulk ``air_c`` (n), ``local_air_c`` and ``skin_c`` (n, k)."""

    times_s: Series
    air_c: Series
    local_air_c: Series
    skin_c: Series


class _Program:
    """The set-point clock: ramps, and holds that may wait for the load."""

    def __init__(self, segments: tuple[Segment, ...], start_c: float) -> None:
        self.segments = segments
        self.index = 0
        self.held_s = 0.0
        self.counting = False
        self.setpoint_c = start_c

    @property
    def finished(self) -> bool:
        return self.index >= len(self.segments)

    def advance(self, readings_c: Series) -> float:
        """The set-point after one more step, the trusted stations reading ``readings_c``."""
        segment = self.segments[self.index]
        step_c = segment.rate_c_per_min * STEP_S / 60
        away_c = segment.target_c - self.setpoint_c
        self.setpoint_c += max(-step_c, min(step_c, away_c))
        if self.setpoint_c == segment.target_c and not self.counting:
            self.counting = (
                segment.within_c is None
                or float(np.abs(readings_c - segment.target_c).max()) <= segment.within_c
            )
        if self.counting:
            self.held_s += STEP_S
            if self.held_s >= segment.hold_s:
                self.index, self.held_s, self.counting = self.index + 1, 0.0, False
        return self.setpoint_c


class _Air:
    """Furnace air under proportional-integral control with a sticking actuator.

    The stiction is what makes a real loop hunt slowly about its set-point.
    """

    RISE_C_PER_S = 0.1  # full heat, no load
    LOSS_PER_S = 1 / 10800
    LOAD_PER_S = 1 / 900
    GAIN_PER_C = 0.08
    RESET_S = 600.0
    STICTION = 0.02
    SENSOR_LAG_S = 45.0
    DOOR_PER_S = 1 / 500

    def __init__(self, start_c: float) -> None:
        self.ambient_c = start_c
        self.air_c = start_c
        self.sensed_c = start_c
        self.output = 0.0
        self.integral = 0.0

    def advance(self, setpoint_c: float, load_c: float, *, door_open: bool, gust: float) -> float:
        """The air temperature after one step; ``gust`` is a small change of the heat loss."""
        self.sensed_c += (self.air_c - self.sensed_c) * (1 - math.exp(-STEP_S / self.SENSOR_LAG_S))
        error_c = setpoint_c - self.sensed_c
        demand = self.GAIN_PER_C * error_c + self.integral
        if -0.6 < demand < 1.0:  # the integral waits while the actuator is at its stop
            self.integral += self.GAIN_PER_C * error_c * STEP_S / self.RESET_S
        demand = max(-0.6, min(1.0, demand))
        if abs(demand - self.output) > self.STICTION:
            self.output = demand
        loss = self.LOSS_PER_S * (1 + gust) + (self.DOOR_PER_S if door_open else 0.0)
        rate = loss + self.LOAD_PER_S
        source = self.RISE_C_PER_S * self.output + loss * self.ambient_c + self.LOAD_PER_S * load_c
        rest_c = source / rate
        self.air_c = rest_c + (self.air_c - rest_c) * math.exp(-rate * STEP_S)
        return self.air_c


class _Load:
    """Skin and former nodes of every station, advanced together."""

    def __init__(
        self, stations: tuple[Station, ...], slow: dict[str, float], start_c: float
    ) -> None:
        steps = np.array([_step_of(s, slow.get(s.sensor, 1.0)) for s in stations])
        (self.ss, self.sf, self.sa), (self.fs, self.ff, self.fa) = steps.transpose(1, 2, 0)
        self.skin_c = np.full(len(stations), start_c)
        self.former_c = np.full(len(stations), start_c)

    def advance(self, local_air_c: Series) -> Series:
        """The skin temperatures after one step in air of ``local_air_c`` at each station."""
        skin: Series = self.ss * self.skin_c + self.sf * self.former_c + self.sa * local_air_c
        former = self.fs * self.skin_c + self.ff * self.former_c + self.fa * local_air_c
        self.skin_c, self.former_c = skin, former
        return skin


def _step_of(station: Station, slowness: float) -> list[list[float]]:
    """One step of a station's two nodes: rows skin and former, columns skin, former and air.

    Conductances per heat capacity, one over minutes. The door end gets less air than the back end
    (where the fan is); the leading edge lies on the thickest part of the former.
    """
    wash = 0.86 + 0.24 * station.along
    mass = {"leading": 1.12, "middle": 1.0, "trailing": 0.9}[station.edge]
    air_skin = wash / (16.0 * mass) / slowness / 60
    air_former = wash / (110.0 * mass) / slowness / 60
    skin_former, former_skin = 1 / (16.0 * 60), 1 / (80.0 * mass * 60)
    a, d = -(air_skin + skin_former), -(air_former + former_skin)
    b, c = skin_former, former_skin
    # Exponential of [[a, b], [c, d]] dt: both eigenvalues are real and negative.
    middle, spread = (a + d) / 2, math.sqrt(((a - d) / 2) ** 2 + b * c)
    even = math.exp(middle * STEP_S) * math.cosh(spread * STEP_S)
    odd = math.exp(middle * STEP_S) * math.sinh(spread * STEP_S) / spread
    skin = [even + odd * (a - middle), odd * b]
    former = [odd * c, even + odd * (d - middle)]
    # Whatever the nodes do not keep of their own heat comes from the air: equal stays equal.
    return [[*skin, 1 - sum(skin)], [*former, 1 - sum(former)]]


def _local_offsets(stations: tuple[Station, ...], rng: np.random.Generator) -> Series:
    """Uniformity: how far each station's air is off the bulk at full temperature, in degC."""
    pattern = np.array([0.5 * (s.along - 0.5) for s in stations])
    scatter: Series = rng.uniform(-0.35, 0.35, len(stations))
    return pattern + scatter


def wander(rng: np.random.Generator, times_s: Series, lag_s: float) -> Series:
    """A slow wander about zero: independent deviations of about one every ``lag_s``, joined."""
    knots = np.arange(0.0, times_s[-1] + 2 * lag_s, lag_s)
    deviations: Series = rng.standard_normal(len(knots)).clip(-2.5, 2.5)
    return np.interp(times_s, knots, deviations)


def course_of(
    segments: tuple[Segment, ...],
    stations: tuple[Station, ...],
    faults: tuple[Fault, ...],
    *,
    start_c: float,
    errors_c: Series,
    rng: np.random.Generator,
) -> Course:
    """The true histories from switching on to the end of the program, every ``STEP_S`` seconds.

    Raises:
        ValueError: the load never reaches a temperature that the program waits for.
    """
    slow = {f.sensor: f.factor for f in faults if isinstance(f, SlowStation)}
    doors = [f for f in faults if isinstance(f, DoorOpened)]
    trusted = np.array([s.sensor not in slow for s in stations])
    along = np.array([s.along for s in stations])
    most = int(LONGEST_RUN_S / STEP_S)
    offsets = _local_offsets(stations, rng)
    gusts = 0.08 * wander(rng, np.arange(0.0, LONGEST_RUN_S, STEP_S), 1500.0)
    program, air, load = _Program(segments, start_c), _Air(start_c), _Load(stations, slow, start_c)
    air_c, local_c, skin_c = [start_c], [np.full(len(stations), start_c)], [load.skin_c]
    while not program.finished:
        k = len(air_c)
        if k >= most:
            raise ValueError(
                f"The load never came within {segments[program.index].within_c} degC of "
                f"{segments[program.index].target_c} degC; widen within_c or drop a fault."
            )
        now_s = k * STEP_S
        door_open = any(f.at_s <= now_s < f.at_s + f.lasts_s for f in doors)
        setpoint_c = program.advance((load.skin_c + errors_c)[trusted])
        bulk_c = air.advance(
            setpoint_c, float(load.skin_c.mean()), door_open=door_open, gust=gusts[k]
        )
        local = bulk_c + offsets * ((bulk_c - start_c) / 130.0)
        if door_open:
            local -= 0.3 * (1 - along) * (bulk_c - start_c)
        air_c.append(bulk_c)
        local_c.append(local)
        skin_c.append(load.advance(local))
    times_s: Series = np.arange(len(air_c), dtype=np.float64) * STEP_S
    return Course(times_s, np.array(air_c), np.array(local_c), np.array(skin_c))
