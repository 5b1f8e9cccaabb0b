"""Who acts, as services and the trail need to know it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Actor:
    """A signed-in person. ``roles`` are the values of :class:`app.people.rights.Role`.

    ``also`` are the ids of other accounts of the same person, known by their identity number.
    ``authorised`` holds, by task, the authorisation that is good today.
    """

    id: int
    username: str
    full_name: str
    roles: frozenset[str]
    also: frozenset[int] = frozenset()
    authorised: Mapping[str, int] = field(default_factory=dict, compare=False)

    def is_person(self, account_id: int | None) -> bool:
        """Whether that account is this person's, under whatever name they are signed in."""
        return account_id == self.id or account_id in self.also

    def is_among(self, account_ids: Collection[int | None]) -> bool:
        """Whether any of the accounts is this person's."""
        return any(self.is_person(one) for one in account_ids)
