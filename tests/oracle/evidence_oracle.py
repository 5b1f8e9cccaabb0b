"""A slow judge of furnace evidence, written from RULES.md 4.5 alone: plain dictionaries in.

Days are counted one at a time, figures are exact fractions, and nothing of the program is used. A
case is what ``evidence_generator`` makes; the answer is each finding's code with its outcome, the
notes with the days they name.
"""

from datetime import date, timedelta
from fractions import Fraction

GOOD, BAD, OPEN, NOTE = "conforms", "does_not_conform", "not_proven", "note"
KINDS = ("uniformity survey", "system accuracy test", "recorder calibration")
CODES = {
    "uniformity survey": "furnace.survey",
    "system accuracy test": "furnace.accuracy_test",
    "recorder calibration": "furnace.recorder",
}


def last_day(done: date, every: tuple[int, str], calendar: dict) -> date:
    """4.5.2: the last day in date of something done on a day."""
    count, span = every
    due = done
    if span == "months":
        year, month = done.year, done.month
        for _ in range(count):
            month += 1
            if month > 12:
                year, month = year + 1, 1
        due = _same_day(year, month, done.day, calendar["month_end"])
    else:
        for _ in range(count * (7 if span == "weeks" else 1)):
            due += timedelta(days=1)
    return due if calendar["due_day_counts"] else due - timedelta(days=1)


def _same_day(year: int, month: int, day: int, month_end: str) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        pass
    if month_end == "first day of the next month":
        return date(year + 1, 1, 1) if month == 12 else date(year, month + 1, 1)
    while True:
        day -= 1
        try:
            return date(year, month, day)
        except ValueError:
            continue


def counts(paper: dict) -> bool:
    """4.5.4: accepted by somebody other than who entered it."""
    review = paper["review"]
    return review is not None and review["by"] != paper["entered_by"] and review["accepted"]


def refused(paper: dict) -> bool:
    """4.5.4: refused by somebody other than who entered it."""
    review = paper["review"]
    return review is not None and review["by"] != paper["entered_by"] and not review["accepted"]


def newest(papers: list[dict], day: date) -> dict | None:
    """4.5.4: the newest counting paper by a day; papers stand in the order of entry."""
    found = None
    for paper in papers:  # a later entry of the same day takes the place of an earlier one
        made = counts(paper) and paper["done_on"] <= day
        if made and (found is None or paper["done_on"] >= found["done_on"]):
            found = paper
    return found


def interval(case: dict, kind: str) -> tuple[int, str] | None:
    """4.5.1: the row that speaks for the furnace."""
    name, letter = case["furnace_class"], case["instrumentation_type"]
    for row in case["procedure"]["intervals"]:
        if row["check"] == kind and row["class"] in (None, name) and row["type"] in (None, letter):
            return row["every"]
    return None


def judge_check(  # noqa: C901, PLR0911 - the rules' own list, one line after the other
    case: dict, kind: str
) -> tuple[str, date | None]:
    """4.5.4 for one kind: the outcome, and the last day of the check that counts."""
    start, procedure = case["start"], case["procedure"]
    ours = [paper for paper in case["checks"] if paper["kind"] == kind]
    paper = newest(ours, start)
    if paper is None:
        return OPEN, None
    qualified = case["furnace_class"] is not None and case["instrumentation_type"] is not None
    every = interval(case, kind) if procedure is not None and qualified else None
    last = paper["due_on"]
    if every is not None:
        last = min(last, last_day(paper["done_on"], every, procedure["calendar"]))
    if paper["verdict"] != GOOD:
        return paper["verdict"], last
    if start > last:
        return BAD, last
    if every is None:
        return OPEN, last
    as_made = (paper["class"], paper["type"])
    as_it_is = (case["furnace_class"], case["instrumentation_type"])
    if kind != "recorder calibration" and as_made != as_it_is:
        return OPEN, last
    for other in ours:
        waiting = not counts(other) and not refused(other)
        if waiting and other["verdict"] != GOOD and paper["done_on"] <= other["done_on"] <= start:
            return OPEN, last
    for event in case["maintenance"]:
        if kind in event["asks_for"] and paper["done_on"] < event["on"] <= start:
            return OPEN, last
    return GOOD, last


def judge_furnace(case: dict) -> dict[str, str]:
    """4.5.5: every finding's outcome; a note's value is the days that it names."""
    procedure, name = case["procedure"], case["furnace_class"]
    qualified = name is not None and case["instrumentation_type"] is not None
    told = {"furnace.procedure": GOOD if procedure is not None and qualified else OPEN}
    standing = {kind: judge_check(case, kind) for kind in KINDS}
    for kind in KINDS:
        told[CODES[kind]] = standing[kind][0]
    through = case["end"] is not None and all(
        outcome == GOOD and last >= case["end"] for outcome, last in standing.values()
    )
    told["furnace.through_end"] = GOOD if through else OPEN
    told["furnace.class"] = _class(case)
    told["furnace.range"] = _range(case)
    for kind in KINDS:
        note = _later_failure(case, kind)
        if note is not None:
            told[f"furnace.later_failure {kind}"] = note
    return told


