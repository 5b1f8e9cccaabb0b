"""The page on which a second person keys a revision's values, none of them in sight."""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Conflict, NotAllowed, Refusal
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.requirements import queries, service
from app.requirements.forms import KeyForm
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind, SecondKeying
from app.requirements.rules import Cell, Group, Unlike
from app.requirements.service import KINDS, Named
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()
_CELL = "cell-"


def _add_pages(kind: RequirementKind) -> None:
    """The page of a kind that is keyed, and its form."""
    address = f"{KINDS[kind].place}/{{code:path}}/keying"

    @router.get(address)
    def show(page: Page, records: Records, by: SignedIn, code: str, revision: str) -> Response:
        """Every value to be keyed, by its place."""
        return _page(page, records, by, Named(kind, code.upper(), revision))

    @router.post(address)
    def submit(page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm) -> Response:
        """Sign what was keyed."""
        return _submit(page, records, by, kind=kind, code=code.upper(), typed=typed)


for _kind, _of_kind in KINDS.items():
    if _of_kind.keyed:
        _add_pages(_kind)


def _submit(
    page: PageMaker, records: Records, by: Actor, *, kind: RequirementKind, code: str, typed: Typed
) -> Response:
    require(by, Act.KEY_AGAIN)
    named = Named(kind, code, typed.get("revision", ""))
    revision = _last(records, named)
    try:
        form = parse(KeyForm, typed)
        fields = _fields(service.asked_of(revision))
        found = service.key_again(
            records,
            named,
            cells={place: typed[name] for name, place in fields.items() if name in typed},
            password=form.password,
            by=by,
            at=now(),
            attempt=form.attempt,
        )
    except Refusal as refusal:
        return _page(page, records, by, named, typed=typed, refusal=refusal)
    address = f"{KINDS[kind].place}/{code}?revision={quote(named.revision)}"
    return page.see_other(address, notice=_notice(named, found))


def _notice(named: Named, found: tuple[Unlike, ...]) -> str:
    words = f"You have keyed {named.code} revision {named.revision}"
    if not found:
        return f"{words}: every value agrees with the first entry."
    count = f"{len(found)} value{'' if len(found) == 1 else 's'}"
    return f"{words}: {count} not the same as in the first entry. They stand side by side below."


def _page(
    page: PageMaker,
    records: Records,
    by: Actor,
    named: Named,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.KEY_AGAIN)
    revision = _last(records, named)
    if refusal is None:
        _check_open(revision, by)
    is_open = not revision.is_keyed and revision.verified_by_id is None
    return page.show(
        "requirements/keying.html",
        kind=KINDS[named.kind],
        # Nothing of the paper itself is handed to the page: what it is not given it cannot show.
        shown={
            "code": revision.code,
            "revision": revision.revision,
            "attempt": revision.attempt,
            "source_document": revision.source_document,
            "is_second_look": revision.differences is not None,
        },
        groups=[_asked(group) for group in service.asked_of(revision)] if is_open else [],
        meaning=service.keying_meaning(revision),
        **kept(typed, refusal),
    )


def _check_open(revision: Revision, by: Actor) -> None:
    words = f"{revision.code} revision {revision.revision}"
    if by.is_person(revision.written_by_id):
        raise NotAllowed(f"You wrote {words}; another person has to key its values.")
    if revision.is_keyed or revision.verified_by_id is not None:
        raise Conflict(f"There is nothing to key of {words} any more.")


def _last(records: Records, named: Named) -> Revision:
    with records.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in found if one.revision == named.revision)


def _asked(group: Group) -> dict[str, Any]:
    """A group as the page is given it: places, choices, and no value."""
    return {
        "title": group.title,
        "guide": group.blind_guide(),
        "cells": [
            {
                "name": _name(group, cell),
                "what": f"{cell.what[0].upper()}{cell.what[1:]}",
                "choices": [(one, one) for one in cell.choices],
                "is_figure": cell.is_figure,
            }
            for cell in group.to_key()
        ],
    }


def _fields(groups: tuple[Group, ...]) -> dict[str, str]:
    """The place that each field of the form is for."""
    return {_name(group, cell): group.place(cell) for group in groups for cell in group.to_key()}


def _name(group: Group, cell: Cell) -> str:
    place = group.place(cell).casefold()
    return _CELL + "".join(sign if sign.isalnum() else "-" for sign in place)


def keyings_shown(
    by: Actor, shown: Revision, last: Revision, done: Sequence[SecondKeying]
) -> dict[str, Any]:
    """What a revision's own page says of its second keyings, and whether its values are hidden.

    Where the two entries of the ``last`` attempt differ stands on the page for everybody: these
    values are looked up again, and not keyed blind any more.
    """
    hidden = last.is_hidden_from(by)
    is_last = shown.id == last.id
    unlike = shown.differences or () if is_last or not hidden else ()
    return {
        "keyings": done,
        "unlike": [Unlike(*one) for one in unlike],
        "may_key": is_last and hidden and may(by, Act.KEY_AGAIN),
        "to_be_keyed": is_last and last.may_be_keyed,
        "hidden": hidden,
    }
