"""Filling the demonstration: bench sessions with their checks, readings, a laboratory's results."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

import numpy as np

from app.bench.records import CheckMoment
from app.bench.service import LaboratoryResult, record_laboratory_result
from seed_demo.ageing import bench_readings
from seed_demo.at_bench import AtBench
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.load_plan import BenchTruth, Coupon, Load, Panel, alloy_of_lot, bench_truth
from seed_demo.scenario import BALL_TESTER, SECOND_METER, TESTERS, Tester
from seed_demo.scenario_loads import LATE_ON
from seed_demo.seeding_bench_instruments import lift_quarantine
from seed_demo.seeding_changes import as_keyed, enter_correction
from seed_demo.seeding_loads import unwrapping_day
from seed_demo.seeding_shop import PASSWORD

_FAILED_BY = 2.2
"""A closing check that fails is off by so many times the permitted error."""
_WHY_LATE = "The terminal at the bench restarted; the figures stood on slip BS-204 meanwhile."

Read = list[tuple[str, BenchTruth]]


def enter_bench(shop: DemoShop, load: Load, run: FurnaceRun) -> None:
    """The load's bench work on the day it is unwrapped: hardness first, then conductivity.

    What a failed closing check leaves without proof is measured again the next day at another
    meter, as far as somebody has got to it.
    """
    if load.baselines:
        _enter_baselines(shop, load)
    if load.closing_check == "none":
        return
    truths = {
        panel.coupon_code(coupon): bench_truth(load, run, panel, coupon)
        for panel, coupon in coupons_of(load)
        if coupon.measured and not coupon.is_round
    }
    at = unwrapping_day(shop, run) + timedelta(hours=9, minutes=5)
    for k, tester in enumerate(TESTERS):
        bench = _bench(shop, load, tester, k)
        at = _enter_session(bench, load, list(truths.items()), at) + timedelta(minutes=6)
    _enter_round(shop, load, at + timedelta(minutes=20))
    if load.closing_check == "fails":
        proven = [
            (panel.coupon_code(coupon), truths[panel.coupon_code(coupon)])
            for panel, coupon in coupons_of(load)
            if coupon.verdict == "conforms"
        ]
        again = unwrapping_day(shop, run) + timedelta(days=1, hours=9, minutes=30)
        bench = _bench(shop, load, SECOND_METER, len(TESTERS))
        _enter_readings(bench, proven, enter_opening(bench, again))
    for panel, coupon in coupons_of(load):
        if coupon.yield_mpa is not None:
            result_day = unwrapping_day(shop, run) + timedelta(days=3, hours=11)
            code = panel.coupon_code(coupon)
            shop.enter(result_day, partial(_record_yield, shop, load, code, coupon.yield_mpa))


def coupons_of(load: Load) -> Iterable[tuple[Panel, Coupon]]:
    """Every coupon of the load with the panel it rides on."""
    return ((panel, coupon) for panel in load.panels for coupon in panel.coupons)


def _bench(shop: DemoShop, load: Load, tester: Tester, k: int) -> AtBench:
    return AtBench(shop, tester, load.readings_by, np.random.default_rng([load.seed, k]))


def enter_opening(bench: AtBench, at: datetime) -> datetime:
    """Open the session and check on every block; when the first coupon may be read."""
    bench.shop.enter(at, bench.open)
    for block in bench.tester.blocks:
        at += timedelta(minutes=2)
        bench.shop.enter(at, partial(bench.check, CheckMoment.OPENING, block, 0.0))
    return at + timedelta(minutes=3)


def _enter_closing(bench: AtBench, at: datetime) -> datetime:
    for block in bench.tester.blocks:
        bench.shop.enter(at, partial(bench.check, CheckMoment.CLOSING, block, 0.0))
        at += timedelta(minutes=2)
    return at


def _enter_session(bench: AtBench, load: Load, read: Read, at: datetime) -> datetime:
    """Opening checks, three readings a coupon, closing checks; when the last of it is done.

    The closing check that fails ends the session and takes the tester out of use, until the
    engineer has looked into it in the afternoon.
    """
    fails = load.closing_check == "fails" and bench.tester.quantity == "conductivity"
    at = _enter_readings(bench, read, enter_opening(bench, at), closes=not fails)
    if fails:
        block = bench.tester.blocks[0]
        off = _FAILED_BY * float(block.permitted_error)
        bench.shop.enter(at, partial(bench.check, CheckMoment.CLOSING, block, off))
        lift = partial(lift_quarantine, bench.shop, bench.tester.code, PASSWORD)
        bench.shop.enter(at + timedelta(hours=4), lift)
    return at


def _enter_readings(bench: AtBench, read: Read, at: datetime, *, closes: bool = True) -> datetime:
    """Coupon by coupon, with the slips of the key and what was done about each."""
    enter, hardness = bench.shop.enter, bench.tester.quantity == "hardness"
    late: list[partial[None]] = []
    for code, truth in read:
        values = truth.hardness if hardness else truth.conductivity
        if code == LATE_ON and hardness:
            late.append(partial(bench.read_late, code, values, at, _WHY_LATE))
        else:
            keyed = as_keyed(code, values) if hardness else values
            enter(at, partial(bench.read, code, keyed))
            if keyed != values:
                enter_correction(bench.shop, bench.operator, code, values[1], at)
        at += timedelta(minutes=3)
    for entry in late:
        enter(at, entry)
        at += timedelta(minutes=3)
    return _enter_closing(bench, at) if closes else at


def _enter_round(shop: DemoShop, load: Load, at: datetime) -> None:
    """The load's round coupons, if any, at the ball tester: sizes in place of numbers."""
    read = {
        panel.coupon_code(coupon): coupon.diameters_mm
        for panel, coupon in coupons_of(load)
        if coupon.is_round
    }
    if not read:
        return
    bench = _bench(shop, load, BALL_TESTER, len(TESTERS) + 1)
    at = enter_opening(bench, at)
    for code, diameters in read.items():
        sizes = tuple((Decimal(first), Decimal(second)) for first, second in diameters)
        shop.enter(at, partial(bench.read_sizes, code, sizes))
        at += timedelta(minutes=6)
    _enter_closing(bench, at)


