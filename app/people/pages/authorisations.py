"""Who is authorised for what until when: everybody on one printable page."""

from datetime import date

from fastapi import APIRouter, Response

from app.people import queries
from app.people.queries import RUNS_OUT_SOON
from app.people.records import Task
from app.people.signed_in import SignedIn
from app.web.page import Page, Records

router = APIRouter()


@router.get("/people/authorisations")
def show_authorisations(page: Page, records: Records, by: SignedIn) -> Response:
    """What runs out soon stands first, then everybody by task with last days."""
    today = page.shop_time().date()
    with records.read() as session:
        everybody = [one for one in queries.people(session) if one.active]
        lines = queries.authorisations_of_all(session)
    good, later = queries.good_until(lines, today), queries.good_from(lines, today)
    latest = today + RUNS_OUT_SOON
    soon = [
        (person, task, good[person.id, task])
        for person in everybody
        for task in Task
        if good.get((person.id, task), date.max) <= latest
    ]
    return page.show(
        "people/authorisations.html",
        today=today,
        days=RUNS_OUT_SOON.days,
        soon=[
            (person, task.value, last_day, (last_day - today).days)
            for person, task, last_day in sorted(soon, key=lambda one: one[2])
        ],
        tasks=[task.value for task in Task],
        matrix=[
            (
                person,
                [(good.get((person.id, task)), later.get((person.id, task))) for task in Task],
            )
            for person in everybody
        ],
        latest=latest,
    )
