"""Every kind of act on the trail: ``subject:thing:act``. A retired tag stays, marked retired."""

from enum import StrEnum


class Tag(StrEnum):
    """What was done."""

    PERSON_ADDED = "people:person:added"
    SIGNED_IN = "people:sign_in:opened"
    SIGN_IN_REFUSED = "people:sign_in:refused"
    SIGNED_OUT = "people:sign_in:ended"

    FURNACE_REGISTERED = "equipment:furnace:registered"
    FURNACE_CHECK_RECORDED = "equipment:furnace_check:recorded"
    FURNACE_QUALIFIED = "equipment:furnace:qualified"
    MAINTENANCE_RECORDED = "equipment:furnace:maintained"
    REPORT_REVIEWED = "equipment:report:reviewed"
    GAUGE_REGISTERED = "equipment:vacuum_gauge:registered"
    GAUGE_CERTIFICATE_RECORDED = "equipment:gauge_certificate:recorded"
    SENSOR_REGISTERED = "equipment:sensor:registered"
    SENSOR_CERTIFICATE_RECORDED = "equipment:sensor_certificate:recorded"
    TESTER_REGISTERED = "equipment:tester:registered"
    TESTER_CERTIFICATE_RECORDED = "equipment:tester_certificate:recorded"
    BLOCK_REGISTERED = "equipment:reference_block:registered"

    TABLE_WRITTEN = "requirements:acceptance_table:written"
    TABLE_VERIFIED = "requirements:acceptance_table:verified"
    TABLE_WITHDRAWN = "requirements:acceptance_table:withdrawn"
    CYCLE_WRITTEN = "requirements:cycle:written"
    CYCLE_VERIFIED = "requirements:cycle:verified"
    CYCLE_WITHDRAWN = "requirements:cycle:withdrawn"

    PROCEDURE_WRITTEN = "requirements:pyrometry_procedure:written"
    PROCEDURE_VERIFIED = "requirements:pyrometry_procedure:verified"
    PROCEDURE_WITHDRAWN = "requirements:pyrometry_procedure:withdrawn"
    MAPPING_WRITTEN = "requirements:logger_mapping:written"
    MAPPING_VERIFIED = "requirements:logger_mapping:verified"
    MAPPING_WITHDRAWN = "requirements:logger_mapping:withdrawn"

    LOT_RECEIVED = "panels:lot:received"
    PANEL_REGISTERED = "panels:panel:registered"
    COUPON_REGISTERED = "panels:coupon:registered"
    CUSTODY_RECORDED = "panels:custody:recorded"

    LOAD_PLANNED = "loads:load:planned"
    LOAD_CANCELLED = "loads:load:cancelled"
    LOAD_STARTED = "loads:load:started"
    LOAD_ENDED = "loads:load:ended"
    OTHER_LOT_ACCEPTED = "loads:coupon:other_lot_accepted"
    LEAK_CHECKED = "loads:leak_check:recorded"
    RECORD_IMPORTED = "loads:furnace_record:imported"
    RECORD_LOOKED_OVER = "loads:furnace_record:looked_over"
    LAYOUT_CONFIRMED = "loads:furnace_record:layout_confirmed"
    TOKEN_ISSUED = "loads:logger_token:issued"  # noqa: S105 - an act's name
    TOKEN_REVOKED = "loads:logger_token:revoked"  # noqa: S105 - an act's name
    LIVE_OPENED = "loads:live_record:opened"
    LIVE_ANCHORED = "loads:live_record:anchored"
    LIVE_CLOSED = "loads:live_record:closed"
    SENSOR_EXCLUDED = "loads:sensor:excluded"
    PHOTOGRAPH_KEPT = "loads:photograph:kept"
    UNWRAPPED = "loads:unwrapping:recorded"

    BENCH_OPENED = "bench:session:opened"
    BLOCK_CHECKED = "bench:reference_block:checked"
    READINGS_RECORDED = "bench:readings:recorded"
    LABORATORY_RESULT_RECORDED = "bench:laboratory_result:recorded"
    READING_CORRECTED = "bench:reading:corrected"
    VOID_ASKED = "bench:void:asked"
    VOID_DECIDED = "bench:void:decided"
    RETEST_OPENED = "bench:retest:opened"
    COUPON_JUDGED = "bench:coupon:judged"

    HOLD_PLACED = "release:hold:placed"
    HOLD_LIFTED = "release:hold:lifted"
    PANEL_RELEASED = "release:panel:released"
    PANEL_DISPOSED = "release:panel:disposed"
