"""The optional second factor: codes by time (RFC 6238), as authenticator programs show them.

HMAC-SHA-1, 6 digits, steps of 30 s; a code of the step before or after is taken too, for clocks
that are a little off. A code is accepted once.
"""

import base64
import binascii
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hmac import compare_digest
from io import BytesIO

import segno
from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, NotAllowed, Refusal
from app.people import queries
from app.people.records import Person, SignInTry
from app.people.rights import Act, require
from app.people.service.passwords import matches
from app.people.service.waiting import SIGNATURES, Counter, name_digest, proven

_STEP_S = 30
_DIGITS = 6
_SECRET_BYTES = 20
"""As long as the hash; RFC 4226, section 4, R6, recommends 160 bits."""


def new_secret() -> str:
    """A secret for one person's authenticator, 32 letters and digits (base 32)."""
    return base64.b32encode(secrets.token_bytes(_SECRET_BYTES)).decode()


def code_at(secret: str, *, at: datetime) -> str:
    """The code of the step that ``at`` falls in."""
    return _totp(secret).generate(int(at.timestamp())).decode()


def _totp(secret: str) -> TOTP:
    # SHA-1 is what authenticators use; RFC 6238, section 1.2, and no collision helps against HMAC.
    return TOTP(base64.b32decode(secret), _DIGITS, SHA1(), _STEP_S)  # noqa: S303 - see above


def step_of(secret: str, code: str, *, at: datetime) -> int | None:
    """The number of the step whose code this is, of those that ``at`` allows; None if of none."""
    typed = "".join(code.split())
    if not (typed.isascii() and typed.isdigit() and len(typed) == _DIGITS):
        return None
    found = None
    for drift in (-1, 0, 1):
        moment = at + timedelta(seconds=drift * _STEP_S)
        if compare_digest(code_at(secret, at=moment), typed):
            found = int(moment.timestamp()) // _STEP_S
    return found


def use_code(database: Database, person: Person, code: str, *, at: datetime) -> bool:
    """Whether the code is the person's and was not used before; it is used up by this."""
    assert person.totp_secret is not None  # noqa: S101 - asked only of who has a second factor
    step = step_of(person.totp_secret, code, at=at)
    if step is None:
        return False
    name, where = name_digest(person.username), f"code {step}"
    with database.write() as session:
        used = select(SignInTry.id).where(SignInTry.username == name, SignInTry.browser == where)
        if session.scalars(used).first() is not None:
            return False
        session.add(SignInTry(username=name, browser=where, at=at))
    return True


@dataclass(frozen=True, slots=True)
class Offer:
    """A secret as a person takes it over into their authenticator: as text, and as a picture."""

    secret: str
    picture: str
    """An SVG element of a QR code (ISO/IEC 18004)."""


def offer(secret: str, *, username: str, shop: str) -> Offer:
    """What the page shows of a secret that is not in use yet.

    Raises:
        Refusal: this is no secret of ours.
    """
    address = _totp(_checked(secret)).get_provisioning_uri(username, f"Temperbook {shop}")
    drawn = BytesIO()
    segno.make(address, error="m").save(
        drawn, kind="svg", xmldecl=False, svgns=True, scale=4, border=4, light="#fff", nl=False
    )
    return Offer(secret, drawn.getvalue().decode())


def _checked(secret: str) -> str:
    try:
        raw = base64.b32decode(secret)
    except (binascii.Error, ValueError):
        raw = b""
    if len(raw) != _SECRET_BYTES:
        raise Refusal("The secret on this page was changed. Load the page again for a new one.")
    return secret


def turn_on(
    database: Database, *, secret: str, password: str, code: str, by: Actor, at: datetime
) -> None:
    """Ask for codes of this secret from the next sign-in on.

    Raises:
        Refusal: password or code is wrong, or the secret is none.
        Conflict: a second factor is in use already.
    """
    _checked(secret)
    step = step_of(secret, code, at=at)
    if step is None:
        said = "This is not the code that the secret gives now. Check the device's clock."
        raise Refusal(
            f"The second factor was not turned on. {said}", fields={"one_time_code": said}
        )
    _prove(database, by, password=password, code=None, at=at)
    with database.write() as session:
        person = queries.person(session, by.username)
        if person.totp_secret is not None:
            raise Conflict("A second factor is in use already; turn it off first.")
        person.totp_secret = secret
        session.add(SignInTry(username=name_digest(by.username), browser=f"code {step}", at=at))
        _record(session, person, by=by, at=at, note="turned on")


def turn_off(database: Database, *, password: str, code: str, by: Actor, at: datetime) -> None:
    """Ask for no codes any more.

    Raises:
        Refusal: password or code is wrong, or no second factor is in use.
    """
    _prove(database, by, password=password, code=code, at=at)
    with database.write() as session:
        person = queries.person(session, by.username)
        person.totp_secret = None
        _record(session, person, by=by, at=at, note="turned off")


def reset(database: Database, username: str, *, reason: str, by: Actor, at: datetime) -> None:
    """Turn off the second factor of a person who has lost the device; on the trail with the reason.

    Raises:
        NotAllowed: the person asking is no administrator, or it is their own.
        Refusal: no reason, or no second factor is in use.
    """
    require(by, Act.ADD_PERSON)
    reason = reason.strip()
    if not reason:
        raise Refusal("Say why the second factor is reset.", fields={"reason": "Say why."})
    with database.write() as session:
        person = queries.person(session, username)
        if by.is_person(person.id):
            raise NotAllowed("Nobody resets their own second factor; another administrator has to.")
        if person.totp_secret is None:
            raise Refusal(f"{person.full_name} uses no second factor; there is nothing to reset.")
        person.totp_secret = None
        _record(session, person, by=by, at=at, note=f"reset: {reason}")


def _prove(database: Database, by: Actor, *, password: str, code: str | None, at: datetime) -> None:
    with database.read() as session:
        person = queries.person(session, by.username)
    if code is not None and person.totp_secret is None:
        raise Refusal("No second factor is in use; there is nothing to turn off.")

    def holds() -> bool:
        right = matches(person.password_hash, password)
        return right and (code is None or use_code(database, person, code, at=at))

    counter = Counter(name_digest(by.username), SIGNATURES)
    if not proven(database, counter, at=at, prove=holds, too_soon=_too_soon):
        raise Refusal(
            "The second factor was not changed: password or code is not yours.",
            fields={"password": "Type your own password again."},
        )


def _too_soon(wait: str) -> Refusal:
    return Refusal(
        f"After several tries that failed, the next one counts in {wait}. Nothing was compared."
    )


def _record(session: Session, person: Person, *, by: Actor, at: datetime, note: str) -> None:
    append(
        session,
        Tag.SECOND_FACTOR_CHANGED,
        by=by,
        at=at,
        about=("person", person.username),
        rows=[person],
        note=note,
    )
