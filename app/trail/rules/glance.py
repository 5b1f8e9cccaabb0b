"""Which entries cannot stand out, seen from their text, so that they need not be read whole. Pure.

Nearly all entries of a trail are such ones. What passes is judged by the rules of
:mod:`app.trail.rules.exceptions`, which alone decide.
"""

import re
from datetime import datetime

from app.audit.tags import Tag
from app.trail.rules.exceptions import BY_TAG, LATE_AFTER, Kind

ALWAYS: dict[Kind, frozenset[str]] = {
    kind: frozenset(tag.value for tag, told in BY_TAG.items() if told is kind)
    for kind in dict.fromkeys(BY_TAG.values())
}
"""The acts that stand out whatever they bound, by kind: all exceptions of these kinds."""
SOMETIMES: dict[Kind, frozenset[str]] = {
    Kind.SIGN_IN_REFUSED: frozenset({Tag.SIGN_IN_REFUSED.value}),
    Kind.ONE_PERSON: frozenset({Tag.PERSON_ADDED.value, Tag.PERSON_CHANGED.value}),
    Kind.PASSWORD_BY_ANOTHER: frozenset({Tag.PASSWORD_SET.value}),
}
"""The acts that alone can be an exception of the kind, and are not always."""
_BY_ACT = frozenset().union(*ALWAYS.values(), *SOMETIMES.values())
# An entry's text is canonical: no spaces, and quotes inside of texts are escaped.
_TELLING = re.compile(
    r'"late_reason":"|"replaces_id":\d|'
    r'"table":"(?:coupon_verdict|record_verdict|requirement_revision|second_keying)"'
)
_TAKEN = re.compile(r'"taken_at":"([^"]+)"')
_ENTERED = re.compile(r'"entered_at":"([^"]+)"')


def may_stand_out(tag: str, at: datetime, body: str) -> bool:
    """Whether an entry has to be read whole; one for which this is False never stands out."""
    return tag in _BY_ACT or _TELLING.search(body) is not None or _may_be_late(at, body)


def _may_be_late(at: datetime, body: str) -> bool:
    """Whether anything was taken more than an hour before the last that was entered."""
    taken = _TAKEN.findall(body)
    if not taken:
        return False
    entered = [at, *(datetime.fromisoformat(text) for text in _ENTERED.findall(body))]
    # The trail's form of a time has one length, so that text order is time order.
    return max(entered) - datetime.fromisoformat(min(taken)) > LATE_AFTER
