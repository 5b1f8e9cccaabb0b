"""Decisions about equipment: what is registered, its papers, and who reviewed them."""

from app.equipment.service.bench_instruments import (
    MEASURED,
    BlockFigures,
    TesterFigures,
    register_block,
    register_tester,
)
from app.equipment.service.certificates import (
    record_gauge_certificate,
    record_sensor_certificate,
    record_tester_certificate,
    record_thermometer_certificate,
)
from app.equipment.service.furnaces import (
    Report,
    look_at_report,
    qualify_furnace,
    record_furnace_check,
    record_maintenance,
)
from app.equipment.service.quarantine import (
    FailedCheck,
    lift_quarantine,
    place_quarantine,
    quarantine_tester,
    refuse_concerned,
)
from app.equipment.service.registration import (
    register_furnace,
    register_gauge,
    register_sensor,
    register_thermometer,
)
from app.equipment.service.reviews import asks_for_remark, review_report
from app.equipment.service.terms import Term

__all__ = [
    "MEASURED",
    "BlockFigures",
    "FailedCheck",
    "Report",
    "Term",
    "TesterFigures",
    "asks_for_remark",
    "lift_quarantine",
    "look_at_report",
    "place_quarantine",
    "qualify_furnace",
    "quarantine_tester",
    "record_furnace_check",
    "record_gauge_certificate",
    "record_maintenance",
    "record_sensor_certificate",
    "record_tester_certificate",
    "record_thermometer_certificate",
    "refuse_concerned",
    "register_block",
    "register_furnace",
    "register_gauge",
    "register_sensor",
    "register_tester",
    "register_thermometer",
    "review_report",
]
