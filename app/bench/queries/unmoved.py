"""What was read before and cannot have changed since, because the trail says so.

Every row that a save rests upon is bound to the trail when it is written. A deciding session holds
the write lock, so it can see in one query all that was done since an answer was read: where that
was nothing but readings, verdicts and custody of coupons, answers about sessions, testers and their
papers are still true, and are not asked for again.
"""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy.orm import Session
from sqlalchemy.pool import Pool

from app.audit.head import CHANGES_COUPONS_ONLY, Head, acts_since, head

T = TypeVar("T")


class Unmoved:
    """Answers that hold as of an entry of the trail. Never about a coupon."""

    def __init__(self, as_of: Head) -> None:
        self.as_of = as_of
        self._answers: dict[Hashable, Any] = {}

    def ask(self, about: Hashable, question: Callable[[], T]) -> T:
        """The answer to the question, asked once. What it raises is asked again."""
        if about not in self._answers:
            self._answers[about] = question()
        answer: T = self._answers[about]
        return answer


_KEPT: WeakKeyDictionary[Pool, Unmoved] = WeakKeyDictionary()


def unmoved(session: Session) -> Unmoved:
    """The answers that still hold; to be asked for before a deciding session writes anything."""
    bound = session.connection().engine.pool
    kept = _KEPT.get(bound)
    acts = None if kept is None else acts_since(session, kept.as_of)
    if kept is None or acts is None or not CHANGES_COUPONS_ONLY.issuperset(acts):
        kept = Unmoved(head(session))
        _KEPT[bound] = kept
    else:
        kept.as_of = head(session)
    return kept
