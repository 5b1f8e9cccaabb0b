"""Open a nonconformance: what departed from which requirement, with the evidence as it stands."""

from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import claim
from app.audit.records import Identity
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.records import Panel
from app.panels.service import hold_panel
from app.people.rights import Act, require
from app.release.queries import nonconformances as queries
from app.release.queries.panel_facts import panel_facts
from app.release.records import Nonconformance
from app.release.rules.standing import ENDED, Standing
from app.release.service.cases import Case, case_of

_STOPPED = frozenset({Standing.HELD, Standing.RECALLED})
KIND = "nonconformance"
"""What a nonconformance is called among the identities and on the trail."""


def open_nonconformance(
    database: Database,
    panel_code: str,
    *,
    description: str,
    requirement: str,
    containment: str,
    by: Actor,
    at: datetime,
    zone: tzinfo,
) -> str:
    """Open a nonconformance of a panel and hand back its number: ``N-2026-0001``, year by year.

    A panel that is not held is put on hold with it. The evidence is kept as it stands.

    Raises:
        NotAllowed: the person may not open one.
        NotFound: no such panel.
        Refusal: a text is missing, or nothing more is decided on the panel.
    """
    require(by, Act.OPEN_NONCONFORMANCE)
    texts = {
        "description": description.strip(),
        "requirement": requirement.strip(),
        "containment": containment.strip(),
    }
    _check(texts)
    with database.write() as session:
        panel = panels.panel(session, panel_code)
        case = _case(session, panel, zone)
        if case.standing in ENDED:
            raise Refusal(
                f"{panel.code} stands at {case.standing.value}: nothing more is decided on it."
            )
        identity = _next_identity(session, at=at, zone=zone)
        if case.standing not in _STOPPED:
            reason = f"{identity.code}: {texts['description']}"
            hold_panel(session, panel.id, panel.code, reason=reason, by=by, at=at)
            case = _case(session, panel, zone)
        opened = Nonconformance(
            code=identity.code,
            panel_id=panel.id,
            evidence=case.snapshot,
            evidence_sha256=case.evidence_sha256,
            opened_by_id=by.id,
            opened_at=at,
            **texts,
        )
        session.add(opened)
        append(
            session,
            Tag.NONCONFORMANCE_OPENED,
            by=by,
            at=at,
            about=(KIND, identity.code),
            rows=[identity, opened],
            note=f"{panel.code}: {texts['description']}",
        )
        return identity.code


def _case(session: Session, panel: Panel, zone: tzinfo) -> Case:
    return case_of(panel_facts(session, [panel.id], zone=zone, in_full=True)[panel.id])


_ASKED = {
    "description": "Say what departs, with its figures.",
    "requirement": "Say what was asked for, with document, revision and clause.",
    "containment": "Say what was done at once so that nothing else is harmed.",
}


def _check(texts: dict[str, str]) -> None:
    problems = {field: _ASKED[field] for field, text in texts.items() if not text}
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _next_identity(session: Session, *, at: datetime, zone: tzinfo) -> Identity:
    """The year's next number that nothing else bears."""
    year = at.astimezone(zone).year
    number = queries.next_number(session, year)
    while session.get(Identity, f"N-{year}-{number:04d}") is not None:
        number += 1
    return claim(session, f"N-{year}-{number:04d}", kind=KIND, at=at)
