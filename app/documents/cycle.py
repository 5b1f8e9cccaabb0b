"""CYCLE.json: a furnace cycle as a paper, and the cycle it asks for in degC."""

import itertools
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, model_validator

from app.documents.paper import FigureIn, Paper, load_paper, load_paper_file, paper_from
from app.judging.record.cycle import Ageing, Cycle, ExcursionRule, RateLimit, Stage, VacuumLimit

FREEZING_F = Decimal(32)
COLDEST_C = Decimal("-273.15")
Unit = Literal["C", "F"]
Name = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


def _not_below_zero(figure: Decimal) -> Decimal:
    if figure < 0:
        raise ValueError(f"expected 0 or more, found {figure}")
    return figure


def _above_zero(figure: Decimal) -> Decimal:
    if figure <= 0:
        raise ValueError(f"expected more than 0, found {figure}")
    return figure


NotBelowZero = Annotated[FigureIn, AfterValidator(_not_below_zero)]
AboveZero = Annotated[FigureIn, AfterValidator(_above_zero)]


def celsius(figure: Decimal, unit: Unit) -> float:
    """A temperature in degC."""
    return float(figure if unit == "C" else (figure - FREEZING_F) * 5 / 9)


def celsius_step(figure: Decimal, unit: Unit) -> float:
    """A difference of temperatures in degC: 1 degF step = 5/9 degC."""
    return float(figure if unit == "C" else figure * 5 / 9)


class StagePaper(Paper):
    """One soak: set temperature, tolerance below and above, shortest and longest soak."""

    set: FigureIn
    below: NotBelowZero
    above: NotBelowZero
    soak_min_s: NotBelowZero
    soak_max_s: NotBelowZero | None = None

    @model_validator(mode="after")
    def _longest_is_not_shorter(self) -> Self:
        if self.soak_max_s is not None and self.soak_max_s < self.soak_min_s:
            raise ValueError(
                f"soak_max_s {self.soak_max_s} is less than soak_min_s {self.soak_min_s}; correct "
                f"one of them"
            )
        return self


class ExcursionPaper(Paper):
    """Permitted excursions: length of each, depth beyond the band, and their total."""

    longest_s: NotBelowZero
    beyond: NotBelowZero
    total_s: NotBelowZero


class RatePaper(Paper):
    """The fastest heating or cooling permitted, over a window."""

    max_per_min: AboveZero
    window_s: AboveZero


class VacuumPaper(Paper):
    """The lowest bag vacuum (kPa below ambient) and the span it holds in."""

    column: Name
    min_kpa: NotBelowZero
    begins: Literal["start", "soak_start"] = Field(alias="from")
    ends: Literal["soak_end", "end"] = Field(alias="to")


class AgeingPaper(Paper):
    """Parameters and limits of the equivalent time."""

    activation_energy_j_per_mol: AboveZero
    reference: FigureIn
    min_s: NotBelowZero | None = None
    max_s: NotBelowZero | None = None

    @model_validator(mode="after")
    def _most_is_not_less(self) -> Self:
        if self.min_s is not None and self.max_s is not None and self.max_s < self.min_s:
            raise ValueError(
                f"max_s {self.max_s} is less than min_s {self.min_s}; correct one of them"
            )
        return self


Point = tuple[FigureIn, FigureIn]


