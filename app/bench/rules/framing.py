"""Which checks on reference blocks frame a reading: the last before it and the first after. Pure.

Source: the judging rules, 3.2 and 3.4. Whether they prove it is for `bracketing` to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, Protocol, TypeVar

from app.bench.rules.bracketing import OPENING


class CheckMade(Protocol):
    """A check as far as its place in time goes."""

    @property
    def moment(self) -> str:
        """Opening, interim or closing."""

    @property
    def block(self) -> str | None:
        """The block it was made on."""

    @property
    def at(self) -> datetime:
        """When it was made."""


C = TypeVar("C", bound=CheckMade)


@dataclass(frozen=True, slots=True)
class Frame(Generic[C]):
    """The checks about a reading, one a block: the last before it and the first after it."""

    before: tuple[C, ...]
    after: tuple[C, ...]


def frame(taken_at: datetime, checks: Sequence[C]) -> Frame[C]:
    """The frame of a reading taken then; ``checks`` are its session's, in the order made."""
    before: dict[str | None, C] = {}
    after: dict[str | None, C] = {}
    for check in checks:
        # At one and the same instant an opening check came first and any other came after.
        if check.at < taken_at or (check.at == taken_at and check.moment == OPENING):
            before[check.block] = check
        else:
            after.setdefault(check.block, check)
    return Frame(tuple(before.values()), tuple(after.values()))
