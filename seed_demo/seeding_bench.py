"""Filling the demonstration: bench sessions with their checks, readings, a laboratory's results."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

import numpy as np
from sqlalchemy import select

from app.bench.records import CheckMoment, Reading, VoidCause
from app.bench.service import (
    CheckTaken,
    Correction,
    LaboratoryResult,
    ReadingsTaken,
    ask_void,
    correct_reading,
    open_session,
    record_check,
    record_laboratory_result,
    record_readings,
)
from app.panels.queries import coupon as coupon_of
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.load_plan import BenchTruth, Coupon, Load, Panel, bench_truth
from seed_demo.scenario import TESTERS, Tester
from seed_demo.scenario_loads import SLIP_ON
from seed_demo.seeding_loads import unwrapping_day

_FAILED_BY = 2.2
"""A closing check that fails is off by so many times the permitted error."""
_SLIP = Decimal("2.0")


@dataclass
class _AtBench:
    """One session at one tester: which load's, whose, and its number once it is open."""

    shop: DemoShop
    load: Load
    tester: Tester
    rng: np.random.Generator
    number: int = 0

    def open(self, at: datetime) -> None:
        self.number = open_session(
            self.shop.database,
            tester_code=self.tester.code,
            by=self.shop.people[self.load.readings_by],
            at=at,
            zone=self.shop.zone,
        )

    def check(self, moment: CheckMoment, off: float, at: datetime) -> None:
        """Two readings on the block, ``off`` its value on average but for the tester's scatter."""
        value = float(self.tester.block_value) + off
        steps = self.rng.standard_normal(2).clip(-1.5, 1.5) * self.tester.scatter
        conductivity = self.tester.quantity == "conductivity"
        taken = CheckTaken(
            moment=moment,
            block_code=self.tester.block,
            readings=tuple(Decimal(f"{value + step:.1f}") for step in steps.tolist()),
            block_c=Decimal("20.8") if conductivity else None,
        )
        record_check(
            self.shop.database,
            taken,
            session_id=self.number,
            by=self.shop.people[self.load.readings_by],
            at=at,
            zone=self.shop.zone,
        )

    def read(self, code: str, values: tuple[Decimal, ...], at: datetime) -> None:
        """Key a coupon's readings; the scenario's one slip of the key is set right afterwards."""
        conductivity = self.tester.quantity == "conductivity"
        slipped = code == SLIP_ON and not conductivity
        keyed = (values[0], values[1] + _SLIP, *values[2:]) if slipped else values
        taken = ReadingsTaken(
            coupon_code=code,
            values=keyed,
            submission=f"demo-{self.tester.quantity}-{code}",
            coupon_c=Decimal("21.1") if conductivity else None,
            block_c=Decimal("20.8") if conductivity else None,
            spacing_confirmed=not conductivity,
        )
        record_readings(
            self.shop.database,
            taken,
            session_id=self.number,
            by=self.shop.people[self.load.readings_by],
            at=at,
            zone=self.shop.zone,
        )


def enter_bench(shop: DemoShop, load: Load, run: FurnaceRun) -> None:
    """The load's bench work on the day it is unwrapped: hardness first, then conductivity."""
    if load.closing_check == "none":
        return
    read = [
        (panel.coupon_code(coupon), bench_truth(load, run, panel, coupon))
        for panel, coupon in coupons_of(load)
        if coupon.measured
    ]
    at = unwrapping_day(shop, run) + timedelta(hours=9, minutes=5)
    for k, tester in enumerate(TESTERS):
        rng = np.random.default_rng([load.seed, k])
        bench = _AtBench(shop, load, tester, rng)
        at = _enter_session(bench, read, at) + timedelta(minutes=6)
    for panel, coupon in coupons_of(load):
        if coupon.yield_mpa is not None:
            result_day = unwrapping_day(shop, run) + timedelta(days=3, hours=11)
            code = panel.coupon_code(coupon)
            shop.enter(result_day, partial(_record_yield, shop, load, code, coupon.yield_mpa))


def coupons_of(load: Load) -> Iterable[tuple[Panel, Coupon]]:
    """Every coupon of the load with the panel it rides on."""
    return ((panel, coupon) for panel in load.panels for coupon in panel.coupons)


def _enter_session(bench: _AtBench, read: list[tuple[str, BenchTruth]], at: datetime) -> datetime:
    """Opening check, three readings a coupon, closing check; when the last of it is done."""
    enter, hardness = bench.shop.enter, bench.tester.quantity == "hardness"
    enter(at, bench.open)
    enter(at + timedelta(minutes=2), partial(bench.check, CheckMoment.OPENING, 0.0))
    at += timedelta(minutes=5)
    for code, truth in read:
        values = truth.hardness if hardness else truth.conductivity
        enter(at, partial(bench.read, code, values))
        if code == SLIP_ON and hardness:
            corrected = at + timedelta(minutes=2)
            enter(corrected, partial(_correct, bench.shop, bench.load, code, values[1]))
        at += timedelta(minutes=3)
    fails = bench.load.closing_check == "fails" and not hardness
    off = _FAILED_BY * float(bench.tester.block_permitted_error) if fails else 0.0
    enter(at, partial(bench.check, CheckMoment.CLOSING, off))
    return at


def _record_yield(shop: DemoShop, load: Load, code: str, yield_mpa: str, at: datetime) -> None:
    result = LaboratoryResult(
        coupon_code=code,
        quantity="yield_strength",
        unit="MPa",
        value=Decimal(yield_mpa),
        report=f"LR-{load.number.removeprefix('L-')}-{code[-1]}",
        tested_at=at - timedelta(hours=18),
        submission=f"demo-yield-{code}",
    )
    by = shop.people[load.readings_by]
    record_laboratory_result(shop.database, result, by=by, at=at, zone=shop.zone)


def _correct(shop: DemoShop, load: Load, code: str, right: Decimal, at: datetime) -> None:
    """The second hardness reading as the tester had shown it."""
    correction = Correction(
        coupon_code=code,
        reading_id=_second_hardness(shop, code),
        value=right,
        reason=f"Slip of the key: the tester still shows {right}.",
        submission=f"demo-correction-{code}",
    )
    by = shop.people[load.readings_by]
    correct_reading(shop.database, correction, by=by, at=at, zone=shop.zone)


def _second_hardness(shop: DemoShop, code: str) -> int:
    """Which reading was taken second; the void and the slip are about it."""
    with shop.database.read() as session:
        taken = session.scalars(
            select(Reading.id)
            .where(Reading.coupon_id == coupon_of(session, code).id)
            .where(Reading.quantity == "hardness")
            .order_by(Reading.id)
        ).all()
    return taken[1]


def enter_void_request(shop: DemoShop, load: Load, code: str, at: datetime) -> None:
    """A request to void the coupon's second hardness reading, left for a supervisor to answer."""
    shop.enter(at, partial(_ask_void, shop, load, code))


def _ask_void(shop: DemoShop, load: Load, code: str, at: datetime) -> None:
    ask_void(
        shop.database,
        coupon_code=code,
        reading_id=_second_hardness(shop, code),
        cause=VoidCause.SLIPPED,
        evidence="The indent is drawn out to one side; photograph BP-118 in the bench folder.",
        by=shop.people[load.readings_by],
        at=at,
    )
