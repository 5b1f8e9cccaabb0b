"""A shop's pyrometry procedure: classes, intervals and limits as its own paper states them. Pure.

No figure of any standard stands in the program: what a class means, how often a furnace is checked
and how far a test may be off come from this paper, with the source of each.

Source: the judging rules, 4.5.1.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise

from app.errors import Refusal
from app.judging.furnace.intervals import Every, MonthEnd, due_on, last_good_day
from app.judging.rounding import shown
from app.judging.witness.acceptance import Obtained


class CheckKind(StrEnum):
    """The three checks a furnace must have in date."""

    UNIFORMITY_SURVEY = "uniformity survey"
    ACCURACY_TEST = "system accuracy test"
    RECORDER_CALIBRATION = "recorder calibration"


class InstrumentKind(StrEnum):
    """What is calibrated besides the furnace."""

    SENSOR = "sensor"
    VACUUM_GAUGE = "vacuum gauge"


@dataclass(frozen=True, slots=True)
class Sourced:
    """Where a figure comes from: document, revision, clause; and how it came here."""

    source: str
    obtained: Obtained


@dataclass(frozen=True, slots=True)
class ClassRule:
    """A furnace class: within how many degC of the set temperature the zone stays, either way."""

    furnace_class: str
    uniformity_c: Decimal
    origin: Sourced


@dataclass(frozen=True, slots=True)
class CheckInterval:
    """How often a check is made; class or type None: whatever the furnace's is."""

    kind: CheckKind
    furnace_class: str | None
    instrumentation_type: str | None
    every: Every
    origin: Sourced

    def covers(self, furnace_class: str, instrumentation_type: str) -> bool:
        """Whether the row speaks for a furnace of that class and type."""
        return self.furnace_class in {None, furnace_class} and self.instrumentation_type in {
            None,
            instrumentation_type,
        }

    @property
    def key_words(self) -> str:
        """The row's key as spoken: "uniformity survey of class 2, type D"."""
        named = self.furnace_class or "any"
        return f"{self.kind} of class {named}, type {self.instrumentation_type or 'any'}"


@dataclass(frozen=True, slots=True)
class InstrumentInterval:
    """How often an instrument of a kind is calibrated."""

    kind: InstrumentKind
    every: Every
    origin: Sourced


@dataclass(frozen=True, slots=True)
class SensorsLeast:
    """The least number of survey sensors up to a zone's area, included; None: however large."""

    up_to_m2: Decimal | None
    least: int


@dataclass(frozen=True, slots=True)
class SurveyRule:
    """What a uniformity survey needs besides staying within its class."""

    sensors_least: tuple[SensorsLeast, ...]
    origin: Sourced


@dataclass(frozen=True, slots=True)
class LargestError:
    """The largest permitted difference in degC, either way; class None: of every class."""

    furnace_class: str | None
    largest_c: Decimal
    origin: Sourced


@dataclass(frozen=True, slots=True)
class EventRule:
    """Which checks a kind of work on the furnace asks for."""

    event: str
    asks_for: tuple[CheckKind, ...]
    origin: Sourced


@dataclass(frozen=True, slots=True)
class SensorLife:
    """How long a load sensor may serve: in uses, in time since its first use, or both."""

    largest_uses: int | None
    largest_age: Every | None
    origin: Sourced


@dataclass(frozen=True, slots=True)
class Procedure:
    """A pyrometry procedure at one revision. `check_procedure` says whether it holds together."""

    name: str
    revision: str
    month_end: MonthEnd
    due_day_counts: bool
    early_warning_days: int
    instrumentation_types: tuple[str, ...]
    classes: tuple[ClassRule, ...]
    intervals: tuple[CheckInterval, ...]
    instruments: tuple[InstrumentInterval, ...]
    survey: SurveyRule
    accuracy_test: tuple[LargestError, ...]
    recorder: tuple[LargestError, ...]
    maintenance: tuple[EventRule, ...]
    sensor_life: SensorLife | None = None

    @property
    def title(self) -> str:
        """Name and revision: "PP-1 revision B"."""
        return f"{self.name} revision {self.revision}"

    def class_rule(self, furnace_class: str) -> ClassRule | None:
        """The class's row, or None."""
        return next((row for row in self.classes if row.furnace_class == furnace_class), None)

    def interval(
        self, kind: CheckKind, furnace_class: str, instrumentation_type: str
    ) -> CheckInterval | None:
        """The one row for a check of such a furnace, or None."""
        found = (row for row in self.intervals if row.kind is kind)
        return next((row for row in found if row.covers(furnace_class, instrumentation_type)), None)

    def instrument_interval(self, kind: InstrumentKind) -> InstrumentInterval | None:
        """The row for instruments of a kind, or None."""
        return next((row for row in self.instruments if row.kind is kind), None)

    def accuracy_limit(self, furnace_class: str) -> LargestError | None:
        """The largest difference a system accuracy test may show, or None."""
        return _limit_of(self.accuracy_test, furnace_class)

    def recorder_limit(self, furnace_class: str) -> LargestError | None:
        """The largest error a recorder may have, or None."""
        return _limit_of(self.recorder, furnace_class)

    def sensors_least(self, area_m2: Decimal) -> int | None:
        """The least number of survey sensors for a zone; None where the paper stops short."""
        for row in self.survey.sensors_least:
            if row.up_to_m2 is None or area_m2 <= row.up_to_m2:
                return row.least
        return None

    def asked_by(self, event: str) -> EventRule | None:
        """What a kind of work asks for; None where the paper does not know it."""
        return next((row for row in self.maintenance if row.event == event), None)

    def last_day_of(self, done_on: date, every: Every) -> date:
        """The last day, included, on which something done on a day is still in date."""
        due = due_on(done_on, every, self.month_end)
        return last_good_day(due, due_day_counts=self.due_day_counts)

    def last_day_of_instrument(self, kind: InstrumentKind, done_on: date) -> date | None:
        """The last day, included, on which a calibration holds; None without a row."""
        row = self.instrument_interval(kind)
        return None if row is None else self.last_day_of(done_on, row.every)


