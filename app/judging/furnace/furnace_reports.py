"""Reports on a furnace judged against its pyrometry procedure: survey, accuracy test, calibration.

Pure. Every figure is a `Decimal` as typed. A deviation is rounded once, to the last place of its
limit, and then compared, limit included (the judging rules, 2).

Source: the judging rules, 4.5.3.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NoReturn

from app.errors import Refusal
from app.judging.furnace.procedure import LargestError, Procedure
from app.judging.furnace.survey_plan import span_notes
from app.judging.furnace.thermocouples import temperature_c
from app.judging.furnace.zone import Zone
from app.judging.rounding import last_place, round_to_place, shown
from app.judging.verdict import Finding, Outcome
from app.judging.wording import listed


@dataclass(frozen=True, slots=True)
class SensorResult:
    """What one survey sensor read while the furnace was held at a set temperature, in degC.

    ``lowest_c`` and ``highest_c`` are corrected values; ``correction_c`` is what was added to them,
    for the working alone, and is never added again. Both None: the sensor failed.
    """

    station: str
    x_mm: Decimal
    y_mm: Decimal
    lowest_c: Decimal | None
    highest_c: Decimal | None
    correction_c: Decimal | None = None
    z_mm: Decimal | None = None


@dataclass(frozen=True, slots=True)
class SurveyAt:
    """The survey at one set temperature in degC."""

    set_c: Decimal
    results: tuple[SensorResult, ...]


@dataclass(frozen=True, slots=True)
class Survey:
    """A uniformity survey: the zone and the set temperatures it was made at."""

    zone: Zone
    temperatures: tuple[SurveyAt, ...]


@dataclass(frozen=True, slots=True)
class AccuracyReading:
    """One reading of a system accuracy test: the test instrument (corrected) and the system."""

    channel: str
    test_c: Decimal
    indicated_c: Decimal


@dataclass(frozen=True, slots=True)
class Millivolts:
    """A voltage applied in a thermocouple's place; the reference junction is at 0 degC or stated.

    ``letter`` is the thermocouple type the channel is set to.
    """

    voltage_mv: Decimal
    letter: str
    reference_c: Decimal = Decimal(0)

    def temperature_c(self) -> Decimal:
        """The temperature it stands for on the ITS-90."""
        return temperature_c(self.letter, self.voltage_mv, reference_c=self.reference_c)


@dataclass(frozen=True, slots=True)
class RecorderPoint:
    """One point of a recorder's calibration: what was applied (degC or mV) and what it showed."""

    channel: str
    applied: Decimal | Millivolts
    indicated_c: Decimal


@dataclass(frozen=True, slots=True)
class SurveyedRange:
    """The lowest and the highest set temperature that a survey was made at, in degC."""

    lowest_c: Decimal
    highest_c: Decimal

    def covers(self, set_c: Decimal) -> bool:
        """Whether a set temperature lies within it, ends included."""
        return self.lowest_c <= set_c <= self.highest_c


def surveyed_range(survey: Survey) -> SurveyedRange | None:
    """The range of set temperatures of a survey; None where it has none."""
    sets = [at.set_c for at in survey.temperatures]
    return SurveyedRange(min(sets), max(sets)) if sets else None


def judge_survey(
    survey: Survey, procedure: Procedure, *, furnace_class: str
) -> tuple[Finding, ...]:
    """A survey against the class: uniformity and number of sensors at each set temperature.

    Uniformity: the coldest and the hottest reading of every sensor within the class's tolerance of
    the set temperature, limit included. Too few sensors that read, a class that the procedure does
    not know, or no set temperature at all: not proven. How the sensors span the zone is a note.

    Raises:
        Refusal: a sensor's lowest is above its highest, only one of the two is given, or a set
            temperature or a station stands twice.
    """
    _check_survey(survey)
    if not survey.temperatures:
        says = "The survey has no set temperature; enter its results."
        return (Finding("survey.uniformity", Outcome.NOT_PROVEN, says),)
    findings: list[Finding] = []
    for at in survey.temperatures:
        findings.append(_uniformity(at, procedure, furnace_class))
        findings.append(_sensors(at, survey.zone, procedure))
        places = [
            (result.station, result.x_mm, result.y_mm)
            for result in at.results
            if result.lowest_c is not None
        ]
        findings += span_notes(places, survey.zone, where=f"at {shown(at.set_c)} degC")
    return tuple(findings)


