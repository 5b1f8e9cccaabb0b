"""The decisions about material: lots, panels, coupons, hand-overs, and holds placed by rule."""

from app.panels.service.custody import Among, HandOver, record_custody, record_hand_overs
from app.panels.service.holds import put_on_hold
from app.panels.service.material import (
    SURFACES,
    Material,
    receive_lot,
    register_coupons,
    register_panel,
)

__all__ = [
    "SURFACES",
    "Among",
    "HandOver",
    "Material",
    "put_on_hold",
    "receive_lot",
    "record_custody",
    "record_hand_overs",
    "register_coupons",
    "register_panel",
]
