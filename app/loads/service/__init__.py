"""The decisions on a load."""

from app.loads.service.load import Unwrapped, plan_load, record_leak_check, record_unwrapping
from app.loads.service.record import exclude_sensor, import_record

__all__ = [
    "Unwrapped",
    "exclude_sensor",
    "import_record",
    "plan_load",
    "record_leak_check",
    "record_unwrapping",
]
