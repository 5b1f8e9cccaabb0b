"""Invented furnaces with their papers, made so that every rule of 4.5 decides now and then.

Everything follows from the seed; the days crowd around the last days in date. Nothing here is a
real interval, class or limit.
"""

import random
from datetime import date, timedelta

from .evidence_oracle import KINDS, last_day

PEOPLE = ("Mara", "Ines", "Rune")
MONTH_ENDS = ("last day of the month", "first day of the next month")


def generate_evidence(seed: int) -> dict:
    """The case of that seed: procedure, furnace, load, instruments, positions and reports."""
    rng = random.Random(seed)  # noqa: S311 - a repeatable case, no secret
    start = _start(rng)
    rules = _procedure(rng)
    case = {
        "start": start,
        "end": None if rng.random() < 0.05 else start + timedelta(days=rng.choice([0, 1, 1, 2])),
        "furnace_class": rng.choice(["1", "2", "2", "2", None if rng.random() < 0.3 else "2"]),
        "instrumentation_type": rng.choice(["B", "D", "D", None if rng.random() < 0.2 else "D"]),
        "orderly": rng.random() < 0.5,  # most is as it should be, so that the rest can be seen
        "procedure": rules if rng.random() > 0.05 else None,
        "report_rules": rules,
    }
    case["checks"] = [paper for kind in KINDS for paper in _checks(rng, case, kind)]
    case["maintenance"] = [
        {"on": start - timedelta(days=rng.randint(-2, 40)), "asks_for": rng.sample(KINDS, k)}
        for k in rng.choices([0, 1, 1, 2], k=rng.choice([0, 0, 0, 1, 2]))
    ]
    sides = ["2.5", "2.4", "3.0", "3", "2.99", "5", "3.05"]
    case["bands"] = [tuple(rng.choices(sides, k=2)) for _ in range(rng.choice([0, 1, 1, 1, 2]))]
    case["sets"] = rng.sample(
        ["120", "120.0", "150", "119.9", "180.0", "180.1"], rng.choice([0, 1, 1, 2])
    )
    case["instruments"] = {
        kind: [
            _papers(rng, case, rules["instruments"].get(kind))
            for _ in range(rng.choice([0, 1, 1, 3]))
        ]
        for kind in ("sensor", "vacuum gauge")
    }
    case["zone"] = (
        None if rng.random() < 0.1 else (rng.choice(["0", "-50.5"]), "10", "2000", "999.5")
    )
    edges = ["0", "10", "2000", "1949.5", "1949.6", "1009.5", "1009.6", "500", "500", "500", "9.9"]
    case["positions"] = [
        tuple(None if rng.random() < 0.04 else rng.choice(edges) for _ in range(2))
        for _ in range(rng.choice([0, 1, 2, 3]))
    ]
    case["survey"], case["accuracy"] = _survey(rng), _accuracy(rng)
    return case


def _start(rng: random.Random) -> date:
    """Any day, or one about the end of a month or a leap day."""
    if rng.random() < 0.7:
        return date(2030, 1, 1) + timedelta(days=rng.randrange(1500))
    month = rng.choice([date(2031, 3, 1), date(2032, 2, 1), date(2032, 3, 1), date(2033, 1, 1)])
    return month + timedelta(days=rng.randint(-3, 2))


def _every(rng: random.Random) -> tuple[int, str]:
    return rng.choice(
        [
            (1, "months"),
            (3, "months"),
            (12, "months"),
            (1, "weeks"),
            (4, "weeks"),
            (30, "days"),
            (1, "days"),
        ]
    )


def _procedure(rng: random.Random) -> dict:
    intervals = []
    for kind in KINDS:
        style = rng.randrange(4)
        if style == 0:
            keys = [(None, None)]
        elif style == 1:
            keys = [("1", None), ("2", None)]
        elif style == 2:
            keys = [(None, "D")]
        else:
            keys = [("1", "D"), ("2", "D"), ("2", "B")]
        intervals += [
            {"check": kind, "class": name, "type": letter, "every": _every(rng)}
            for name, letter in keys
        ]
    instruments = {kind: _every(rng) for kind in ("sensor", "vacuum gauge") if rng.random() < 0.9}
    return {
        "calendar": {"month_end": rng.choice(MONTH_ENDS), "due_day_counts": rng.random() < 0.6},
        "classes": rng.choice([{"1": "2.5", "2": "3.0"}, {"1": "2", "2": "3"}]),
        "intervals": intervals,
        "instruments": instruments,
        "sensors_least": rng.choice([[("2.5", 5), (None, 9)], [("2", 3), ("2.5", 5)], [(None, 4)]]),
        "largest_difference": rng.choice(["1.5", "1", "1.50"]),
    }


