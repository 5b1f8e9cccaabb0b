"""Enter a customer's order, what it states of requirements, and the table of it."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.requirements import order_queries
from app.requirements.forms.orders import ComposeForm, OrderForm, StatementForm
from app.requirements.pages.written import written
from app.requirements.records import RequirementKind
from app.requirements.service.orders import compose_table, enter_order, state_requirement
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/register/order")
def show_order_form(page: Page, by: SignedIn, number: str = "") -> Response:
    """The form for an order; ``number`` fills in which."""
    require(by, Act.ENTER_ORDER)
    return page.show("requirements/register_order.html", **kept({"number": number}))


@router.post("/register/order")
def submit_order(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Put an order on record."""
    require(by, Act.ENTER_ORDER)
    try:
        form = parse(OrderForm, typed)
        number = enter_order(
            records,
            number=form.number,
            customer=form.customer,
            placed_on=form.placed_on,
            later_revisions_allowed=bool(form.later),
            rework_needs_customer=bool(form.rework),
            note=form.note,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return page.show("requirements/register_order.html", **kept(typed, refusal))
    return page.see_other("/orders", number, notice=f"Order {number} is on record.")


@router.get("/orders/{number:path}/statement")
def show_statement_form(page: Page, records: Records, by: SignedIn, number: str) -> Response:
    """The form for what the order says of a table or cycle."""
    return _statement_page(page, records, by, number, typed={})


@router.post("/orders/{number:path}/statement")
def submit_statement(
    page: Page, records: Records, by: SignedIn, number: str, typed: TypedForm
) -> Response:
    """Keep what the order says of a table or cycle."""
    require(by, Act.ENTER_ORDER)
    try:
        form = parse(StatementForm, typed)
        state_requirement(
            records,
            number,
            code=form.code,
            stated_revision=form.stated_revision,
            is_extra=bool(form.is_extra),
            clause=form.clause,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        return _statement_page(page, records, by, number, typed=typed, refusal=refusal)
    notice = f"What order {number} says of {form.code} is on record."
    return page.see_other("/orders", number, notice=notice)


@router.get("/orders/{number:path}/table")
def show_compose_form(page: Page, records: Records, by: SignedIn, number: str) -> Response:
    """The form that composes the table of the order."""
    return _compose_page(page, records, by, number, typed={})


@router.post("/orders/{number:path}/table")
def submit_composition(
    page: Page, records: Records, by: SignedIn, number: str, typed: TypedForm
) -> Response:
    """Write the table of the order as a draft."""
    require(by, Act.WRITE_REQUIREMENT)
    try:
        form = parse(ComposeForm, typed)
        named = compose_table(
            records, number, **form.model_dump(), by=by, at=now(), zone=page.settings.zone
        )
    except Refusal as refusal:
        return _compose_page(page, records, by, number, typed=typed, refusal=refusal)
    return written(page, named)


def _statement_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    number: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.ENTER_ORDER)
    with records.read() as session:
        found = order_queries.order_on_file(session, number)
        choices = order_queries.to_state(session)
    return page.show(
        "requirements/order_statement.html",
        order=found.order,
        choices=choices,
        **kept(typed, refusal),
    )


def _compose_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    number: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.WRITE_REQUIREMENT)
    with records.read() as session:
        found = order_queries.order_on_file(session, number)
        tables = order_queries.by_code(session, RequirementKind.ACCEPTANCE_TABLE)
    extras = found.stated(RequirementKind.ACCEPTANCE_TABLE, extra=True)
    return page.show(
        "requirements/order_table.html",
        order=found.order,
        extras=extras,
        bases=[
            (code, f"{code}, {several[-1].name}")
            for code, several in tables.items()
            if code not in extras
        ],
        **kept(typed, refusal),
    )
