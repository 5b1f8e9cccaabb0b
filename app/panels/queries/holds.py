"""What is read about holds where a thing is to be used: whether it, or a panel, is on hold."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import column, select, table
from sqlalchemy.orm import Session

from app.panels.records import Hold, HoldOn, Panel, UpstreamHold, UpstreamHoldLift
from app.people.records import Person

# Lifts of panels' holds belong to decisions, which stand above this subject.
_LIFTS = table("hold_lift", column("hold_id"))


@dataclass(frozen=True, slots=True)
class OpenUpstream:
    """An open hold on something panels rest on; ``since`` to ``until`` is what is in doubt."""

    id: int
    kind: HoldOn
    code: str
    revision: str | None
    since: datetime | None
    until: datetime | None
    reason: str
    panels_found: int
    placed_by_id: int
    placed_by: str
    placed_at: datetime

    @property
    def name(self) -> str:
        """What is held, as spoken."""
        return self.kind.named(self.code, self.revision)

    @property
    def words(self) -> str:
        """The hold as a sentence that a refusal says."""
        name = self.name[0].upper() + self.name[1:]
        return (
            f"{name} is on hold, placed by {self.placed_by}: {self.reason.rstrip('.')}. A "
            "supervisor can lift the hold on its page."
        )

    def is_about(self, used: "Used") -> bool:
        """Whether the use is of what is held, in the time that is in doubt."""
        return (
            (self.kind, self.code) == (used.kind, used.code)
            and (self.revision is None or self.revision == used.revision)
            and (self.since is None or used.last >= self.since)
            and (self.until is None or used.first <= self.until)
        )


@dataclass(frozen=True, slots=True)
class Used:
    """A thing about to be used, from ``first`` to ``last``."""

    kind: HoldOn
    code: str
    first: datetime
    last: datetime
    revision: str | None = None


def open_upstream_holds(session: Session) -> list[OpenUpstream]:
    """Every upstream hold that is not lifted, oldest first; one statement."""
    rows = session.execute(
        select(
            UpstreamHold.id,
            UpstreamHold.kind,
            UpstreamHold.code,
            UpstreamHold.revision,
            UpstreamHold.since,
            UpstreamHold.until,
            UpstreamHold.reason,
            UpstreamHold.panels_found,
            UpstreamHold.placed_by_id,
            Person.full_name,
            UpstreamHold.placed_at,
        )
        .join(Person, Person.id == UpstreamHold.placed_by_id)
        .outerjoin(UpstreamHoldLift, UpstreamHoldLift.upstream_hold_id == UpstreamHold.id)
        .where(UpstreamHoldLift.id.is_(None))
        .order_by(UpstreamHold.id)
    )
    return [OpenUpstream(*row) for row in rows]


def open_hold_on(session: Session, kind: HoldOn, codes: Collection[str]) -> list[OpenUpstream]:
    """The open holds on things of one kind, whatever time or revision they are about."""
    wanted = set(codes)
    held = open_upstream_holds(session)
    return [one for one in held if one.kind is kind and one.code in wanted]


def why_held(session: Session, uses: Iterable[Used]) -> list[OpenUpstream]:
    """The open holds that stand against these uses, each once; one statement."""
    held = open_upstream_holds(session)
    if not held:
        return []
    several: Sequence[Used] = list(uses)
    return [one for one in held if any(one.is_about(use) for use in several)]


def upstream_of_holds(session: Session, hold_ids: Collection[int]) -> dict[int, int]:
    """The upstream hold that brought each panel's hold about, by hold; others are left out."""
    rows = session.execute(
        select(Hold.id, Hold.upstream_hold_id).where(
            Hold.id.in_(hold_ids), Hold.upstream_hold_id.is_not(None)
        )
    )
    return {key: upstream for key, upstream in rows if upstream is not None}


def held_panels(session: Session, panel_ids: Collection[int]) -> dict[str, str]:
    """The panels among these with an open hold: code to the newest hold's reason."""
    rows = session.execute(
        select(Panel.code, Hold.reason)
        .join(Hold, Hold.panel_id == Panel.id)
        .outerjoin(_LIFTS, _LIFTS.c.hold_id == Hold.id)
        .where(Panel.id.in_(panel_ids), _LIFTS.c.hold_id.is_(None))
        .order_by(Hold.id)
    )
    return {row.code: row.reason for row in rows}