def check_procedure(procedure: Procedure) -> None:
    """Refuse a procedure that says two things of one key, or names what it does not define.

    A class and type without a row in the interval table is allowed: it refuses such a furnace.

    Raises:
        Refusal: one sentence naming the row and what to do.
    """
    _check_no_repeats("classes", (row.furnace_class for row in procedure.classes))
    _check_no_repeats("instrumentation_types", procedure.instrumentation_types)
    _check_no_repeats("instruments", (row.kind.value for row in procedure.instruments))
    _check_no_repeats("maintenance", (row.event for row in procedure.maintenance))
    _check_intervals(procedure)
    for field, rows in (
        ("accuracy_test", procedure.accuracy_test),
        ("recorder", procedure.recorder),
    ):
        _check_limits(field, rows, procedure)
    _check_sensors_least(procedure.survey.sensors_least)


def _limit_of(rows: Iterable[LargestError], furnace_class: str) -> LargestError | None:
    return next((row for row in rows if row.furnace_class in {None, furnace_class}), None)


def _check_no_repeats(field: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise Refusal(f"{field} has {name!r} twice; keep one of them.")
        seen.add(name)


def _check_intervals(procedure: Procedure) -> None:
    for at, row in enumerate(procedure.intervals):
        _check_class_known(f"intervals[{at}]", row.furnace_class, procedure)
        letter = row.instrumentation_type
        if letter is not None and letter not in procedure.instrumentation_types:
            raise Refusal(
                f"intervals[{at}]: type {letter!r} is not among instrumentation_types; add it "
                "there or correct it here."
            )
        for before, other in enumerate(procedure.intervals[:at]):
            if _overlap(row, other):
                raise Refusal(
                    f"intervals[{before}] ({other.key_words}) and intervals[{at}] "
                    f"({row.key_words}) both speak for the same furnace; keep one of them."
                )


def _overlap(one: CheckInterval, other: CheckInterval) -> bool:
    pairs = (
        (one.furnace_class, other.furnace_class),
        (one.instrumentation_type, other.instrumentation_type),
    )
    return one.kind is other.kind and all(None in pair or pair[0] == pair[1] for pair in pairs)


def _check_limits(field: str, rows: tuple[LargestError, ...], procedure: Procedure) -> None:
    names = [row.furnace_class for row in rows]
    for at, name in enumerate(names):
        _check_class_known(f"{field}[{at}]", name, procedure)
        if name in names[:at] or (None in names and len(names) > 1):
            raise Refusal(
                f"{field} has two rows for class {name or 'any'}; keep one row a class, or one "
                "row without a class."
            )


def _check_class_known(where: str, furnace_class: str | None, procedure: Procedure) -> None:
    if furnace_class is not None and procedure.class_rule(furnace_class) is None:
        raise Refusal(
            f"{where}: class {furnace_class!r} is not among classes; add it there or correct it "
            "here."
        )


def _check_sensors_least(rows: tuple[SensorsLeast, ...]) -> None:
    if not rows:
        raise Refusal("survey.sensors_least is empty; say how many sensors a survey needs.")
    for before, row in pairwise(rows):
        if before.up_to_m2 is None:
            raise Refusal("survey.sensors_least goes on after its row without an end; remove one.")
        if row.up_to_m2 is not None and row.up_to_m2 <= before.up_to_m2:
            raise Refusal(
                f"survey.sensors_least: {shown(row.up_to_m2)} m2 follows "
                f"{shown(before.up_to_m2)} m2; give the areas in rising order, each once."
            )
