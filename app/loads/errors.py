"""What may not be done with a load, where the page needs more than the sentence."""

from app.errors import Conflict, Refusal


class FileInUse(Conflict):
    """The same bytes are on record already; ``load_code`` is the load they were imported for."""

    def __init__(self, sentence: str, *, load_code: str) -> None:
        super().__init__(sentence, fields={"file": sentence})
        self.load_code = load_code


class UnknownLogger(Refusal):
    """Who sends is no logger with a token that is in force; nothing is said of why."""

    status = 401


class TooManyAtOnce(Refusal):
    """A logger sends more often than is taken; says how long to wait."""

    status = 429


class RowsOutOfStep(Conflict):
    """Rows that do not fit those already there; ``next_row`` is the number expected next."""

    def __init__(self, sentence: str, *, next_row: int) -> None:
        super().__init__(sentence)
        self.next_row = next_row
