"""Invented procedures and mappings, and the small exports that the mappings read."""

import json
from copy import deepcopy
from datetime import datetime, timedelta
from typing import Any

from app.audit.actor import Actor
from app.database import Database
from app.people.queries import actor
from app.requirements import queries, service
from app.requirements.queries import Revision
from app.requirements.rules import values
from app.requirements.service import Named
from tests.makers import NOW
from tests.visits import PASSWORD

KEYED_AT = NOW + timedelta(minutes=30)
_SAID = {"source": "invented document 7, clause 2", "obtained": "invented"}

PROCEDURE: dict[str, Any] = {
    "name": "Invented pyrometry",
    "revision": "A",
    "calendar": {
        "month_end": "last day of the month",
        "due_day_counts": True,
        "early_warning_days": 21,
    },
    "instrumentation_types": ["B", "D"],
    "classes": [
        {"furnace_class": "1", "uniformity_c": "3.0", **_SAID},
        {"furnace_class": "2", "uniformity_c": "6", **_SAID},
    ],
    "intervals": [
        {
            "check": "uniformity survey",
            "furnace_class": "1",
            "instrumentation_type": "B",
            "every": {"months": 3},
            **_SAID,
        },
        {
            "check": "system accuracy test",
            "furnace_class": None,
            "instrumentation_type": None,
            "every": {"weeks": 2},
            **_SAID,
        },
        {
            "check": "recorder calibration",
            "furnace_class": None,
            "instrumentation_type": "D",
            "every": {"days": 90},
            "source": "invented document 8",
            "obtained": "common practice",
        },
    ],
    "instruments": [{"instrument": "sensor", "every": {"months": 6}, **_SAID}],
    "survey": {
        "sensors_least": [{"up_to_m2": "20.5", "least": 5}, {"up_to_m2": None, "least": 9}],
        **_SAID,
    },
    "accuracy_test": [{"furnace_class": None, "largest_difference_c": "1.50", **_SAID}],
    "recorder": [
        {"furnace_class": "1", "largest_error_c": "1.0", **_SAID},
        {"furnace_class": "2", "largest_error_c": "2.0", **_SAID},
    ],
    "maintenance": [
        {"event": "door seal changed", "asks_for": ["uniformity survey"], **_SAID},
        {"event": "painted outside", "asks_for": [], **_SAID},
    ],
    "sensor_life": {"largest_uses": 40, "largest_age": None, **_SAID},
}

MAPPING: dict[str, Any] = {
    "name": "Invented logger",
    "kind": "csv",
    "encoding": "latin-1",
    "delimiter": "semicolon",
    "decimal_mark": "comma",
    "header": "by names",
    "unit_row": True,
    "time": {
        "columns": ["Date", "Clock"],
        "kind": "pattern",
        "order": "day-month-year",
        "date_mark": ".",
        "zone": "+01:00",
    },
    "temperature_unit": "C",
    "channels": [
        {"channel": "TC1", "column": "Left"},
        {"channel": "TC2", "column": "Right"},
    ],
    "vacuum": {"channel": "VAC", "column": "Bag", "unit": "kPa", "sense": "below ambient"},
    "ignored": "everything else",
}

EXPORT = (
    "Logger 7\nDate;Clock;Left;Right;Bag\n;;°C;°C;kPa\n"
    "03.04.2026;08:00:00;20,1;20,25;80,0\n"
    "03.04.2026;08:00:10;20,3;;80,1\n"
    "03.04.2026;08:00:20;20,6;20,5;79,9\n"
).encode("latin-1")


def procedure(**changed: Any) -> str:
    """The procedure as JSON text, with keys changed."""
    return json.dumps({**deepcopy(PROCEDURE), **changed})


def mapping(**changed: Any) -> str:
    """The mapping as JSON text, with keys changed."""
    return json.dumps({**deepcopy(MAPPING), **changed})


def written(database: Database, named: Named) -> Revision:
    """The last attempt at a revision."""
    with database.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in found if one.revision == named.revision)


def keyed(
    database: Database, named: Named, by: Actor, *, at: datetime = KEYED_AT, **wrong: str
) -> tuple[Any, ...]:
    """Key a revision from its own cells; ``wrong`` are places keyed otherwise, by their slug.

    A slug is a place in small letters with an underscore for whatever is no letter or digit.
    """
    revision = written(database, named)
    keyed = values(service.asked_of(revision))
    for place in keyed:
        slug = "".join(sign if sign.isalnum() else "_" for sign in place.casefold())
        keyed[place] = wrong.pop(slug, keyed[place])
    assert not wrong, f"no such places: {wrong}"
    return service.key_again(
        database,
        named,
        cells=keyed,
        password=PASSWORD,
        by=by,
        at=at,
        attempt=revision.attempt,
    )


def keyed_if_asked(database: Database, named: Named, *, at: datetime = KEYED_AT) -> None:
    """Have the second inspector key a draft that has to be and was not yet."""
    revision = written(database, named)
    if service.KINDS[named.kind].keyed and revision.differences is None:
        with database.read() as session:
            second = actor(session, "deniz", today=at.date())
        if revision.verified_at is None and revision.withdrawn_at is None:
            keyed(database, named, second, at=at)
