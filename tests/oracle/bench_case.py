"""What a coupon was judged on, as plain texts and whole numbers: nothing of the program's own.

Times are whole minutes from the first midnight (UTC) of an invented year's first day.
"""

from dataclasses import dataclass, field

MINUTES_OF_A_DAY = 24 * 60
ZONE_MINUTES = 9 * 60  # the shop's clock is so far ahead of UTC


@dataclass(slots=True)
class Paper:
    """A certificate, from one day to another, both included (days of the shop's calendar)."""

    done: int
    due: int
    expanded: str | None = None
    corrections: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class BlockCheck:
    """A check on a reference block, with what the tester read on it."""

    moment: str
    block: str
    certified: str
    readings: tuple[str, ...]
    permitted: str
    minute: int


@dataclass(slots=True)
class Desk:
    """A bench session: its tester, its checks in the order made, and the papers of all used.

    ``blocks`` has U (k = 2) of each block; ``studies`` (minute closed, standard deviation).
    """

    quantity: str
    unit: str
    build: str | None
    step: str
    checks: tuple[BlockCheck, ...]
    papers: tuple[Paper, ...]
    blocks: dict[str, str | None]
    thermometer: tuple[Paper, ...] | None = None
    studies: tuple[tuple[int, str], ...] = ()


@dataclass(slots=True)
class Taken:
    """A reading as recorded; ``sizes`` is its raw indentation, by method."""

    number: int
    desk: int | None
    quantity: str
    unit: str
    value: str
    minute: int
    coupon_c: str | None = None
    block_c: str | None = None
    khz: str | None = None
    spacing: bool | None = None
    again: int | None = None  # which further set of the retest
    voided: bool = False
    replaced: bool = False
    by: int = 1
    late: bool = False
    sizes: tuple[str, ...] | None = None


@dataclass(slots=True)
class TableInForce:
    """A correction table's revision, and from when until when it was in force."""

    code: str
    unit: str
    quantity: str
    by: str | None  # "diameter", "thickness" or nothing
    readings: tuple[str, ...]
    measures: tuple[str, ...]
    additions: tuple[tuple[str, ...], ...]
    since: int
    until: int | None


@dataclass(slots=True)
class Plan:
    """A retest as opened."""

    of: str
    further: int
    quantities: tuple[str, ...]
    by_another: bool
    not_by: tuple[int, ...]


@dataclass(slots=True)
class BenchCase:
    """A coupon with everything on record about it; ``neighbours`` are the further coupons."""

    seed: str
    code: str
    key: dict[str, str | None]  # alloy, temper, form, surface
    thickness: str
    diameter: str | None
    table: dict
    desks: tuple[Desk, ...]
    tables: tuple[TableInForce, ...]
    readings: list[Taken] = field(default_factory=list)
    before_furnace: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)
    retest: Plan | None = None
    neighbours: list["BenchCase"] = field(default_factory=list)
