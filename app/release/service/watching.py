"""Recall panels in use whose evidence changed below them: papers of equipment, accounts of people.

Where an act knows which panels it turns, it recalls them in its own transaction. What lies below
loads cannot know them; it is looked for here, at the end of the same request and after a start, by
comparing the evidence with what each panel's last decision was made on. Coupons measured with an
instrument whose papers changed are judged again first: their kept verdicts are that evidence.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.bench.queries.papers_since import coupons_concerned
from app.bench.service.verdicts import judge_again, moved
from app.database import Database
from app.panels.service import recall
from app.people import queries as people
from app.release.queries.decided import (
    Seen,
    entries_since,
    held_after,
    in_use_concerned,
    last_evidence,
    last_hold,
    still_in_use,
)
from app.release.queries.panel_facts import panel_facts
from app.release.records import TrailSeen
from app.release.rules.gates import evidence
from app.release.rules.snapshot import opened_since

_AT_ONCE = 100
"""Panels looked at together: a tenth of a second or so, twice that where all have turned.

Coupons judged again together, too.
"""

_Look = Callable[..., list[str]]


def recall_changed(
    database: Database,
    *,
    since: int | None,
    at: datetime,
    zone: tzinfo,
    go_on: Callable[[], bool] = lambda: True,
) -> tuple[int | None, list[str]]:
    """Recall panels in use whose evidence an act after entry ``since`` has turned.

    ``since`` None goes on from the entry that was looked at last, by whatever process. Hands back
    the number of the last entry looked at (``since`` where there is nothing new) and the panels
    recalled. One query where nothing happened that could concern a panel.

    Looks at a hundred coupons or panels at a time, each hundred in transactions of its own, so that
    nobody waits for all of them; ``go_on`` is asked in between. Where it says no, the look ends as
    it is and the same entries are looked at again next time: what is judged again or recalled is
    not so twice.
    """
    with database.read() as session:
        entries = entries_since(session, since)
        if not entries:
            return since, []
        measured = coupons_concerned(session, entries)
        concerned = in_use_concerned(session, entries)
    recalled: list[str] = []
    pieces: list[tuple[_Look, dict[int, str]]] = [
        *((_judge_moved, some) for some in _hundreds(measured)),
        *((_recall_turned, some) for some in _hundreds(concerned)),
    ]
    for number, (look_at, some) in enumerate(pieces):
        if number and not go_on():
            return since, recalled
        recalled += look_at(database, some, entries, at=at, zone=zone)
    last = entries[-1].number
    if pieces:
        with database.write() as session:
            kept = session.get(TrailSeen, 1)
            if kept is None:
                session.add(TrailSeen(id=1, number=last))
            else:
                kept.number = max(kept.number, last)
    return last, recalled


def _hundreds(some: Mapping[int, str]) -> list[dict[int, str]]:
    keys = list(some)
    firsts = range(0, len(keys), _AT_ONCE)
    return [{key: some[key] for key in keys[first : first + _AT_ONCE]} for first in firsts]


def _judge_moved(
    database: Database,
    coupons: Mapping[int, str],
    entries: Sequence[Seen],
    *,
    at: datetime,
    zone: tzinfo,
) -> list[str]:
    """Judge those again whose verdict rests on something else now; hand back what that recalls.

    ``coupons`` names by id whose act it was.
    """
    with database.read() as session:
        stale = moved(session, list(coupons), zone=zone)
    if not stale:
        return []
    with database.write() as session:
        before = last_hold(session)
        whose: dict[str, list[int]] = defaultdict(list)
        # As they stand under the write lock: somebody may have judged them meanwhile.
        for key in moved(session, stale, zone=zone):
            whose[coupons[key]].append(key)
        for username, keys in whose.items():
            by = _whose(session, username, entries, at)
            judge_again(session, keys, by=by, at=at, zone=zone)
        return held_after(session, before)


def _recall_turned(
    database: Database,
    panels: Mapping[int, str],
    entries: Sequence[Seen],
    *,
    at: datetime,
    zone: tzinfo,
) -> list[str]:
    """Recall those whose evidence turned; ``panels`` names by id whose act it was."""
    with database.read() as session:
        turned = _turned(session, list(panels), zone)
    if not turned:
        return []
    recalled = []
    with database.write() as session:
        # As they stand under the write lock: somebody may have decided meanwhile.
        for key, reason in _turned(session, still_in_use(session, turned), zone).items():
            by = _whose(session, panels[key], entries, at)
            recalled += recall(session, [key], reason=reason, by=by, at=at)
    return recalled


def _turned(session: Session, panel_ids: Sequence[int], zone: tzinfo) -> dict[int, str]:
    """Why, of each panel whose evidence speaks against its last decision and did not then."""
    told = {}
    facts = panel_facts(session, panel_ids, zone=zone, in_full=True)
    for key, then in last_evidence(session, panel_ids).items():
        opened = opened_since(then, evidence(facts[key]))
        if opened:
            words = " ".join(f"{gate.title}: {gate.text}" for gate in opened)
            told[key] = f"Its evidence changed after it was decided. {words}"
    return told


def _whose(session: Session, username: str, entries: Sequence[Seen], at: datetime) -> Actor:
    """Whose act it was; where a machine acted, the last person among those who did."""
    names = [username, *(entry.by for entry in reversed(entries))]
    found = (people.find_person(session, name) for name in names)
    person = next((one for one in found if one is not None), None)
    if person is None:
        person = people.administrators(session)[0]
    return people.actor(session, person.username, today=at.date())
