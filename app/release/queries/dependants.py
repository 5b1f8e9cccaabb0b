"""Which panels rest on a thing, by which way, and which open upstream holds touch a panel."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

from sqlalchemy import Select, func, literal, select, union_all
from sqlalchemy.orm import Session

from app.errors import NotFound, Refusal
from app.panels.queries import OpenUpstream, open_upstream_holds
from app.panels.records import Decided, HoldOn, Panel
from app.people.queries import one_person
from app.people.records import Person
from app.release.queries.lasting import lasting
from app.release.queries.links import PANEL, PERSON, REVISION, Link, links_beyond
from app.release.queries.spoken import PAPERS, THINGS, read_by_parts, spoken_ways
from app.release.queries.steps import Step, steps_at
from app.release.rules.facts import UpstreamFacts
from app.release.rules.spreading import Node, spread, way_back
from app.requirements.records import Requirement, RequirementRevision

BY_REVISION = (HoldOn.ACCEPTANCE_TABLE, HoldOn.CYCLE, HoldOn.LOGGER_MAPPING)
"""What can be held by one revision; what rests on another paper does not say on which."""
NO_WINDOW = (HoldOn.MATERIAL_LOT, HoldOn.LOAD)
"""What has no time in which it was used: it is in doubt as a whole."""
Lasted = Mapping[Node, tuple[datetime, datetime]]
_HOLDS_AT_ONCE = 100


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
    both included. A statement for each step of the way, however many panels.

    Raises:
        NotFound: there is no such thing or revision.
        Refusal: the kind has no revisions that are told apart, or no time.
    """
    starts = things(session, kind, code, revision)
    window = Window(since, until)
    if kind in NO_WINDOW and not window.is_open:
        raise Refusal(f"A {kind.value.replace('_', ' ')} is in doubt as a whole; give no times.")
    links = links_beyond(frozenset(node[0] for node in starts))

    def onward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        steps = list(steps_at(session, links, layer, forward=True))
        return _in_time(steps, kind, window, {} if window.is_open else _lasted(session, steps))

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
    back to their origins, so that the cost goes with the panels asked about, not with what is held:
    a statement for each step of the way, some five more, and none for each hold.
    """
    held = open_upstream_holds(session)
    found: dict[int, list[UpstreamFacts]] = {key: [] for key in panel_ids}
    if not held or not found:
        return dict.fromkeys(found, ())
    starts = _starts_of(session, held)
    kinds = frozenset(node[0] for nodes in starts.values() for node in nodes)
    steps = _back_from(session, links_beyond(kinds), found)
    limited = any(not Window(one.since, one.until).is_open for one in held)
    lasted = _lasted(session, chain.from_iterable(steps.values())) if limited else {}
    touched: list[tuple[int, OpenUpstream, tuple[Node, ...]]] = []
    for one in held:
        reached = _spread_over(steps, starts[one.id], one, lasted)
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
    key = session.scalar(_keys_of(kind, code))
    if key is None:
        raise NotFound(f"No {kind.value.replace('_', ' ')} {code} is on record. Check it.")
    if revision is None:
        return frozenset({(kind.value, key)})
    attempts = session.scalars(_keys_of(kind, code, revision)).all()
    if not attempts:
        raise NotFound(f"{code} has no revision {revision}. Choose one of those on its page.")
    return frozenset((REVISION, one) for one in attempts)


def _keys_of(kind: HoldOn, code: str, revision: str | None = None) -> Select[int]:
    """Selects the key of a thing; of one revision the keys of all its attempts."""
    if kind is HoldOn.PERSON:
        return select(Person.id).where(func.lower(Person.username) == code.lower())
    record = THINGS[kind.value]
    query = select(record.id).where(record.code == code)
    if kind in PAPERS:
        query = query.where(Requirement.kind == kind.value.replace("_", " "))
    if revision is None:
        return query
    return select(RequirementRevision.id).where(
        RequirementRevision.requirement_id.in_(query), RequirementRevision.revision == revision
    )


def _accounts(session: Session, username: str) -> frozenset[Node]:
    key = session.scalar(_keys_of(HoldOn.PERSON, username))
    if key is None:
        raise NotFound(f"Nobody signs in as {username}. Check the user name.")
    return _accounts_of(key, one_person(session))


def _accounts_of(key: int, firsts: Mapping[int, int]) -> frozenset[Node]:
    """Every account of the person who has that one."""
    first = firsts.get(key, key)
    return frozenset({(PERSON, key), (PERSON, first)}) | {
        (PERSON, account) for account, known in firsts.items() if known == first
    }


def _starts_of(session: Session, held: Sequence[OpenUpstream]) -> dict[int, frozenset[Node]]:
    """What each open hold starts from, as :func:`things` says; two statements for all."""
    firsts = one_person(session) if any(one.kind is HoldOn.PERSON for one in held) else {}
    found: dict[int, frozenset[Node]] = {one.id: frozenset() for one in held}
    for first in range(0, len(held), _HOLDS_AT_ONCE):
        some = held[first : first + _HOLDS_AT_ONCE]
        selects = [
            _keys_of(one.kind, one.code, one.revision).add_columns(literal(place))
            for place, one in enumerate(some)
        ]
        for key, place in session.execute(union_all(*selects)):
            one = some[place]
            if one.kind is HoldOn.PERSON:
                found[one.id] |= _accounts_of(key, firsts)
            else:
                found[one.id] |= {(one.kind.value if one.revision is None else REVISION, key)}
    return found


def _back_from(
    session: Session, links: tuple[Link, ...], panel_ids: Iterable[int]
) -> dict[Node, list[Step]]:
    """Every step of these links that leads to the panels, by its source."""
    steps: dict[Node, list[Step]] = defaultdict(list)

    def backward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        for step in steps_at(session, links, layer, forward=False):
            steps[step.source].append(step)
            yield step.target, step.source

    spread([(PANEL, key) for key in panel_ids], backward)
    return steps


def _spread_over(
    steps: Mapping[Node, Sequence[Step]],
    starts: Iterable[Node],
    held: OpenUpstream,
    lasted: Lasted,
) -> dict[Node, Node | None]:
    """What one hold reaches over steps that were read already."""
    window = Window(held.since, held.until)

    def onward(layer: AbstractSet[Node]) -> Iterable[tuple[Node, Node]]:
        going = [step for node in layer for step in steps.get(node, ())]
        return _in_time(going, held.kind, window, lasted)

    return spread(starts, onward)


def _lasted(session: Session, steps: Iterable[Step]) -> Lasted:
    """How long the loads and sessions lasted that have a link's time."""
    return lasting(session, {step.target for step in steps if step.link.when == "target"})


def _in_time(
    steps: Sequence[Step], kind: HoldOn, window: Window, lasted: Lasted
) -> list[tuple[Node, Node]]:
    """The steps that a doubt with a window takes; ``lasted`` where it has one.

    Of a person their own acts have to be in it; of everything else every step that has a time.
    """
    if window.is_open:
        return [(step.source, step.target) for step in steps]

    def counts(step: Step) -> bool:
        if step.link.when is None or (kind is HoldOn.PERSON and step.link.source != PERSON):
            return True
        if step.at is not None:
            return window.meets(step.at, step.at)
        return window.meets(*lasted[step.target])

    return [(step.source, step.target) for step in steps if counts(step)]
