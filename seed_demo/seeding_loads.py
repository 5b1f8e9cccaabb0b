"""Filling the demonstration: loads planned, bags checked, records brought in, unwrapping."""

import tempfile
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

import numpy as np

from app.loads.plan_check import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.record_wanted import Columns
from app.loads.records import SensorRole
from app.loads.rules import LeakReading
from app.loads.service import (
    Unwrapped,
    import_record,
    plan_load,
    record_leak_check,
    record_unwrapping,
)
from seed_demo.diary import DemoShop
from seed_demo.furnace_physics import AIR_SENSORS, FurnaceRun, simulate
from seed_demo.load_plan import Load, Panel, Seat, alloy_of_lot
from seed_demo.logger_file import VACUUM_COLUMN, write_csv
from seed_demo.scenario import PANEL_LENGTH_MM, PANEL_WIDTH_MM
from seed_demo.scenario_papers import LEAK_MINUTES, TABLES
from seed_demo.seeding_shop import ENGINEER, sensors_of

_COUPON_BESIDE_MM = 260


def runs_of(loads: tuple[Load, ...], now: datetime) -> dict[str, FurnaceRun]:
    """The simulated furnace run of every load whose run is over, by the load's number."""
    return {load.number: simulate(load.run(now)) for load in loads if load.record is not None}


def enter_load(shop: DemoShop, load: Load, run: FurnaceRun | None) -> None:
    """What happens to a load up to its unwrapping; ``run`` is None where the run is not over."""
    begins = load.begins(shop.now).astimezone(shop.zone)
    planned = min(begins - timedelta(hours=16), shop.now - timedelta(hours=2))
    shop.enter(planned, partial(_plan, shop, load))
    if load.planned_only:
        return
    for k, panel in enumerate(load.panels):
        checked = begins - timedelta(minutes=55 - 12 * k)
        shop.enter(checked, partial(_check_bag, shop, load, panel))
    if run is None or not load.imported:
        return
    shop.enter(run_ends(run) + timedelta(minutes=47), partial(_import, shop, load, run))
    if load.bag != "not unwrapped":
        for k, panel in enumerate(load.panels):
            unwrapped = unwrapping_day(shop, run) + timedelta(hours=7, minutes=25 + 20 * k)
            shop.enter(unwrapped, partial(_unwrap, shop, load, panel))


def run_ends(run: FurnaceRun) -> datetime:
    """When the last sample was taken."""
    return run.start + timedelta(seconds=float(run.times_s[-1]))


def unwrapping_day(shop: DemoShop, run: FurnaceRun) -> datetime:
    """Midnight at the beginning of the day after the run ended."""
    ended = run_ends(run).astimezone(shop.zone)
    return shop.day((shop.now.date() - ended.date()).days - 1, 0)


def _plan(shop: DemoShop, load: Load, at: datetime) -> None:
    tables = {entry["alloy"]: table.code for table in TABLES for entry in table.paper["entries"]}
    seats = tuple(
        PlannedPanel(
            panel=panel.number, former=panel.former, table=tables[alloy_of_lot(panel.lot).alloy]
        )
        for panel in load.panels
    )
    plan = Plan(
        code=load.number,
        furnace=load.furnace,
        cycle=load.cycle,
        planned_start=load.begins(shop.now),
        panels=seats,
        coupons=tuple(
            _coupon_place(load, panel, letter=coupon.letter, code=panel.coupon_code(coupon))
            for panel in load.panels
            for coupon in panel.coupons
        ),
        sensors=_sensor_places(load),
    )
    plan_load(shop.database, plan, by=shop.people[ENGINEER], at=at, zone=shop.zone)
    if load.record is None:
        shop.tell(f"{load.number}  {load.story}")


def _coupon_place(load: Load, panel: Panel, *, letter: str, code: str) -> PlannedCoupon:
    """Beside its sensor, a little towards the middle of the panel."""
    seat = load.coupon_seat(panel.number, letter)
    aside = _COUPON_BESIDE_MM if letter == "A" else -_COUPON_BESIDE_MM
    end = "door end" if letter == "A" else "back end"
    return PlannedCoupon(
        coupon=code,
        panel=panel.number,
        station=f"{end}, {_edge(seat)}",
        x=_share(seat.x_mm + aside, PANEL_LENGTH_MM),
        y=_share(seat.y_mm, PANEL_WIDTH_MM),
    )


def _sensor_places(load: Load) -> tuple[PlannedSensor, ...]:
    codes = sensors_of(load.furnace)
    placed = [
        PlannedSensor(
            sensor=codes[seat.sensor],
            channel=seat.sensor,
            role=SensorRole.LOAD,
            station=f"{seat.x_mm} mm, {_edge(seat)}",
            panel=seat.panel,
            x=_share(seat.x_mm, PANEL_LENGTH_MM),
            y=_share(seat.y_mm, PANEL_WIDTH_MM),
        )
        for seat in load.seats()
    ]
    placed += [
        PlannedSensor(
            sensor=codes[channel], channel=channel, role=SensorRole.CONTROL, station="furnace air"
        )
        for channel in AIR_SENSORS
    ]
    return tuple(placed)


def _edge(seat: Seat) -> str:
    return "middle" if seat.station.edge == "middle" else f"{seat.station.edge} edge"


def _share(length_mm: int, whole_mm: int) -> Decimal:
    return (Decimal(length_mm) / whole_mm).quantize(Decimal("0.001"))


def _check_bag(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    rng = np.random.default_rng([load.seed, *panel.number.encode()])
    start = 88.0 + float(rng.uniform(0, 1.2))
    end = start - float(rng.uniform(0.3, 1.6))
    reading = LeakReading(Decimal(f"{start:.1f}"), Decimal(f"{end:.1f}"), Decimal(LEAK_MINUTES))
    record_leak_check(
        shop.database,
        load.number,
        panel.number,
        reading,
        taken_at=at,
        by=shop.people[load.readings_by],
        at=at,
    )


def _import(shop: DemoShop, load: Load, run: FurnaceRun, at: datetime) -> None:
    """Bring in the logger's own file, as a person would, through the same reader."""
    channels = (*run.channels, VACUUM_COLUMN)
    elapsed = load.time_style == "elapsed"
    chosen = Columns(
        time_column="time_s" if elapsed else "time",
        time_kind="elapsed_s" if elapsed else "iso",
        temperature_unit=load.unit,
        columns={channel: channel for channel in channels},
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{load.number}.csv"
        write_csv(run, path, time_style=load.time_style, unit=load.unit)
        judged = import_record(
            shop.database,
            load.number,
            path,
            chosen,
            file_name=path.name,
            by=shop.people[load.readings_by],
            at=at,
            zone=shop.zone,
        )
    shop.tell(f"{load.number}  {judged.verdict.replace('_', ' ')}: {load.story}")


def _unwrap(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    found = Unwrapped(
        bag_intact=load.bag == "intact",
        surface_clear=not panel.surface,
        findings=" ".join(words for words in (load.bag_found, panel.surface) if words),
        recovered=frozenset(panel.coupon_code(coupon) for coupon in panel.coupons),
        missing=frozenset(),
    )
    record_unwrapping(
        shop.database,
        load.number,
        panel.number,
        found,
        taken_at=at,
        by=shop.people[load.readings_by],
        at=at,
    )
