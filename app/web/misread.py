"""An address that cannot be read, said in words instead of the framework's own JSON."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.errors import NotFound, Refusal

_LONGEST_SHOWN = 40


def misread(errors: Sequence[Mapping[str, Any]]) -> Refusal:
    """What is missing from an address or wrong in it, with what to do; ``errors`` as FastAPI has.

    NotFound where the path itself names nothing that could be here.
    """
    if any(one["loc"][0] == "path" for one in errors):
        return NotFound(
            "There is no page at this address. Scan or type an identity above to find it."
        )
    told = " ".join(map(_told, errors))
    return Refusal(f"{told} Go back to the page that leads here and choose again.")


def _told(error: Mapping[str, Any]) -> str:
    name = str(error["loc"][-1]).replace("_", " ")
    if error["type"] == "missing":
        return f"This address does not say which {name} is meant."
    return f"This address says {str(error['input'])[:_LONGEST_SHOWN]!r} for {name}, which is none."
