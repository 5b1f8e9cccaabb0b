"""Routes of the bench, and of a coupon's own page."""

from fastapi import APIRouter

from app.bench.pages import (
    baseline,
    bench,
    charts,
    checks,
    coupons,
    custody,
    entry,
    session,
    studies,
)

__all__ = [
    "baseline",
    "bench",
    "charts",
    "checks",
    "coupons",
    "custody",
    "entry",
    "router",
    "session",
    "studies",
]

router = APIRouter()
router.include_router(bench.router)
router.include_router(checks.router)
router.include_router(entry.router)
router.include_router(baseline.router)
router.include_router(custody.router)
router.include_router(coupons.router)
router.include_router(studies.router)