def _class(case: dict) -> str:
    uniformity = None
    if case["procedure"] is not None and case["furnace_class"] is not None:
        uniformity = case["procedure"]["classes"].get(case["furnace_class"])
    sides = [Fraction(side) for band in case["bands"] for side in band]
    if uniformity is None or not sides:
        return OPEN
    return GOOD if min(sides) >= Fraction(uniformity) else BAD


def _range(case: dict) -> str:
    surveys = [paper for paper in case["checks"] if paper["kind"] == KINDS[0]]
    survey = newest(surveys, case["start"])
    if survey is None or survey["surveyed"] is None or not case["sets"]:
        return OPEN
    lowest, highest = (Fraction(end) for end in survey["surveyed"])
    return GOOD if all(lowest <= Fraction(one) <= highest for one in case["sets"]) else OPEN


def _later_failure(case: dict, kind: str) -> str | None:
    ours = [p for p in case["checks"] if p["kind"] == kind and not refused(p)]
    failed = [p["done_on"] for p in ours if p["verdict"] == BAD and p["done_on"] > case["start"]]
    if not failed:
        return None
    first = min(failed)
    good = [
        p["done_on"] for p in ours if p["verdict"] == GOOD and counts(p) and p["done_on"] < first
    ]
    over = case["end"] if case["end"] is not None else case["start"]
    if any(day > over for day in good):
        return None
    return f"{first} after {max(good) if good else None}"


def judge_instruments(case: dict, kind: str) -> tuple[str, str]:
    """4.5.7: at the start, and through the end."""
    every = None
    if case["procedure"] is not None:
        every = case["procedure"]["instruments"].get(kind)
    outcomes, lasts = [], []
    for certificates in case["instruments"][kind]:
        paper = newest(certificates, case["start"])
        if paper is None:
            outcomes.append(OPEN)
            continue
        last = paper["due_on"]
        if every is not None:
            last = min(last, last_day(paper["done_on"], every, case["procedure"]["calendar"]))
        lasts.append(last)
        if case["start"] > last:
            outcomes.append(BAD)
        else:
            outcomes.append(OPEN if every is None else GOOD)
    start = worst(outcomes)
    through = start == GOOD and case["end"] is not None and all(d >= case["end"] for d in lasts)
    return start, GOOD if through else OPEN


def worst(outcomes: list[str]) -> str:
    """1: the worst decides, and nothing is not proven."""
    if BAD in outcomes:
        return BAD
    return GOOD if outcomes and OPEN not in outcomes else OPEN


def judge_zone(case: dict) -> str:
    """4.5.6."""
    zone, told = case["zone"], []
    for x, y in case["positions"]:
        if zone is None or x is None or y is None:
            told.append(OPEN)
            continue
        left, low, length, width = (Fraction(figure) for figure in zone)
        inside = left <= Fraction(x) <= left + length and low <= Fraction(y) <= low + width
        told.append(GOOD if inside else BAD)
    return worst(told)


def rounded(value: Fraction, limit: str) -> Fraction:
    """2: to the last place of the limit as written, ties to even."""
    step = Fraction(1, 10 ** (len(limit.split(".")[1]) if "." in limit else 0))
    steps = value / step
    floor = steps.numerator // steps.denominator
    rest = steps - floor
    up = rest > Fraction(1, 2) or (rest == Fraction(1, 2) and floor % 2 == 1)
    return (floor + up) * step


def judge_survey(case: dict) -> tuple[str, str]:
    """4.5.3: uniformity and number of sensors at one set temperature."""
    survey = case["survey"]
    uniformity = case["report_rules"]["classes"].get(survey["class"])
    read = [(Fraction(low), Fraction(high)) for low, high in survey["reads"] if low is not None]
    outcome = OPEN
    if uniformity is not None and read:
        cold = rounded(min(low for low, _ in read) - Fraction(survey["set"]), uniformity)
        hot = rounded(max(high for _, high in read) - Fraction(survey["set"]), uniformity)
        limit = Fraction(uniformity)
        outcome = GOOD if -limit <= cold <= limit and -limit <= hot <= limit else BAD
    area = Fraction(survey["length"]) * Fraction(survey["width"]) / 1_000_000
    least = next(
        (
            least
            for up_to, least in case["report_rules"]["sensors_least"]
            if up_to is None or area <= Fraction(up_to)
        ),
        None,
    )
    return outcome, GOOD if least is not None and len(read) >= least else OPEN


def judge_accuracy(case: dict) -> dict[str, str]:
    """4.5.3: each channel of an accuracy test."""
    limit, told = case["report_rules"]["largest_difference"], {}
    for channel in case["accuracy"]["channels"]:
        errors = [
            abs(rounded(Fraction(said) - Fraction(test), limit))
            for name, test, said in case["accuracy"]["readings"]
            if name == channel
        ]
        told[channel] = OPEN if not errors else GOOD if max(errors) <= Fraction(limit) else BAD
    return told