def _enter_baselines(shop: DemoShop, load: Load) -> None:
    """What the coupons showed two days before the load was started."""
    begins = load.begins(shop.now).astimezone(shop.zone)
    at = shop.day((shop.now.date() - begins.date()).days + 2, 13, 30)
    for k, tester in enumerate(TESTERS):
        bench = AtBench(shop, tester, load.readings_by, np.random.default_rng([load.seed, 7, k]))
        at = enter_opening(bench, at)
        for n, (panel, coupon) in enumerate(coupons_of(load)):
            response = alloy_of_lot(panel.lot).response
            before = {
                "hardness": response.hardness_before,
                "conductivity": response.conductivity_before,
            }[tester.quantity]
            values = bench_readings(
                before, scatter=tester.scatter, count=3, seed=load.seed * 1000 + 10 * n + k
            )
            shop.enter(at, partial(bench.read_before, panel.coupon_code(coupon), values))
            at += timedelta(minutes=3)
        at = _enter_closing(bench, at) + timedelta(minutes=6)


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


def enter_running_session(shop: DemoShop, load: Load, run: FurnaceRun, code: str) -> None:
    """Somebody at the second meter now, two readings of a coupon keyed and none recorded."""
    panel, coupon = next(
        (panel, coupon) for panel, coupon in coupons_of(load) if panel.coupon_code(coupon) == code
    )
    truth = bench_truth(load, run, panel, coupon)
    rng = np.random.default_rng([load.seed, 8])
    bench = AtBench(shop, SECOND_METER, "pquennell", rng)
    at = enter_opening(bench, shop.now - timedelta(minutes=40))
    shop.enter(at, partial(bench.leave_keyed, code, truth.conductivity[:2]))
