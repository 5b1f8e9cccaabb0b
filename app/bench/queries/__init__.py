"""What is read about the bench: sessions, readings, verdicts, and what waits."""

from app.bench.queries.aftermath import Aftermath, aftermath
from app.bench.queries.changes import correction_requests, readers, void_requests
from app.bench.queries.coupon_page import (
    coupon_place,
    file_of,
    panel_plan,
    verdicts,
)
from app.bench.queries.coupon_readings import reading_lines, sessions_of
from app.bench.queries.entry import (
    drafts_in,
    ground_for,
    hidden_for_now,
    session_lacking,
    tester_at,
    why_not_here,
)
from app.bench.queries.evidence import coupon_files
from app.bench.queries.indents import indents_used
from app.bench.queries.instruments import blocks_for, tester_choices, thermometer_choices
from app.bench.queries.moves import Walk, walk_for, walks_in
from app.bench.queries.places import offer_for, place_for
from app.bench.queries.retests import retest_of, retest_offer
from app.bench.queries.sessions import (
    bench_session,
    bench_sessions,
    is_used,
    last_saves,
    latest_session_of,
    recent_sessions,
    running_sessions,
)
from app.bench.queries.standards import (
    CheckGround,
    StandardsAsked,
    check_ground,
    standards_asked,
)
from app.bench.queries.waiting import (
    awaiting,
    expected_coupon,
    expected_coupons,
    expected_file,
    latest_coupon_verdicts,
)

__all__ = [
    "Aftermath",
    "CheckGround",
    "StandardsAsked",
    "Walk",
    "aftermath",
    "awaiting",
    "bench_session",
    "bench_sessions",
    "blocks_for",
    "check_ground",
    "correction_requests",
    "coupon_files",
    "coupon_place",
    "drafts_in",
    "expected_coupon",
    "expected_coupons",
    "expected_file",
    "file_of",
    "ground_for",
    "hidden_for_now",
    "indents_used",
    "is_used",
    "last_saves",
    "latest_coupon_verdicts",
    "latest_session_of",
    "offer_for",
    "panel_plan",
    "place_for",
    "readers",
    "reading_lines",
    "recent_sessions",
    "retest_of",
    "retest_offer",
    "running_sessions",
    "session_lacking",
    "sessions_of",
    "standards_asked",
    "tester_at",
    "tester_choices",
    "thermometer_choices",
    "verdicts",
    "void_requests",
    "walk_for",
    "walks_in",
    "why_not_here",
]
