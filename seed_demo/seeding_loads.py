"""Filling the demonstration: loads planned, bags checked, records brought in, unwrapping."""

import tempfile
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

import numpy as np

from app.judging.units import vacuum_factor
from app.loads import queries
from app.loads.bags.bag import LeakReading
from app.loads.bags.surface import surface_of
from app.loads.importing.record_wanted import Chosen, plain_layout
from app.loads.importing.sources import Source
from app.loads.planning.planned import Plan, PlannedCoupon, PlannedPanel, PlannedSensor
from app.loads.records import SensorRole
from app.loads.rules import soak_time
from app.loads.service import (
    Found,
    Picture,
    Unwrapped,
    end_load,
    import_record,
    keep_photographs,
    note_doubts,
    plan_load,
    record_leak_check,
    record_unwrapping,
    start_load,
)
from app.requirements import queries as requirements
from seed_demo.diary import DemoShop
from seed_demo.drawn_find import scorch_picture
from seed_demo.furnace_physics import AIR_SENSORS, FurnaceRun, simulate
from seed_demo.load_plan import Load, Panel, Seat, alloy_of_lot, cycle_of
from seed_demo.logger_exports import text_export
from seed_demo.logger_file import VACUUM_COLUMN, write_csv
from seed_demo.scenario import PANEL_LENGTH_MM, PANEL_WIDTH_MM
from seed_demo.scenario_equipment import BENCH_GAUGE, gauge_of, sensors_of
from seed_demo.scenario_papers import LEAK_MINUTES, TABLES
from seed_demo.scenario_pyrometry import TEXT_MAPPING
from seed_demo.seeding_equipment import ENGINEER

_COUPON_BESIDE_MM = 260
_HEATING_AND_COOLING = timedelta(hours=14)
CORNERS_MM = tuple((Decimal(x_mm), Decimal(y_mm)) for x_mm in (300, 9200) for y_mm in (150, 2400))
"""Where the panels' lower left corners lie in the surveyed zone, in the order planned."""
_SEARCHED = "Searched the bag, the breather cloth and the floor by the former, and asked the shift."
_SCORCH = (
    Found(
        kind="discoloured patch",
        x=Decimal("0.640"),
        y=Decimal("0.985"),
        size_mm=Decimal(40),
        words="40 mm by 15 mm, under the tape",
    ),
)


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
    shop.enter(begins, partial(_start, shop, load))
    if run is not None:
        shop.enter(run_ends(run) + timedelta(minutes=18), partial(_end, shop, load))
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
            panel=panel.number,
            former=panel.former,
            table=tables[alloy_of_lot(panel.lot).alloy],
            x_mm=x_mm,
            y_mm=y_mm,
        )
        for panel, (x_mm, y_mm) in zip(load.panels, CORNERS_MM, strict=False)
    )
    plan = Plan(
        code=load.number,
        furnace=load.furnace,
        cycle=load.cycle,
        planned_start=load.begins(shop.now),
        planned_end=load.begins(shop.now) + declared_length(load),
        vacuum_gauge=gauge_of(load.furnace),
        panels=seats,
        coupons=tuple(
            coupon_place(load, panel, letter=coupon.letter, code=panel.coupon_code(coupon))
            for panel in load.panels
            for coupon in panel.coupons
        ),
        sensors=sensor_places(load),
    )
    plan_load(shop.database, plan, by=shop.people[ENGINEER], at=at, zone=shop.zone)
    if load.record is None:
        shop.tell(f"{load.number}  {load.story}")


def declared_length(load: Load) -> timedelta:
    """What whoever plans the load says that it takes: its soaks, and heating and cooling."""
    return soak_time(cycle_of(load).paper(())) + _HEATING_AND_COOLING


def coupon_place(load: Load, panel: Panel, *, letter: str, code: str) -> PlannedCoupon:
    """Beside its sensor, a little towards the middle of the panel; a third one farther in."""
    seat = load.coupon_seat(panel.number, letter)
    aside = _COUPON_BESIDE_MM * {"A": 1, "B": -1, "C": -2, "R": -3}[letter]
    end = "door end" if letter == "A" else "back end"
    return PlannedCoupon(
        coupon=code,
        panel=panel.number,
        station=f"{end}, {_edge(seat)}",
        x=_share(seat.x_mm + aside, PANEL_LENGTH_MM),
        y=_share(seat.y_mm, PANEL_WIDTH_MM),
    )


