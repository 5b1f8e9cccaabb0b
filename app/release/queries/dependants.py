"""Which panels rest on a thing, by which way, and which open upstream holds touch a panel."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import NotFound, Refusal
from app.panels.queries import OpenUpstream, open_upstream_holds
from app.panels.records import Decided, HoldOn, Panel
from app.people.queries import one_person
from app.people.records import Person
from app.release.queries.lasting import lasting
from app.release.queries.links import PANEL, PERSON, REVISION, Link, links_beyond
from app.release.queries.spoken import PAPERS, THINGS, read_by_parts, spoken_ways
from app.release.rules.facts import UpstreamFacts
from app.release.rules.spreading import Node, spread, way_back
from app.requirements.records import Requirement, RequirementRevision

BY_REVISION = (HoldOn.ACCEPTANCE_TABLE, HoldOn.CYCLE, HoldOn.LOGGER_MAPPING)
"""What can be held by one revision; what rests on another paper does not say on which."""
NO_WINDOW = (HoldOn.MATERIAL_LOT, HoldOn.LOAD)
"""What has no time in which it was used: it is in doubt as a whole."""


@dataclass(frozen=True, slots=True)
class Window:
    """The time in which a thing is in doubt, both ends included; None: no end on that side."""

    since: datetime | None = None
    until: datetime | None = None

    def meets(self, first: datetime, last: datetime) -> bool:
        """Whether something that lasted from ``first`` to ``last`` has a moment in it."""
        return (self.until is None or first <= self.until) and (
            self.since is None or last >= self.since
        )

    @property
    def is_open(self) -> bool:
        """Whether it limits nothing."""
        return self.since is None and self.until is None


@dataclass(frozen=True, slots=True)
class RestingPanel:
    """A panel that rests on a thing; ``path`` is how, as spoken, the nearest first."""

    id: int
    code: str
    decided: Decided
    path: str


@dataclass(frozen=True, slots=True)
class _Step:
    """One link as a row holds it; ``at`` is the row's time where the link has one."""

    link: Link
    source: Node
    target: Node
    at: datetime | None


