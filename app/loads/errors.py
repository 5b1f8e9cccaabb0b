"""What may not be done with a load, where the page needs more than the sentence."""

from app.errors import Conflict


class FileInUse(Conflict):
    """The same bytes are on record already; ``load_code`` is the load they were imported for."""

    def __init__(self, sentence: str, *, load_code: str) -> None:
        super().__init__(sentence, fields={"file": sentence})
        self.load_code = load_code
