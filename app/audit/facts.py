"""How a row is written into the trail, so that it can be compared later. Shared by both sides."""

import hashlib
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any

from sqlalchemy import inspect

from app.database import Base, paper_text


def row_facts(row: Base) -> dict[str, Any]:
    """A row as the trail keeps it: its table, its key, and every column as it is recorded.

    A column marked ``info={"trail": "digest"}`` (a large paper, a file, a secret) stands as the
    SHA-256 of its content; whoever alters the content alters the digest.
    """
    columns = {}
    for column in row.__table__.columns:
        content = getattr(row, column.key)
        if column.info.get("trail") == "digest":
            columns[column.key] = _digest(content)
        else:
            columns[column.key] = _plain(content)
    key = [str(_plain(getattr(row, column.name))) for column in inspect(type(row)).primary_key]
    return {"table": row.__tablename__, "key": "/".join(key), "columns": columns}


def _digest(content: Any) -> dict[str, str] | None:
    if content is None:
        return None
    if isinstance(content, dict | list):
        content = paper_text(content)
    raw = content if isinstance(content, bytes) else str(content).encode()
    return {"sha256": hashlib.sha256(raw).hexdigest()}


def _plain(content: Any) -> Any:
    if isinstance(content, datetime):
        return moment_text(content)
    if isinstance(content, date):
        return content.isoformat()
    if isinstance(content, Decimal):
        return str(content)
    if isinstance(content, Enum):
        return content.value
    if isinstance(content, tuple):
        return [_plain(part) for part in content]
    return content


def moment_text(at: datetime) -> str:
    """UTC with microseconds, always the same length, so that text order is time order."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
