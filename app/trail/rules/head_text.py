"""The text of a signed head: what is kept outside, and how it is read back and checked. Pure.

Seven lines to read and one that signs them: Ed25519 (RFC 8032) over the lines before it, each ended
by a line feed, in UTF-8. A head kept here proves nothing; one kept outside finds a trail put back.
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from app.errors import BadFile

TITLE = "Temperbook trail head, form 1"
_MOMENT = "%Y-%m-%dT%H:%M:%S.%fZ"
_LABELS = ("Shop", "Entries", "Root", "Signed", "Key", "Public key", "Signature")
_FORMS = {
    "Shop": r"\S.{0,119}",
    "Entries": r"[1-9][0-9]{0,9}",
    "Root": r"[0-9a-f]{64}",
    "Signed": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z",
    "Key": r"[0-9a-f]{16}",
    "Public key": r"[0-9a-f]{64}",
    "Signature": r"[0-9a-f]{128}",
}
_WORDS = {
    "Shop": "the shop's name",
    "Entries": "a whole number of entries",
    "Root": "64 hexadecimal digits",
    "Signed": "a time in UTC like 2026-03-31T07:15:00.000000Z",
    "Key": "16 hexadecimal digits",
    "Public key": "64 hexadecimal digits",
    "Signature": "128 hexadecimal digits",
}
LONGEST = 4000
"""More signs than any head has; a longer text is something else."""


@dataclass(frozen=True, slots=True)
class SignedHead:
    """What a head says: the root over the shop's first ``size`` entries, when, by which key."""

    shop: str
    size: int
    root_sha256: str
    signed_at: datetime
    public_key: str
    signature: str = ""

    @property
    def key_id(self) -> str:
        """The short name of its key."""
        return key_id(self.public_key)

    @property
    def signed_part(self) -> str:
        """The lines that are signed."""
        lines = (
            TITLE,
            f"Shop: {self.shop}",
            f"Entries: {self.size}",
            f"Root: {self.root_sha256}",
            f"Signed: {self.signed_at.astimezone(UTC).strftime(_MOMENT)}",
            f"Key: {self.key_id}",
            f"Public key: {self.public_key}",
        )
        return "".join(f"{line}\n" for line in lines)

    @property
    def text(self) -> str:
        """The whole text, with its signature in the last line."""
        return f"{self.signed_part}Signature: {self.signature}\n"

    @property
    def is_genuine(self) -> bool:
        """Whether the signature was made over this very text by the key it names."""
        try:
            key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(self.public_key))
            key.verify(bytes.fromhex(self.signature), self.signed_part.encode())
        except (InvalidSignature, ValueError):
            return False
        return True


def key_id(public_key: str) -> str:
    """The first 16 hexadecimal digits of the SHA-256 of a public key's bytes."""
    return hashlib.sha256(bytes.fromhex(public_key)).hexdigest()[:16]


def read_key(text: str) -> str | None:
    """A public key as typed; None where nothing was.

    Raises:
        BadFile: it is not 64 hexadecimal digits.
    """
    typed = "".join(text.split()).lower()
    if typed and not re.fullmatch(_FORMS["Public key"], typed):
        sentence = f"A public key has 64 hexadecimal digits; {text.strip()[:40]!r} has not."
        raise BadFile(sentence, fields={"key": sentence})
    return typed or None


def one_line(shop: str) -> str:
    """A shop's name as a head holds it: on one line, at most 120 signs."""
    return " ".join(shop.split())[:120] or "-"


def read_head(text: str) -> SignedHead:
    """A head as pasted, scanned or uploaded; spaces around its lines do not count.

    Raises:
        BadFile: it is none; the sentence names the line.
    """
    lines = [line.strip() for line in text[:LONGEST].lstrip("\ufeff").splitlines()]
    lines = [line for line in lines if line]
    if not lines or lines[0] != TITLE:
        raise BadFile(
            f"This is no head of a trail: its first line has to be {TITLE!r}. Take the whole text "
            "from the paper's code or the file."
        )
    said: dict[str, str] = {}
    for number, label in enumerate(_LABELS, start=1):
        line = lines[number] if number < len(lines) else ""
        found, _, rest = line.partition(":")
        if found != label or not re.fullmatch(_FORMS[label], rest.strip()):
            raise BadFile(
                f"Line {number + 1} of the head has to be {label!r}, a colon and {_WORDS[label]}; "
                f"it is {line[:60]!r}. Take the whole text again."
            )
        said[label] = rest.strip()
    if len(lines) > len(_LABELS) + 1:
        raise BadFile(
            f"Line {len(_LABELS) + 2} does not belong to the head: it ends with its signature. "
            "Take one head alone."
        )
    return _read(said)


def _read(said: dict[str, str]) -> SignedHead:
    try:
        signed_at = datetime.strptime(said["Signed"], _MOMENT).replace(tzinfo=UTC)
    except ValueError:
        raise BadFile(f"Line 5 of the head names no time: {said['Signed']!r}.") from None
    head = SignedHead(
        shop=said["Shop"],
        size=int(said["Entries"]),
        root_sha256=said["Root"],
        signed_at=signed_at,
        public_key=said["Public key"],
        signature=said["Signature"],
    )
    if head.key_id != said["Key"]:
        raise BadFile(
            f"Line 6 of the head names the key {said['Key']}, but the public key in line 7 is "
            f"{head.key_id}: one of the two was changed."
        )
    return head