def _review(rng: random.Random, case: dict) -> dict | None:
    if case["orderly"] and rng.random() < 0.9:
        return {"by": PEOPLE[1], "accepted": True}
    if rng.random() < 0.12:
        return None
    return {"by": rng.choice(PEOPLE[1:]), "accepted": rng.random() < 0.88}


def _made_on(rng: random.Random, case: dict, every: tuple[int, str] | None) -> date:
    """A day whose last day falls near the load, or any day about it."""
    start = case["start"]
    if every is None or rng.random() < (0.1 if case["orderly"] else 0.25):
        return start + timedelta(days=rng.randint(-60, 20))
    done = start
    calendar = case["report_rules"]["calendar"]
    beside = [0, 1, 2, 2, 5, 5] if case["orderly"] else [-1, 0, 0, 1, 1, 2, 5, 5]
    wanted = start + timedelta(days=rng.choice(beside))
    while last_day(done, every, calendar) > wanted:
        done -= timedelta(days=1)
    return done


def _paper(rng: random.Random, case: dict, every: tuple[int, str] | None) -> dict:
    done = _made_on(rng, case, every)
    stated = done + timedelta(days=4000)
    if rng.random() < 0.15:
        stated = case["start"] + timedelta(days=rng.randint(-1, 2))
    return {
        "done_on": done,
        "due_on": stated,
        "entered_by": rng.choice(PEOPLE[::2]),
        "review": _review(rng, case),
    }


def _papers(rng: random.Random, case: dict, every: tuple[int, str] | None) -> list[dict]:
    number = rng.choice([1, 1, 1, 2] if case["orderly"] else [0, 1, 1, 1, 2, 3])
    return [_paper(rng, case, every) for _ in range(number)]


def _checks(rng: random.Random, case: dict, kind: str) -> list[dict]:
    rows = [row["every"] for row in case["report_rules"]["intervals"] if row["check"] == kind]
    made = []
    of_furnace = [
        row["every"]
        for row in case["report_rules"]["intervals"]
        if row["check"] == kind
        and row["class"] in {None, case["furnace_class"]}
        and row["type"] in {None, case["instrumentation_type"]}
    ]
    for paper in _papers(rng, case, rng.choice(of_furnace or rows)):
        odds = [40, 1, 1] if case["orderly"] else [17, 2, 1]
        if paper["done_on"] > case["start"]:
            odds = [2, 2, 1]
        verdict = rng.choices(["conforms", "does_not_conform", "not_proven"], odds)[0]
        other = 0.5 if case["orderly"] else rng.random()
        made.append(
            paper
            | {
                "kind": kind,
                "verdict": verdict,
                "class": rng.choice(["1", "2", None]) if other < 0.1 else case["furnace_class"],
                "type": rng.choice(["B", "D", None])
                if other > 0.9
                else case["instrumentation_type"],
                "surveyed": None
                if kind != KINDS[0] or rng.random() < 0.1
                else rng.choice([("120", "180"), ("150", "150.0"), ("119.95", "180.05")]),
            }
        )
    return made


def _survey(rng: random.Random) -> dict:
    ends = ["147.0", "146.95", "147", "146.9", "147.5", "147.45", "148", "149.9"]
    tops = ["153.0", "153.05", "153", "153.1", "152.5", "152.55", "152", "150.1", "153.5"]
    rare = rng.random() < 0.5
    reads: list[tuple[str | None, str | None]] = []
    for _ in range(rng.choice([0, 3, 4, 5, 5, 6, 9])):
        if rng.random() < 0.08:
            reads.append((None, None))
        else:
            edge = rng.random() < 0.2 or not rare
            reads.append((rng.choice(ends), rng.choice(tops)) if edge else ("149.5", "150.5"))
    return {
        "class": rng.choice(["1", "2", "2", "2", "7"]),
        "set": rng.choice(["150", "150.0"]),
        "reads": reads,
        "length": rng.choice(["2000", "2500", "2500.1"]),
        "width": "1000",
    }


def _accuracy(rng: random.Random) -> dict:
    said = [
        "151.5",
        "151.55",
        "151.45",
        "151.6",
        "148.5",
        "148.45",
        "150.2",
        "150.2",
        "151",
        "151.505",
    ]
    channels = ["TC1", "TC2", "TC3"][: rng.randint(1, 3)]
    readings = [
        (rng.choice(channels), rng.choice(["150", "150.0", "150.05"]), rng.choice(said))
        for _ in range(rng.randint(0, 5))
    ]
    return {"channels": channels, "readings": readings}
