"""What a lot, a panel and a furnace load of the demonstration are, and the readings they give.

Times are stated against the moment the demonstration is filled, so that it never grows stale.
"""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Literal

import numpy as np

from seed_demo.ageing import bench_readings, witness_properties
from seed_demo.furnace_course import Station
from seed_demo.furnace_faults import EarlyEnd, Fault
from seed_demo.furnace_physics import FurnaceRun, Run
from seed_demo.scenario import (
    ALLOYS,
    FURNACES,
    PANEL_LENGTH_MM,
    PANEL_WIDTH_MM,
    TESTERS,
    Alloy,
)
from seed_demo.scenario_papers import CYCLES, DemoCycle

HOUR_S = 3600.0

ShownVerdict = Literal["conforms", "does_not_conform", "not_proven"]


class PanelEnd(StrEnum):
    """Where a panel stands when the demonstration has been filled."""

    RELEASED = "released"
    HELD = "held"
    USE_AS_IS = "hold lifted: use as is"
    IN_REWORK = "hold lifted: rework, in the furnace again"
    REWORKED = "hold lifted: rework; aged again and released"
    SCRAPPED = "hold lifted: scrap"
    RECALLED = "released, and recalled since"
    DIVIDED = "released, and divided since"
    AWAITING_BENCH = "waits for the bench"
    AWAITING_YIELD = "waits for a yield strength"
    AWAITING_RECORD = "waits for its furnace record"
    AWAITING_DECISION = "waits for a decision"
    IN_FURNACE = "in the furnace"
    PLANNED = "planned"
    WAITING = "waits for a load"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """A material lot as it arrived."""

    number: str
    alloy: str
    form: str
    thickness_mm: str
    cast: str
    certificate: str
    received_days_before: int


ROUND_LOT = "ML-0731"
"""The lot of the round coupons that ride beside a panel's own."""

