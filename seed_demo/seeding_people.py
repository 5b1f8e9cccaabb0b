"""Filling the demonstration: accounts, and what each person is authorised for on which grounds."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from app.people import queries as people
from app.people import service as accounts
from app.people.records import Task
from app.people.rights import Role
from app.people.service import Grant
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.scenario import PEOPLE, Person

DESIGN_DELEGATE = "vtolloway"
_ADMINISTRATOR = "botterley"
_YEARS = timedelta(days=2 * 365)
_BY_ROLE: dict[str, tuple[Task, ...]] = {
    "inspector": (Task.HARDNESS, Task.CONDUCTIVITY, Task.SURFACE_SEARCH, Task.RELEASE),
    "supervisor": (Task.DISPOSITION, Task.VERIFICATION, Task.REPORT_REVIEW),
    "engineer": (Task.REPORT_REVIEW,),
}
_WITH_EYES = frozenset({Task.HARDNESS, Task.CONDUCTIVITY, Task.SURFACE_SEARCH})


@dataclass(frozen=True, slots=True)
class _RunsOut:
    """An authorisation that does not run its two years."""

    person: str
    task: Task
    in_days: int


RUNS_OUT = _RunsOut("tashgill", Task.SURFACE_SEARCH, 12)
"""Ends with the eye test it rests on; Today says so beforehand."""
TAKEN_BACK = ("obrantwood", Task.CONDUCTIVITY)
_TAKEN_BACK_DAYS_AGO = 19


def enter_people(shop: DemoShop, password: str) -> None:
    """Everybody's account and authorisations on the first day; one is taken back later."""
    opened, authorised = shop.day(FIRST_DAY, 7), shop.day(FIRST_DAY, 7, 20)
    for person in PEOPLE:
        shop.enter(opened, partial(_open_account, shop, person, password))
        shop.enter(authorised, partial(_authorise, shop, person, password))
    shop.enter(shop.day(_TAKEN_BACK_DAYS_AGO, 7, 50), partial(_take_back, shop))


def _open_account(shop: DemoShop, person: Person, password: str, at: datetime) -> None:
    shop.people[person.sign_in] = accounts.add_person(
        shop.database,
        username=person.sign_in,
        full_name=person.name,
        identity_number=f"W-{2001 + PEOPLE.index(person)}",
        roles=[Role(role) for role in person.roles],
        password=password,
        by="set-up",
        at=at,
    )


def _authorise(shop: DemoShop, person: Person, password: str, at: datetime) -> None:
    tasks = {task: None for role in person.roles for task in _BY_ROLE.get(role, ())}
    if person.sign_in == DESIGN_DELEGATE:
        tasks[Task.DESIGN] = None
    for task in tasks:
        _grant(shop, person, task, password, at)
    _know_again(shop, person.sign_in, at)


def _grant(shop: DemoShop, person: Person, task: Task, password: str, at: datetime) -> None:
    number = PEOPLE.index(person) + 11
    runs_out = (person.sign_in, task) == (RUNS_OUT.person, RUNS_OUT.task)
    in_days = timedelta(days=RUNS_OUT.in_days)
    last_day = shop.now.date() + in_days if runs_out else at.date() + _YEARS
    grounds = f"Training record TR-{number}/{len(task.value)}, examined {at.date().isoformat()}"
    if task in _WITH_EYES:
        grounds += f"; eye test ET-{number}, good until {last_day.isoformat()}"
    grant = Grant(
        username=person.sign_in,
        task=task,
        from_day=at.date(),
        last_day=last_day,
        grounds=grounds,
        letter="DO-L-118 of the design organisation (invented)" if task is Task.DESIGN else "",
    )
    accounts.grant_authorisation(
        shop.database,
        grant,
        password=password,
        by=shop.people[_ADMINISTRATOR],
        at=at,
        today=at.date(),
    )


def _take_back(shop: DemoShop, at: datetime) -> None:
    username, task = TAKEN_BACK
    accounts.end_authorisation(
        shop.database,
        shop.people[username].authorised[task.value],
        reason="Has not measured conductivity for half a year; trains on EC-5 again first.",
        by=shop.people[_ADMINISTRATOR],
        at=at,
        today=at.date(),
    )
    _know_again(shop, username, at)


def _know_again(shop: DemoShop, username: str, at: datetime) -> None:
    """The person as one who acts, with what they are authorised for now."""
    with shop.database.read() as session:
        shop.people[username] = people.actor(session, username, today=at.date())
