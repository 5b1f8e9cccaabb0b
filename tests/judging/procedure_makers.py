"""An invented pyrometry procedure as JSON, a furnace that it governs, and reports on it."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from app.documents.pyrometry import procedure_from_json
from app.judging.furnace.evidence import Band, LoadAsked
from app.judging.furnace.furnace_checks import CheckOnRecord, FurnaceOnDay, Review
from app.judging.furnace.furnace_reports import SurveyedRange
from app.judging.furnace.procedure import CheckKind, Procedure
from app.judging.verdict import Verdict

INVENTED = {
    "source": "Pyrometry handbook of an invented shop, issue 3, 4.2",
    "obtained": "invented",
}
SURVEY, TEST, RECORDER = CheckKind
CLASS, TYPE = "2", "D"


def procedure_json(**changes) -> dict:
    """The whole paper; ``changes`` replace its top keys."""
    paper = {
        "name": "PP-1",
        "revision": "A",
        "calendar": {
            "month_end": "last day of the month",
            "due_day_counts": True,
            "early_warning_days": 14,
        },
        "instrumentation_types": ["B", "D"],
        "classes": [
            {"furnace_class": "1", "uniformity_c": "2.5", **INVENTED},
            {"furnace_class": 2, "uniformity_c": "3.0", **INVENTED},
        ],
        "intervals": [
            {
                "check": check,
                "furnace_class": furnace_class,
                "instrumentation_type": letter,
                "every": every,
                **INVENTED,
            }
            for check, furnace_class, letter, every in (
                ("uniformity survey", "2", "D", {"months": 3}),
                ("uniformity survey", "1", "D", {"months": 1}),
                ("system accuracy test", None, "D", {"weeks": 2}),
                ("recorder calibration", None, None, {"days": 90}),
            )
        ],
        "instruments": [
            {"instrument": "sensor", "every": {"months": 6}, **INVENTED},
            {"instrument": "vacuum gauge", "every": {"months": 12}, **INVENTED},
        ],
        "survey": {
            "sensors_least": [{"up_to_m2": "2.5", "least": 5}, {"up_to_m2": None, "least": 9}],
            **INVENTED,
        },
        "accuracy_test": [{"furnace_class": None, "largest_difference_c": "1.5", **INVENTED}],
        "recorder": [
            {"furnace_class": "1", "largest_error_c": "0.5", **INVENTED},
            {"furnace_class": "2", "largest_error_c": "1.0", **INVENTED},
        ],
        "maintenance": [
            {"event": "door seal changed", "asks_for": ["uniformity survey"], **INVENTED},
            {"event": "lamp changed", "asks_for": [], **INVENTED},
        ],
        "sensor_life": {"largest_uses": 30, "largest_age": {"months": 12}, **INVENTED},
    }
    return paper | changes


def procedure(**changes) -> Procedure:
    return procedure_from_json(procedure_json(**changes))


def check(kind: CheckKind, done_on: date, **changes) -> CheckOnRecord:
    """A conforming, reviewed check whose report states a last day ten years on."""
    whole = CheckOnRecord(
        kind=kind,
        done_on=done_on,
        due_on=date(done_on.year + 10, 1, 1),
        verdict=Verdict.CONFORMS,
        made_to_class=CLASS,
        made_to_type=TYPE,
        entered_by="Rune Adair",
        review=Review("Ines Valcourt", accepted=True),
        report=f"{kind} report",
        surveyed=SurveyedRange(Decimal(120), Decimal(180)) if kind is SURVEY else None,
    )
    return replace(whole, **changes)


def furnace(*checks: CheckOnRecord, **changes) -> FurnaceOnDay:
    return replace(FurnaceOnDay("F-1", CLASS, TYPE, checks, ()), **changes)


def load(starts_on: date, ends_on: date | None, **changes) -> LoadAsked:
    bands = (Band(Decimal(5), Decimal(5)), Band(Decimal("3.0"), Decimal(4)))
    return replace(LoadAsked(starts_on, ends_on, bands, (Decimal(150),)), **changes)
