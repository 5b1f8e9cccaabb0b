"""Every address with what it asks for: one table, held against the application as it starts."""

from app.routes.asked import act_lines, ask, check_complete
from app.routes.reading import READING
from app.routes.sending import SENDING

ROUTES = {**READING, **SENDING}
"""What each address asks for, by method and path as the route states it."""

__all__ = ["ROUTES", "act_lines", "ask", "check_complete"]
