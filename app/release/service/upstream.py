"""Holds on what panels rest on: placed with every panel below, lifted by a signed finding.

A hold on a person stops nothing that they do: it says that what they did is in doubt, so it holds
every panel that rests on their word, and the gate of the open hold catches what they do next.
Whether somebody may still act is another decision, which ends an authorisation or shuts an account.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.facts import row_facts
from app.audit.tags import Tag
from app.audit.writer import append, together
from app.bench.records import BenchSession, BlockCheck
from app.database import Database, paper_sha256
from app.equipment.records import Furnace, FurnaceCheck, ReferenceBlock, Tester, TesterCertificate
from app.errors import Conflict, NotAllowed, Refusal
from app.panels.queries import waits_under
from app.panels.records import (
    ENDED,
    HoldCause,
    HoldOn,
    UpstreamHold,
    UpstreamHoldLift,
)
from app.panels.service import hold_panel
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import Act, require
from app.release.queries.dependants import RestingPanel, panels_resting_on, things
from app.release.queries.upstream import upstream_hold
from app.release.service.holds import needed_reason

SHORTEST_FINDING = 10
"""Letters and signs of what came of an upstream hold."""


@dataclass(frozen=True, slots=True)
class HeldThing:
    """What is to be held: ``revision`` of a table, cycle or mapping; the time that is in doubt."""

    kind: HoldOn
    code: str
    revision: str | None = None
    since: datetime | None = None
    until: datetime | None = None

    @property
    def name(self) -> str:
        """As spoken."""
        return self.kind.named(self.code, self.revision)


def reach(session: Session, held: HeldThing) -> list[RestingPanel]:
    """The panels that a hold on the thing would put on hold now: those not ended.

    Raises:
        NotFound: no such thing or revision.
        Refusal: it has no revisions or times of its own, or the times are the wrong way round.
    """
    if held.since is not None and held.until is not None and held.since > held.until:
        sentence = "The time in doubt ends before it begins; correct one of the two."
        raise Refusal(sentence, fields={"until": sentence})
    found = panels_resting_on(
        session,
        held.kind,
        held.code,
        revision=held.revision,
        since=held.since,
        until=held.until,
    )
    return [panel for panel in found if panel.decided not in ENDED]


def place_upstream_hold(
    database: Database, held: HeldThing, *, reason: str, by: Actor, at: datetime
) -> tuple[int, int]:
    """Hold a thing and every panel that rests on it, released or not, in one transaction.

    Hands back the hold's number and how many panels it put on hold. Each panel gets a hold of its
    own that names this one and says by which way; one that was released is recalled by that.

    Raises:
        NotFound, Refusal: as :func:`reach`; or no reason is given.
    """
    require(by, Act.PLACE_HOLD)
    reason = needed_reason(reason)
    with database.write() as session:
        row, count = hold_thing(session, held, reason=reason, by=by, at=at)
        return row.id, count


def hold_thing(
    session: Session, held: HeldThing, *, reason: str, by: Actor, at: datetime
) -> tuple[UpstreamHold, int]:
    """The same as part of a deciding transaction that calls for it; the hold and how many panels.

    Raises:
        NotFound, Refusal: as :func:`reach`.
    """
    panels = reach(session, held)
    row = UpstreamHold(
        kind=held.kind,
        code=held.code,
        revision=held.revision,
        since=held.since,
        until=held.until,
        reason=reason,
        panels_found=len(panels),
        placed_by_id=by.id,
        placed_at=at,
    )
    session.add(row)
    session.flush()
    with together(session):
        append(
            session,
            Tag.UPSTREAM_HOLD_PLACED,
            by=by,
            at=at,
            about=(held.kind.value, held.code),
            rows=[row],
            note=f"hold {row.id} on {held.name}, {_panels(len(panels))}: {reason}",
        )
        for panel in panels:
            _hold(session, panel, row, held, by=by, at=at)
    return row, len(panels)


def _hold(
    session: Session,
    panel: RestingPanel,
    row: UpstreamHold,
    held: HeldThing,
    *,
    by: Actor,
    at: datetime,
) -> None:
    name = held.name[0].upper() + held.name[1:]
    way = f" (by {panel.path})" if panel.path.casefold() != held.name.casefold() else ""
    hold_panel(
        session,
        panel.id,
        panel.code,
        reason=f"{name} is on hold{way}: {row.reason}",
        cause=HoldCause.UPSTREAM,
        upstream_hold_id=row.id,
        by=by,
        at=at,
    )


def lift_upstream_hold(
    database: Database, hold_id: int, *, finding: str, password: str, by: Actor, at: datetime
) -> None:
    """End an upstream hold with what was found, signed. Panels' own holds stay, one by one.

    Raises:
        NotAllowed: the person is no supervisor, or is concerned (:func:`why_not_lift_upstream`).
        NotFound, Conflict: no such hold, it was lifted already, or it is too early
            (:func:`why_not_lift_yet`).
        Refusal: the finding is shorter than ten signs, or the password is wrong.
    """
    require(by, Act.LIFT_HOLD)
    finding = " ".join(finding.split())
    if len(finding) < SHORTEST_FINDING:
        sentence = f"Say what was found, in {SHORTEST_FINDING} signs or more; it is kept for good."
        raise Refusal(sentence, fields={"finding": sentence})
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        row = upstream_hold(session, hold_id)
        if session.scalars(
            select(UpstreamHoldLift.id).where(UpstreamHoldLift.upstream_hold_id == row.id)
        ).first():
            raise Conflict(f"Hold {row.id} was lifted already; read its page again.")
        why_not = why_not_lift_upstream(session, row, by) or why_not_lift_yet(session, row)
        if why_not is not None:
            raise why_not
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.LIFTED_UPSTREAM,
            content_sha256=paper_sha256({"upstream_hold": row_facts(row), "finding": finding}),
            at=at,
        )
        lift = UpstreamHoldLift(
            upstream_hold_id=row.id,
            finding=finding,
            signature_id=signature.id,
            lifted_by_id=by.id,
            lifted_at=at,
        )
        session.add(lift)
        append(
            session,
            Tag.UPSTREAM_HOLD_LIFTED,
            by=by,
            at=at,
            about=(row.kind.value, row.code),
            rows=[signature, lift],
            note=f"hold {row.id}: {finding}",
        )


def why_not_lift_upstream(session: Session, row: UpstreamHold, by: Actor) -> NotAllowed | None:
    """Why this supervisor is concerned: they are held, or reported the thing's last failure."""
    if row.kind is HoldOn.PERSON:
        accounts = {key for _, key in things(session, row.kind, row.code)}
        if by.is_among(accounts):
            return NotAllowed("The hold is about you, so another supervisor lifts it.")
    if by.is_among(_reported_failure(session, row)):
        return NotAllowed(
            f"You entered the last report on which {row.code} failed, so another supervisor lifts "
            "the hold."
        )
    return None