def judge_accuracy_test(
    readings: Sequence[AccuracyReading],
    procedure: Procedure,
    *,
    furnace_class: str,
    channels: Sequence[str],
) -> tuple[Finding, ...]:
    """A finding a channel: indicated minus test temperature within the procedure's difference.

    ``channels`` are those that the test must cover; one without a reading is not proven.
    """
    points = [
        _Point(one.channel, one.test_c, shown(one.test_c), one.indicated_c) for one in readings
    ]
    limit = procedure.accuracy_limit(furnace_class)
    asked = _Asked("accuracy_test.difference", "largest difference", "test instrument")
    return _judge_channels(points, limit, furnace_class, channels, asked)


def judge_recorder_calibration(
    points: Sequence[RecorderPoint],
    procedure: Procedure,
    *,
    furnace_class: str,
    channels: Sequence[str],
) -> tuple[Finding, ...]:
    """A finding a channel: indicated minus applied temperature within the procedure's error.

    Millivolts are turned into degC by the reference function of the type (ITS-90). ``channels``
    are those that the calibration must cover; one without a point is not proven.

    Raises:
        Refusal: a voltage is outside its thermocouple's range, or the type is unknown.
    """
    plain = [_applied(one) for one in points]
    limit = procedure.recorder_limit(furnace_class)
    asked = _Asked("recorder.error", "largest error", "applied")
    return _judge_channels(plain, limit, furnace_class, channels, asked)


@dataclass(frozen=True, slots=True)
class _Point:
    """A channel's true temperature, how it is written, and what the channel indicated."""

    channel: str
    true_c: Decimal
    true_words: str
    indicated_c: Decimal


@dataclass(frozen=True, slots=True)
class _Asked:
    """Which rule is judged, and its words."""

    code: str
    name: str
    against: str


def _applied(point: RecorderPoint) -> _Point:
    if isinstance(point.applied, Decimal):
        return _Point(point.channel, point.applied, shown(point.applied), point.indicated_c)
    given = point.applied
    solved = given.temperature_c()
    words = (
        f"{shown(given.voltage_mv)} mV of type {given.letter}, reference junction at "
        f"{shown(given.reference_c)} degC, is {shown(solved.quantize(Decimal('0.001')))}"
    )
    return _Point(point.channel, solved, words, point.indicated_c)


def _judge_channels(
    points: Sequence[_Point],
    limit: LargestError | None,
    furnace_class: str,
    channels: Sequence[str],
    asked: _Asked,
) -> tuple[Finding, ...]:
    named = list(dict.fromkeys([*channels, *(point.channel for point in points)]))
    if limit is None:
        says = f"The pyrometry procedure states no {asked.name} for class {furnace_class}."
        return (Finding(asked.code, Outcome.NOT_PROVEN, says),)
    if not named:
        return (Finding(asked.code, Outcome.NOT_PROVEN, "No channel was read; enter the points."),)
    of_channel = {name: [point for point in points if point.channel == name] for name in named}
    return tuple(_judge_channel(name, of_channel[name], limit, asked) for name in named)


def _judge_channel(
    channel: str, points: Sequence[_Point], limit: LargestError, asked: _Asked
) -> Finding:
    if not points:
        says = f"{channel} was not read; the {asked.name} is asked of it too."
        return Finding(asked.code, Outcome.NOT_PROVEN, says, source=limit.origin.source)
    largest, place = limit.largest_c, last_place(limit.largest_c)
    errors = [round_to_place(point.indicated_c - point.true_c, to=place) for point in points]
    furthest = max(errors, key=abs)
    met = abs(furthest) <= largest
    return Finding(
        code=asked.code,
        outcome=Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM,
        text=(
            f"{channel} is {_signed(furthest)} degC from the {asked.against} at most, "
            f"{'within' if met else 'beyond'} the permitted {shown(largest)} degC."
        ),
        value=shown(furthest),
        limit=shown(largest),
        unit="degC",
        source=limit.origin.source,
        working=(
            *(
                f"indicated {shown(point.indicated_c)}, {asked.against} {point.true_words} degC: "
                f"{_signed(error)}, to the nearest {shown(place)} (ties to even)"
                for point, error in zip(points, errors, strict=True)
            ),
            f"|{shown(furthest)}| {'<=' if met else '>'} {shown(largest)}",
        ),
    )


