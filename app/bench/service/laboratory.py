"""Record what a laboratory measured on a coupon."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.bench import queries
from app.bench.queries.entry import TesterAt
from app.bench.queries.places import place_for
from app.bench.records import Reading
from app.bench.rules.plausibility import known_unit
from app.bench.service.figures import ReadingsTaken, judge_figures
from app.bench.service.readings import Saved, keep_readings, recorded_before, same_again
from app.bench.service.sessions import refuse_fields
from app.database import Database
from app.errors import Refusal
from app.judging.units import Quantity
from app.people.rights import Act, require


@dataclass(frozen=True, slots=True)
class LaboratoryResult:
    """A result from outside the bench, with the report that states it."""

    coupon_code: str
    quantity: str
    unit: str
    value: Decimal
    report: str
    tested_at: datetime
    submission: str
    confirmed: bool = False


def record_laboratory_result(
    database: Database, result: LaboratoryResult, *, by: Actor, at: datetime, zone: tzinfo
) -> Saved:
    """Record a laboratory's result on a coupon, with its report, and judge the coupon.

    Raises:
        NotFound: there is no such coupon.
        Conflict: the same form was recorded with another figure.
        Refusal: the coupon is not expected, the test lies in the future, or a figure cannot be.
    """
    require(by, Act.MEASURE)
    if not known_unit(result.quantity, result.unit):
        says = f"{result.quantity} in {result.unit} is not measured here; choose from the list."
        raise Refusal(says, fields={"test": says})
    if not result.report.strip():
        raise Refusal("Name the report.", fields={"report": "Name the report that states it."})
    if result.tested_at > at:
        says = "The test cannot have been made later than now."
        raise Refusal(says, fields={"tested_at": says})
    quantity = Quantity(result.quantity)
    laboratory = TesterAt("the laboratory", result.unit, None, None, (None, None), None)
    with database.write() as session:
        taken = ReadingsTaken(
            result.coupon_code, (result.value,), result.submission, confirmed=result.confirmed
        )
        before = recorded_before(session, result.submission)
        if before:
            return same_again(session, before, taken, taken.values)
        seat, file = queries.expected_file(session, result.coupon_code)
        place = place_for(session, file, quantity, result.unit, zone)
        wrong, odd = judge_figures(file, laboratory, quantity, taken.values)
        refuse_fields(_on_value(wrong), _on_value(odd), confirmed=result.confirmed)
        row = Reading(
            coupon_id=seat.coupon_id,
            quantity=quantity.value,
            unit=result.unit,
            value=result.value,
            report=result.report.strip(),
            retest_id=place.retest_id,
            set_number=place.set_number,
            submission=result.submission,
            taken_by_id=by.id,
            taken_at=result.tested_at,
            entered_at=at,
        )
        note = f"{quantity.words} {result.value} {result.unit}, report {row.report}"
        tag = Tag.LABORATORY_RESULT_RECORDED
        return keep_readings(session, [row], seat, tag, note, file=file, by=by, at=at, zone=zone)


def _on_value(problems: dict[str, str]) -> dict[str, str]:
    """The same sentences on the one field of a form with a single figure."""
    return {"value": " ".join(problems.values())} if problems else {}
