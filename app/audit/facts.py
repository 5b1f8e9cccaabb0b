"""How a row is written into the trail, so that it can be compared later. Shared by both sides."""

import hashlib
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from functools import cache
from typing import Any

from sqlalchemy import inspect

from app.database import Base, paper_text


def row_facts(row: Base) -> dict[str, Any]:
    """A row as the trail keeps it: its table, its key, and every column as it is recorded.

    A column marked ``info={"trail": "digest"}`` (a large paper, a file, a secret) stands as the
    SHA-256 of its content; whoever alters the content alters the digest.
    """
    columns = {
        name: _digest(getattr(row, name)) if is_digest else _plain(getattr(row, name))
        for name, is_digest in _columns(type(row))
    }
    key = [str(_plain(getattr(row, name))) for name in _key_names(type(row))]
    return {"table": row.__tablename__, "key": "/".join(key), "columns": columns}


@cache
def _columns(kind: type[Base]) -> tuple[tuple[str, bool], ...]:
    """The table's columns, and whether each stands as a digest."""
    return tuple(
        (column.key, column.info.get("trail") == "digest") for column in kind.__table__.columns
    )


@cache
def _key_names(kind: type[Base]) -> tuple[str, ...]:
    return tuple(column.name for column in inspect(kind).primary_key)


def _digest(content: Any) -> dict[str, str] | None:
    if content is None:
        return None
    if isinstance(content, dict | list):
        content = paper_text(content)
    raw = content if isinstance(content, bytes) else str(content).encode()
    return {"sha256": hashlib.sha256(raw).hexdigest()}


def _plain(content: Any) -> Any:
    if content is None or type(content) in {str, int, bool}:
        return content
    if isinstance(content, datetime):
        return moment_text(content)
    if isinstance(content, date):
        return content.isoformat()
    if isinstance(content, Decimal):
        return str(content)
    if isinstance(content, Enum):
        return content.value
    return [_plain(part) for part in content] if isinstance(content, tuple) else content


def moment_text(at: datetime) -> str:
    """UTC with microseconds, always the same length, so that text order is time order."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
