"""The decisions on panels: holds, releases, dispositions, and what leads to them."""

from app.release.service.decisions import (
    DISPOSITIONS,
    Case,
    case_of,
    is_intact,
    lift_hold,
    release_panel,
    why_not_lift,
    why_not_release,
)
from app.release.service.descent import divide_panel, mark_anew
from app.release.service.holds import place_hold
from app.release.service.lot_corrections import (
    Wanted,
    answer_lot_correction,
    ask_lot_correction,
)
from app.release.service.recalls import Closing, close_recalls, why_not_close, why_not_confirm
from app.release.service.upstream import (
    HeldThing,
    lift_upstream_hold,
    place_upstream_hold,
    reach,
    why_not_lift_upstream,
    why_not_lift_yet,
)
from app.release.service.watching import recall_changed

__all__ = [
    "DISPOSITIONS",
    "Case",
    "Closing",
    "HeldThing",
    "Wanted",
    "answer_lot_correction",
    "ask_lot_correction",
    "case_of",
    "close_recalls",
    "divide_panel",
    "is_intact",
    "lift_hold",
    "lift_upstream_hold",
    "mark_anew",
    "place_hold",
    "place_upstream_hold",
    "reach",
    "recall_changed",
    "release_panel",
    "why_not_close",
    "why_not_confirm",
    "why_not_lift",
    "why_not_lift_upstream",
    "why_not_lift_yet",
    "why_not_release",
]
