"""What a visitor needs in hand: the logger's files that wait, and a slip of bench readings."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from seed_demo.furnace_physics import FurnaceRun
from seed_demo.load_plan import BenchTruth, Coupon, Load, Panel, bench_truth
from seed_demo.logger_exports import sheet_export, text_export
from seed_demo.logger_file import write_csv
from seed_demo.scenario import SHOP_ZONE, TESTERS
from seed_demo.scenario_loads import LOADS
from seed_demo.seeding_bench import coupons_of
from seed_demo.seeding_loads import runs_of

SLIP = "bench-slip.txt"
_HEAD = """\
Readings for the coupons that wait for the bench, as the testers would show them.
Begin and end each session with a check on every block that its part names.
"""


def write_waiting_files(folder: Path, now: datetime) -> list[Path]:
    """Write into ``folder`` the furnace records that wait, and last the bench slip; hand them back.

    Each record comes in several forms of the same run, to be tried one or the other. ``now`` is the
    time the demonstration was filled at.
    """
    folder.mkdir(parents=True, exist_ok=True)
    waiting = tuple(load for load in LOADS if any(_unmeasured(load)) or not load.imported)
    runs = runs_of(waiting, now)
    written = []
    for load in waiting:
        if load.number in runs and not load.imported:
            written.append(folder / f"{load.number}.csv")
            write_csv(runs[load.number], written[-1], time_style=load.time_style, unit=load.unit)
            written += _other_forms(folder, load.number, runs[load.number])
    slip = folder / SLIP
    slip.write_text(_HEAD + "\n".join(_slip(runs)) + "\n", encoding="utf-8")
    return [*written, slip]


def _other_forms(folder: Path, number: str, run: FurnaceRun) -> list[Path]:
    """The same run as the hall logger's text, the same in two files, and as a spreadsheet."""
    middle, zone = len(run.times_s) // 2, ZoneInfo(SHOP_ZONE)
    forms = {
        f"{number}-hall.csv": text_export(run, zone),
        f"{number}-hall-1.csv": text_export(run, zone, rows=slice(0, middle)),
        f"{number}-hall-2.csv": text_export(run, zone, rows=slice(middle, None)),
        f"{number}.xlsx": sheet_export(run, zone),
    }
    for name, content in forms.items():
        (folder / name).write_bytes(content)
    return [folder / name for name in forms]


def _slip(runs: dict[str, FurnaceRun]) -> Iterable[str]:
    """A part for each tester: the block's readings, then a line for each coupon."""
    for tester in TESTERS:
        hardness = tester.quantity == "hardness"
        yield f"\n{tester.code}, {tester.name.lower()}, {tester.scale_or_unit}"
        for block in tester.blocks:
            yield f"  block {block.code}  {block.value}  {block.value}"
        for load in LOADS:
            if hardness and load.closing_check == "fails":
                continue  # only the conductivity check fails in the scenario
            for code, truth in _waiting(load, runs.get(load.number)):
                values = truth.hardness if hardness else truth.conductivity
                yield f"  {code}  {'  '.join(map(str, values))}"
    yield "\nAll blocks and coupons lie at 21 degC."


def _waiting(load: Load, run: FurnaceRun | None) -> Iterable[tuple[str, BenchTruth]]:
    """What the bench will read on the coupons of a finished run that it has still to measure."""
    if run is not None:
        for panel, coupon in _unmeasured(load):
            yield panel.coupon_code(coupon), bench_truth(load, run, panel, coupon)


def _unmeasured(load: Load) -> Iterable[tuple[Panel, Coupon]]:
    """The coupons that the bench has not measured, or has to measure again."""
    for panel, coupon in coupons_of(load):
        again = load.closing_check == "fails" and coupon.verdict == "not_proven"
        if again or not (coupon.measured or coupon.missing):
            yield panel, coupon
