"""Decisions about equipment: what is registered, its papers, and who reviewed them."""

from app.equipment.service.certificates import (
    record_gauge_certificate,
    record_sensor_certificate,
    record_tester_certificate,
)
from app.equipment.service.furnaces import (
    Report,
    look_at_report,
    qualify_furnace,
    record_furnace_check,
    record_maintenance,
)
from app.equipment.service.registration import (
    MEASURED,
    register_block,
    register_furnace,
    register_gauge,
    register_sensor,
    register_tester,
)
from app.equipment.service.reviews import review_report
from app.equipment.service.terms import Term

__all__ = [
    "MEASURED",
    "Report",
    "Term",
    "look_at_report",
    "qualify_furnace",
    "record_furnace_check",
    "record_gauge_certificate",
    "record_maintenance",
    "record_sensor_certificate",
    "record_tester_certificate",
    "register_block",
    "register_furnace",
    "register_gauge",
    "register_sensor",
    "register_tester",
    "review_report",
]
