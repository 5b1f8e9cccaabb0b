"""Have the trail's head signed."""

from datetime import UTC, datetime

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.merkle import Frontier
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.people.rights import Act, require
from app.trail.queries.heads import grown
from app.trail.records import TreeHead, TreeKey
from app.trail.rules.head_text import SignedHead, one_line
from app.trail.service.keys import HeadKey


def sign_head(
    database: Database, key: HeadKey, *, by: Actor | str, at: datetime, shop: str
) -> SignedHead:
    """Sign the root over every entry so far and keep it; its own entry comes after what it covers.

    ``by`` is a name where the command was given by whoever may read the key. A key that is used for
    the first time is registered first, so that its head covers that too.

    Raises:
        NotAllowed: none of the person's roles may have a head signed.
    """
    if isinstance(by, Actor):
        require(by, Act.SIGN_HEAD)
    # Most of the trail is read before the write lock is taken; under it, only what came since.
    with database.read() as session:
        frontier = grown(session, Frontier())
    with database.write() as session:
        _register(session, key, by=by, at=at)
        frontier = grown(session, frontier)
        head = SignedHead(
            shop=one_line(shop),
            size=frontier.size,
            root_sha256=frontier.root().hex(),
            signed_at=at.astimezone(UTC),
            public_key=key.public_key,
        )
        row = TreeHead(
            size=head.size,
            root_sha256=head.root_sha256,
            shop=head.shop,
            signed_at=head.signed_at,
            key_id=key.key_id,
            signature=key.sign(head.signed_part),
            asked_by=_name(by),
        )
        session.add(row)
        append(
            session,
            Tag.TREE_HEAD_SIGNED,
            by=by,
            at=at,
            about=("tree_head", str(head.size)),
            rows=[row],
            note=f"root {head.root_sha256[:16]} over {head.size} entries, key {key.key_id}",
        )
        return SignedHead(
            head.shop,
            head.size,
            head.root_sha256,
            head.signed_at,
            head.public_key,
            row.signature,
        )


def _register(session: Session, key: HeadKey, *, by: Actor | str, at: datetime) -> None:
    """Put the public half of a new key on the trail; it takes the place of the one before."""
    if session.get(TreeKey, key.key_id) is not None:
        return
    row = TreeKey(key_id=key.key_id, public_key=key.public_key, since=at, registered_by=_name(by))
    session.add(row)
    append(
        session,
        Tag.TREE_KEY_REGISTERED,
        by=by,
        at=at,
        about=("tree_key", key.key_id),
        rows=[row],
        note=f"public key {key.public_key}",
    )


def _name(by: Actor | str) -> str:
    return by if isinstance(by, str) else by.username