class CyclePaper(Paper):
    """A furnace cycle; every temperature is in ``temperature_unit``."""

    name: Name
    temperature_unit: Unit = "C"
    stages: tuple[StagePaper, ...]
    sensors: tuple[Name, ...]
    max_gap_s: NotBelowZero
    corrections: Annotated[
        dict[str, tuple[Point, ...]], BeforeValidator(lambda raw: {} if raw is None else raw)
    ] = Field(default_factory=dict)
    excursions: ExcursionPaper | None = None
    heating_rate: RatePaper | None = None
    cooling_rate: RatePaper | None = None
    vacuum: VacuumPaper | None = None
    ageing: AgeingPaper | None = None

    @model_validator(mode="after")
    def _stands_together(self) -> Self:
        if not self.stages:
            raise ValueError("stages is empty; give at least one stage")
        if not self.sensors:
            raise ValueError("sensors is empty; name at least one required sensor")
        for at, name in enumerate(self.sensors):
            if name in self.sensors[:at]:
                raise ValueError(f"sensors names {name} twice; keep one of them")
        if self.vacuum is not None and self.vacuum.column in self.sensors:
            raise ValueError(
                f"vacuum.column {self.vacuum.column} is a temperature sensor as well; name the "
                f"vacuum's own column"
            )
        for name, points in self.corrections.items():
            self._check_correction(name, points)
        self._check_temperatures()
        return self

    def _check_correction(self, name: str, points: tuple[Point, ...]) -> None:
        """Refuse a correction that is for no sensor, or whose points do not rise."""
        if name not in self.sensors:
            raise ValueError(
                f"corrections.{name}: there is no such sensor among {', '.join(self.sensors)}; "
                f"correct its name or remove it"
            )
        if not points:
            raise ValueError(f"corrections.{name} is empty; give a point or remove it")
        for (before, _), (point, _) in itertools.pairwise(points):
            if point <= before:
                raise ValueError(
                    f"corrections.{name}: {point} follows {before}; give the points in rising "
                    f"order of temperature, each once"
                )

    def _check_temperatures(self) -> None:
        """Refuse temperatures below absolute zero: they are a slip of the keyboard."""
        given = {f"stages[{at}].set": stage.set for at, stage in enumerate(self.stages)}
        if self.ageing is not None:
            given["ageing.reference"] = self.ageing.reference
        for field, figure in given.items():
            if celsius(figure, self.temperature_unit) <= COLDEST_C:
                raise ValueError(
                    f"{field}: {figure} deg{self.temperature_unit} is below absolute zero; correct "
                    f"it"
                )


def load_cycle(text: str | bytes, *, filename: str) -> CyclePaper:
    """The cycle's paper from JSON text.

    Raises:
        BadFile: one sentence naming file and field.
    """
    return load_paper(CyclePaper, text, filename=filename)


def load_cycle_file(path: Path) -> CyclePaper:
    """The cycle's paper from a file.

    Raises:
        BadFile: one sentence naming file and field.
    """
    return load_paper_file(CyclePaper, path)


def cycle_paper_from(content: object, *, filename: str) -> CyclePaper:
    """The cycle's paper from JSON values.

    Raises:
        BadFile: one sentence naming file and field.
    """
    return paper_from(CyclePaper, content, filename=filename)


def cycle_of(paper: CyclePaper) -> Cycle:
    """The cycle the paper asks for, in degC."""
    unit = paper.temperature_unit
    return Cycle(
        name=paper.name,
        stages=tuple(_stage(stage, unit) for stage in paper.stages),
        sensors=paper.sensors,
        max_gap_s=float(paper.max_gap_s),
        corrections={
            name: tuple((celsius(at, unit), celsius_step(by, unit)) for at, by in points)
            for name, points in paper.corrections.items()
        },
        excursions=_excursions(paper.excursions, unit),
        heating_rate=_rate(paper.heating_rate, unit),
        cooling_rate=_rate(paper.cooling_rate, unit),
        vacuum=_vacuum(paper.vacuum),
        ageing=_ageing(paper.ageing, unit),
    )


def columns_needed(paper: CyclePaper) -> tuple[str, ...]:
    """The columns of a record that the cycle judges: its sensors and its vacuum."""
    return paper.sensors if paper.vacuum is None else (*paper.sensors, paper.vacuum.column)


def _stage(stage: StagePaper, unit: Unit) -> Stage:
    return Stage(
        celsius(stage.set, unit),
        celsius_step(stage.below, unit),
        celsius_step(stage.above, unit),
        float(stage.soak_min_s),
        _float(stage.soak_max_s),
    )


def _excursions(rule: ExcursionPaper | None, unit: Unit) -> ExcursionRule | None:
    if rule is None:
        return None
    depth = celsius_step(rule.beyond, unit)
    return ExcursionRule(float(rule.longest_s), depth, float(rule.total_s))


def _rate(rate: RatePaper | None, unit: Unit) -> RateLimit | None:
    if rate is None:
        return None
    return RateLimit(celsius_step(rate.max_per_min, unit), float(rate.window_s))


def _vacuum(vacuum: VacuumPaper | None) -> VacuumLimit | None:
    if vacuum is None:
        return None
    return VacuumLimit(vacuum.column, float(vacuum.min_kpa), vacuum.begins, vacuum.ends)


def _ageing(ageing: AgeingPaper | None, unit: Unit) -> Ageing | None:
    if ageing is None:
        return None
    return Ageing(
        float(ageing.activation_energy_j_per_mol),
        celsius(ageing.reference, unit),
        _float(ageing.min_s),
        _float(ageing.max_s),
    )


def _float(figure: Decimal | None) -> float | None:
    return None if figure is None else float(figure)
