"""One person: their account, what they are authorised for, what they did and signed."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people import queries, service
from app.people.forms import (
    AccountForm,
    FirstPasswordForm,
    GrantForm,
    ReasonForm,
    roles_of,
)
from app.people.records import Meaning, Task
from app.people.rights import Act, Role, may, require
from app.people.service import AccountAsStated, Grant
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/people/{username}")
def show_person(page: Page, records: Records, by: SignedIn, username: str) -> Response:
    """The account, its authorisations, acts and signatures."""
    return _person_page(page, records, by, username)


@router.post("/people/{username}/change")
def submit_change(
    page: Page, records: Records, by: SignedIn, username: str, typed: TypedForm
) -> Response:
    """Change name, roles and identity number."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(AccountForm, typed)
        roles = frozenset(roles_of(typed.every("roles"))) if "roles_shown" in typed else None
        same = service.change_person(
            records,
            username,
            AccountAsStated(form.full_name, roles, form.identity_number),
            seen=form.seen,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _person_page(page, records, by, username, asked="change", typed=typed, no=refusal)
    notice = f"The account of {form.full_name} is changed."
    if same:
        notice += f" {username} and {' and '.join(same)} are one person from now on."
    return page.see_other("/people", username, notice=notice)


@router.post("/people/{username}/close")
def submit_closing(
    page: Page, records: Records, by: SignedIn, username: str, typed: TypedForm
) -> Response:
    """Close the account; open sign-ins end at once."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(ReasonForm, typed)
        name = service.close_account(records, username, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        return _person_page(page, records, by, username, asked="close", typed=typed, no=refusal)
    return page.see_other("/people", username, notice=f"The account of {name} is closed.")


@router.post("/people/{username}/reopen")
def submit_reopening(
    page: Page, records: Records, by: SignedIn, username: str, typed: TypedForm
) -> Response:
    """Open a closed account again."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(ReasonForm, typed)
        name = service.reopen_account(records, username, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        return _person_page(page, records, by, username, asked="close", typed=typed, no=refusal)
    return page.see_other("/people", username, notice=f"The account of {name} is open again.")


@router.post("/people/{username}/first-password")
def submit_first_password(
    page: Page, records: Records, by: SignedIn, username: str, typed: TypedForm
) -> Response:
    """Give somebody a password to begin with, such as where they forgot theirs."""
    require(by, Act.ADD_PERSON)
    try:
        form = parse(FirstPasswordForm, typed)
        name = service.give_first_password(
            records, username, password=form.password, by=by, at=now()
        )
    except Refusal as refusal:
        return _person_page(page, records, by, username, asked="first", typed=typed, no=refusal)
    notice = f"{name} has a first password and has to set their own with the next sign-in."
    return page.see_other("/people", username, notice=notice)


@router.post("/people/{username}/authorisations")
def submit_authorisation(
    page: Page, records: Records, by: SignedIn, username: str, typed: TypedForm
) -> Response:
    """Authorise the person for a task, signed."""
    require(by, Act.AUTHORISE)
    today = page.shop_time().date()
    try:
        form = parse(GrantForm, typed)
        grant = Grant(
            username,
            form.task,
            form.from_day or today,
            form.last_day,
            form.grounds,
            form.letter,
        )
        service.grant_authorisation(
            records, grant, password=form.password, by=by, at=now(), today=today
        )
    except Refusal as refusal:
        return _person_page(page, records, by, username, asked="grant", typed=typed, no=refusal)
    notice = f"Authorised for {form.task.value} until {form.last_day}."
    return page.see_other("/people", username, notice=notice)


@router.post("/people/{username}/authorisations/{authorisation_id:int}/end")
def submit_authorisation_end(
    page: Page,
    records: Records,
    by: SignedIn,
    username: str,
    *,
    authorisation_id: int,
    typed: TypedForm,
) -> Response:
    """Take an authorisation back."""
    require(by, Act.AUTHORISE)
    try:
        form = parse(ReasonForm, typed)
        service.end_authorisation(
            records,
            authorisation_id,
            reason=form.reason,
            by=by,
            at=now(),
            today=page.shop_time().date(),
        )
    except Refusal as refusal:
        asked = f"end-{authorisation_id}"
        return _person_page(page, records, by, username, asked=asked, typed=typed, no=refusal)
    notice = "The authorisation is taken back. What was signed under it stands."
    return page.see_other("/people", username, notice=notice)


def _person_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    username: str,
    *,
    asked: str = "",
    typed: Typed | None = None,
    no: Refusal | None = None,
) -> Response:
    """The page; ``asked`` names the form that was refused, which alone is shown as it was typed."""
    today = page.shop_time().date()
    with records.read() as session:
        person = queries.person(session, username)
        number = person.identity_number
        holders = queries.holders_of(session, number) if number else []
        lines = queries.authorisations(session, person.id)
        signatures = queries.signatures_by(session, person.id, zone=page.settings.zone)
        acts = queries.acts_about(session, "person", username)
        on_hold = queries.open_holds_about(session, "person", username)
        seen = service.account_digest(person)
    own = by.is_person(person.id)
    may_authorise = may(by, Act.AUTHORISE)
    chosen = person.roles
    if asked == "change" and typed is not None and "roles_shown" in typed:
        chosen = typed.every("roles")
    return page.show(
        "people/person.html",
        person=person,
        same=[one for one in holders if one.id != person.id],
        lines=[(one, one.standing(today), one.is_good(today)) for one in lines],
        endable=[one for one in lines if one.ended_at is None and one.last_day >= today],
        signatures=signatures,
        acts=acts,
        on_hold=on_hold,
        seen=seen,
        own=own,
        may_change=may(by, Act.ADD_PERSON),
        may_authorise=may_authorise and not own,
        roles=[(role.value, role.value in chosen) for role in Role],
        tasks=[(task.value, task.value) for task in Task],
        today=today,
        latest=service.last_day_at_most(today),
        meaning=Meaning.AUTHORISED.value,
        asked=asked,
        **kept(typed, no),
    )