def sensor_places(load: Load) -> tuple[PlannedSensor, ...]:
    """The furnace's own thermocouples at the load's seats, and those in its air."""
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
    if load.gauge_unit != reading.unit:
        in_unit = float(vacuum_factor(load.gauge_unit))
        reading = LeakReading(
            Decimal(f"{start / in_unit:.1f}"),
            Decimal(f"{end / in_unit:.1f}"),
            Decimal(LEAK_MINUTES),
            load.gauge_unit,
        )
    record_leak_check(
        shop.database,
        load.number,
        panel.number,
        reading,
        gauge=BENCH_GAUGE,
        taken_at=at,
        by=shop.people[load.readings_by],
        at=at,
        zone=shop.zone,
    )


def _start(shop: DemoShop, load: Load, at: datetime) -> None:
    start_load(
        shop.database,
        load.number,
        started_at=at,
        by=shop.people[load.readings_by],
        at=at,
        zone=shop.zone,
    )


def _end(shop: DemoShop, load: Load, at: datetime) -> None:
    end_load(
        shop.database,
        load.number,
        ended_at=at,
        by=shop.people[load.readings_by],
        at=at,
        zone=shop.zone,
    )


def _import(shop: DemoShop, load: Load, run: FurnaceRun, at: datetime) -> None:
    """Bring in the logger's own file, as a person would, through the same reader."""
    judged = import_record(
        shop.database,
        load.number,
        [Source(f"{load.number}.csv", _exported(shop, load, run))],
        _chosen(shop, load, run, at),
        by=shop.people[load.readings_by],
        at=at,
        zone=shop.zone,
    )
    note_doubts(shop.database, load.number, at=at)
    shop.tell(f"{load.number}  {judged.verdict.replace('_', ' ')}: {load.story}")


def _exported(shop: DemoShop, load: Load, run: FurnaceRun) -> bytes:
    if load.by_mapping:
        return text_export(run, shop.zone)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "export.csv"
        write_csv(run, path, time_style=load.time_style, unit=load.unit)
        return path.read_bytes()


def _chosen(shop: DemoShop, load: Load, run: FurnaceRun, at: datetime) -> Chosen:
    """How the file is read: by the hall logger's mapping, or by its columns' own names."""
    if load.by_mapping:
        with shop.database.read() as session:
            in_force = requirements.mappings_in_force(session, at=at)
        mapping = next(one for one in in_force if one.code == TEXT_MAPPING.code)
        return Chosen(requirements.mapping_of(mapping), mapping.id)
    elapsed = load.time_style == "elapsed"
    return plain_layout(
        {channel: channel for channel in (*run.channels, VACUUM_COLUMN)},
        vacuum=VACUUM_COLUMN,
        time_column="time_s" if elapsed else "time",
        time_kind="elapsed" if elapsed else "iso",
        temperature_unit=load.unit,
    )


_GAP_MM, _GAP_LIMIT_MM = Decimal("0.6"), Decimal("1.2")
"""Largest gap to the checking fixture, and the largest that the invented drawings permit."""


def _unwrap(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    coupons = {panel.coupon_code(coupon): coupon for coupon in panel.coupons}
    missing = frozenset(code for code, coupon in coupons.items() if coupon.missing)
    found = Unwrapped(
        bag_intact=load.bag == "intact",
        surface_clear=not panel.surface,
        findings=" ".join(words for words in (load.bag_found, panel.surface) if words),
        recovered=frozenset(coupons) - missing,
        missing=missing,
        searched=_SEARCHED if missing else "",
        places=_SCORCH if panel.surface else (),
        contour_gap_mm=_GAP_MM,
        contour_limit_mm=_GAP_LIMIT_MM,
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
    if panel.surface:
        _photograph(shop, load, panel, at + timedelta(minutes=4))


def _photograph(shop: DemoShop, load: Load, panel: Panel, at: datetime) -> None:
    """A drawn picture of what was found, kept with it."""
    with shop.database.read() as session:
        key = queries.load(session, load.number).id
        find = surface_of(session, key)[panel.number].finds[0]
    keep_photographs(
        shop.database,
        load.number,
        panel.number,
        [Picture("scorch-under-tape.jpg", scorch_picture(panel.number))],
        finding_id=find.id,
        caption="Scorch at the trailing edge, tape lifted (drawn for the demonstration)",
        by=shop.people[load.readings_by],
        at=at,
    )
