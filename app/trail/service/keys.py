"""The key that heads are signed with: a file beside the database, never inside it."""

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from sqlalchemy.engine import make_url

from app.errors import BadFile
from app.settings import Settings
from app.trail.rules.head_text import key_id

_OTHERS = stat.S_IRWXG | stat.S_IRWXO


@dataclass(frozen=True, slots=True)
class HeadKey:
    """A key that can sign; its private half stays inside."""

    private: Ed25519PrivateKey

    @property
    def public_key(self) -> str:
        """64 hexadecimal digits."""
        return self.private.public_key().public_bytes_raw().hex()

    @property
    def key_id(self) -> str:
        """Its short name."""
        return key_id(self.public_key)

    def sign(self, text: str) -> str:
        """The signature over the text in UTF-8 (RFC 8032), 128 hexadecimal digits."""
        return self.private.sign(text.encode()).hex()


def key_place(settings: Settings) -> Path:
    """Where the key is kept: as set, else beside the SQLite file, else in ``var``."""
    if settings.key_file is not None:
        return settings.key_file
    url = make_url(settings.database_url)
    on_disk = url.get_backend_name() == "sqlite" and url.database not in {None, "", ":memory:"}
    folder = Path(url.database or "").parent if on_disk else Path("var")
    return folder / "trail-head.key"


def open_key(place: Path) -> HeadKey:
    """The key in that file, made at its first use so that only the program's user can read it.

    Raises:
        BadFile: what is there is no such key, cannot be read or made, or others can read it.
    """
    try:
        _make(place)
        if place.stat().st_mode & _OTHERS:
            raise BadFile(
                f"Other users of this machine can read the key {place}. Restrict it (chmod 600); "
                "or, if somebody may have copied it, move it away: a new one is made then."
            )
        private = load_pem_private_key(place.read_bytes(), password=None)
    except OSError as problem:
        raise BadFile(
            f"The key {place} cannot be read or made: {problem.strerror}. Set TEMPERBOOK_KEY_FILE "
            "to a place the program may write to."
        ) from None
    except (ValueError, TypeError):
        private = None
    if not isinstance(private, Ed25519PrivateKey):
        raise BadFile(
            f"{place} holds no Ed25519 key in PEM form. Move it away; a new key is made then, and "
            "its public half goes on the trail."
        )
    return HeadKey(private)


def _make(place: Path) -> None:
    """Make the key where there is none; of two that try at once, one file stays whole."""
    if place.exists():
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    pem = Ed25519PrivateKey.generate().private_bytes(
        Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()
    )
    beside = place.with_name(f"{place.name}.{os.getpid()}")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(beside, place)
    except FileExistsError:
        pass
    finally:
        beside.unlink()
