"""The program's judge of furnace evidence on a generated case, told in the oracle's words."""

from decimal import Decimal

from app.documents.pyrometry import procedure_from_json
from app.judging.furnace.calibrations import (
    CertificateOnRecord,
    InstrumentOnRecord,
    judge_calibrations,
)
from app.judging.furnace.evidence import Band, LoadAsked, judge_furnace
from app.judging.furnace.furnace_checks import CheckOnRecord, FurnaceOnDay, Maintenance, Review
from app.judging.furnace.furnace_reports import (
    AccuracyReading,
    SensorResult,
    Survey,
    SurveyAt,
    SurveyedRange,
    judge_accuracy_test,
    judge_survey,
)
from app.judging.furnace.procedure import CheckKind, InstrumentKind, Procedure
from app.judging.furnace.zone import Position, Zone, judge_zone
from app.judging.verdict import Outcome, Verdict

from . import evidence_oracle as oracle

ORIGIN = {"source": "invented", "obtained": "invented"}


def differences(case: dict) -> tuple[dict[str, str], list[str]]:
    """The oracle's furnace findings, and one line for each answer that differs."""
    rules = _procedure(case["report_rules"])
    governing = None if case["procedure"] is None else rules
    exact = oracle.judge_furnace(case)
    found = _compare("furnace", exact, _furnace(case, governing))
    for kind in InstrumentKind:
        said = tuple(one.outcome.value for one in _instruments(case, kind, governing))
        found += _compare(kind, oracle.judge_instruments(case, kind.value), said)
    found += _compare("zone", oracle.judge_zone(case), _zone(case))
    found += _compare("survey", oracle.judge_survey(case), _survey(case, rules))
    found += _compare("accuracy", oracle.judge_accuracy(case), _accuracy(case, rules))
    return exact, found


def _compare(what: str, exact, said) -> list[str]:
    return [] if exact == said else [f"{what}: said {said}, exactly {exact}"]


def _procedure(rules: dict) -> Procedure:
    return procedure_from_json(
        {
            "name": "PP",
            "revision": "A",
            "calendar": rules["calendar"] | {"early_warning_days": 0},
            "instrumentation_types": ["B", "D"],
            "classes": [
                {"furnace_class": name, "uniformity_c": figure, **ORIGIN}
                for name, figure in rules["classes"].items()
            ],
            "intervals": [
                {
                    "check": row["check"],
                    "furnace_class": row["class"],
                    "instrumentation_type": row["type"],
                    "every": {row["every"][1]: row["every"][0]},
                    **ORIGIN,
                }
                for row in rules["intervals"]
            ],
            "instruments": [
                {"instrument": kind, "every": {span: count}, **ORIGIN}
                for kind, (count, span) in rules["instruments"].items()
            ],
            "survey": {
                "sensors_least": [
                    {"up_to_m2": up_to, "least": least} for up_to, least in rules["sensors_least"]
                ],
                **ORIGIN,
            },
            "accuracy_test": [
                {
                    "furnace_class": None,
                    "largest_difference_c": rules["largest_difference"],
                    **ORIGIN,
                }
            ],
            "recorder": [{"furnace_class": None, "largest_error_c": "1", **ORIGIN}],
            "maintenance": [],
        }
    )


def _review(paper: dict) -> Review | None:
    review = paper["review"]
    return None if review is None else Review(review["by"], review["accepted"])


def _furnace(case: dict, governing: Procedure | None) -> dict[str, str]:
    checks = [
        CheckOnRecord(
            kind=CheckKind(paper["kind"]),
            done_on=paper["done_on"],
            due_on=paper["due_on"],
            verdict=Verdict(paper["verdict"]),
            made_to_class=paper["class"],
            made_to_type=paper["type"],
            entered_by=paper["entered_by"],
            review=_review(paper),
            report=None,
            surveyed=None
            if paper["surveyed"] is None
            else SurveyedRange(*(Decimal(end) for end in paper["surveyed"])),
        )
        for paper in reversed(case["checks"])  # the program is given the newest entry first
    ]
    events = tuple(
        Maintenance("work", event["on"], frozenset(CheckKind(kind) for kind in event["asks_for"]))
        for event in case["maintenance"]
    )
    name, letter = case["furnace_class"], case["instrumentation_type"]
    furnace = FurnaceOnDay("F-1", name, letter, tuple(checks), events)
    bands = tuple(Band(Decimal(below), Decimal(above)) for below, above in case["bands"])
    sets = tuple(Decimal(one) for one in case["sets"])
    told = {}
    for one in judge_furnace(
        furnace, governing, LoadAsked(case["start"], case["end"], bands, sets)
    ):
        if one.outcome is Outcome.NOTE:
            kind = next(kind for kind in CheckKind if f"The {kind} of" in one.text)
            told[f"{one.code} {kind}"] = f"{one.value} after {one.limit}"
        else:
            assert one.code not in told
            told[one.code] = one.outcome.value
    return told


def _instruments(case: dict, kind: InstrumentKind, governing: Procedure | None):
    instruments = [
        InstrumentOnRecord(
            kind,
            f"I-{number}",
            tuple(
                CertificateOnRecord(
                    paper["done_on"], paper["due_on"], paper["entered_by"], _review(paper), None
                )
                for paper in reversed(papers)
            ),
        )
        for number, papers in enumerate(case["instruments"][kind.value])
    ]
    return judge_calibrations(
        kind, instruments, governing, starts_on=case["start"], ends_on=case["end"]
    )


def _zone(case: dict) -> str:
    zone = None
    if case["zone"] is not None:
        left, low, length, width = (Decimal(figure) for figure in case["zone"])
        zone = Zone(length, width, left, low)
    positions = [
        Position("P", *(None if at is None else Decimal(at) for at in place))
        for place in case["positions"]
    ]
    return judge_zone(positions, zone).outcome.value


def _survey(case: dict, rules: Procedure) -> tuple[str, ...]:
    survey = case["survey"]
    results = tuple(
        SensorResult(
            f"S{number}",
            Decimal(0),
            Decimal(0),
            *(None if end is None else Decimal(end) for end in read),
        )
        for number, read in enumerate(survey["reads"])
    )
    at = SurveyAt(Decimal(survey["set"]), results)
    zone = Zone(Decimal(survey["length"]), Decimal(survey["width"]))
    found = judge_survey(Survey(zone, (at,)), rules, furnace_class=survey["class"])
    return tuple(one.outcome.value for one in found if one.outcome is not Outcome.NOTE)


def _accuracy(case: dict, rules: Procedure) -> dict[str, str]:
    accuracy = case["accuracy"]
    readings = [
        AccuracyReading(name, Decimal(test), Decimal(said))
        for name, test, said in accuracy["readings"]
    ]
    found = judge_accuracy_test(readings, rules, furnace_class="2", channels=accuracy["channels"])
    return {
        channel: one.outcome.value for channel, one in zip(accuracy["channels"], found, strict=True)
    }
