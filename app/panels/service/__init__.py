"""The decisions about material: lots, panels, coupons, hand-overs, places, holds by rule."""

from app.panels.service.custody import Among, HandOver, record_custody, record_hand_overs
from app.panels.service.final import refuse_final, why_final
from app.panels.service.holds import hold_panel, put_on_hold, recall, refuse_held
from app.panels.service.material import (
    SURFACES,
    Material,
    check_material,
    receive_lot,
    register_coupons,
    register_panel,
)
from app.panels.service.places import bring_panel, register_place

__all__ = [
    "SURFACES",
    "Among",
    "HandOver",
    "Material",
    "bring_panel",
    "check_material",
    "hold_panel",
    "put_on_hold",
    "recall",
    "receive_lot",
    "record_custody",
    "record_hand_overs",
    "refuse_final",
    "refuse_held",
    "register_coupons",
    "register_panel",
    "register_place",
    "why_final",
]
