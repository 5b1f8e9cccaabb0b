"""Sensors and gauges through the load, a sensor's life, and positions in the surveyed zone."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from app.judging.furnace.calibrations import (
    CertificateOnRecord,
    InstrumentOnRecord,
    judge_calibrations,
    judge_sensor_life,
)
from app.judging.furnace.furnace_checks import Review
from app.judging.furnace.procedure import InstrumentKind
from app.judging.furnace.zone import Position, Zone, judge_zone
from app.judging.verdict import Outcome
from tests.judging.procedure_makers import procedure

START, END = date(2031, 6, 1), date(2031, 6, 2)
GOOD = CertificateOnRecord(
    date(2031, 1, 15), date(2041, 1, 1), "Rune Adair", Review("Ines Valcourt", accepted=True), "C-1"
)


def sensor(name: str = "TC1", *certificates: CertificateOnRecord, **changes) -> InstrumentOnRecord:
    whole = InstrumentOnRecord(InstrumentKind.SENSOR, name, certificates or (GOOD,))
    return replace(whole, **changes)


def judged(*instruments, kind=InstrumentKind.SENSOR, by=None, ends=END, starts=START):
    return judge_calibrations(
        kind, instruments, procedure() if by is None else by, starts_on=starts, ends_on=ends
    )


def test_sensors_in_calibration_through_the_end_conform() -> None:
    start, through = judged(sensor(), sensor("TC2"))
    assert (start.code, through.code) == ("sensors.calibration", "sensors.through_end")
    assert (start.outcome, through.outcome) == (Outcome.CONFORMS, Outcome.CONFORMS)
    assert start.text == "In calibration on 2031-06-01: TC1, TC2."
    assert "TC1: calibrated on 2031-01-15, in date until 2031-07-15" in start.working[0]


@pytest.mark.parametrize(
    ("start", "end", "at_start", "through"),
    [
        (date(2031, 7, 15), date(2031, 7, 15), Outcome.CONFORMS, Outcome.CONFORMS),
        (date(2031, 7, 15), date(2031, 7, 16), Outcome.CONFORMS, Outcome.NOT_PROVEN),
        (date(2031, 7, 16), date(2031, 7, 16), Outcome.DOES_NOT_CONFORM, Outcome.NOT_PROVEN),
        (date(2031, 7, 15), None, Outcome.CONFORMS, Outcome.NOT_PROVEN),
    ],
)
def test_the_last_day_is_included(
    start: date, end: date | None, at_start: Outcome, through: Outcome
) -> None:
    found = judged(sensor(), starts=start, ends=end)
    assert tuple(finding.outcome for finding in found) == (at_start, through)


@pytest.mark.parametrize(
    ("certificate", "sentence"),
    [
        (replace(GOOD, review=None), "certificate of TC2 of 2031-01-15 was entered by Rune Adair"),
        (
            replace(GOOD, review=Review("Rune Adair", accepted=True)),
            "and nobody else has reviewed it",
        ),
        (replace(GOOD, review=Review("Ines Valcourt", accepted=False)), "was refused by Ines"),
        (replace(GOOD, done_on=date(2031, 6, 3)), "is later than the load of 2031-06-01"),
    ],
)
def test_a_certificate_nobody_else_has_accepted_is_no_certificate(
    certificate: CertificateOnRecord, sentence: str
) -> None:
    start, through = judged(sensor(), sensor("TC2", certificate))
    assert (start.outcome, through.outcome) == (Outcome.NOT_PROVEN, Outcome.NOT_PROVEN)
    assert sentence in start.text


def test_the_earlier_of_stated_and_counted_day_holds() -> None:
    stated = replace(GOOD, due_on=date(2031, 6, 1))
    start, through = judged(sensor("TC1", stated))
    assert (start.outcome, through.outcome) == (Outcome.CONFORMS, Outcome.NOT_PROVEN)
    assert through.text == ("Runs out before the load's end on 2031-06-02: TC1 (until 2031-06-01).")


def test_overdue_goes_before_missing() -> None:
    none = replace(sensor("TC3"), certificates=())
    start, _ = judged(sensor("TC1", replace(GOOD, due_on=date(2031, 5, 31))), none)
    assert start.outcome is Outcome.DOES_NOT_CONFORM
    assert start.text == "Overdue for calibration on 2031-06-01: TC1 (until 2031-05-31)."
    start, _ = judged(sensor(), none, replace(none, name="TC4"))
    assert start.text == "Not shown to be in calibration on 2031-06-01: TC3, TC4."


def test_gauges_have_their_own_interval_and_codes() -> None:
    gauge = replace(sensor("VG-1"), kind=InstrumentKind.VACUUM_GAUGE)
    start, through = judged(gauge, kind=InstrumentKind.VACUUM_GAUGE, starts=date(2032, 1, 15))
    assert (start.code, through.code) == ("gauge.calibration", "gauge.through_end")
    assert start.outcome is Outcome.CONFORMS
    start, _ = judged(kind=InstrumentKind.VACUUM_GAUGE)
    assert start.text == "No vacuum gauge is on record for the load."
    assert start.outcome is Outcome.NOT_PROVEN


def test_without_an_interval_nothing_is_proven() -> None:
    start, _ = judged(sensor(), by=procedure(instruments=[]))
    assert start.outcome is Outcome.NOT_PROVEN
    start, _ = judge_calibrations(
        InstrumentKind.SENSOR, [sensor()], None, starts_on=START, ends_on=END
    )
    assert start.outcome is Outcome.NOT_PROVEN


@pytest.mark.parametrize(
    ("uses", "first", "outcome"),
    [
        (30, date(2030, 6, 1), Outcome.CONFORMS),
        (31, date(2030, 6, 1), Outcome.DOES_NOT_CONFORM),
        (30, date(2030, 5, 31), Outcome.DOES_NOT_CONFORM),
        (None, date(2030, 6, 1), Outcome.NOT_PROVEN),
        (30, None, Outcome.NOT_PROVEN),
        (31, None, Outcome.DOES_NOT_CONFORM),
    ],
)
def test_a_sensor_s_life_limits_included(
    uses: int | None, first: date | None, outcome: Outcome
) -> None:
    one = sensor(uses=uses, first_used_on=first)
    (found,) = judge_sensor_life([one], procedure(), starts_on=START)
    assert found.outcome is outcome
    assert found.code == "sensors.life"


def test_no_limit_of_life_no_finding() -> None:
    assert judge_sensor_life([sensor()], procedure(sensor_life=None), starts_on=START) == ()
    (found,) = judge_sensor_life([], procedure(), starts_on=START)
    assert found.outcome is Outcome.NOT_PROVEN


ZONE = Zone(Decimal(2000), Decimal(1000), Decimal(100), Decimal(50))


def place(name: str, x: str | None, y: str | None) -> Position:
    return Position(name, *(None if at is None else Decimal(at) for at in (x, y)))


@pytest.mark.parametrize(
    ("x", "y", "outcome"),
    [
        ("100", "50", Outcome.CONFORMS),
        ("2100", "1050", Outcome.CONFORMS),
        ("99.9", "50", Outcome.DOES_NOT_CONFORM),
        ("2100.1", "1050", Outcome.DOES_NOT_CONFORM),
        ("1000", "1050.1", Outcome.DOES_NOT_CONFORM),
        ("1000", "49", Outcome.DOES_NOT_CONFORM),
        (None, "50", Outcome.NOT_PROVEN),
        ("500", None, Outcome.NOT_PROVEN),
    ],
)
def test_positions_inside_the_zone_edges_included(
    x: str | None, y: str | None, outcome: Outcome
) -> None:
    found = judge_zone([place("NE", "500", "500"), place("SW", x, y)], ZONE)
    assert found.outcome is outcome
    assert (found.outcome is Outcome.CONFORMS) == ("SW" not in found.text)


def test_outside_goes_before_unknown() -> None:
    found = judge_zone([place("A", None, "5"), place("B", "5", "5"), place("C", "6", "6")], ZONE)
    assert found.outcome is Outcome.DOES_NOT_CONFORM
    assert found.text == "Outside the surveyed zone: B and C."
    assert "A at x not on record, y 5" in found.working


def test_no_zone_or_no_position_is_not_proven() -> None:
    assert judge_zone([place("A", "500", "500")], None).outcome is Outcome.NOT_PROVEN
    assert judge_zone([], ZONE).outcome is Outcome.NOT_PROVEN
