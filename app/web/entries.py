"""What the forms of every subject share: identities as typed, and a form shown again."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator

from app.audit.identities import as_code
from app.errors import Refusal


def _as_identity(typed: object) -> str:
    try:
        return as_code(str(typed))
    except Refusal as refusal:
        raise ValueError(refusal.sentence) from None


TypedCode = Annotated[str, BeforeValidator(_as_identity)]
"""An identity as it is kept: capitals, 2 to 40 signs; else one sentence beside the field."""


def kept(typed: Mapping[str, str] | None = None, refusal: Refusal | None = None) -> dict[str, Any]:
    """What a page with a form is shown with: status, what was typed, and what is wrong with it."""
    return {
        "status": 200 if refusal is None else refusal.status,
        "typed": dict(typed or {}),
        "sentence": None if refusal is None else refusal.sentence,
        "problems": {} if refusal is None else refusal.fields,
    }
