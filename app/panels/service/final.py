"""Nothing more is done with a panel that is scrapped, returned or replaced."""

from app.errors import Refusal
from app.panels.records import ENDED, Decided, Panel


def refuse_final(panel: Panel) -> None:
    """Refuse an act that names a panel with which nothing more is done.

    Raises:
        Refusal: it is scrapped, returned to its supplier or replaced.
    """
    why_not = why_final(panel.code, panel.decided)
    if why_not is not None:
        raise Refusal(why_not, fields={"panel": why_not})


def why_final(code: str, decided: Decided) -> str | None:
    """Why nothing more is done with the panel, as a sentence; None where there is."""
    if decided not in ENDED:
        return None
    if decided is Decided.REPLACED:
        return f"Panel {code} was replaced: its page names the panels that came of it; use those."
    return f"Panel {code} was decided as {decided.value}: nothing more is done with it."
