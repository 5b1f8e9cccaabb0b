"""What the page of recalls sends: for each panel whether its release stands, and one password."""

from collections.abc import Mapping

from pydantic import Field

from app.release.service.recalls import Closing
from app.web.forms import FormModel

STANDS, WITHDRAWN = "stands", "withdrawn"


class RecallForm(FormModel):
    """The password; the panels' fields are read beside it."""

    password: str = Field(title="your password", max_length=1000)


def closings_of(typed: Mapping[str, str]) -> list[Closing]:
    """The panels for which something was chosen, in the order of their marks.

    Fields ``stands:CODE`` hold "stands" or "withdrawn", ``reason:CODE`` why, ``seen:CODE`` what
    was read.
    """
    chosen = {
        name.removeprefix("stands:"): choice
        for name, choice in typed.items()
        if name.startswith("stands:") and choice in {STANDS, WITHDRAWN}
    }
    return [
        Closing(
            code=code,
            stands=choice == STANDS,
            reason=typed.get(f"reason:{code}", ""),
            seen=typed.get(f"seen:{code}", ""),
        )
        for code, choice in sorted(chosen.items())
    ]
