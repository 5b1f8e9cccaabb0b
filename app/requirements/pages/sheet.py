"""What the page of a verified paper is made of, whichever kind it is."""

from dataclasses import dataclass
from typing import Any

from fastapi import Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.people.queries import acts_about, names
from app.people.rights import Act, may
from app.requirements import queries
from app.requirements.pages.sample import Tried, sample_typed
from app.requirements.queries import Revision
from app.requirements.records import RequirementKind
from app.requirements.rules import changes, table_rows
from app.requirements.service import KINDS
from app.web.entries import kept
from app.web.forms import Typed
from app.web.page import PageMaker, now


@dataclass(frozen=True, slots=True)
class Asked:
    """Which page is asked for; ``act`` says which of its forms was sent, if any."""

    kind: RequirementKind
    code: str
    revision: str | None
    act: str = ""


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
        shown = queries.shown_first(found, at, asked=asked.revision)
        others = [one for one in reversed(found) if one is not shown]
        return page.show(
            kind.template,
            kind=kind,
            shown=shown,
            state=queries.state_of(shown, at),
            states=[(one, queries.state_of(one, at)) for one in others],
            names=names(session),
            acts=acts_about(session, kind.identity, asked.code),
            compared=typed.every("compared") if typed else [],
            refused=asked.act,
            tried=tried,
            sample=_sample(asked, typed, tried),
            **_words(found, shown),
            **_rights(by, shown, may_write=may(by, kind.writes)),
            **kept(typed, refusal),
        )


def _sample(asked: Asked, typed: Typed | None, tried: Tried | None) -> tuple[tuple[str, str], ...]:
    """The export that a mapping was tried on, now or before its verification was refused."""
    if tried is not None:
        return () if tried.refusal else tried.sample
    return sample_typed(typed) if typed is not None and asked.act == "verify" else ()


def _words(found: list[Revision], shown: Revision) -> dict[str, Any]:
    """The revision part by part, and where it differs from the one before."""
    parts = queries.parts_of(shown)
    before = queries.previous(found, shown)
    is_table = shown.kind is RequirementKind.ACCEPTANCE_TABLE
    return {
        "parts": parts,
        "rows": table_rows(queries.table_of(shown)) if is_table else (),
        "before": before,
        "changed": () if before is None else changes(queries.parts_of(before), parts),
    }


def _rights(by: Actor, shown: Revision, *, may_write: bool) -> dict[str, bool]:
    """What the person may do with the revision shown."""
    verifies = may(by, Act.VERIFY_REQUIREMENT)
    unverified = shown.in_force_from is None and shown.withdrawn_at is None
    own = shown.written_by_id == by.id
    return {
        "may_write": may_write,
        "may_verify": unverified and verifies and not own,
        "own": unverified and own,
        "may_withdraw": shown.withdrawn_at is None and (may_write or verifies),
    }