def _uniformity(at: SurveyAt, procedure: Procedure, furnace_class: str) -> Finding:
    code, where = "survey.uniformity", f"At {shown(at.set_c)} degC"
    rule = procedure.class_rule(furnace_class)
    if rule is None:
        says = f"The pyrometry procedure does not say what class {furnace_class} means."
        return Finding(code, Outcome.NOT_PROVEN, says)
    read = [
        (one.station, one.lowest_c, one.highest_c)
        for one in at.results
        if one.lowest_c is not None and one.highest_c is not None
    ]
    if not read:
        return Finding(code, Outcome.NOT_PROVEN, f"{where} no sensor was read.")
    cold_at, coldest = min(((name, low) for name, low, _ in read), key=lambda one: one[1])
    hot_at, hottest = max(((name, high) for name, _, high in read), key=lambda one: one[1])
    tolerance, place = rule.uniformity_c, last_place(rule.uniformity_c)
    below, above = (round_to_place(end - at.set_c, to=place) for end in (coldest, hottest))
    furthest = max(below, above, key=abs)
    met = abs(furthest) <= tolerance
    return Finding(
        code=code,
        outcome=Outcome.CONFORMS if met else Outcome.DOES_NOT_CONFORM,
        text=(
            f"{where} the coldest station, {cold_at}, fell to {shown(coldest)} degC and the "
            f"hottest, {hot_at}, rose to {shown(hottest)} degC, a spread of "
            f"{shown(hottest - coldest)} degC: {'within' if met else 'beyond'} "
            f"{shown(tolerance)} degC of the set temperature, as class {furnace_class} asks."
        ),
        value=shown(furthest),
        limit=shown(tolerance),
        unit="degC",
        source=rule.origin.source,
        working=(
            *(_read_words(one) for one in at.results),
            (
                f"coldest {shown(coldest)} - {shown(at.set_c)} = {_signed(below)}, hottest "
                f"{shown(hottest)} - {shown(at.set_c)} = {_signed(above)}, to the nearest "
                f"{shown(place)} (ties to even)"
            ),
            f"|{shown(furthest)}| {'<=' if met else '>'} {shown(tolerance)}",
        ),
    )


def _read_words(one: SensorResult) -> str:
    if one.lowest_c is None or one.highest_c is None:
        return f"{one.station}: failed"
    added = "" if one.correction_c is None else f", correction {_signed(one.correction_c)} included"
    return f"{one.station}: {shown(one.lowest_c)} to {shown(one.highest_c)} degC{added}"


def _sensors(at: SurveyAt, zone: Zone, procedure: Procedure) -> Finding:
    code, where = "survey.sensors", f"at {shown(at.set_c)} degC"
    read = [one.station for one in at.results if one.lowest_c is not None]
    failed = [one.station for one in at.results if one.lowest_c is None]
    least, area = procedure.sensors_least(zone.area_m2), shown(zone.area_m2)
    lost = f"; {listed(failed)} failed" if failed else ""
    if least is None:
        outcome = Outcome.NOT_PROVEN
        says = f"The pyrometry procedure does not say how many sensors a zone of {area} m2 needs."
    elif len(read) >= least:
        outcome = Outcome.CONFORMS
        says = f"{len(read)} sensors read {where}{lost}; at least {least} are asked."
    else:
        outcome = Outcome.NOT_PROVEN
        says = f"Only {len(read)} sensors read {where}{lost}; at least {least} are asked."
    return Finding(
        code=code,
        outcome=outcome,
        text=says,
        value=str(len(read)),
        limit=None if least is None else str(least),
        unit="sensors",
        source=procedure.survey.origin.source,
        working=(f"zone of {shown(zone.length_mm)} by {shown(zone.width_mm)} mm: {area} m2",),
    )


def _check_survey(survey: Survey) -> None:
    sets = [at.set_c for at in survey.temperatures]
    for at in survey.temperatures:
        where = f"At {shown(at.set_c)} degC"
        if sets.count(at.set_c) > 1:
            _refuse(f"{where}: the set temperature stands twice; keep one of them.")
        stations = [one.station for one in at.results]
        for one in at.results:
            if stations.count(one.station) > 1:
                _refuse(f"{where}: station {one.station} stands twice; keep one of them.")
            if (one.lowest_c is None) != (one.highest_c is None):
                _refuse(
                    f"{where}, station {one.station}: give both its lowest and its highest "
                    "temperature, or neither where it failed."
                )
            if one.lowest_c is not None and one.highest_c is not None:
                _check_order(f"{where}, station {one.station}", one.lowest_c, one.highest_c)


def _check_order(where: str, lowest: Decimal, highest: Decimal) -> None:
    if lowest > highest:
        _refuse(
            f"{where}: the lowest, {shown(lowest)} degC, is above the highest, {shown(highest)} "
            "degC; correct one of them."
        )


def _refuse(sentence: str) -> NoReturn:
    raise Refusal(sentence)


def _signed(figure: Decimal) -> str:
    return format(figure, "+f")
