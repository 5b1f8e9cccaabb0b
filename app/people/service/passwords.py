"""Passwords: what is taken as one, how it is kept, and whether one is theirs."""

import secrets
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from zxcvbn import zxcvbn

from app.errors import Refusal

SHORTEST_PASSWORD = 15
"""Characters; NIST SP 800-63B-4 asks at least 15 of a password that is the only factor."""
_LONGEST_PASSWORD = 200
_LEAST_GUESSES_LOG10 = 8.0
"""A password that a good guesser finds within so many tries (as a power of ten) is refused."""
_LEAST_OWN = 8
"""Characters that have to be left once names and the program's own words are taken out."""
_SHORTEST_WORD = 3
_OUR_WORDS = ("temperbook", "password", "passwort")

_hasher = PasswordHasher()
# Compared against when the name is unknown, so that an unknown name takes as long as a wrong word.
NOBODY = _hasher.hash(secrets.token_hex(16))

_AT_ONCE = 4
_PATIENCE_S = 20.0
_places = BoundedSemaphore(_AT_ONCE)


class TooBusy(Refusal):
    """More passwords are being compared at this moment than the machine has room for."""

    status = 503


@contextmanager
def place_to_hash() -> Iterator[None]:
    """One of four places at which passwords are hashed: each takes 64 MB and a tenth of a second.

    Raises:
        TooBusy: none came free within 20 s.
    """
    if not _places.acquire(timeout=_PATIENCE_S):
        raise TooBusy(
            "Too many passwords are being compared at this moment, and yours was not. Nothing was "
            "changed; try again in a minute."
        )
    try:
        yield
    finally:
        _places.release()


def hashed(password: str) -> str:
    """What is kept of a password (Argon2id, over its NFKC form)."""
    with place_to_hash():
        return _hasher.hash(_normal(password))


def check_password(password: str, *, own_words: Iterable[str] = ()) -> None:
    """Pass if this can be somebody's password: 15 to 200 characters, and not easily guessed.

    Which characters they are does not matter (NIST SP 800-63B-4 forbids such rules). ``own_words``
    are the person's names and the shop's: an attacker tries them first.

    Raises:
        Refusal: it is too short, too long, or easily guessed; the sentence says why.
    """
    length = len(_normal(password))
    if not SHORTEST_PASSWORD <= length <= _LONGEST_PASSWORD:
        _refuse(
            f"A password has {SHORTEST_PASSWORD} to {_LONGEST_PASSWORD} characters, of any kind; "
            f"this one has {length}."
        )
    own = {part for words in own_words for part in _parts(words)} | set(_OUR_WORDS)
    if _left_without(_normal(password).casefold(), own) < _LEAST_OWN:
        _refuse(
            "This password is little more than a name or a word that everybody here knows. Take "
            "several words that have nothing to do with you or this place."
        )
    found = zxcvbn(_normal(password), user_inputs=sorted(own), max_length=_LONGEST_PASSWORD)
    if found["guesses_log10"] < _LEAST_GUESSES_LOG10:
        _refuse(_WHY.get(_weakest(found["sequence"]), _WHY["dictionary"]))


_WHY = {
    "dictionary": (
        "This password, or most of it, is among those that people use most, so it is guessed "
        "first. Take several words that do not belong together."
    ),
    "repeat": (
        "This password says the same thing over and over, which is guessed quickly. Take several "
        "words that do not belong together."
    ),
    "sequence": (
        "This password is mostly a row of signs such as 1234 or abcd, which is guessed quickly. "
        "Take several words that do not belong together."
    ),
    "spatial": (
        "This password is mostly neighbouring keys, which is guessed quickly. Take several words "
        "that do not belong together."
    ),
    "date": (
        "This password is mostly a date, which is guessed quickly. Take several words that do not "
        "belong together."
    ),
}


def _weakest(parts: list[dict[str, str]]) -> str:
    """The kind of the longest part that a guesser knows."""
    known = [part for part in parts if part["pattern"] in _WHY]
    return max(known, key=lambda part: len(part["token"]))["pattern"] if known else "dictionary"


def _refuse(sentence: str) -> None:
    raise Refusal(sentence, fields={"password": sentence})


def _parts(words: str) -> list[str]:
    """The single words of a name, from three letters on, and the name in one."""
    folded = _normal(words).casefold().replace(".", " ").replace("-", " ")
    return [
        part for part in [*folded.split(), folded.replace(" ", "")] if len(part) >= _SHORTEST_WORD
    ]


def _left_without(password: str, words: set[str]) -> int:
    """How many different signs besides blanks are left once the words are taken out."""
    for word in sorted(words, key=len, reverse=True):
        password = password.replace(word, "")
    return len("".join(password.split()))


def _normal(password: str) -> str:
    """One form for one text, however a keyboard sends it: NFKC, as NIST SP 800-63B-4 advises.

    Blanks at its ends do not count: forms trim what is typed.
    """
    return unicodedata.normalize("NFKC", password).strip()


def matches(known: str, password: str) -> bool:
    """Whether the password is the one that ``known`` was made of.

    The caller holds :func:`place_to_hash`, and counts what failed.
    """
    try:
        return _hasher.verify(known, _normal(password[: 4 * _LONGEST_PASSWORD]))
    except VerificationError:
        return False
