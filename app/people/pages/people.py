"""The people of the shop."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from app.errors import Refusal
from app.people import queries, service
from app.people.forms import PersonForm, roles_of
from app.people.rights import Act, ActLine, Role, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


async def _act_lines(request: Request) -> list[ActLine]:
    lines: list[ActLine] = request.app.state.act_lines
    return lines


ActLines = Annotated[list[ActLine], Depends(_act_lines)]
"""Every act that some address asks for, with who may."""


@router.get("/people")
def show_people(page: Page, records: Records, by: SignedIn, acts: ActLines) -> Response:
    """Everybody with an account, and what their roles let them do."""
    return _people_page(page, records, by, acts)


@router.post("/people")
def submit_person(
    page: Page, records: Records, by: SignedIn, acts: ActLines, typed: TypedForm
) -> Response:
    """Open an account."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(PersonForm, typed)
        added = service.add_person(
            records,
            username=form.username,
            full_name=form.full_name,
            identity_number=form.identity_number,
            roles=roles_of(typed.every("roles")),
            password=form.password,
            by=by.username,
            at=now(),
            password_is_first=True,
        )
    except Refusal as refusal:
        return _people_page(page, records, by, acts, typed=typed, refusal=refusal)
    return page.see_other("/people", notice=f"{added.full_name} can now sign in.")


def _people_page(
    page: PageMaker,
    records: Records,
    by: SignedIn,
    acts: list[ActLine],
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        everybody = queries.people(session)
        twice = queries.one_person(session)
    names = {one.id: f"{one.full_name} ({one.username})" for one in everybody}
    return page.show(
        "people/people.html",
        people=everybody,
        twice=[(names[first], names[other]) for other, first in twice.items()],
        roles=[role.value for role in Role],
        acts=acts,
        chosen=typed.every("roles") if typed else [],
        may_add=may(by, Act.ADD_PERSON),
        may_issue=may(by, Act.ISSUE_MACHINE_TOKEN),
        **kept(typed, refusal),
    )
