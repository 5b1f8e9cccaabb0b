"""Routes of the bench, and of a coupon's own page."""

from fastapi import APIRouter

from app.bench.pages import bench, coupons

router = APIRouter()
router.include_router(bench.router)
router.include_router(coupons.router)
