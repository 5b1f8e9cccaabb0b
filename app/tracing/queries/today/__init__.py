"""What waits for a person, by role, as sentences with a link; fixed numbers of queries."""

from app.tracing.queries.today.desk import Desk, Waiting
from app.tracing.queries.today.roles import desks

__all__ = ["Desk", "Waiting", "desks"]