def why_not_lift_yet(session: Session, row: UpstreamHold) -> Conflict | None:
    """Why nobody lifts it yet: the correction of a lot that brought it about is not answered."""
    if row.kind is HoldOn.MATERIAL_LOT and waits_under(session, row.id):
        return Conflict(
            f"The correction of lot {row.code} that this hold came with waits for its answer; it "
            "is answered on the lot's page first."
        )
    return None


def _reported_failure(session: Session, row: UpstreamHold) -> Sequence[int]:
    """Who entered the newest report on which the held thing failed; none where none did."""
    failed = {
        HoldOn.FURNACE: select(FurnaceCheck.entered_by_id)
        .join(Furnace, Furnace.id == FurnaceCheck.furnace_id)
        .where(Furnace.code == row.code, FurnaceCheck.passed.is_(False))
        .order_by(FurnaceCheck.id.desc()),
        HoldOn.REFERENCE_BLOCK: select(BlockCheck.by_id)
        .join(ReferenceBlock, ReferenceBlock.id == BlockCheck.block_id)
        .where(ReferenceBlock.code == row.code, BlockCheck.outcome == "does_not_conform")
        .order_by(BlockCheck.id.desc()),
    }
    if row.kind is HoldOn.TESTER:
        at_bench = (
            select(BlockCheck.by_id)
            .join(BenchSession, BenchSession.id == BlockCheck.session_id)
            .join(Tester, Tester.id == BenchSession.tester_id)
            .where(Tester.code == row.code, BlockCheck.outcome == "does_not_conform")
            .order_by(BlockCheck.id.desc())
        )
        found = (
            select(TesterCertificate.entered_by_id)
            .join(Tester, Tester.id == TesterCertificate.tester_id)
            .where(Tester.code == row.code, TesterCertificate.as_found_within.is_(False))
            .order_by(TesterCertificate.id.desc())
        )
        newest = (session.scalars(query.limit(1)).first() for query in (at_bench, found))
        return [key for key in newest if key is not None]
    if row.kind not in failed:
        return ()
    return session.scalars(failed[row.kind].limit(1)).all()


def _panels(count: int) -> str:
    return f"{count} panel{'' if count == 1 else 's'}"
