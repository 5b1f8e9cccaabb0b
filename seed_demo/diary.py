"""What happened in the shop: acts with their times, lived through in order.

The services are told the time of each act, so the trail reads as the weeks went. Acts may be
entered in any order; a later one is never carried out before an earlier one.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta, tzinfo

from app.audit.actor import Actor
from app.database import Database

Act = Callable[[datetime], object]
"""Something that is done, told the time at which it is done."""


FIRST_DAY = 95
"""So many days ago the shop began its record."""


def silent(_line: str) -> None:
    """Tell nobody."""


@dataclass
class DemoShop:
    """The shop while it is being filled: its records, its people, and its diary of acts.

    ``now`` is in the shop's ``zone``; ``tell`` is given a line to read for each load.
    """

    database: Database
    zone: tzinfo
    now: datetime
    tell: Callable[[str], None] = silent
    people: dict[str, Actor] = field(default_factory=dict)
    _diary: list[tuple[datetime, int, Act]] = field(default_factory=list)

    def day(self, days_before: int, hour: int, minute: int = 0) -> datetime:
        """That time of day in the shop, so many days ago (negative: still to come)."""
        date = self.now.date() - timedelta(days=days_before)
        return datetime.combine(date, time(hour, minute), tzinfo=self.zone)

    def enter(self, at: datetime, act: Act) -> None:
        """Put down that ``act`` happens at ``at``; of two at one time, the first entered first."""
        self._diary.append((at.astimezone(UTC), len(self._diary), act))

    @property
    def times(self) -> list[datetime]:
        """When the acts happen, in order."""
        return sorted(at for at, _, _ in self._diary)

    def live(self) -> None:
        """Do everything in the diary, each at its time."""
        for at, _, act in sorted(self._diary, key=lambda entry: entry[:2]):
            act(at.astimezone(self.zone))
