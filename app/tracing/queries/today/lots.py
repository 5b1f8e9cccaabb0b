"""What was entered wrongly of material lots and waits for a second person."""

from app.panels.queries import waiting_lot_corrections
from app.panels.rules import changes_words
from app.people.rights import Act, may
from app.release.rules.gates import address
from app.tracing.queries.today.desk import Asking, Waiting


def corrections(asking: Asking) -> list[Waiting]:
    """Corrections of lots that this person may answer: those they did not ask for themselves."""
    if not may(asking.by, Act.ANSWER_LOT_CORRECTION):
        return []
    return [
        Waiting(
            name=one.lot,
            sentence=f"{one.asked_by} asks to correct lot {one.lot}, {changes_words(one.changes)}: "
            "what rests on it is held; answer.",
            href=f"{address('material_lot', one.lot)}#corrections",
            since=one.asked_at,
            urgent=True,
        )
        for one in waiting_lot_corrections(asking.session)
        if not asking.by.is_person(one.asked_by_id)
    ]
