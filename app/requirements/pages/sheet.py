"""What the page of a verified paper is made of, whichever kind it is."""

from dataclasses import dataclass
from typing import Any

from fastapi import Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import NotFound, Refusal
from app.people.queries import acts_about, names, open_holds_about
from app.people.rights import Act, lacks, may
from app.requirements import queries
from app.requirements.pages.keyed import keyings_shown
from app.requirements.pages.sample import Tried, sample_typed
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind
from app.requirements.rules import Change, changes, differences, gap_parts, table_rows
from app.requirements.service import KINDS
from app.web.entries import kept
from app.web.forms import Typed
from app.web.page import PageMaker, now


@dataclass(frozen=True, slots=True)
class Asked:
    """Which page is asked for; ``act`` says which of its forms was sent, if any.

    ``attempt`` is an earlier attempt at the revision (None: the last), ``beside`` the key of the
    one it is compared with.
    """

    kind: RequirementKind
    code: str
    revision: str | None
    act: str = ""
    attempt: int | None = None
    beside: int | None = None


def requirement_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    asked: Asked,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
    tried: Tried | None = None,
) -> Response:
    """One requirement: its words, what changed, who verified it, and what may be done with it.

    Raises:
        NotFound: none of that identity or revision is on record.
    """
    at, kind = now(), KINDS[asked.kind]
    with records.read() as session:
        found = queries.named(session, asked.code, kind=asked.kind, revision=asked.revision)
        last = queries.shown_first(found, at, asked=asked.revision)
        history = queries.attempts(session, last.code, last.revision)
        shown = _attempt(history, asked.attempt)
        return page.show(
            kind.template,
            kind=kind,
            shown=shown,
            last=last,
            state=queries.state_of(shown, at, found),
            superseded_by=queries.superseded_by(shown, at, found),
            states=[
                (one, queries.state_of(one, at, found))
                for one in reversed(found)
                if one.id != last.id
            ],
            other_attempts=[one for one in history if one.id != shown.id],
            names=names(session),
            acts=acts_about(session, kind.identity, asked.code),
            on_hold=open_holds_about(session, kind.identity, asked.code),
            compared=typed.every("compared") if typed else [],
            refused=asked.act,
            tried=tried,
            sample=_sample(asked, typed, tried),
            **keyings_shown(by, shown, last, queries.keyings(session, shown.id)),
            **_values(by, shown, last, history, found, beside=asked.beside),
            **_rights(by, shown, may_write=may(by, kind.writes), is_last=shown.id == last.id),
            **kept(typed, refusal),
        )


def _attempt(history: list[Revision], number: int | None) -> Revision:
    """The attempt asked for, else the last.

    Raises:
        NotFound: there is none of that number.
    """
    if number is None:
        return history[-1]
    for one in history:
        if one.attempt == number:
            return one
    raise NotFound(f"Revision {history[-1].revision} has no attempt {number}.")


def _sample(asked: Asked, typed: Typed | None, tried: Tried | None) -> tuple[tuple[str, str], ...]:
    """The export that a mapping was tried on, now or before its verification was refused."""
    if tried is not None:
        return () if tried.refusal else tried.sample
    return sample_typed(typed) if typed is not None and asked.act == "verify" else ()


def _values(
    by: Actor,
    shown: Revision,
    last: Revision,
    history: list[Revision],
    found: list[Revision],
    *,
    beside: int | None,
) -> dict[str, Any]:
    """Everything on the page that holds a value; nothing of what is hidden from the person.

    What the page is not given it cannot show, nor compare another revision with.
    """
    if last.is_hidden_from(by):
        none: dict[str, Any] = {"parts": (), "rows": (), "open_parts": ()}
        return {**none, "beside": None, "besides": (), "changed": ()}
    known = [one for one in found if not one.is_hidden_from(by)]
    before = queries.previous(known, last)
    return {**_words(shown), **_beside([*history, *known], shown, before, beside)}


def _words(shown: Revision) -> dict[str, Any]:
    """The revision part by part, and of a table its rows and what no entry is for."""
    is_table = shown.kind is RequirementKind.ACCEPTANCE_TABLE
    table = queries.table_of(shown) if is_table else None
    return {
        "parts": queries.parts_of(shown),
        "rows": table_rows(table) if table is not None else (),
        "open_parts": gap_parts(table) if table is not None else (),
    }


def _beside(
    known: list[Revision], shown: Revision, before: Revision | None, asked: int | None
) -> dict[str, Any]:
    """Where the revision differs from another one, and which it can be compared with.

    That is the one asked for, else the one before it, else its own earlier attempt.
    """
    others = {one.id: one for one in known if one.id != shown.id}
    other = others.get(asked) if asked is not None else before
    if other is None and others and shown.attempt > 1:
        other = next(iter(others.values()))
    return {
        "beside": other,
        "besides": [(one.id, _title(one)) for one in others.values()],
        "changed": () if other is None else _changes(other, shown),
    }


def _title(one: Revision) -> str:
    attempt = f", attempt {one.attempt}" if one.attempt > 1 else ""
    return f"Revision {one.revision}{attempt}"


def _changes(other: Revision, shown: Revision) -> tuple[Change, ...]:
    """Cell by cell, where the kind has cells; else part by part."""
    if KINDS[shown.kind].keyed:
        return differences(queries.cells_of(other), queries.cells_of(shown))
    return changes(queries.parts_of(other), queries.parts_of(shown))


def _rights(by: Actor, shown: Revision, *, may_write: bool, is_last: bool) -> dict[str, Any]:
    """What the person may do with the revision shown; nothing with an attempt that was replaced.

    ``lacks`` says that only an authorisation keeps them from verifying it.
    """
    verifies = may(by, Act.VERIFY_REQUIREMENT)
    unverified = is_last and shown.in_force_from is None and shown.withdrawn_at is None
    is_ready = not shown.wants_keying
    own = by.is_person(shown.written_by_id)
    return {
        "may_write": may_write,
        "may_write_again": unverified and may_write,
        "may_verify": unverified and verifies and is_ready and not own,
        "lacks": lacks(by, Act.VERIFY_REQUIREMENT) if unverified and not own else None,
        "own": unverified and own,
        "may_withdraw": is_last and shown.withdrawn_at is None and (may_write or verifies),
    }
