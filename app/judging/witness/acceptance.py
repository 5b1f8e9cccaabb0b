"""What an acceptance table holds. Pure: frozen values, no judgement.

A table is written by an engineer and verified by a second person; `acceptance_checks.check_table`
refuses one that could not be judged by.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from app.judging.rounding import RoundingMethod, shown
from app.judging.units import Quantity
from app.judging.witness.eddy_current import DEPTHS_NEEDED


class Statistic(StrEnum):
    """Which figure meets the limit."""

    EACH = "each"
    MEAN = "mean"


class DecisionRule(StrEnum):
    """Compare plainly, or with the measurement uncertainty as a guard band."""

    SIMPLE = "simple"
    GUARDED = "guarded"


class Obtained(StrEnum):
    """How the values came into the table. An invented table can never be fit for real use."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    INVENTED = "invented"


class Surface(StrEnum):
    """The surface the reading was taken on."""

    BARE = "bare"
    CLAD = "clad"
    CLAD_REMOVED = "clad removed"


class ZoneOutcome(StrEnum):
    """What a band of the value means."""

    ACCEPT = "accept"
    REJECT = "reject"
    ACCEPT_IF = "accept_if"


class RetestOf(StrEnum):
    """What stands in for a coupon that does not conform."""

    COUPONS = "coupons"
    SETS = "sets"


@dataclass(frozen=True, slots=True)
class ThicknessRange:
    """From one thickness to another in mm, each end included or not."""

    lower: Decimal
    upper: Decimal
    lower_included: bool
    upper_included: bool

    def admits(self, thickness_mm: Decimal) -> bool:
        """True where the thickness lies in the range."""
        above = self.lower <= thickness_mm if self.lower_included else self.lower < thickness_mm
        below = thickness_mm <= self.upper if self.upper_included else thickness_mm < self.upper
        return above and below

    def is_empty(self) -> bool:
        """True where no thickness lies in the range."""
        both = self.lower_included and self.upper_included
        return self.lower > self.upper or (self.lower == self.upper and not both)

    def overlaps(self, other: "ThicknessRange") -> bool:
        """True where some thickness lies in both ranges."""
        lower, lower_excluded = max(
            (self.lower, not self.lower_included), (other.lower, not other.lower_included)
        )
        upper, upper_included = min(
            (self.upper, self.upper_included), (other.upper, other.upper_included)
        )
        return not ThicknessRange(lower, upper, not lower_excluded, upper_included).is_empty()

    def __str__(self) -> str:
        lower = "from" if self.lower_included else "above"
        upper = "to" if self.upper_included else "to below"
        return f"{lower} {shown(self.lower)} {upper} {shown(self.upper)} mm"


@dataclass(frozen=True, slots=True)
class EntryKey:
    """Which coupons an entry is for. A surface of None is any surface."""

    alloy: str
    temper: str
    form: str
    thickness: ThicknessRange
    surface: Surface | None = None

    def __str__(self) -> str:
        surface = "" if self.surface is None else f", {self.surface.value}"
        return f"{self.alloy} {self.temper} {self.form} {self.thickness}{surface}"


@dataclass(frozen=True, slots=True)
class Zone:
    """A band of the value, both ends included; None leaves an end open.

    ``also`` holds the further criteria of an *accept if* band, all of which must be met.
    """

    lower: Decimal | None
    upper: Decimal | None
    outcome: ZoneOutcome
    also: tuple["Criterion", ...] = ()

    def __str__(self) -> str:
        if self.lower is None:
            return "any value" if self.upper is None else f"up to {shown(self.upper)}"
        if self.upper is None:
            return f"{shown(self.lower)} and above"
        return f"{shown(self.lower)} to {shown(self.upper)}"


Span = tuple[Decimal, Decimal]
"""From a lower to an upper figure, both ends included."""

INSTRUMENT_BUILDS = ("fixed", "portable")
"""How an instrument may be built, where a criterion permits some only."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """One requirement. Zones, where given, replace minimum and maximum.

    ``resolution`` is the step a value is rounded to; without one, the last place of each limit.
    ``instruments`` are the permitted builds (empty: any); ``standards_apart`` the least distance of
    two standards about the limits; ``possible`` and ``usual`` the figures that can be and that are
    to be expected; ``correction`` the code of the correction table that must be applied; ``rise``
    the expected difference from the baseline, beyond which there is a note. All in ``unit``.
    ``source`` and ``obtained`` are the criterion's own; None: the entry's stand.
    """

    quantity: Quantity
    unit: str
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    statistic: Statistic = Statistic.EACH
    readings_min: int = 1
    range_max: Decimal | None = None
    rounding: RoundingMethod = RoundingMethod.ROUNDING
    resolution: Decimal | None = None
    zones: tuple[Zone, ...] = ()
    instruments: tuple[str, ...] = ()
    standards_apart: Decimal | None = None
    possible: Span | None = None
    usual: Span | None = None
    correction: str | None = None
    rise: Span | None = None
    source: str | None = None
    obtained: Obtained | None = None


@dataclass(frozen=True, slots=True)
class RetestRule:
    """How many further coupons, or sets of readings, must all conform.

    ``by_another``: somebody else than who took the first readings measures them.
    """

    further: int
    of: RetestOf
    by_another: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of a table, with the document it came from.

    ``depths_needed`` is the least coupon thickness in standard depths of penetration.
    """

    key: EntryKey
    criteria: tuple[Criterion, ...]
    source: str
    obtained: Obtained
    decision: DecisionRule = DecisionRule.SIMPLE
    retest: RetestRule | None = None
    depths_needed: Decimal = DEPTHS_NEEDED


@dataclass(frozen=True, slots=True)
class Table:
    """An acceptance table at one revision.

    ``blind``: limits are not shown to who measures until the readings are in.
    """

    name: str
    revision: str
    entries: tuple[Entry, ...]
    blind: bool = False
