"""What is read about the bench: sessions, readings, verdicts, and what waits."""

from app.bench.queries.coupon_page import (
    coupon_place,
    file_of,
    panel_plan,
    readers,
    reading_lines,
    retest_of,
    verdicts,
    void_requests,
    voids_to_answer,
)
from app.bench.queries.evidence import coupon_files
from app.bench.queries.places import offer_for, place_for
from app.bench.queries.sessions import (
    bench_session,
    bench_sessions,
    blocks_for,
    last_saves,
    latest_session_of,
    recent_sessions,
    running_sessions,
    tester_choices,
)
from app.bench.queries.waiting import (
    awaiting,
    expected_coupon,
    expected_coupons,
    latest_coupon_verdicts,
)

__all__ = [
    "awaiting",
    "bench_session",
    "bench_sessions",
    "blocks_for",
    "coupon_files",
    "coupon_place",
    "expected_coupon",
    "expected_coupons",
    "file_of",
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
    "running_sessions",
    "tester_choices",
    "verdicts",
    "void_requests",
    "voids_to_answer",
]
