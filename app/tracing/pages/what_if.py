"""What a revision of an acceptance table would change; never a record."""

from fastapi import APIRouter, Response

from app.database import Database
from app.errors import NotFound, Refusal
from app.people.signed_in import SignedIn
from app.requirements.order_queries import by_code
from app.requirements.queries import may_see_values
from app.requirements.records import RequirementKind
from app.tracing.queries.what_if import what_if
from app.web.entries import kept
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/what-if")
def show_what_if(
    page: Page, records: Records, by: SignedIn, *, table: str = "", revision: str = ""
) -> Response:
    """Coupons judged under other revisions, judged again under this one; nothing is written.

    Where no table and revision of it are named, both are chosen here.
    """
    table, revision = table.strip().upper(), revision.strip()
    problems = {
        name: words
        for name, words, typed in (
            ("table", "Choose a table.", table),
            ("revision", "Type which of its revisions.", revision),
        )
        if not typed
    }
    if problems:
        refusal = Refusal("Nothing is judged yet: one of the two is missing.", fields=problems)
        return _choice(page, records, table, revision, refusal if table or revision else None)
    try:
        with records.read() as session:
            found = what_if(session, table, revision, at=now(), zone=page.settings.zone)
    except NotFound as refusal:
        return _choice(page, records, table, revision, refusal)
    may_see_values(found.revision, by)
    return page.show("tracing/what_if.html", found=found, shown=found.revision)


def _choice(
    page: PageMaker, records: Database, table: str, revision: str, refusal: Refusal | None
) -> Response:
    """The fields that name a table and a revision, with why what was named will not do."""
    with records.read() as session:
        tables = by_code(session, RequirementKind.ACCEPTANCE_TABLE)
    return page.show(
        "tracing/choose_what_if.html",
        tables=[
            (code, f"{code}, revisions {', '.join(one.revision for one in several)}")
            for code, several in tables.items()
        ],
        **kept({"table": table, "revision": revision}, refusal),
    )
