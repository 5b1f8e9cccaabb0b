"""The form of the trail: canonical bytes and the hash that binds each entry to the last. Pure.

An entry's canonical form is RFC 8785 (JSON Canonicalization Scheme); its hash is SHA-256 over those
bytes, which hold the hash of the entry before. Writer and verifier share this form and no more.
"""

import hashlib
from typing import Any

import rfc8785

VERSION = 1
GENESIS = "0" * 64
"""What the first entry names as the hash before it."""


def canonical(body: dict[str, Any]) -> bytes:
    """The one byte form of an entry's body (RFC 8785)."""
    return rfc8785.dumps(body)


def entry_hash(body: dict[str, Any]) -> str:
    """SHA-256 of the canonical body, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(canonical(body)).hexdigest()


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