LOTS = (
    Lot(
        number="ML-0712",
        alloy="M-31",
        form="plate",
        thickness_mm="12.0",
        cast="K4471",
        certificate="TC-20881",
        received_days_before=64,
    ),
    Lot(
        number="ML-0719",
        alloy="M-31",
        form="plate",
        thickness_mm="12.0",
        cast="K4502",
        certificate="TC-20940",
        received_days_before=40,
    ),
    Lot(
        number="ML-0725",
        alloy="R-58",
        form="plate",
        thickness_mm="9.5",
        cast="V1138",
        certificate="TC-20953",
        received_days_before=37,
    ),
    Lot(
        number=ROUND_LOT,
        alloy="M-31",
        form="round bar",
        thickness_mm="16.0",
        cast="K4471",
        certificate="TC-20967",
        received_days_before=35,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coupon:
    """A witness coupon: which seat of its panel it lay beside, and how it strays from the model.

    The shifts are the demonstration's truth (a slow quench, a solute-rich end of the plate), added
    to what the simulated temperatures give. ``yield_mpa`` is set where a tensile test was made.
    ``verdict`` is what the coupon ends with; None where it was not measured. A third coupon, C,
    lies at the back end too. ``missing``: it was not found when its panel was unwrapped.
    ``diameters_mm`` of its indentations, two each, are set for a round coupon, which is of its own
    lot and read by no other tester.
    """

    letter: Literal["A", "B", "C", "R"]
    measured: bool = True
    missing: bool = False
    verdict: ShownVerdict | None = "conforms"
    treatment: int = 1
    hardness_shift: float = 0.0
    conductivity_shift: float = 0.0
    yield_mpa: str | None = None
    diameters_mm: tuple[tuple[str, str], ...] = ()

    @property
    def is_round(self) -> bool:
        """Whether it was turned from bar, and is not of its panel's lot."""
        return bool(self.diameters_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A panel in one load, on its former, with its coupons and where it ends.

    ``hold`` is why somebody put it on hold, ``disposition`` why a supervisor lifted the hold,
    ``surface`` what the surface search found, each empty where nothing of the kind happened.
    """

    number: str
    lot: str
    former: str
    ends: PanelEnd
    coupons: tuple[Coupon, ...]
    hold: str = ""
    disposition: str = ""
    surface: str = ""

    def coupon_code(self, coupon: Coupon) -> str:
        """The coupon's identity; a second treatment rides with new coupons."""
        again = "" if coupon.treatment == 1 else str(coupon.treatment)
        return f"{self.number}-{coupon.letter}{again}"


@dataclass(frozen=True, slots=True)
class Seat:
    """A load sensor on a panel: millimetres from the door end and from the leading edge."""

    sensor: str
    panel: str
    x_mm: int
    y_mm: int
    station: Station


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A furnace load. ``days_before`` and ``hour`` (UTC) say when it was started.

    ``running_for_h``, where set, replaces both: the load is still in the furnace. ``record`` is the
    verdict its furnace record deserves; None where the record is not complete or not yet begun.
    Where ``imported`` is False the file still waits for somebody to bring it in.
    """

    number: str
    furnace: str
    cycle: str
    story: str
    panels: tuple[Panel, ...]
    seed: int
    days_before: int = 0
    hour: int = 6
    running_for_h: float | None = None
    sensors_per_panel: int = 3
    faults: tuple[Fault, ...] = ()
    record: ShownVerdict | None = "conforms"
    imported: bool = True
    bag: Literal["intact", "burst", "not unwrapped"] = "intact"
    bag_found: str = ""
    closing_check: Literal["conforms", "fails", "none"] = "conforms"
    readings_by: str = "imorrowby"
    decided_by: str = "tashgill"
    lifted_by: str = "rhalvarth"
    gauge_unit: Literal["kPa", "inHg", "mbar"] = "kPa"
    time_style: Literal["iso", "elapsed"] = "iso"
    unit: Literal["C", "F"] = "C"
    by_mapping: bool = False
    """Whether the record comes as the hall logger's own export, read by the shop's mapping."""
    baselines: bool = False
    """Whether its coupons were read at the bench before they went into the furnace."""

    @property
    def planned_only(self) -> bool:
        """Whether the load has not been started."""
        return self.days_before < 0

    def begins(self, now: datetime) -> datetime:
        """When the record starts (or will), for a demonstration filled at ``now`` (UTC)."""
        if self.running_for_h is not None:
            return now.replace(second=0, microsecond=0) - timedelta(hours=self.running_for_h)
        day = now.date() - timedelta(days=self.days_before)
        return datetime.combine(day, time(self.hour), tzinfo=now.tzinfo)

    def seats(self) -> tuple[Seat, ...]:
        """The load sensors, panel by panel from the door end back; every panel fills the length."""
        edges: tuple[Literal["leading", "middle", "trailing"], ...]
        edges = ("leading", "trailing", "middle")
        across_mm = {
            "leading": 150,
            "middle": PANEL_WIDTH_MM // 2,
            "trailing": PANEL_WIDTH_MM - 150,
        }
        seats: list[Seat] = []
        for panel in self.panels:
            for k in range(self.sensors_per_panel):
                sensor = f"TC{len(seats) + 1}"
                along = k / (self.sensors_per_panel - 1)
                edge = edges[k % 3]
                x_mm = 200 + round(along * (PANEL_LENGTH_MM - 400))
                station = Station(sensor=sensor, along=along, edge=edge)
                seats.append(Seat(sensor, panel.number, x_mm, across_mm[edge], station))
        return tuple(seats)

    def coupon_seat(self, panel: str, letter: str) -> Seat:
        """The sensor that the coupon lay beside: A at the door end, the others at the back end."""
        own = [seat for seat in self.seats() if seat.panel == panel]
        return own[0] if letter == "A" else own[-1]

    def run(self, now: datetime) -> Run:
        """The furnace run to simulate; not for a load that is only planned."""
        cycle = cycle_of(self)
        furnace = next(furnace for furnace in FURNACES if furnace.code == self.furnace)
        faults = self.faults
        if self.running_for_h is not None:
            faults = (*faults, EarlyEnd(at_s=self.running_for_h * HOUR_S))
        return Run(
            seed=self.seed,
            start=self.begins(now),
            program=cycle.program,
            stations=tuple(seat.station for seat in self.seats()),
            sample_s=furnace.sample_s,
            faults=faults,
        )


@dataclass(frozen=True, slots=True)
class BenchTruth:
    """The readings a coupon gives at the bench, in the order taken (HRB and %IACS)."""

    hardness: tuple[Decimal, ...]
    conductivity: tuple[Decimal, ...]


def bench_truth(load: Load, furnace_run: FurnaceRun, panel: Panel, coupon: Coupon) -> BenchTruth:
    """Three readings of each quantity, from the heat the coupon saw where it lay.

    The material differs a little from coupon to coupon (invented, standard deviations 0.4 HRB and
    0.1 %IACS); the tester's own scatter comes on top. The same coupon always reads the same.
    """
    seat = load.coupon_seat(panel.number, coupon.letter)
    hardness, conductivity = witness_properties(
        furnace_run.times_s,
        furnace_run.truth.skin_c[seat.sensor],
        alloy_of_lot(panel.lot).response,
    )
    serial = int(panel.number.removeprefix("TW-"))
    seed = load.seed * 100_000 + serial * 10 + ord(coupon.letter) - ord("A")
    own = np.random.default_rng(seed).standard_normal(2).clip(-1.5, 1.5)
    scatter = {tester.quantity: tester.scatter for tester in TESTERS}
    return BenchTruth(
        bench_readings(
            hardness + coupon.hardness_shift + 0.4 * float(own[0]),
            scatter=scatter["hardness"],
            count=3,
            seed=seed + 2,
        ),
        bench_readings(
            conductivity + coupon.conductivity_shift + 0.1 * float(own[1]),
            scatter=scatter["conductivity"],
            count=3,
            seed=seed + 4,
        ),
    )


def cycle_of(load: Load) -> DemoCycle:
    """The cycle the load runs."""
    return next(cycle for cycle in CYCLES if cycle.code == load.cycle)


def alloy_of_lot(number: str) -> Alloy:
    """The alloy of the lot with that number."""
    lot = next(known for known in LOTS if known.number == number)
    return next(alloy for alloy in ALLOYS if alloy.alloy == lot.alloy)
