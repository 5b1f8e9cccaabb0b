"""Heads of the trail: roots recomputed from the entries, and heads checked against them.

Like the check of the trail it reads the records alone and nothing of what writes them.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.audit.merkle import Frontier, consistency_path, leaf_hash
from app.audit.records import TrailEntry
from app.errors import NotFound
from app.trail.records import TreeHead, TreeKey
from app.trail.rules.head_text import SignedHead, key_id

_READ_AT_ONCE = 1000


@dataclass(frozen=True, slots=True)
class HeadReport:
    """What a head says against the trail as it is now; no problem means that the trail keeps it."""

    head: SignedHead
    entries_now: int
    problems: list[str] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.problems


def grown(session: Session, frontier: Frontier) -> Frontier:
    """The same frontier with every entry after it added, in the trail's order."""
    query = (
        select(TrailEntry.body)
        .order_by(TrailEntry.number)
        .offset(frontier.size)
        .execution_options(yield_per=_READ_AT_ONCE)
    )
    for body in session.scalars(query):
        frontier.add(body.encode())
    return frontier


def roots(session: Session, sizes: Collection[int]) -> dict[int, str]:
    """The root over the first so many entries, for each size the trail has reached; one pass."""
    wanted, found, frontier = set(sizes), {}, Frontier()
    last = max(wanted, default=0)
    query = select(TrailEntry.body).order_by(TrailEntry.number).limit(last)
    for body in session.scalars(query.execution_options(yield_per=_READ_AT_ONCE)):
        frontier.add(body.encode())
        if frontier.size in wanted:
            found[frontier.size] = frontier.root().hex()
    return found


def consistency(session: Session, earlier: int, later: int) -> list[str]:
    """The hashes that prove that the tree of ``later`` entries begins with that of ``earlier``.

    Raises:
        NotFound: the trail has not so many entries, or ``earlier`` is not before ``later``.
    """
    query = select(TrailEntry.body).order_by(TrailEntry.number).limit(later)
    leaves = [leaf_hash(body.encode()) for body in session.scalars(query)]
    if not 1 <= earlier <= later or len(leaves) < later:
        raise NotFound(f"There is no proof from {earlier} to {later} entries on this trail.")
    return [part.hex() for part in consistency_path(leaves, earlier)]


def entries_now(session: Session) -> int:
    """How many entries the trail has."""
    return session.execute(select(func.count()).select_from(TrailEntry)).scalar_one()


def heads(session: Session, *, before: int | None = None, most: int = 50) -> Sequence[TreeHead]:
    """Up to ``most`` heads, newest first, over fewer entries than ``before``."""
    query = select(TreeHead).order_by(TreeHead.size.desc()).limit(most)
    if before is not None:
        query = query.where(TreeHead.size < before)
    return session.scalars(query).all()


def head(session: Session, size: int) -> SignedHead:
    """The head signed over so many entries.

    Raises:
        NotFound: none was.
    """
    found = session.get(TreeHead, size) if size < 2**31 else None
    if found is None:
        raise NotFound(f"No head was signed over the first {size} entries.")
    return as_signed(found, session.get_one(TreeKey, found.key_id))


def keys(session: Session) -> Sequence[TreeKey]:
    """Every key that signed, the first one first."""
    return session.scalars(select(TreeKey).order_by(TreeKey.since, TreeKey.key_id)).all()


def as_signed(row: TreeHead, key: TreeKey) -> SignedHead:
    """A kept head as its text was."""
    return SignedHead(
        row.shop, row.size, row.root_sha256, row.signed_at, key.public_key, row.signature
    )


def misfitting_heads(session: Session) -> list[str]:
    """A sentence for each head kept here that the trail as it is does not keep."""
    known = {key.key_id: key for key in keys(session)}
    kept = session.scalars(select(TreeHead).order_by(TreeHead.size)).all()
    now = roots(session, [row.size for row in kept])
    told = [
        f"Key {key.key_id} has not the public half it was registered with: it was changed."
        for key in known.values()
        if key_id(key.public_key) != key.key_id
    ]
    for row in kept:
        name = f"The head over the first {row.size} entries"
        if row.key_id not in known or not as_signed(row, known[row.key_id]).is_genuine:
            told.append(f"{name} does not bear the signature of its key: it was changed.")
        elif row.size not in now:
            told.append(f"{name} covers more entries than there are now: the trail was put back.")
        elif now[row.size] != row.root_sha256:
            told.append(f"{name} has another root than they give now: the past was rewritten.")
    return told


def check_head(session: Session, signed: SignedHead, *, trusted: str | None = None) -> HeadReport:
    """Hold a head from outside against the trail as it is now.

    ``trusted`` is the public key it has to be signed with, as kept outside; without it any key
    counts that is registered on this trail, which somebody who rewrote the trail may have replaced.
    """
    count = entries_now(session)
    report = HeadReport(signed, count)
    say = report.problems.append
    if not signed.is_genuine:
        say(
            "The signature was not made over this text by the key it names: the text was changed "
            "or was never signed. It proves nothing."
        )
        return report
    if trusted is not None and trusted != signed.public_key:
        say(
            f"It was signed by key {signed.key_id}, not by the key you gave "
            f"({key_id(trusted)}): somebody else made it, or it is another shop's."
        )
    elif trusted is None and session.get(TreeKey, signed.key_id) is None:
        say(
            f"Its key {signed.key_id} is not registered on this trail: the head is of another "
            "trail, or this one was put back to before the key came or was written anew."
        )
    if count < signed.size:
        say(
            f"The trail has {count} entries; when the head was signed it had {signed.size}. At "
            f"least {signed.size - count} are gone: the records were put back to an earlier state, "
            "or the end was cut off."
        )
    elif roots(session, [signed.size])[signed.size] != signed.root_sha256:
        say(
            f"The first {signed.size} entries are not those the head was signed over: an entry was "
            "changed, put in or taken out, or the trail was put back and went another way since."
        )
    return report
