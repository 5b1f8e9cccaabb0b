"""Pages of the trail: its entries, what stands out, reviews, and signed heads."""

from fastapi import APIRouter

from app.trail.pages import exceptions, heads, reviews, trail

router = APIRouter()
router.include_router(exceptions.router)
router.include_router(heads.router)
router.include_router(heads.machine_router)
router.include_router(reviews.router)
router.include_router(trail.router)
