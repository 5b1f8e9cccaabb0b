"""What somebody was sending when their sign-in turned out to be locked or ended: carried, not lost.

It travels in the pages' hidden fields only, never in an address, a log or a table.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request
from pydantic import BaseModel, ConfigDict, ValidationError
from starlette.routing import Match

from app.errors import Refusal
from app.web.forms import Typed, own_address

_NEVER_CARRIED = ("csrf", "one_time_code")
_NOT_SENT_ON = ("/sign-in", "/sign-out", "/unlock", "/live/")


class Held(BaseModel):
    """A form that was sent: where to, and its fields in their order.

    ``passwords`` and ``files`` are the names of fields whose content is not carried; they are
    filled in again.
    """

    model_config = ConfigDict(frozen=True)

    to: str
    fields: tuple[tuple[str, str], ...]
    passwords: tuple[str, ...] = ()
    files: tuple[str, ...] = ()

    def shown(self) -> Sequence[tuple[str, str]]:
        """What was typed, field by field, as a person reads it; empty fields are left out."""
        return [(name.replace("_", " "), text) for name, text in self.fields if text.strip()]


def held_of(request: Request, typed: Typed) -> Held | None:
    """What the request was sending; None where its address takes nothing that could be sent on."""
    to = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    held = Held(
        to=to,
        fields=tuple(
            (name, text)
            for name in typed
            for text in typed.every(name)
            if name not in _NEVER_CARRIED and not name.endswith("password")
        ),
        passwords=tuple(name for name in typed if name.endswith("password")),
        files=tuple(typed.files),
    )
    return held if _is_ours(request, to) else None


def held_again(request: Request, typed: Mapping[str, str]) -> Held | None:
    """The same as a page carried it in its field ``held``; None where it carries none.

    Raises:
        Refusal: the field was altered, or names no address of ours that takes a form.
    """
    text = typed.get("held", "")
    if not text:
        return None
    try:
        held = Held.model_validate_json(text)
    except ValidationError:
        held = None
    if held is None or not _is_ours(request, held.to):
        raise Refusal("What this page carried was altered, so it cannot be sent on.")
    return held


def _is_ours(request: Request, to: str) -> bool:
    """Whether the address is one of ours at which a form is taken."""
    path = to.partition("?")[0]
    if own_address(to) != to or path.startswith(_NOT_SENT_ON):
        return False
    scope: dict[str, Any] = {**request.scope, "path": path, "method": "POST", "path_params": {}}
    return any(route.matches(scope)[0] is Match.FULL for route in request.app.router.routes)
