"""The decisions on a load."""

from app.loads.service.bag import record_leak_check
from app.loads.service.confirmation import confirm_layout
from app.loads.service.doubts import note_doubts
from app.loads.service.exclusion import exclude_sensor
from app.loads.service.live import open_live, take_rows
from app.loads.service.live_closing import Closed, close_by_hand, close_live
from app.loads.service.load import plan_load
from app.loads.service.logger_tokens import issue_token, revoke_token
from app.loads.service.other_lot import accept_other_lot
from app.loads.service.photographs import Picture, keep_photographs
from app.loads.service.record import import_record
from app.loads.service.run import cancel_load, end_load, start_findings, start_load
from app.loads.service.trouble import Answer, Report, answer_trouble, report_trouble
from app.loads.service.unwrapping import Found, Unwrapped, record_unwrapping

__all__ = [
    "Answer",
    "Closed",
    "Found",
    "Picture",
    "Report",
    "Unwrapped",
    "accept_other_lot",
    "answer_trouble",
    "cancel_load",
    "close_by_hand",
    "close_live",
    "confirm_layout",
    "end_load",
    "exclude_sensor",
    "import_record",
    "issue_token",
    "keep_photographs",
    "note_doubts",
    "open_live",
    "plan_load",
    "record_leak_check",
    "record_unwrapping",
    "report_trouble",
    "revoke_token",
    "start_findings",
    "start_load",
    "take_rows",
]