def panels_resting_on(
    session: Session,
    kind: HoldOn,
    code: str,
    *,
    revision: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> list[RestingPanel]:
    """Every panel that rests on a thing, by code, whatever was decided about it.

    ``revision`` is one of a table, cycle or mapping; ``since`` and ``until`` limit when the thing
    was used (a load or session counts that has a moment in between; of a person, when they acted),
    both included. Some ten statements, by kind, however many panels.

    Raises:
        NotFound: there is no such thing or revision.
        Refusal: the kind has no revisions that are told apart, or no time.
    """
    starts = things(session, kind, code, revision)
    window = Window(since, until)
    if kind in NO_WINDOW and not window.is_open:
        raise Refusal(f"A {kind.value.replace('_', ' ')} is in doubt as a whole; give no times.")
    links = links_beyond({node[0] for node in starts})

    def onward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        steps = list(_steps(session, links, layer, forward=True))
        return _in_time(session, steps, kind, window)

    reached = spread(starts, onward)
    keys = [key for found, key in reached if found == PANEL]
    ways = {key: way_back(reached, (PANEL, key)) for key in keys}
    spoken = spoken_ways(session, set(chain.from_iterable(ways.values())))
    rows = read_by_parts(session, select(Panel.id, Panel.code, Panel.decided), keys)
    found = [RestingPanel(row.id, row.code, row.decided, spoken(ways[row.id])) for row in rows]
    return sorted(found, key=lambda one: one.code)


def upstream_holds_on(
    session: Session, panel_ids: Collection[int]
) -> dict[int, tuple[UpstreamFacts, ...]]:
    """The open upstream holds that touch panels, by panel, oldest first.

    One cheap statement while no upstream hold is open; else the links are read from the panels
    back to their origins, so that the cost goes with the panels asked about, not with what is held.
    """
    held = open_upstream_holds(session)
    found: dict[int, list[UpstreamFacts]] = {key: [] for key in panel_ids}
    if not held or not found:
        return dict.fromkeys(found, ())
    starts = {one.id: _starts_of(session, one) for one in held}
    kinds = {node[0] for nodes in starts.values() for node in nodes}
    steps = _back_from(session, links_beyond(kinds), found)
    touched: list[tuple[int, OpenUpstream, tuple[Node, ...]]] = []
    for one in held:
        reached = _spread_over(session, steps, starts[one.id], one)
        touched += [
            (key, one, way_back(reached, (PANEL, key))) for key in found if (PANEL, key) in reached
        ]
    spoken = spoken_ways(session, {node for _, _, way in touched for node in way})
    for key, one, way in touched:
        found[key].append(
            UpstreamFacts(
                id=one.id,
                kind=one.kind.value,
                code=one.code,
                reason=one.reason,
                placed_by_id=one.placed_by_id,
                placed_at=one.placed_at,
                path=spoken(way),
            )
        )
    return {key: tuple(several) for key, several in found.items()}


def things(
    session: Session, kind: HoldOn, code: str, revision: str | None = None
) -> frozenset[Node]:
    """What a doubt about a thing starts from: the thing; every account of a person; one revision.

    Raises:
        NotFound: there is no such thing, or no such revision of it.
        Refusal: the kind has no revisions that are told apart.
    """
    if revision is not None and kind not in BY_REVISION:
        raise Refusal("Only a table, a cycle or a mapping is held by its revision; give none.")
    if kind is HoldOn.PERSON:
        return _accounts(session, code)
    record = THINGS[kind.value]
    query = select(record.id).where(record.code == code)
    if kind in PAPERS:
        query = query.where(Requirement.kind == kind.value.replace("_", " "))
    key = session.scalar(query)
    if key is None:
        raise NotFound(f"No {kind.value.replace('_', ' ')} {code} is on record. Check it.")
    if revision is None:
        return frozenset({(kind.value, key)})
    attempts = session.scalars(
        select(RequirementRevision.id).where(
            RequirementRevision.requirement_id == key, RequirementRevision.revision == revision
        )
    ).all()
    if not attempts:
        raise NotFound(f"{code} has no revision {revision}. Choose one of those on its page.")
    return frozenset((REVISION, one) for one in attempts)


def _accounts(session: Session, username: str) -> frozenset[Node]:
    key = session.scalar(select(Person.id).where(func.lower(Person.username) == username.lower()))
    if key is None:
        raise NotFound(f"Nobody signs in as {username}. Check the user name.")
    firsts = one_person(session)
    first = firsts.get(key, key)
    return frozenset({(PERSON, key), (PERSON, first)}) | {
        (PERSON, account) for account, known in firsts.items() if known == first
    }


def _starts_of(session: Session, held: OpenUpstream) -> frozenset[Node]:
    return things(session, held.kind, held.code, held.revision)


def _back_from(
    session: Session, links: Sequence[Link], panel_ids: Iterable[int]
) -> dict[Node, list[_Step]]:
    """Every step of these links that leads to the panels, by its source."""
    steps: dict[Node, list[_Step]] = defaultdict(list)

    def backward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        for step in _steps(session, links, layer, forward=False):
            steps[step.source].append(step)
            yield step.target, step.source

    spread([(PANEL, key) for key in panel_ids], backward)
    return steps


def _spread_over(
    session: Session,
    steps: Mapping[Node, Sequence[_Step]],
    starts: Iterable[Node],
    held: OpenUpstream,
) -> dict[Node, Node | None]:
    """What one hold reaches over steps that were read already."""
    window = Window(held.since, held.until)

    def onward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        going = [step for node in layer for step in steps.get(node, ())]
        return _in_time(session, going, held.kind, window)

    return spread(starts, onward)


def _steps(
    session: Session, links: Iterable[Link], nodes: AbstractSet[Node], *, forward: bool
) -> Iterator[_Step]:
    """The steps of these links out of things, or into them; a statement for each that has any."""
    keys = defaultdict(list)
    for kind, key in nodes:
        keys[kind].append(key)
    for link in links:
        near = link.source if forward else link.target
        column = 0 if forward else 1
        for row in read_by_parts(session, link.query, keys.get(near, ()), column=column):
            at = row[2] if link.when == "row" else None
            yield _Step(link, (link.source, row[0]), (link.target, row[1]), at)


def _in_time(
    session: Session, steps: Sequence[_Step], kind: HoldOn, window: Window
) -> list[tuple[Node, Node]]:
    """The steps that a doubt with a window takes.

    Of a person their own acts have to be in it; of everything else every step that has a time.
    """
    if window.is_open:
        return [(step.source, step.target) for step in steps]
    lasted = lasting(session, {step.target for step in steps if step.link.when == "target"})

    def counts(step: _Step) -> bool:
        if step.link.when is None or (kind is HoldOn.PERSON and step.link.source != PERSON):
            return True
        if step.at is not None:
            return window.meets(step.at, step.at)
        return window.meets(*lasted[step.target])

    return [(step.source, step.target) for step in steps if counts(step)]
