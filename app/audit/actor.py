"""Who acts, as services and the trail need to know it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Actor:
    """A signed-in person. ``roles`` are the values of :class:`app.people.rights.Role`."""

    id: int
    username: str
    full_name: str
    roles: frozenset[str]
