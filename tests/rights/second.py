"""What the second of two people sends, or whoever else than the one whose thing it is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from app.people.rights import Hand

SAID = "said where two people are asked for"


@dataclass
class Second:
    """Where to, what, and the ``hand`` that the first person has in it.

    The first person is refused, under either account, and somebody else is not; where ``own``, the
    thing is the first person's alone, and everybody else is refused, and their other account too
    but where the ``person`` counts.
    """

    hand: Hand
    path: str
    sent: Mapping[str, Any] = field(default_factory=dict)
    reads: str | None = None
    """The page whose hidden ``seen`` the form carries."""
    method: str = "POST"
    own: bool = False
    person: bool = False
    refused: int = 403
    paths: Mapping[str, str] = field(default_factory=dict)
    """By user name, where each has an address of their own."""
