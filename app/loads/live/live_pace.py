"""How often a logger may ask: a small allowance that fills up again by itself. No database."""

import threading
from collections.abc import Hashable
from dataclasses import dataclass

from app.loads.errors import TooManyAtOnce


@dataclass(slots=True)
class _Allowance:
    left: float
    seen_s: float


class Pace:
    """At most ``most`` requests at once from each sender, and ``per_s`` a second in the long run.

    Safe across threads; a restart only forgets how often was asked.
    """

    def __init__(self, *, most: int, per_s: float) -> None:
        self._most = most
        self._per_s = per_s
        self._allowances: dict[Hashable, _Allowance] = {}
        self._lock = threading.Lock()

    def ask(self, sender: Hashable, *, now_s: float) -> None:
        """Count one request; ``now_s`` is the clock in seconds since 1970.

        Raises:
            TooManyAtOnce: the sender has used up its allowance.
        """
        with self._lock:
            one = self._allowances.setdefault(sender, _Allowance(self._most, now_s))
            one.left = min(self._most, one.left + max(0.0, now_s - one.seen_s) * self._per_s)
            one.seen_s = now_s
            if one.left < 1:
                raise TooManyAtOnce(
                    f"You send more often than {self._per_s:g} times a second; wait a second, and "
                    "send several rows at once."
                )
            one.left -= 1
