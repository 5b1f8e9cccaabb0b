"""The form of the trail: canonical bytes and the hash that binds each entry to the last. Pure.

An entry's canonical form is RFC 8785 (JSON Canonicalization Scheme); its hash is SHA-256 over those
bytes, which hold the hash of the entry before. Writer and verifier share this form and no more.
"""

import hashlib
import json
from typing import Any

import rfc8785

VERSION = 1
GENESIS = "0" * 64
"""What the first entry names as the hash before it."""

_LARGEST = 2**53 - 1
"""Whole numbers up to here are written as they are (RFC 8785, 3.2.2.3, after ECMAScript)."""
_PLAIN = json.JSONEncoder(
    ensure_ascii=False, check_circular=False, allow_nan=False, sort_keys=True, separators=(",", ":")
)


def canonical(body: dict[str, Any]) -> bytes:
    """The one byte form of an entry's body (RFC 8785).

    Where it holds nothing but texts, whole numbers, lists and names in ASCII, Python's own writer
    gives the very same bytes, at a tenth of the cost; the forms of numbers with a point and the
    order of other names are left to the library.
    """
    return _PLAIN.encode(body).encode() if _is_plain(body) else rfc8785.dumps(body)


def _is_plain(content: Any) -> bool:
    kind = type(content)
    if kind is str or content is None or kind is bool:
        return True
    if kind is int:
        return bool(-_LARGEST <= content <= _LARGEST)
    if kind is list:
        return all(map(_is_plain, content))
    if kind is dict:
        return all(type(name) is str and name.isascii() for name in content) and all(
            map(_is_plain, content.values())
        )
    return False


def entry_hash(body: dict[str, Any]) -> str:
    """SHA-256 of the canonical body, 64 lower-case hexadecimal digits."""
    return hash_of(canonical(body))


def hash_of(body: bytes) -> str:
    """The same of a body that is in its canonical bytes already."""
    return hashlib.sha256(body).hexdigest()


def entry_body(
    *,
    number: int,
    at: str,
    by: str,
    tag: str,
    about: tuple[str, str],
    note: str,
    rows: list[dict[str, Any]],
    previous: str,
) -> dict[str, Any]:
    """Everything an entry says. ``at`` is UTC, ISO 8601 with microseconds; ``about`` kind, code."""
    return {
        "version": VERSION,
        "number": number,
        "at": at,
        "by": by,
        "tag": tag,
        "about": {"kind": about[0], "code": about[1]},
        "note": note,
        "rows": rows,
        "previous": previous,
    }
