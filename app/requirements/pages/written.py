"""The forms that write a paper: shown, shown again as typed, and left once it is on record."""

import json
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

from fastapi import Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.people.rights import Act, require
from app.requirements import queries
from app.requirements.forms import paper_of
from app.requirements.records import RequirementKind
from app.requirements.service import KINDS, Named
from app.web.entries import kept
from app.web.forms import Typed
from app.web.page import PageMaker


def form_page(
    page: PageMaker,
    by: Actor,
    act: Act,
    form: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
    **values: Any,
) -> Response:
    """The form ``requirements/register_FORM.html`` for whoever may do ``act``."""
    require(by, act)
    return page.show(f"requirements/register_{form}.html", **values, **kept(typed, refusal))


def typed_at_first(
    records: Database, by: Actor, kind: RequirementKind, code: str, revision: str
) -> dict[str, str]:
    """The form as it opens: whose further revision it is, or filled in with a draft as written.

    Of a draft that is hidden from the person its values are left to be filled in.
    """
    typed = {"code": code}
    if not revision:
        return typed
    with records.read() as session:
        found = queries.named(session, code.upper(), kind=kind, revision=revision)
    draft = next(one for one in found if one.revision == revision)
    typed |= {"revision": draft.revision, "source_document": draft.source_document}
    if draft.is_hidden_from(by):
        return typed
    return {
        **typed,
        **draft.shop_rules,
        "paper": json.dumps(draft.paper, indent=1, ensure_ascii=False),
    }


def submitted_paper(
    page: PageMaker,
    by: Actor,
    act: Act,
    form: str,
    *,
    typed: Typed,
    put_on_record: Callable[[bytes, str], Named],
) -> Response:
    """Onward once a JSON paper is on record, or the form ``requirements/register_FORM.html`` again.

    ``put_on_record`` reads the fields beside the paper and writes it, given its bytes and what to
    call it; what it refuses is shown on the form, the paper's text in its box.
    """
    require(by, act)
    paper = b""
    try:
        paper, filename = paper_of(typed)
        named = put_on_record(paper, filename)
    except Refusal as refusal:
        return form_page(page, by, act, form, typed=_with_paper(typed, paper), refusal=refusal)
    return written(page, named)


def _with_paper(typed: Typed, paper: bytes) -> dict[str, str]:
    """What was typed, with a file's text in the box, so that it can be corrected on the page."""
    given = dict(typed)
    if not given.get("paper", "").strip():
        given["paper"] = paper.decode("utf-8", errors="ignore").replace("\0", "")
    return given


def written(page: PageMaker, named: Named) -> Response:
    """Onward to the revision that is now on record."""
    kind = KINDS[named.kind]
    address = f"{kind.place}/{named.code}?revision={quote(named.revision)}"
    keyed = "another person has keyed its values from the source and " if kind.keyed else ""
    notice = (
        f"{named.code} revision {named.revision} is on record. {kind.before} until {keyed}a "
        "supervisor who did not write it has compared it with its source and verified it."
    )
    return page.see_other(address, notice=notice)
