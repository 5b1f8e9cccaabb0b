"""The kinds of "no" the program says. Each is a sentence for a person, made from values.

Too little evidence is never an error: it is a verdict of *not proven* with its reason.
"""

from collections.abc import Mapping
from contextvars import ContextVar
from typing import ClassVar, NoReturn

heard: ContextVar[list["Refusal"] | None] = ContextVar("heard", default=None)
"""What was refused while one thing sent is answered; the refusals that go on the trail, in order.

None outside of an answer: commands and tests of services raise their refusals and no more.
"""


class TemperbookError(Exception):
    """Base of everything the program itself raises to tell a person something."""

    status = 500


class Refusal(TemperbookError):
    """A thing that may not be done, or an entry that cannot be taken; says what to do next.

    ``fields`` holds a sentence per form field, so that a page can show each beside what was typed.
    One with ``on_trail`` is recorded as an attempt if it becomes the answer to something sent.
    """

    status = 422
    on_trail: ClassVar[bool] = False

    def __init__(self, sentence: str, *, fields: Mapping[str, str] | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.fields = dict(fields or {})
        said = heard.get()
        if self.on_trail and said is not None:
            said.append(self)


class NotFound(Refusal):
    """Nothing on record under that identity."""

    status = 404


class NotAllowed(Refusal):
    """The signed-in person may not do this; names who may."""

    status = 403
    on_trail = True


class GateOpen(Refusal):
    """A release or confirmation tried while a gate does not conform; says which."""

    on_trail = True


class NotSigned(Refusal):
    """A signature whose password (or code) was wrong or came too soon; nothing was signed."""

    on_trail = True


class Conflict(Refusal):
    """Somebody else has changed the matter meanwhile; says who and what now stands."""

    status = 409


class BadFile(Refusal):
    """A file that cannot be read exactly; names the file, the row or field, and the remedy."""


def refuse(field: str, sentence: str) -> NoReturn:
    """Refuse an entry with a sentence that stands beside its field too."""
    raise Refusal(sentence, fields={field: sentence})
